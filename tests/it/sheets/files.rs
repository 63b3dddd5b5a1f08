//! The command: what it writes, says and refuses.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::{contains, is_empty};
use tempfile::TempDir;

fn sightcord(arguments: &[&str], dir: &Path) -> assert_cmd::assert::Assert {
    Command::cargo_bin("sightcord").unwrap().arg("sheets").arg(dir).args(arguments).assert()
}

fn listing(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(dir)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn it_makes_the_folder_writes_three_files_and_says_what_comes_next() {
    let scratch = TempDir::new().unwrap();
    let dir = scratch.path().join("to/print");
    sightcord(&[], &dir)
        .success()
        .stdout(
            contains("written")
                .and(contains("100 %"))
                .and(contains("[print]"))
                .and(contains("steel rule")),
        )
        .stderr(is_empty());
    assert_eq!(listing(&dir), ["cards-1-5-a4.pdf", "guide-a4.pdf", "tabs-1-32-a4.pdf"]);
}

#[test]
fn paper_and_lists_are_taken_from_the_options() {
    let scratch = TempDir::new().unwrap();
    sightcord(
        &["--paper", "a3", "--cards", "13,15-16", "--tabs", "none", "--quiet"],
        scratch.path(),
    )
    .success()
    .stdout(is_empty())
    .stderr(is_empty());
    assert_eq!(listing(scratch.path()), ["cards-13_15-16-a3.pdf", "guide-a3.pdf"]);
}

#[test]
fn a_second_run_leaves_every_file_as_it_is() {
    let scratch = TempDir::new().unwrap();
    sightcord(&["--paper", "letter"], scratch.path()).success();
    let before: Vec<_> = listing(scratch.path())
        .iter()
        .map(|name| fs::metadata(scratch.path().join(name)).unwrap().modified().unwrap())
        .collect();
    sightcord(&["--paper", "letter"], scratch.path())
        .success()
        .stdout(contains("unchanged").and(contains("written").not()));
    let after: Vec<_> = listing(scratch.path())
        .iter()
        .map(|name| fs::metadata(scratch.path().join(name)).unwrap().modified().unwrap())
        .collect();
    assert_eq!(before, after);
}

#[test]
fn a_file_with_other_content_is_never_written_over() {
    let scratch = TempDir::new().unwrap();
    for content in [&b"my own drawing"[..], b""] {
        let mine = scratch.path().join("guide-a4.pdf");
        fs::write(&mine, content).unwrap();
        sightcord(&[], scratch.path()).code(2).stdout(is_empty()).stderr(
            contains("guide-a4.pdf")
                .and(contains("nothing was written"))
                .and(contains("name another folder")),
        );
        assert_eq!(fs::read(&mine).unwrap(), content);
        assert_eq!(listing(scratch.path()), ["guide-a4.pdf"], "nothing else was written either");
    }
}

/// A sheet that somebody changed, even by one byte of the same length, is no longer ours.
#[test]
fn a_changed_sheet_is_not_written_over() {
    let scratch = TempDir::new().unwrap();
    sightcord(&["--quiet"], scratch.path()).success();
    let path = scratch.path().join("cards-1-5-a4.pdf");
    let mut bytes = fs::read(&path).unwrap();
    bytes[1000] ^= 1;
    fs::write(&path, &bytes).unwrap();
    sightcord(&["--quiet"], scratch.path()).code(2).stderr(contains("cards-1-5-a4.pdf"));
    assert_eq!(fs::read(&path).unwrap(), bytes);
}

#[test]
fn a_folder_in_a_sheets_place_is_left_alone() {
    let scratch = TempDir::new().unwrap();
    fs::create_dir(scratch.path().join("tabs-1-32-a4.pdf")).unwrap();
    sightcord(&[], scratch.path()).code(2).stderr(contains("tabs-1-32-a4.pdf"));
    assert_eq!(listing(scratch.path()), ["tabs-1-32-a4.pdf"]);
}

#[cfg(unix)]
#[test]
fn a_link_that_leads_nowhere_is_not_written_through() {
    let scratch = TempDir::new().unwrap();
    let elsewhere = scratch.path().join("elsewhere");
    let dir = scratch.path().join("print");
    fs::create_dir(&dir).unwrap();
    std::os::unix::fs::symlink(&elsewhere, dir.join("guide-a4.pdf")).unwrap();
    sightcord(&[], &dir).code(2).stderr(contains("guide-a4.pdf"));
    assert!(!elsewhere.exists());
}

#[test]
fn a_file_where_the_folder_should_be_is_an_error_that_names_it() {
    let scratch = TempDir::new().unwrap();
    let dir = scratch.path().join("print");
    fs::write(&dir, "a file").unwrap();
    sightcord(&[], &dir).code(2).stderr(contains("cannot make the folder").and(contains("print")));
    assert_eq!(fs::read(&dir).unwrap(), b"a file");
}

#[test]
fn bad_lists_and_papers_are_explained() {
    let scratch = TempDir::new().unwrap();
    for (arguments, words) in [
        (["--cards", "5-1"], "runs backwards"),
        (["--cards", "17"], "cards are numbered 1 to 16"),
        (["--tabs", "65"], "tabs are numbered 1 to 64"),
        (["--tabs", "one"], "not a whole number"),
        (["--tabs", "1,"], "nothing between the commas"),
        (["--paper", "a5"], "possible values: a4, letter, a3"),
        (["--cards", "13"], "ask for A3 paper"),
    ] {
        sightcord(&arguments, &scratch.path().join("new"))
            .code(2)
            .stdout(is_empty())
            .stderr(contains(words));
    }
    assert!(
        listing(scratch.path()).is_empty(),
        "no folder is made for an order that cannot be drawn"
    );
}

#[test]
fn help_shows_an_example() {
    Command::cargo_bin("sightcord")
        .unwrap()
        .args(["sheets", "--help"])
        .assert()
        .success()
        .stdout(contains("sightcord sheets print").and(contains("--quiet")).and(contains("A3")));
}
