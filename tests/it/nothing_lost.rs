//! Nothing of the person's is ever lost: whatever the report is asked to replace, and whenever a
//! run is broken off. All through the built program.
#![cfg(unix)]

use crate::common::kept;

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use crate::common::kept::{run, small_job};
use sightcord::archive::checksum::sha256;
use tempfile::TempDir;

const LIST: &str = "report-files.txt";

/// Every file below a folder with its bytes; links by where they lead.
fn content_of(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let entries = walkdir::WalkDir::new(folder)
        .into_iter()
        .map(Result::unwrap)
        .filter(|entry| !entry.file_type().is_dir());
    entries
        .map(|entry| (entry.path().to_owned(), fs::read(entry.path()).unwrap_or_default()))
        .collect()
}

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sightcord"));
    command.stdout(Stdio::null()).stderr(Stdio::null());
    command
}

fn said(out: &Output) -> String {
    String::from_utf8_lossy(&out.stderr).into_owned()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// A job whose only folder is called `photos`, without a job.toml.
fn job_of_photos() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let photo = fs::read("tests/data/photo/grey.jpg").unwrap();
    let photos = folder.path().join("bike/photos");
    fs::create_dir_all(&photos).unwrap();
    for name in ["a.jpg", "b.jpg", "c.jpg"] {
        fs::write(photos.join(name), [photo.as_slice(), name.as_bytes()].concat()).unwrap();
    }
    folder
}

/// Measures with this target and expects a refusal that holds these words and touches nothing below
/// `whole`.
fn refused(whole: &Path, job: &Path, target: &Path, words: &[&str]) {
    let before = content_of(whole);
    let out = run(&["measure", text(job), "--to", text(target)]);
    let said = said(&out);
    assert_eq!(out.status.code(), Some(2), "{said}");
    assert!(words.iter().all(|word| said.contains(word)), "{words:?} in: {said}");
    assert!(said.contains("Nothing was overwritten") && said.contains("--to"), "{said}");
    assert!(
        content_of(whole) == before,
        "something was touched by the report to {}",
        target.display()
    );
}

#[test]
fn a_result_in_a_job_whose_folder_is_called_photos_does_not_cost_the_photos() {
    let folder = job_of_photos();
    let bike = folder.path().join("bike");
    let json = File::create(bike.join("result.json")).unwrap();
    let status = program().args(["measure", text(&bike), "--json"]).stdout(json).status().unwrap();
    assert_eq!(status.code(), Some(1), "nothing can be measured in these photos");
    assert!(fs::metadata(bike.join("result.json")).unwrap().len() > 1000);
    refused(folder.path(), &bike, &bike, &["the job's own folder"]);
}

#[test]
fn a_report_goes_neither_to_the_job_nor_around_it_nor_into_a_set_up() {
    let folder = job_of_photos();
    let bike = folder.path().join("bike");
    fs::create_dir(bike.join("photos/empty")).unwrap();
    refused(folder.path(), &bike, &bike, &["the job's own folder"]);
    refused(folder.path(), &bike, &bike.join("photos/../."), &["the job's own folder"]);
    refused(folder.path(), &bike, folder.path(), &["holds the job's own", "bike"]);
    refused(folder.path(), &bike, &bike.join("photos"), &["photos", "set-up"]);
    refused(folder.path(), &bike, &bike.join("photos/empty"), &["photos", "set-up"]);
    refused(folder.path(), &bike, &bike.join("photos/new/deeper"), &["photos", "set-up"]);
    // Photos directly in the job's folder.
    let loose = bike.join("photos");
    refused(folder.path(), &loose, &loose, &["the job's own folder"]);
    refused(folder.path(), &loose, &bike, &["holds the job's own"]);
}

#[test]
fn links_do_not_lead_a_report_into_the_photos() {
    use std::os::unix::fs::symlink;
    let folder = job_of_photos();
    let bike = folder.path().join("bike");
    let link = folder.path().join("link");
    symlink(&bike, &link).unwrap();
    refused(folder.path(), &bike, &link, &["the job's own folder"]);
    refused(folder.path(), &link, &bike, &["the job's own folder"]);
    refused(folder.path(), &link, &bike.join("photos/new"), &["set-up"]);
    symlink(bike.join("photos"), bike.join("report")).unwrap();
    refused(folder.path(), &bike, &bike.join("report"), &["set-up"]);
    // A set-up that lies elsewhere.
    let elsewhere = folder.path().join("elsewhere");
    fs::create_dir(&elsewhere).unwrap();
    fs::rename(bike.join("photos"), elsewhere.join("photos")).unwrap();
    symlink(elsewhere.join("photos"), bike.join("photos")).unwrap();
    refused(folder.path(), &bike, &elsewhere.join("photos/new"), &["set-up"]);
    refused(folder.path(), &bike, &elsewhere, &["holds the job's own", "photos"]);
}

