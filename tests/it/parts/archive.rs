//! Parts of archives: names that are safe everywhere, and a sealed result compared with the one
//! measured again.

use serde_json::json;

use sightcord::archive::compare::{Alike, Reproduction, compare};
use sightcord::archive::paths::{UnsafePath, check, collision};
use sightcord::figure::Figure;

#[test]
fn paths_that_lead_out_or_mean_something_else_elsewhere_are_refused() {
    for (path, why) in [
        ("/x", UnsafePath::Absolute),
        ("~/x", UnsafePath::Absolute),
        ("~root/x", UnsafePath::Absolute),
        ("a/../../x", UnsafePath::Dots),
        ("a//x", UnsafePath::Dots),
        ("./x", UnsafePath::Dots),
        ("", UnsafePath::Dots),
        ("C:\\x", UnsafePath::Character),
        ("\\\\server\\x", UnsafePath::Character),
        ("C:x", UnsafePath::Character),
        ("a/b\nc", UnsafePath::Character),
        ("data/NUL.jpg", UnsafePath::Device),
        ("data/com1", UnsafePath::Device),
        ("Lpt9.tar.gz/x", UnsafePath::Device),
        ("data/x.", UnsafePath::Ending),
        ("data /x", UnsafePath::Ending),
    ] {
        assert_eq!(check(path), Err(why), "{path}");
    }
    for path in [
        "data/x.jpg",
        "data/~x",
        "data/%7Edir/x",
        "command.txt",
        "com10",
        "data/..x",
        "Ñandú/é.jpg",
    ] {
        assert_eq!(check(path), Ok(()), "{path}");
    }
    assert_eq!(check(&"x".repeat(201)), Err(UnsafePath::TooLong));
}

#[test]
fn names_that_differ_in_case_or_spelling_of_accents_alone_collide() {
    assert!(collision(["a/x.jpg", "a/X.jpg"]).is_some());
    assert!(collision(["A/x.jpg", "a/y.jpg"]).is_some());
    assert!(collision(["\u{e9}.jpg", "e\u{301}.jpg"]).is_some());
    assert_eq!(collision(["a/x.jpg", "a/y.jpg", "b/x.jpg", "ab/x.jpg"]), None);
}

fn result(value: f64, u: f64, verdict: &str, summary: &str) -> String {
    json!({
        "wheel": {"yaw": {"value": value, "u": u, "quality": "good"}, "lean": null},
        "verdicts": [{"field": Figure::WheelYaw, "verdict": verdict}],
        "summary": summary, "camera": [{"k1": 0.05}], "plan": [{"n": 1}],
    })
    .to_string()
}

#[test]
fn a_figure_may_move_by_a_hundredth_of_its_u_and_no_more() {
    let sealed = result(0.5, 0.1, "in", "Square within 0.50 deg.");
    let compared = |again: &str| compare(&sealed, again, Alike::AllButLastBits).unwrap();
    assert_eq!(compared(&sealed), Reproduction::Identical);
    let near = result(0.5009, 0.1005, "in", "Square within 0.51 deg.");
    let Reproduction::Reproduced(words) = compared(&near) else {
        panic!("a hundredth of U is allowed")
    };
    assert_eq!(words.len(), 2, "small differences are reported all the same: {words:?}");
    let Ok(Reproduction::Differs(words)) = compare(&sealed, &near, Alike::Bytes) else {
        panic!("one machine gives one result")
    };
    assert_eq!(words.len(), 2, "each is named: {words:?}");
    let other_blanks = sealed.replace(':', ": ");
    assert!(
        matches!(compared(&other_blanks), Reproduction::Differs(_)),
        "no rounding changes blanks"
    );
    for again in [
        result(0.502, 0.1, "in", "Square within 0.50 deg."),
        result(0.5, 0.09, "in", "Square within 0.50 deg."),
        result(0.5, 0.1, "out", "Square within 0.50 deg."),
        result(0.5, 0.1, "in", "Square within 0.40 deg."),
        result(0.5, 0.1, "in", "Crooked within 0.50 deg."),
        sealed.replace("0.05", "0.07"),
        sealed.replace("null", "{\"value\": 1.0, \"u\": 1.0, \"quality\": \"good\"}"),
        sealed.replace("\"good\"", "\"single\""),
        sealed.replace("\"n\":1", "\"n\":2"),
    ] {
        assert!(matches!(compared(&again), Reproduction::Differs(_)), "{again}");
    }
}

#[test]
fn another_version_may_use_other_words_but_not_other_figures() {
    let sealed = result(0.5, 0.1, "in", "Square.");
    let words =
        compare(&sealed, &result(0.5, 0.1, "in", "It stands square."), Alike::Figures).unwrap();
    assert!(
        matches!(&words, Reproduction::FiguresAlone(differs) if differs.len() == 1),
        "{words:?}"
    );
    let other_job = sealed.replacen('{', "{\"job\": {\"id\": \"x\"},", 1);
    assert!(
        matches!(compare(&other_job, &sealed, Alike::Figures).unwrap(), Reproduction::Differs(_)),
        "other inputs always count"
    );
    let figure = compare(&sealed, &result(0.6, 0.1, "in", "Square."), Alike::Figures).unwrap();
    assert!(matches!(figure, Reproduction::Differs(_)));
    let verdict =
        compare(&sealed, &result(0.5, 0.1, "undecided", "Square."), Alike::Figures).unwrap();
    assert!(matches!(verdict, Reproduction::Differs(_)));
}
