//! The one photo that would help most, on the page while one photographs.

use std::path::Path;

use serde_json::Value;

use super::client::{Page, job};

/// A position of the sample that every checkout has.
fn sample(setup: &str, n: usize) -> Vec<std::path::PathBuf> {
    let folder = Path::new("samples/grass-track").join(setup);
    let entries = std::fs::read_dir(&folder).unwrap();
    let mut photos: Vec<_> = entries.map(|entry| entry.unwrap().path()).collect();
    photos.sort();
    photos.truncate(n);
    photos
}

/// What the result says of the first verdict that one more photo would bring nearer to decided.
fn best_photo(result: &Value) -> Option<String> {
    let verdicts = result["verdicts"].as_array().unwrap();
    let open = verdicts.iter().filter(|verdict| verdict["verdict"] == "undecided");
    let words = open.filter_map(|verdict| verdict["decide"].as_str());
    words.filter(|words| words.contains("stand on the")).find_map(|words| {
        let at = ["One more photo brings it to ", "No single photo is enough. "];
        at.into_iter().find_map(|begins| Some(words[words.find(begins)?..].to_owned()))
    })
}

#[test]
fn the_photo_that_helps_most_is_named_as_soon_as_it_can_be_forecast() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    std::fs::copy("samples/grass-track/job.toml", job.join("job.toml")).unwrap();
    let first = job.join("1-mark-forward");
    std::fs::create_dir_all(&first).unwrap();
    for photo in sample("1-mark-forward", 9) {
        std::fs::copy(&photo, first.join(photo.file_name().unwrap())).unwrap();
    }
    let page = Page::open(&job);
    page.wait_until("figures", "From 9 photos");
    let figures = page.sections()["figures"].as_str().unwrap().to_owned();
    // One position tells no axis, and there is nothing to forecast yet.
    assert!(!figures.contains("helps most"), "{figures}");

    for photo in sample("2-mark-rearward", 2) {
        let answer = page.send("a.jpg", &std::fs::read(&photo).unwrap());
        assert_eq!(answer.status, 200, "{}", answer.text());
    }
    page.wait_until("figures", "From 11 photos<");
    let figures = page.sections()["figures"].as_str().unwrap().to_owned();
    let result = page.get("result.json").json();
    let words =
        best_photo(&result).unwrap_or_else(|| panic!("no photo helps: {}", result["verdicts"]));
    assert!(figures.contains("The photo that helps most"), "{figures}");
    // It is the forecast's own: what it brings, where to stand, and what must be in the picture.
    assert!(figures.contains(&words), "{words} is not in {figures}");
    for part in ["brings it to ", "stand on the ", "cm above the bench", "must be in the picture"] {
        assert!(words.contains(part), "{part}: {words}");
    }
    assert_eq!(figures.matches("helps most").count(), 1, "one photo, not several: {figures}");
}
