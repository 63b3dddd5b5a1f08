//! A few photos of one position after a step: what became of it, or which photos are missing for
//! that.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use super::client::{Page, job, photos};

fn photo(n: usize) -> PathBuf {
    Path::new("samples/grass-track/1-mark-forward").join(format!("{n:02}.jpg"))
}

/// A job whose first evening is over, its first step ticked off, at the page of the second one.
fn after_the_first_step(folder: &Path) -> (PathBuf, Page) {
    let job = job(folder);
    for setup in ["1-mark-forward", "2-mark-rearward"] {
        let sample = Path::new("samples/grass-track").join(setup);
        std::fs::create_dir_all(job.join(setup)).unwrap();
        for entry in std::fs::read_dir(&sample).unwrap() {
            let path = entry.unwrap().path();
            std::fs::copy(&path, job.join(setup).join(path.file_name().unwrap())).unwrap();
        }
    }
    std::fs::copy("samples/grass-track/job.toml", job.join("job.toml")).unwrap();
    let page = Page::open(&job);
    page.wait_until("finish", "Begin evening 2");
    for (order, body) in [("tick", "1 1"), ("evening", "")] {
        let answer = page.order(order, body);
        assert_eq!(answer.status, 200, "{}", answer.text());
    }
    (job, page)
}

/// What is said of each step, without markup.
fn said(page: &Page) -> Vec<String> {
    let section = page.sections()["evenings"].as_str().unwrap().to_owned();
    // The drawings below the list have lines of their own.
    let list = section.split("</ul>").next().unwrap_or_default();
    let steps = list.split("<li").skip(1).map(|step| {
        let step = step.split("</li>").next().unwrap_or_default();
        let class = if step.contains("class=\"done\"") { "done" } else { "open" };
        let text: String =
            step.split('<').filter_map(|part| part.split_once('>')).map(|(_, text)| text).collect();
        format!("{class}: {text}")
    });
    steps.collect()
}

/// A photo of the first evening as if it were taken anew: with other bytes, or it would not count.
fn taken_anew(n: usize) -> Vec<u8> {
    let mut bytes = std::fs::read(photo(n)).unwrap();
    bytes.push(0);
    bytes
}

/// The number behind a word: "done 0.03 mm" gives 0.03.
fn number(words: &str, behind: &str) -> f64 {
    let rest = words.split(behind).nth(1).unwrap_or_else(|| panic!("no {behind:?} in {words}"));
    let number = rest.split_whitespace().next().unwrap_or_default();
    number.parse().unwrap_or_else(|_| panic!("no number after {behind:?}: {words}"))
}

#[test]
fn four_photos_of_one_position_tell_what_is_left_of_a_step_and_what_is_missing_for_another() {
    let folder = tempfile::tempdir().unwrap();
    let (job, page) = after_the_first_step(folder.path());
    page.wait_until("evenings", "still missing");
    let at_first = said(&page);
    assert!(
        at_first[0].contains(
            "still missing: four photos: three from the left, a pace apart, with tabs 1, 8 to 10 in them, and one from the right."
        ),
        "{at_first:#?}"
    );
    assert_eq!(page.send("a.jpg", &taken_anew(1)).status, 200);
    assert!(
        said(&page)[0].contains("still missing: three more photos: two from the left"),
        "{:#?}",
        said(&page)
    );
    for n in [3, 4] {
        assert_eq!(page.send("a.jpg", &taken_anew(n)).status, 200);
    }
    // The cord from one side alone tells nothing.
    assert!(
        said(&page)[0].ends_with("still missing: one more photo from the right."),
        "{:#?}",
        said(&page)
    );
    assert_eq!(page.send("a.jpg", &taken_anew(6)).status, 200);
    page.wait_until("evenings", "asked ");
    let told = said(&page);
    // The photos are of the first evening: nothing was done, and all of it is left.
    let square = &told[0];
    assert!(square.contains("spindle") && square.starts_with("open: "), "{told:#?}");
    let (asked, done, u) =
        (number(square, "asked "), number(square, "done "), number(square, "± "));
    assert!(done.abs() <= u && u <= 0.5 * asked, "{square}");
    assert!(square.ends_with(" left."), "{square}");
    let rim = told.last().unwrap();
    assert!(
        rim.contains("still missing: one more photo from the right with tab 2 in it."),
        "{told:#?}"
    );
    // The figures are those of these photos alone.
    let alone = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .args(["measure", "--json"])
        .arg(job.join("evening-2"))
        .output()
        .unwrap();
    assert!(page.get("result.json").body == alone.stdout, "nothing is mixed with another evening");
}

/// The true figures of a shared set by their pointers.
fn truth(set: &str, pointer: &str) -> f64 {
    let text = std::fs::read_to_string(format!("../shared/photos/{set}/expected.json")).unwrap();
    let all: Value = serde_json::from_str(&text).unwrap();
    all[pointer].as_f64().unwrap_or_else(|| panic!("{set} has no {pointer}"))
}

/// The page of a second evening with five photos of one position of `later`, after a first evening
/// of `first` whose step 1 was ticked off.
fn five_photos(folder: &Path, first: &str, later: &str) -> Page {
    let job = folder.join(later);
    for setup in ["1-mark-forward", "2-mark-rearward"] {
        std::fs::create_dir_all(job.join(setup)).unwrap();
        for path in photos(first, setup) {
            std::fs::copy(&path, job.join(setup).join(path.file_name().unwrap())).unwrap();
        }
    }
    let measured = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .args(["measure", "--quiet"])
        .arg(&job)
        .status()
        .unwrap();
    assert!(measured.success());
    drop(Page::open(&job));
    let kept = job.join(".bench.json");
    let mut page: Value = serde_json::from_str(&std::fs::read_to_string(&kept).unwrap()).unwrap();
    page["ticks"] = serde_json::json!(["1 Square spindle right"]);
    std::fs::write(&kept, page.to_string()).unwrap();
    let second = job.join("evening-2/1-mark-forward");
    std::fs::create_dir_all(&second).unwrap();
    for path in photos(later, "1-mark-forward").iter().take(5) {
        std::fs::copy(path, second.join(path.file_name().unwrap())).unwrap();
    }
    let page = Page::open(&job);
    page.wait_until("figures", "From 5 photos<");
    page
}

#[test]
#[ignore = "needs the shared photo sets"]
fn what_five_photos_of_one_position_tell_of_three_steps_is_true_within_their_u() {
    let folder = tempfile::tempdir().unwrap();
    for later in ["cord-02", "cord-03"] {
        let page = five_photos(folder.path(), "cord-00", later);
        let told = said(&page);
        assert_eq!(told.len(), 3, "{told:#?}");
        let change = |pointer: &str| truth(later, pointer) - truth("cord-00", pointer);
        let turned = change("/wheel/yaw");
        let lever = truth("cord-00", "/chain/centres").to_radians();
        // The plan asked to bring the rear sprocket in and to pull the rim to the left.
        let in_mm = change("/chain/offset_at_gearbox") + lever * turned;
        let rim_mm = change("/wheel/offset") - change("/plumb/A/offset");
        let drawn_mm = -number(&told[0], "asked ") * turned / truth("cord-00", "/wheel/yaw");
        for (words, truly) in told.iter().zip([drawn_mm, in_mm, rim_mm]) {
            let (done, u) = (number(words, "done "), number(words, "± "));
            assert!((done - truly).abs() <= u, "{later}: truly {truly:.2} mm, but {words}");
            assert!(u < 0.8, "{later}: {words}");
            println!("{later}: truly {truly:.2} mm: {words}");
        }
    }
}
