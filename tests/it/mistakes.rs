//! Mistakes that people make, each with the one sentence that names it and the way out.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use sightcord::finding::{Finding, Severity};
use sightcord::photo::format::DRAWN_SEGMENT;
use sightcord::photo::{ListError, list_job};
use tempfile::TempDir;

fn sightcord() -> Command {
    Command::new(env!("CARGO_BIN_EXE_sightcord"))
}

/// A folder with these files; pictures are a small grey JPEG with their name behind its end, so
/// that no two are the same.
fn folder_with(files: &[&str]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let mut bytes = fs::read("tests/data/photo/grey.jpg").unwrap();
        bytes.extend(name.as_bytes());
        fs::write(path, bytes).unwrap();
    }
    folder
}

fn findings(folder: &Path) -> Vec<Finding> {
    list_job(folder).unwrap().findings
}

/// What is said in one finding of this id.
fn said(findings: &[Finding], id: &str) -> String {
    let of: Vec<&Finding> = findings.iter().filter(|finding| finding.id == id).collect();
    assert_eq!(of.len(), 1, "{id} once: {findings:?}");
    format!("{} {}", of[0].what, of[0].advice)
}

#[test]
fn a_report_given_as_the_job_is_refused_with_the_job_to_name() {
    let folder = folder_with(&["bike/a.jpg", "bike/report/photos/a.jpg"]);
    fs::write(folder.path().join("bike/report/report-files.txt"), "").unwrap();
    let report = folder.path().join("bike/report");
    for at in [report.clone(), report.join("photos")] {
        let said = sightcord().arg("measure").arg(&at).assert().code(2);
        said.stderr(
            contains("is a report that this program wrote, not a job; name the job folder with the photos: ")
                .and(contains("bike")),
        );
    }
    assert!(!report.join("report").exists());
}

#[test]
fn a_setup_given_as_the_job_is_refused_and_nothing_is_written_among_the_photos() {
    for (files, setup) in [
        (["bike/job.toml", "bike/first/a.jpg"], "bike/first"),
        (["bike/1-mark-forward/a.jpg", "bike/2-mark-rearward/b.jpg"], "bike/1-mark-forward"),
    ] {
        let folder = folder_with(&files);
        let at = folder.path().join(setup);
        let told = sightcord().arg("measure").arg(&at).assert().code(2);
        told.stderr(
            contains("holds the photos of one wheel position of the job")
                .and(contains("measure the whole job")),
        );
        assert_eq!(fs::read_dir(&at).unwrap().count(), 1);
    }
    // An evening's own folder in a job, and a folder of photos anywhere else, are jobs.
    let folder = folder_with(&["bike/job.toml", "bike/evening-2/a.jpg", "bikes/twin/b.jpg"]);
    assert_eq!(list_job(&folder.path().join("bike/evening-2")).unwrap().loose.len(), 1);
    assert_eq!(list_job(&folder.path().join("bikes/twin")).unwrap().loose.len(), 1);
}

#[test]
fn a_folder_of_jobs_is_refused_with_their_names() {
    let folder = folder_with(&["twin/1-mark-forward/a.jpg", "single/job.toml", "single/b.jpg"]);
    let error = list_job(folder.path()).unwrap_err();
    assert!(matches!(error, ListError::HoldsJobs(..)));
    assert!(
        error
            .to_string()
            .ends_with("holds several jobs (single, twin); measure one at a time: name its folder"),
        "{error}"
    );
    // A job inside a job is reported and not mixed in; a later evening's own folder needs no
    // finding.
    let folder = folder_with(&[
        "1-mark-forward/a.jpg",
        "tried-again/1-mark-forward/b.jpg",
        "evening-2/1-mark-forward/c.jpg",
    ]);
    let job = list_job(folder.path()).unwrap();
    assert_eq!(job.all().count(), 1);
    assert!(
        said(&job.findings, "job-inside")
            .starts_with("tried-again in this folder is not measured here")
    );
}

