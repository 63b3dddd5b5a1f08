//! Slips of the pen in job.toml and at the command line, each with the words it must get.

use std::fs;
use std::process::Output;

use assert_cmd::Command;
use predicates::str::contains;
use sightcord::archive::{Anew, keep};
use sightcord::job::Job;
use sightcord::report::ResultDocument;

use crate::common::kept::small_job;
use crate::report::samples;

/// The only thing to mend in this text.
fn problem(text: &str) -> String {
    let problems = Job::parse(text).expect_err("this should be refused");
    assert_eq!(problems.len(), 1, "{problems:#?}");
    problems[0].to_string()
}

fn findings(text: &str) -> Vec<(String, String)> {
    let job = Job::parse(text).expect("a job");
    job.findings().into_iter().map(|f| (f.id, f.what.to_string())).collect()
}

fn sightcord(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sightcord")).args(arguments).output().unwrap()
}

#[test]
fn a_number_with_its_unit_is_told_to_leave_it_away() {
    let told = problem("[print]\nmeasured_along_mm = 249.6 mm # by steel rule\n");
    assert!(told.contains("line 2") && told.contains("write measured_along_mm = 249.6."), "{told}");
    assert!(told.contains("Leave \"mm\" away"), "{told}");
    assert!(problem("[rim]\nwidth_mm = 60mm\n").contains("write width_mm = 60."));
}

#[test]
fn a_word_that_a_setting_does_not_know_is_told_which_it_knows() {
    let told = problem("[bench]\nlevelled = yes\n");
    assert!(told.contains("Write levelled = \"no\" or levelled = \"spirit level\"."), "{told}");
    let told = problem("[bike]\nchain_side = left\n");
    assert!(told.contains("Write chain_side = \"left\"."), "{told}");
    assert!(problem("[hub]\nface_turns = yes\n").contains("Write face_turns = true."));
}

#[test]
fn a_setting_that_stands_twice_is_named_with_both_lines() {
    let text = "[print]\nmeasured_along_mm = 249.6\npaper_mm = 0.1\n\nmeasured_along_mm = 249.8\n";
    let told = problem(text);
    assert!(told.contains("measured_along_mm stands twice, in lines 2 and 5"), "{told}");
    let told = problem("[rim]\nwidth_mm = 60\n[bike]\nname = \"a\"\n[rim]\nlateral_tir_mm = 1\n");
    assert!(told.contains("[rim] stands twice, in lines 1 and 5"), "{told}");
    // The same name in another section is another setting.
    assert!(
        Job::parse("[print]\npaper_mm = 0.1\n[[print.card]]\nnumber = 3\npaper_mm = 0.2\n").is_ok()
    );
}

#[test]
fn check_lines_that_are_out_are_told_as_the_sheets_say() {
    for (line, named) in [
        ("measured_along_mm = 243", "243 mm"),
        ("measured_across_mm = 162", "160 mm"),
        ("measured_along_mm = 249.6\nmeasured_tabs_mm = 97", "100 mm"),
    ] {
        let found = findings(&format!("[print]\n{line}\n"));
        assert!(
            found.len() == 1 && found[0].0 == "check-line-off" && found[0].1.contains(named),
            "{line}: {found:?}"
        );
    }
    let good =
        "[print]\nmeasured_along_mm = 248.6\nmeasured_across_mm = 159.4\nmeasured_tabs_mm = 99.5\n";
    assert_eq!(findings(good), []);
    assert_eq!(findings("[print]\nmeasured_along_mm = 374.5\n"), []);
}

#[test]
fn glance_says_once_that_the_settings_are_not_used() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("job.toml"), "[bike]\nnamee = \"x\"\n").unwrap();
    fs::write(folder.path().join("a.jpg"), "no picture").unwrap();
    let out = sightcord(&["glance", folder.path().to_str().unwrap()]);
    let told = String::from_utf8_lossy(&out.stderr);
    assert_eq!(told.matches("job.toml is not used until this is mended").count(), 1, "{told}");
    assert!(!told.contains(".."), "{told}");
}

