//! The terminal's report, as a mechanic reads it. The snapshots are there to be read, too.

use sightcord::figure::Figure;
use sightcord::finding::Finding;
use sightcord::plan::since::since;
use sightcord::report::result::ResultDocument;
use sightcord::report::text;
use sightcord::report::text::{report, report_all};
use sightcord::text::units::Show;

use crate::report::samples;

fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

#[test]
fn the_report_of_a_bike_with_three_things_to_put_right() {
    insta::assert_snapshot!(plain(&report(&samples::grass_track(), Show::Mm)));
}

#[test]
fn the_report_in_inches() {
    insta::assert_snapshot!(plain(&report(&samples::grass_track(), Show::Inch)));
}

#[test]
fn the_report_of_everything_that_can_be_measured() {
    insta::assert_snapshot!(plain(&report_all(&samples::swing_arm(), Show::Mm)));
}

#[test]
fn the_report_of_a_bike_that_needs_nothing() {
    insta::assert_snapshot!(plain(&report(&samples::in_tolerance(), Show::Mm)));
}

#[test]
fn the_report_of_a_job_that_could_not_be_measured() {
    insta::assert_snapshot!(plain(&report(&samples::nothing(), Show::Mm)));
}

#[test]
fn the_report_of_a_job_that_is_not_finished() {
    insta::assert_snapshot!(plain(&report(&samples::not_finished(), Show::Mm)));
}

#[test]
fn what_there_is_to_do_fits_on_a_screen() {
    for (name, document) in samples::all() {
        let text = plain(&report(&document, Show::Mm));
        assert!(text.lines().count() <= 46, "{name}: {} lines\n{text}", text.lines().count());
    }
}

#[test]
fn no_line_is_wider_than_eighty_columns() {
    for (name, document) in samples::all() {
        for show in [Show::Mm, Show::Inch] {
            let texts = plain(&report(&document, show)) + &plain(&report_all(&document, show));
            for line in texts.lines() {
                assert!(textwrap::core::display_width(line) <= 80, "{name}: {line}");
                assert_eq!(line.trim_end(), line, "{name}: blanks at the end of a line");
            }
        }
    }
}

#[test]
fn the_verdict_is_the_first_thing_said() {
    for (name, document) in samples::all() {
        let text = plain(&report(&document, Show::Mm));
        let first: String =
            document.summary.split_whitespace().take(4).collect::<Vec<_>>().join(" ");
        assert!(text.starts_with(&first), "{name}: {text}");
    }
}

#[test]
fn no_meaning_hangs_on_colour_alone() {
    // What is left without styles still says in, OUT and undecided of every verdict.
    let document = samples::grass_track();
    for text in
        [report(&document, Show::Mm), report_all(&document, Show::Mm)].map(|text| plain(&text))
    {
        for word in ["OUT (1)", "OUT (0.15)", "undecided (0.2)", "OUT (1.4)", "in (0.25)"] {
            assert!(text.contains(word), "{word} in\n{text}");
        }
    }
}

#[test]
fn inches_stand_wherever_millimetres_do() {
    for (name, document) in samples::all() {
        for text in [report(&document, Show::Inch), report_all(&document, Show::Inch)]
            .map(|text| plain(&text))
        {
            // What a source of a limit says stays as it says it, and so does what a figure needs on
            // the bench.
            let (before, limits) = text.split_once("\nLIMITS").unwrap_or((&text, ""));
            let after = limits.split_once("\n\n").map_or("", |(_, after)| after);
            let lines = before.lines().chain(after.lines());
            let left: Vec<&str> = lines
                .filter(|line| line.contains(" mm") && !line.contains("200 mm or more"))
                .collect();
            assert!(left.is_empty(), "{name}: {left:?}");
        }
    }
}

#[test]
fn names_with_control_characters_cannot_steer_the_terminal() {
    let mut parts = samples::swing_arm_parts();
    samples::face(&mut parts.figures, "plate\u{1b}]0;x\u{7}");
    let mut document = ResultDocument::new(parts);
    document.job.bike = Some("bike\u{1b}[2J\u{7}".to_owned());
    document.findings[0].what = "what\r\u{8}".into();
    let text = report_all(&document, Show::Mm);
    // Every escape left is one of ours: it opens a style and ends in m.
    for piece in text.split('\u{1b}').skip(1) {
        assert!(
            piece.starts_with('[')
                && piece[1..]
                    .split_once('m')
                    .is_some_and(|(code, _)| code.bytes().all(|b| b.is_ascii_digit() || b == b';'))
        );
    }
    assert!(!text.contains(['\u{7}', '\r', '\u{8}']));
}

#[test]
fn before_and_after_are_shown_in_the_groups_of_the_report() {
    let (before, mut after) = (samples::grass_track().evening(), samples::swing_arm().evening());
    // Another bike's plan would not be followed.
    after.bike.clone_from(&before.bike);
    after.figures.set(Figure::ChainCentres, before.figures.get(&Figure::ChainCentres));
    for (figure, width) in before.figures.measured.table.measured() {
        if matches!(figure, Figure::RimWidth(_)) {
            after.figures.set(figure.clone(), Some(width));
        }
    }
    let compared = since(&before, &after).unwrap();
    for show in [Show::Mm, Show::Inch] {
        for line in plain(&text::since(&compared, show)).lines() {
            assert!(textwrap::core::display_width(line) <= 80, "{line}");
        }
    }
    let told = plain(&text::since(&compared, Show::Mm));
    let headings = [
        "REAR WHEEL",
        "RIM OFFSETS",
        "CHAIN LINE",
        "SPINDLE",
        "FRAME",
        "BENCH AND PRINT",
        "NOT MEASURED BEFORE",
        "THE EARLIER PLAN",
    ];
    let places: Vec<Option<usize>> =
        headings.iter().map(|heading| told.find(&format!("\n{heading}"))).collect();
    assert!(places.iter().all(Option::is_some) && places.is_sorted(), "{places:?} in {told}");
    // Every figure of both evenings once, with its unit; the rim's heights tell nothing of an
    // adjustment.
    let rows: Vec<&str> =
        told.lines().filter(|line| line.ends_with(" changed") || line.ends_with(" same")).collect();
    let is_height = |field: &Figure| matches!(field, Figure::RimHeight(_));
    let in_both =
        compared.differences.iter().filter(|d| d.change.is_some() && !is_height(&d.field)).count();
    assert_eq!(rows.len(), in_both, "{told}");
    assert!(
        rows.iter().all(|row| [" mm ", " deg ", " % "].iter().any(|unit| row.contains(unit))),
        "{told}"
    );
}

#[test]
fn what_decides_which_way_anything_is_moved_stands_before_the_steps() {
    let mut parts = samples::grass_track_parts();
    let softer = Finding::warning("aaa", "Something softer.", "Look at it.");
    parts.findings = vec![softer; 4];
    parts.findings.push(Finding::warning(
        "setup-names-swapped",
        "The names are swapped.",
        "Rename.",
    ));
    let caliper = "print-scale-contradicts-caliper";
    parts.findings.push(Finding::warning(caliper, "The print is out by 25 %.", "Measure it."));
    let text = plain(&report(&ResultDocument::new(parts), Show::Mm));
    let at = |words: &str| text.find(words).unwrap_or_else(|| panic!("no {words} in\n{text}"));
    assert!(at("The names are swapped.") < at("The print is out"), "{text}");
    assert!(at("The print is out by 25 %.") < at("  1  "), "{text}");
    assert_eq!(text.matches("The names are swapped.").count(), 1, "{text}");
}