#[test]
fn pictures_that_this_program_drew_are_known_and_left_out() {
    let folder = folder_with(&["1-a/x.jpg"]);
    for name in ["1-a/y.jpg", "2-looked-at/z.jpg"] {
        let mut bytes = fs::read("tests/data/photo/grey.jpg").unwrap();
        bytes.splice(2..2, DRAWN_SEGMENT.iter().copied());
        // The mark spoils no picture.
        assert!(image::load_from_memory(&bytes).is_ok());
        fs::create_dir_all(folder.path().join(name).parent().unwrap()).unwrap();
        fs::write(folder.path().join(name), bytes).unwrap();
    }
    let job = list_job(folder.path()).unwrap();
    assert_eq!(job.all().map(|photo| photo.id.as_str()).collect::<Vec<_>>(), ["1-a/x.jpg"]);
    assert_eq!(
        said(&job.findings, "picture-drawn-upon"),
        "1-a/y.jpg and 2-looked-at/z.jpg are pictures that this program drew on, not a photo as the phone took it; they are not used. Take them out of the job folder, and give glance --picture a folder outside it."
    );
}

#[test]
fn glance_marks_its_pictures_and_draws_none_into_a_setup() {
    const PHOTO: &str = "samples/grass-track/1-mark-forward/02.jpg";
    let folder = tempfile::tempdir().unwrap();
    let setup = folder.path().join("bike/1-a");
    fs::create_dir_all(&setup).unwrap();
    fs::copy(PHOTO, setup.join("02.jpg")).unwrap();
    for inside in [setup.clone(), setup.join("looked-at")] {
        let said = sightcord()
            .arg("glance")
            .arg(setup.join("02.jpg"))
            .arg("--picture")
            .arg(&inside)
            .assert()
            .code(2);
        said.stderr(contains("taken for photos"));
    }
    let outside = folder.path().join("looked-at");
    sightcord()
        .args(["glance", "-q"])
        .arg(setup.join("02.jpg"))
        .arg("--picture")
        .arg(&outside)
        .assert()
        .success();
    let drawn = fs::read(fs::read_dir(&outside).unwrap().next().unwrap().unwrap().path()).unwrap();
    assert_eq!(&drawn[2..2 + DRAWN_SEGMENT.len()], DRAWN_SEGMENT);
}

#[test]
fn films_and_raw_files_are_recognised_and_reported_once() {
    let folder = folder_with(&[
        "IMG_1.jpg",
        "IMG_1.mov",
        "IMG_2.jpg",
        "IMG_2.MOV",
        "walk.mp4",
        "IMG_1.dng",
        "IMG_3.cr2",
        "IMG_4.nef",
        "shot.gif",
    ]);
    let findings = findings(folder.path());
    assert_eq!(
        said(&findings, "live-photo-film"),
        "IMG_1.mov and IMG_2.MOV are the short films of live photos; the photo of the same name is used. Nothing to do."
    );
    assert_eq!(
        said(&findings, "video-not-read"),
        "walk.mp4 is a video; it is not used: a video's pictures are too small and too blurred to measure from. Take photos instead, one \
         from each standpoint."
    );
    assert!(
        said(&findings, "raw-beside-photo")
            .starts_with("IMG_1.dng is a raw camera file; it is not used, since the photo")
    );
    let kinds: Vec<&Finding> =
        findings.iter().filter(|finding| finding.id == "photo-kind-not-read").collect();
    assert_eq!(kinds.len(), 2, "raw files and other pictures: {kinds:?}");
    assert!(
        kinds.iter().any(|finding| finding
            .what
            .starts_with("IMG_3.cr2 and IMG_4.nef are raw camera files")),
        "{kinds:?}"
    );
    assert!(findings.iter().all(|finding| finding.severity != Severity::Refused));
}

#[test]
fn settings_under_another_name_are_refused_with_the_right_one() {
    let folder = folder_with(&["1-a/x.jpg"]);
    fs::write(folder.path().join("job.toml.txt"), "[bike]\nchain_side = \"left\"\n").unwrap();
    sightcord()
        .arg("measure")
        .arg(folder.path())
        .assert()
        .code(2)
        .stderr(contains("job.toml.txt is not read: rename it to job.toml"));
}

#[test]
fn a_decimal_comma_is_reported_with_the_point_in_its_place() {
    let folder = folder_with(&["1-a/x.jpg"]);
    for (typed, meant) in [("60,5", "60.5"), ("-28,0   # inboard", "-28.0")] {
        fs::write(
            folder.path().join("job.toml"),
            format!("[bike]\nname = \"x, y\"\n[rim]\nwidth_mm = {typed}\n"),
        )
        .unwrap();
        let told = sightcord().arg("measure").arg(folder.path()).assert().code(2);
        let typed = typed.split_whitespace().next().unwrap();
        told.stderr(contains("line 4").and(contains(format!(
            "{typed} has a decimal comma. Write it with a point: {meant}."
        ))));
    }
}

