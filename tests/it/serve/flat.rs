//! Photos that lie in no position's folder, and what becomes of a word against what photos show:
//! the page sorts as `measure` does.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

use super::client::{Page, files, job, photos};

const SETUPS: [&str; 2] = ["1-mark-forward", "2-mark-rearward"];

/// What `measure` says of a folder.
fn measured(job: &Path) -> Vec<u8> {
    let out = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .args(["measure", "--json"])
        .arg(job)
        .output()
        .unwrap();
    out.stdout
}

/// The first three photos of each position, as a phone's own folder has them: all in one, under
/// names that tell nothing.
fn flat_folder(at: &Path) -> usize {
    std::fs::create_dir(at).unwrap();
    let of = |setup| photos("cord-00", setup).into_iter().take(3);
    let all: Vec<_> = SETUPS.into_iter().flat_map(of).collect();
    // Not in the order of their positions.
    for (n, photo) in all.iter().enumerate() {
        std::fs::copy(photo, at.join(format!("IMG_{}.jpg", 7 * (n + 1) % 11))).unwrap();
    }
    all.len()
}

/// For each set-up that the result names the number of its photos.
fn grouped(result: &Value) -> BTreeMap<String, usize> {
    let mut counts = BTreeMap::new();
    for entry in result["grouping"].as_array().unwrap() {
        *counts.entry(entry["setup"].as_str().unwrap().to_owned()).or_default() += 1;
    }
    counts
}

#[test]
#[ignore = "needs the shared photo sets"]
fn a_flat_folder_of_photos_is_counted_answered_measured_and_goes_on_flat() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("from-the-phone");
    let n = flat_folder(&job);
    let before = files(&job);
    let page = Page::open(&job);
    page.wait_until("head", &format!("{n} photos"));
    page.wait_until("figures", &format!("From {n} photos"));
    assert!(page.get("result.json").body == measured(&job), "byte for byte those of measure");
    // The tally has each photo in the position into which the measurement sorted it.
    let result = page.get("result.json").json();
    let counts = grouped(&result);
    assert_eq!(counts.values().copied().collect::<Vec<usize>>(), [3, 3], "{counts:?}");
    let walk = page.sections()["walk"].as_str().unwrap().to_owned();
    for other in ["mark forward", "mark rearward"] {
        assert!(walk.contains(other), "{walk}");
    }
    assert!(walk.contains("Photos: <b>3</b> of 6") && walk.contains(": 3 photos"), "{walk}");
    let shot = page.sections()["shot"].as_str().unwrap().to_owned();
    assert!(
        shot.contains("was sorted by what it shows") && shot.contains("Leave it out"),
        "{shot}"
    );
    assert_eq!(files(&job), before, "nothing is moved");

    // One more goes with them, and counts for the position it shows.
    let more = std::fs::read(&photos("cord-00", SETUPS[0])[3]).unwrap();
    let answer = page.send("one-more.jpg", &more);
    assert_eq!(answer.status, 200, "{}", answer.text());
    assert!(job.join("one-more.jpg").is_file());
    let sections = page.sections();
    let shot = sections["shot"].as_str().unwrap();
    assert!(shot.contains("Position 1, mark forward"), "{shot}");
    assert!(sections["walk"].as_str().unwrap().contains("Photos: <b>4</b> of 6"), "{sections}");
    // No folder among loose photos, and none of them is lost.
    let key = answer.json()["key"].as_str().unwrap().to_owned();
    assert_eq!(page.order("move", &format!("{key} 1")).status, 409);
    assert_eq!(page.order("move", &format!("{key} aside")).status, 200);
    assert!(job.join(".put-aside/one-more.jpg").is_file());
    page.wait_until("head", &format!("{n} photos"));
}

#[test]
#[ignore = "needs the shared photo sets"]
fn photos_go_to_the_position_they_show_whatever_was_pressed() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let page = Page::open(&job);
    let [first, second] = SETUPS.map(|setup| photos("cord-01", setup));
    let mut keys = Vec::new();
    // Nobody presses "The wheel is turned", and the phone sends them in turn.
    for (one, other) in first.iter().zip(&second).take(3) {
        for photo in [one, other] {
            let answer = page.send("a.jpg", &std::fs::read(photo).unwrap());
            assert_eq!(answer.status, 200, "{}", answer.text());
            keys.push(answer.json()["key"].as_str().unwrap().to_owned());
        }
    }
    for (setup, shared) in [(SETUPS[0], &first), (SETUPS[1], &second)] {
        let mut sent: Vec<Vec<u8>> =
            shared.iter().take(3).map(|photo| std::fs::read(photo).unwrap()).collect();
        let kept = std::fs::read_dir(job.join(setup)).unwrap();
        let mut kept: Vec<Vec<u8>> =
            kept.map(|entry| std::fs::read(entry.unwrap().path()).unwrap()).collect();
        sent.sort();
        kept.sort();
        assert!(sent == kept, "{setup} holds other photos than show it");
    }
    // Somebody puts one into the other position by hand: it counts for the position it shows,
    // as measure counts it, and the page says so.
    assert_eq!(page.order("move", &format!("{} 1", keys[0])).status, 200);
    let told = page.get(&format!("state/0/{}", keys[0])).json()["sections"]["shot"].to_string();
    assert!(told.contains("lies in 2-mark-rearward and counts for position 1"), "{told}");
    page.wait_until("figures", "From 6 photos");
    let result: Value = serde_json::from_slice(&measured(&job)).unwrap();
    let counts = grouped(&result);
    assert_eq!(counts.get(SETUPS[0]), Some(&3), "{counts:?}");
    let sections = page.sections();
    assert!(sections["walk"].as_str().unwrap().contains(": 3 photos"), "{}", sections["walk"]);
}