#[test]
fn own_pictures_and_edits_in_a_report_are_kept_and_named() {
    let job = small_job();
    let report = job.path().join("report");
    let again = || run(&["measure", text(job.path()), "-q"]);
    assert_eq!(again().status.code(), Some(1));
    assert_eq!(again().status.code(), Some(1), "an unchanged report is replaced");
    for mine in ["photos/mine.jpg", "views/mine.svg", "report.html", "index.html", "result.json"] {
        // A folder that is no part of the report is named as a whole.
        let named = if mine.starts_with("views") { "views/" } else { mine };
        let (at, pristine) = (report.join(mine), content_of(&report));
        fs::create_dir_all(at.parent().unwrap()).unwrap();
        fs::write(&at, "mine").unwrap();
        refused(job.path(), job.path(), &report, &[named]);
        match pristine.get(&at) {
            Some(bytes) => fs::write(&at, bytes).unwrap(),
            None => fs::remove_file(&at).unwrap(),
        }
        let _ = fs::remove_dir(report.join("views"));
    }
    assert_eq!(again().status.code(), Some(1), "as it was, it is replaced again");
    fs::remove_file(report.join(LIST)).unwrap();
    refused(job.path(), job.path(), &report, &[LIST, "Rename or remove"]);
}

#[test]
fn photos_whose_names_look_alike_get_a_picture_each_and_long_names_are_measured() {
    let folder = tempfile::tempdir().unwrap();
    let long = "x".repeat(130);
    let names =
        ["1-vorn/Ä.jpg", "1-vorn/Ö.jpg", "1-vorn/IMG.jpg", "1-vorn/img.JPG", "1-vorn/img.jpeg"]
            .map(str::to_owned);
    let names = [names.as_slice(), &[format!("{long}/{long}.jpg")]].concat();
    for (i, name) in names.iter().enumerate() {
        let at = folder.path().join(name);
        fs::create_dir_all(at.parent().unwrap()).unwrap();
        // Each another picture: the same one would count once.
        let grey =
            |x: u32, y: u32| (64 + ((x / 16 + 1) * (y / 16 + 3) * (7 * i as u32 + 5)) % 128) as u8;
        let picture = image::GrayImage::from_fn(320, 240, |x, y| image::Luma([grey(x, y)]));
        picture.save_with_format(at, image::ImageFormat::Jpeg).unwrap();
    }
    let out = run(&["measure", text(folder.path()), "-q"]);
    assert_eq!(out.status.code(), Some(1), "{}", said(&out));
    assert_eq!(fs::read_dir(folder.path().join("report/photos")).unwrap().count(), names.len());
}

#[test]
fn a_job_that_cannot_be_made_leaves_nothing_and_can_be_made_later() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("deep/bike");
    // No file may grow: the same to the program as a full disk.
    let script = "trap '' XFSZ; ulimit -f 0; exec \"$0\" begin \"$1\"";
    let out = Command::new("sh")
        .args(["-c", script, env!("CARGO_BIN_EXE_sightcord"), text(&job)])
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(2), "{}", said(&out));
    assert!(said(&out).contains("job.toml"), "{}", said(&out));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    assert_eq!(run(&["begin", text(&job)]).status.code(), Some(0));
    assert!(fs::read_to_string(job.join("job.toml")).unwrap().contains("sightcord-job/1"));
    // A file in the place of a set-up.
    let other = folder.path().join("other");
    fs::create_dir(&other).unwrap();
    fs::write(other.join("2-mark-rearward"), "mine").unwrap();
    let out = run(&["begin", text(&other)]);
    assert_eq!(out.status.code(), Some(2));
    assert!(said(&out).contains("2-mark-rearward"), "{}", said(&out));
    assert_eq!(fs::read_dir(&other).unwrap().count(), 1);
}

#[test]
fn pictures_of_a_glance_never_come_to_lie_among_the_photos() {
    let folder = job_of_photos();
    let bike = folder.path().join("bike");
    let photo = bike.join("photos/a.jpg");
    for (looked_at, to) in [
        (&bike, bike.join("pictures")),
        (&bike, bike.join("photos")),
        (&bike, bike.clone()),
        (&photo, bike.join("photos")),
    ] {
        for watch in [false, true] {
            if watch && looked_at == &photo {
                continue;
            }
            let before = content_of(folder.path());
            let mut arguments = vec!["glance", text(looked_at), "--picture", text(&to)];
            arguments.extend(watch.then_some("--watch"));
            let out = run(&arguments);
            assert_eq!(out.status.code(), Some(2), "{}", said(&out));
            assert!(
                said(&out).contains("taken for photos") && said(&out).contains("--picture"),
                "{}",
                said(&out)
            );
            assert_eq!(content_of(folder.path()), before);
            assert!(!bike.join("pictures").exists());
        }
    }
    fs::write(bike.join("job.toml"), kept::JOB).unwrap();
    let out = run(&["glance", text(&photo), "--picture", text(&bike.join("pictures"))]);
    assert_eq!(out.status.code(), Some(2), "a photo of a job, though named alone: {}", said(&out));
}