/// Even the superuser may not make a folder there.
#[cfg(target_os = "linux")]
#[test]
fn a_place_that_cannot_be_written_to_costs_the_report_and_not_the_figures() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("1-a")).unwrap();
    fs::copy("samples/grass-track/1-mark-forward/02.jpg", folder.path().join("1-a/02.jpg"))
        .unwrap();
    let said = sightcord()
        .arg("measure")
        .arg(folder.path())
        .args(["--to", "/sys/report"])
        .assert()
        .code(2);
    said.stdout(contains("1 of 1 photos").or(contains("one wheel position"))).stderr(
        predicates::str::starts_with(
            "sightcord: the figures are measured and printed here, but no report is written",
        )
        .and(contains("name a folder of your own with --to (the system says: ")),
    );
}

#[test]
fn settings_that_are_not_written_right_are_shown_as_they_must_be() {
    let folder = folder_with(&["1-a/x.jpg"]);
    for (typed, told) in [
        ("name = My bike", r#"text must stand in double quotes. Write name = "My bike"."#),
        ("name = My bike   # mine", r#"Write name = "My bike"."#),
        ("chain_side = left", r#"Write chain_side = "left"."#),
        (r#"name = "My bike"#, r#"second quote is missing. Write name = "My bike"."#),
        (r#"name "My bike""#, r#"no = after the setting's name. Write name = "My bike"."#),
        ("name =", "name has no value. Write one behind the =, or take the line out."),
        ("[rim", "this section's bracket is not closed. Write [rim]."),
    ] {
        fs::write(folder.path().join("job.toml"), format!("[bike]\n{typed}\n")).unwrap();
        let said = sightcord().arg("measure").arg(folder.path()).assert().code(2);
        let said = String::from_utf8(said.get_output().stderr.clone()).unwrap();
        assert!(said.contains(told) && said.contains("line 2"), "{typed}: {said}");
        assert!(!said.contains("literal"), "no words of the parser: {said}");
    }
    fs::write(folder.path().join("job.toml"), "[spacers]\nkind = \"rear\"\n").unwrap();
    let said = sightcord().arg("measure").arg(folder.path()).assert().code(2);
    said.stderr(contains("the nearest is \"sprocket\""));
}

#[test]
fn another_word_for_where_packing_goes_is_answered_with_the_right_one() {
    for (typed, meant) in [("rear", "sprocket"), ("front", "gearbox"), ("spindle", "hub")] {
        let said = sightcord().args(["whatif", "nowhere", "--pack", typed]).assert().code(2);
        said.stderr(contains(format!("You most likely mean: --pack {meant}")));
    }
    let said = sightcord().args(["whatif", "nowhere", "--pack", "xyz"]).assert().code(2);
    said.stderr(contains("hub, sprocket, gearbox"));
    // The right words go on to the folder.
    let said = sightcord().args(["whatif", "nowhere", "--pack", "sprocket"]).assert().code(2);
    said.stderr(contains("there is no result.json in nowhere"));
}

/// Photos of both positions of a sample, put flat into a folder as a phone names them; every
/// `n`-th of each.
fn phone_folder(sample: &str, at: &Path, n: usize) {
    fs::create_dir_all(at).unwrap();
    let mut number = 0;
    for setup in ["1-mark-forward", "2-mark-rearward"] {
        let mut photos: Vec<_> = fs::read_dir(Path::new("samples").join(sample).join(setup))
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        photos.sort();
        for photo in photos.iter().step_by(n) {
            number += 1;
            fs::copy(photo, at.join(format!("IMG_{number:04}.jpg"))).unwrap();
        }
    }
}

#[test]
fn two_bikes_folders_in_one_are_refused_with_the_name_to_give() {
    let folder = tempfile::tempdir().unwrap();
    for (bike, sample) in [("bike-a", "grass-track"), ("bike-b", "swing-arm")] {
        phone_folder(sample, &folder.path().join(bike), 1);
        // A report from when it was measured by itself changes nothing.
        fs::create_dir_all(folder.path().join(bike).join("report")).unwrap();
        fs::write(folder.path().join(bike).join("report/report-files.txt"), "").unwrap();
    }
    let said = sightcord().arg("measure").arg(folder.path()).assert().code(2);
    said.stdout("").stderr(
        contains("bike-a and bike-b are jobs of their own: each holds two positions of the wheel")
            .and(contains("Measure one at a time: name its folder, such as bike-a")),
    );
    assert!(!folder.path().join("report").exists());
}
