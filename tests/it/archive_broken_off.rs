//! Keeping and proving broken off, on a full disk, and archives in comparisons: nothing half made
//! and nothing passing is left.
#![cfg(target_os = "linux")]

use std::fs::{self, File};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use crate::common::kept::{Kept, run, small_job};

fn n_files(folder: &Path) -> usize {
    fs::read_dir(folder).unwrap().count()
}

/// What a job's folder holds: every file's path and bytes.
fn content_of(folder: &Path) -> Vec<(std::path::PathBuf, Vec<u8>)> {
    let files = walkdir::WalkDir::new(folder)
        .sort_by_file_name()
        .into_iter()
        .map(|entry| entry.unwrap().into_path());
    files
        .filter(|path| path.is_file())
        .map(|path| (path.clone(), fs::read(path).unwrap()))
        .collect()
}

#[test]
fn ctrl_c_leaves_nothing_half_made_and_no_passing_files() {
    let kept = Kept::new();
    let whole = kept.bytes();
    // A file that is left out makes the program work on copies, which must go away too.
    fs::write(kept.job.path().join("1-mark-forward/film.gif"), b"GIF89a").unwrap();
    let before = content_of(kept.job.path());
    let (targets, passing) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (mut n_interrupted, mut n_whole) = (0, 0);
    for turn in 0..24_u64 {
        let target = targets.path().join(format!("{turn}.zip"));
        let mut command = Command::new(env!("CARGO_BIN_EXE_sightcord"));
        // Every second time an archive is proven, which unpacks it and lays a job out.
        if turn % 2 == 0 {
            command.args(["keep", "--quiet", "--to"]).args([&target, &kept.job.path().to_owned()]);
        } else {
            command.arg("prove").arg(kept.zip());
        }
        let mut running =
            command.env("TMPDIR", passing.path()).stdout(Stdio::null()).spawn().unwrap();
        std::thread::sleep(Duration::from_micros(3_000 + turn * turn * 150));
        let _ = Command::new("kill")
            .args(["-INT", &running.id().to_string()])
            .stderr(Stdio::null())
            .status();
        n_interrupted += u32::from(running.wait().unwrap().code() == Some(130));
        if target.exists() {
            assert!(
                fs::read(&target).unwrap().starts_with(&whole[..4])
                    && zip::ZipArchive::new(File::open(&target).unwrap()).is_ok()
            );
            n_whole += 1;
        }
        assert_eq!(n_files(passing.path()), 0, "turn {turn} left passing files");
    }
    assert_eq!(n_files(targets.path()), n_whole, "something half made is left");
    assert!(n_interrupted > 0, "no run was interrupted in time: the test shows nothing");
    assert_eq!(content_of(kept.job.path()), before, "the job is untouched");
}

/// The room ends in the middle of writing: a limit on a file's size does the same to the program as
/// a disk that others fill.
#[test]
fn a_disk_that_fills_while_writing_leaves_nothing() {
    let (job, folder) = (small_job(), tempfile::tempdir().unwrap());
    let before = content_of(job.path());
    let target = folder.path().join("kept.zip");
    // 16 blocks of 512 or 1024 bytes; the signal that comes with it is ignored, as the program
    // could not be told apart.
    let script = "trap '' XFSZ; ulimit -f 16; exec \"$0\" keep \"$1\" --to \"$2\"";
    let out = Command::new("sh")
        .args(["-c", script, env!("CARGO_BIN_EXE_sightcord")])
        .args([job.path(), &target])
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(2), "{said}");
    assert!(said.contains("can't be written") && said.contains("Nothing is left of it"), "{said}");
    assert_eq!(n_files(folder.path()), 0);
    assert_eq!(content_of(job.path()), before, "the job is untouched");
}

#[test]
fn an_archive_compares_with_its_unpacked_bag_a_report_and_a_result_and_leaves_no_passing_files() {
    let kept = Kept::new();
    let (folder, passing) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    zip::ZipArchive::new(File::open(kept.zip()).unwrap()).unwrap().extract(folder.path()).unwrap();
    let bag = fs::read_dir(folder.path()).unwrap().next().unwrap().unwrap().path();
    let report = bag.join("data/report");
    let forms = [kept.zip(), bag.clone(), report.clone(), report.join("result.json")];
    for before in &forms {
        for after in &forms {
            let mut since = Command::new(env!("CARGO_BIN_EXE_sightcord"));
            let out = since
                .arg("since")
                .args([before, after])
                .env("TMPDIR", passing.path())
                .output()
                .unwrap();
            assert_eq!(
                out.status.code(),
                Some(0),
                "{before:?} {after:?}: {}",
                String::from_utf8_lossy(&out.stderr)
            );
            assert_eq!(n_files(passing.path()), 0);
        }
    }
}

#[test]
fn a_comparison_says_which_file_is_wrong_and_what_to_do() {
    let kept = Kept::new();
    let zip = kept.zip();
    let refused = |other: &Path, words: &[&str]| {
        for pair in [[zip.as_path(), other], [other, zip.as_path()]] {
            let out = run(&["since", pair[0].to_str().unwrap(), pair[1].to_str().unwrap()]);
            let said = String::from_utf8_lossy(&out.stderr);
            assert_eq!(out.status.code(), Some(2), "{said}");
            assert!(words.iter().all(|word| said.contains(word)), "{words:?} in: {said}");
        }
    };
    refused(Path::new("no/such.zip"), &["no/such.zip", "measure"]);
    refused(kept.job.path(), &[kept.job.path().to_str().unwrap(), "measure the job first"]);
    refused(Path::new("README.md"), &["README.md", "is not JSON"]);
    refused(&kept.other(b"PK, but no more"), &["other.zip", "can't be read as a ZIP file"]);
    refused(&kept.other(&kept.bytes()[..5000]), &["other.zip", "can't be read as a ZIP file"]);
    // Another's bag holds no result.
    let bag = tempfile::tempdir().unwrap();
    fs::create_dir(bag.path().join("data")).unwrap();
    fs::write(bag.path().join("data/a.txt"), "abc").unwrap();
    fs::write(
        bag.path().join("bagit.txt"),
        "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
    )
    .unwrap();
    let line = format!("{}  data/a.txt\n", sightcord::archive::checksum::sha256(b"abc"));
    fs::write(bag.path().join("manifest-sha256.txt"), line).unwrap();
    refused(bag.path(), &["holds no data/report/result.json"]);
    // A bag whose result was edited after it was unpacked.
    let folder = tempfile::tempdir().unwrap();
    zip::ZipArchive::new(File::open(&zip).unwrap()).unwrap().extract(folder.path()).unwrap();
    let bag = fs::read_dir(folder.path()).unwrap().next().unwrap().unwrap().path();
    let result = bag.join("data/report/result.json");
    fs::write(&result, fs::read_to_string(&result).unwrap().replace("A trial", "A tribe")).unwrap();
    refused(&bag, &["was altered", "use another copy"]);
}
