//! A few photos of one position after a step: what became of it, or which photos are missing for
//! that.

use std::path::{Path, PathBuf};
use std::process::Command;

use super::client::{Page, job};

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
    let steps = section.split("<li").skip(1).map(|step| {
        let step = step.split("</li>").next().unwrap_or_default();
        let class = if step.contains("class=\"done\"") { "done" } else { "open" };
        let text: String =
            step.split('<').filter_map(|part| part.split_once('>')).map(|(_, text)| text).collect();
        format!("{class}: {text}")
    });
    steps.collect()
}

/// The number behind a word: "done 0.03 mm" gives 0.03.
fn number(words: &str, behind: &str) -> f64 {
    let rest = words.split(behind).nth(1).unwrap_or_else(|| panic!("no {behind:?} in {words}"));
    let number = rest.split_whitespace().next().unwrap_or_default();
    number.parse().unwrap_or_else(|_| panic!("no number after {behind:?}: {words}"))
}

#[test]
fn four_photos_from_one_side_tell_what_is_left_of_a_step_and_what_is_missing_for_another() {
    let folder = tempfile::tempdir().unwrap();
    let (job, page) = after_the_first_step(folder.path());
    page.wait_until("evenings", "still missing");
    let at_first = said(&page);
    assert!(
        at_first[0].contains(
            "still missing: four photos from the left, a pace apart, with tabs 1, 8 to 10 in them."
        ),
        "{at_first:#?}"
    );
    assert_eq!(page.send("a.jpg", &std::fs::read(photo(1)).unwrap()).status, 200);
    assert!(
        said(&page)[0].contains("still missing: three more photos from the left"),
        "{:#?}",
        said(&page)
    );
    for n in 2..=4 {
        assert_eq!(page.send("a.jpg", &std::fs::read(photo(n)).unwrap()).status, 200);
    }
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
    assert!(rim.contains("still missing: ") && rim.contains("from the right"), "{told:#?}");
    // The figures are those of these photos alone.
    let alone = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .args(["measure", "--json"])
        .arg(job.join("evening-2"))
        .output()
        .unwrap();
    assert!(page.get("result.json").body == alone.stdout, "nothing is mixed with another evening");
}