/// The whole report lies there: every file of its list with its checksum, and no other.
fn assert_whole(report: &Path, turn: usize) {
    let list = fs::read_to_string(report.join(LIST))
        .unwrap_or_else(|why| panic!("turn {turn}: no list: {why}"));
    let listed: BTreeMap<PathBuf, String> = list
        .lines()
        .map(|line| line.split_once("  ").unwrap())
        .map(|(sum, path)| (report.join(path), sum.to_owned()))
        .collect();
    let mut there = content_of(report);
    there.remove(&report.join(LIST));
    let there: BTreeMap<PathBuf, String> =
        there.into_iter().map(|(path, bytes)| (path, sha256(&bytes))).collect();
    assert_eq!(there, listed, "turn {turn}");
}

/// Lets a run go on until it begins to put its report together, and `turn` steps further, or to its
/// end.
fn until_it_writes(running: &mut Child, job: &Path, turn: usize) {
    let passing = || {
        let names = fs::read_dir(job).unwrap().map(|entry| entry.unwrap().file_name());
        names.filter(|name| name.to_string_lossy().starts_with(".sightcord-")).count()
    };
    let before = passing();
    // Where a run has written its list or more, it is about to change the names.
    while passing() <= before && running.try_wait().unwrap().is_none() {
        std::hint::spin_loop();
    }
    for _ in 0..turn {
        if running.try_wait().unwrap().is_some() {
            return;
        }
        passing();
    }
}

#[test]
fn a_run_killed_at_any_of_100_moments_leaves_a_whole_report_and_every_photo() {
    let job = small_job();
    let report = job.path().join("report");
    assert_eq!(run(&["measure", text(job.path()), "-q"]).status.code(), Some(1));
    let photos = || -> BTreeMap<PathBuf, Vec<u8>> {
        let of_person = |path: &Path| {
            path.strip_prefix(job.path())
                .is_ok_and(|path| !path.starts_with("report") && !is_passing(path))
        };
        content_of(job.path()).into_iter().filter(|(path, _)| of_person(path)).collect()
    };
    let before = photos();
    let mut n_killed = 0;
    for turn in 0..100 {
        let unit = if turn % 2 == 0 { "inch" } else { "mm" };
        let mut running =
            program().args(["measure", text(job.path()), "--show", unit]).spawn().unwrap();
        until_it_writes(&mut running, job.path(), turn * 7);
        running.kill().unwrap();
        n_killed += usize::from(running.wait().unwrap().code().is_none());
        assert_whole(&report, turn);
        assert!(photos() == before, "turn {turn} touched what is the person's");
    }
    assert!(n_killed > 20, "only {n_killed} runs were killed in time");
    assert_eq!(
        run(&["measure", text(job.path()), "-q"]).status.code(),
        Some(1),
        "the next run goes its way"
    );
    assert_whole(&report, 100);
}

fn is_passing(path: &Path) -> bool {
    path.components().any(|part| part.as_os_str().to_string_lossy().starts_with(".sightcord-"))
}

#[test]
fn an_interrupted_measurement_leaves_no_passing_file_and_a_whole_report() {
    let job = small_job();
    assert_eq!(run(&["measure", text(job.path()), "-q"]).status.code(), Some(1));
    let mut n_interrupted = 0;
    for turn in 0..24 {
        let mut running = program().args(["measure", text(job.path())]).spawn().unwrap();
        until_it_writes(&mut running, job.path(), turn * 5);
        let signal = if turn % 2 == 0 { "-INT" } else { "-TERM" };
        let _ = Command::new("kill")
            .args([signal, &running.id().to_string()])
            .stderr(Stdio::null())
            .status();
        n_interrupted += usize::from(running.wait().unwrap().code() == Some(130));
        assert_whole(&job.path().join("report"), turn);
        let left: Vec<PathBuf> = content_of(job.path())
            .into_keys()
            .filter(|path| is_passing(path.strip_prefix(job.path()).unwrap()))
            .collect();
        assert_eq!(left, [""; 0].map(PathBuf::from), "turn {turn}");
        let names = fs::read_dir(job.path()).unwrap().map(|entry| entry.unwrap().file_name());
        assert_eq!(
            names.filter(|name| name.to_string_lossy().starts_with('.')).count(),
            0,
            "turn {turn}"
        );
    }
    assert!(n_interrupted > 0, "no run was interrupted in time: the test shows nothing");
}