#[test]
fn sheets_names_the_setting_of_every_check_line() {
    let folder = tempfile::tempdir().unwrap();
    let out = sightcord(&["sheets", folder.path().join("print").to_str().unwrap()]);
    let told = String::from_utf8_lossy(&out.stdout);
    for name in ["measured_along_mm", "measured_across_mm", "measured_tabs_mm"] {
        assert!(told.contains(name), "{told}");
    }
}

#[test]
fn no_job_begins_in_a_report() {
    let folder = tempfile::tempdir().unwrap();
    let report = folder.path().join("report");
    fs::create_dir(&report).unwrap();
    fs::write(report.join("report-files.txt"), "").unwrap();
    for target in [report.clone(), report.join("new")] {
        Command::new(env!("CARGO_BIN_EXE_sightcord"))
            .arg("begin")
            .arg(&target)
            .assert()
            .code(2)
            .stderr(contains("is a report that this program wrote"));
    }
    assert_eq!(fs::read_dir(&report).unwrap().count(), 1, "nothing was made");
}

#[test]
fn of_two_files_the_copy_is_named_and_its_original_used() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["IMG_1 (1).jpg", "IMG_1.jpg"] {
        fs::write(folder.path().join(name), b"\xff\xd8\xffthe same").unwrap();
    }
    let listed = sightcord::photo::list_job(folder.path()).unwrap();
    assert_eq!(listed.loose.iter().map(|file| file.id.as_str()).collect::<Vec<_>>(), ["IMG_1.jpg"]);
    let twice = &listed.findings[0];
    assert!(
        twice.what.starts_with("IMG_1 (1).jpg is the same file as IMG_1.jpg"),
        "{}",
        twice.what
    );
    assert!(!twice.advice.contains("set-up"), "a flat folder has none: {}", twice.advice);
}

#[test]
fn keep_says_why_it_measured_again_and_only_when_it_did() {
    let (job, out) = (small_job(), tempfile::tempdir().unwrap());
    let first = fs::read(job.path().join("1-mark-forward/a.jpg")).unwrap();
    fs::write(job.path().join("1-mark-forward/a (1).jpg"), first).unwrap();
    let path = job.path().to_str().unwrap();
    assert_eq!(sightcord(&["measure", path, "-q"]).status.code(), Some(1), "grey photos");
    let kept = |name: &str, without_place: bool| {
        keep(job.path(), &out.path().join(name), without_place, &|_| {}).unwrap().anew
    };
    assert_eq!(kept("a.zip", false), Anew::No, "the report is of these photos, the copy left out");
    assert_eq!(kept("b.zip", true), Anew::Copies);
    fs::remove_dir_all(job.path().join("report")).unwrap();
    assert_eq!(kept("c.zip", false), Anew::NoResult);
}

#[test]
fn a_name_with_spaces_and_a_command_without_its_folder_are_answered_with_what_to_type() {
    let told =
        |arguments: &[&str]| String::from_utf8_lossy(&sightcord(arguments).stderr).into_owned();
    assert!(told(&["measure", "my", "old", "bike"]).contains("quotes: \"my old bike\""));
    assert!(told(&["measure"]).contains("sightcord measure ."));
    assert!(!told(&["measure", "bike", "--nonsense"]).contains("in quotes"));
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("file"), "").unwrap();
    let below = folder.path().join("file").join("bike");
    assert!(!told(&["begin", below.to_str().unwrap()]).contains("os error"));
}

#[test]
fn whatif_says_when_no_step_uses_a_choice() {
    let folder = tempfile::tempdir().unwrap();
    let whatif = |document: &ResultDocument| {
        let at = folder.path().join("result.json");
        fs::write(&at, document.to_json()).unwrap();
        let out = sightcord(&["whatif", at.to_str().unwrap(), "--draw", "left"]);
        String::from_utf8_lossy(&out.stdout).into_owned()
    };
    let mut document = samples::in_tolerance();
    document.settings = serde_json::to_value(Job::default()).unwrap();
    let nothing_to_do = whatif(&document);
    assert!(nothing_to_do.contains("--draw changes nothing here"), "{nothing_to_do}");
}
