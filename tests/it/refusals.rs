//! Bad input on the command line: what can still be measured is, the rest is refused with a reason,
//! and nothing of the user's is overwritten.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use sightcord::figure::Figure;
use sightcord::report::ResultDocument;

fn sightcord() -> Command {
    Command::new(env!("CARGO_BIN_EXE_sightcord"))
}

/// A job folder with these sample photos in set-ups.
fn job(photos: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (from, to) in photos {
        let to = folder.path().join(to);
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::copy(Path::new("samples/grass-track").join(from), to).unwrap();
    }
    folder
}

fn result(folder: &Path) -> ResultDocument {
    let out = sightcord().args(["measure", "--json"]).arg(folder).output().unwrap();
    assert!(
        out.status.code().is_some_and(|code| code <= 1),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    serde_json::from_slice(&out.stdout).expect("a result")
}

fn has(document: &ResultDocument, id: &str) -> bool {
    document.findings.iter().any(|finding| finding.id == id)
}

#[test]
fn a_folder_that_is_not_there_is_named_with_a_way_out() {
    sightcord()
        .args(["measure", "no/such/folder"])
        .assert()
        .code(2)
        .stderr(contains("no/such/folder").and(contains("sightcord begin")));
}

#[test]
fn a_folder_without_photos_says_where_photos_go() {
    let folder = tempfile::tempdir().unwrap();
    sightcord().arg("measure").arg(folder.path()).assert().code(2).stderr(contains("sub-folder"));
    assert!(!folder.path().join("report").exists());
}

#[test]
fn a_photo_without_cards_gives_a_result_that_says_so_and_exit_code_1() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("1-here")).unwrap();
    let grey =
        image::GrayImage::from_fn(320, 240, |x, y| image::Luma([((x * 7 + y * 13) % 251) as u8]));
    grey.save(folder.path().join("1-here/a.png")).unwrap();
    sightcord()
        .args(["measure", "--json"])
        .arg(folder.path())
        .assert()
        .code(1)
        .stdout(contains("no-card"));
}

#[test]
fn one_photo_alone_gives_no_wheel_figure() {
    let folder = job(&[("1-mark-forward/02.jpg", "1-only/02.jpg")]);
    let document = result(folder.path());
    assert!(
        document.figure(&Figure::WheelYaw).is_none()
            && document.figure(&Figure::WheelLean).is_none()
    );
    assert!(
        document.verdicts.iter().all(|v| v.verdict.word() == "undecided"),
        "{:?}",
        document.verdicts
    );
}

#[test]
fn a_bad_file_among_the_photos_spoils_nothing_else() {
    let folder = job(&[
        ("1-mark-forward/01.jpg", "1-a/01.jpg"),
        ("1-mark-forward/02.jpg", "1-a/02.jpg"),
        ("1-mark-forward/05.jpg", "1-a/05.jpg"),
        ("1-mark-forward/06.jpg", "1-a/06.jpg"),
    ]);
    fs::write(folder.path().join("1-a/07.jpg"), "no picture").unwrap();
    let whole = fs::read("samples/grass-track/1-mark-forward/08.jpg").unwrap();
    fs::write(folder.path().join("1-a/08.jpg"), &whole[..whole.len() / 3]).unwrap();
    fs::copy("samples/grass-track/1-mark-forward/01.jpg", folder.path().join("1-a/09.jpg"))
        .unwrap();
    let document = result(folder.path());
    assert!(
        has(&document, "photo-not-a-picture")
            && has(&document, "photo-cut-off")
            && has(&document, "photo-twice")
    );
    assert!(
        document.measured.rims().iter().any(|rim| rim.offset.is_some()),
        "{:?}",
        document.findings
    );
}

#[test]
fn an_unknown_key_in_the_job_is_named_with_the_nearest_known_one() {
    let folder = job(&[("1-mark-forward/02.jpg", "1-only/02.jpg")]);
    fs::write(
        folder.path().join("job.toml"),
        "schema = \"sightcord-job/1\"\n[bike]\nchain_sid = \"left\"\n",
    )
    .unwrap();
    let said = sightcord().arg("measure").arg(folder.path()).assert().code(2);
    said.stderr(contains("chain_sid").and(contains("chain_side")).and(contains("3")));
}

#[test]
fn a_foreign_folder_is_never_written_into() {
    let folder = job(&[("1-mark-forward/02.jpg", "1-only/02.jpg")]);
    let target = folder.path().join("notes");
    fs::create_dir(&target).unwrap();
    fs::write(target.join("result.json"), "mine").unwrap();
    sightcord()
        .arg("measure")
        .arg(folder.path())
        .arg("--to")
        .arg(&target)
        .assert()
        .code(2)
        .stderr(contains("notes"));
    assert_eq!(fs::read_to_string(target.join("result.json")).unwrap(), "mine");
}

#[test]
fn an_earlier_report_of_the_same_job_is_replaced() {
    let folder = job(&[("1-mark-forward/02.jpg", "1-only/02.jpg")]);
    for _ in 0..2 {
        sightcord()
            .args(["measure", "--quiet"])
            .arg(folder.path())
            .assert()
            .code(predicate::le(1))
            .stdout("");
    }
    let report = folder.path().join("report");
    assert!(
        report.join("result.json").is_file()
            && report.join("index.html").is_file()
            && report.join("report.txt").is_file()
    );
}

#[test]
fn begin_touches_nothing_that_is_there() {
    let folder = tempfile::tempdir().unwrap();
    let bike = folder.path().join("bike");
    sightcord().arg("begin").arg(&bike).assert().success().stdout(contains("sightcord measure"));
    assert!(bike.join("1-mark-forward").is_dir());
    fs::write(bike.join("job.toml"), "mine").unwrap();
    sightcord().arg("begin").arg(&bike).assert().code(2).stderr(contains("left as it is"));
    assert_eq!(fs::read_to_string(bike.join("job.toml")).unwrap(), "mine");
}

#[test]
fn glance_names_cards_and_tabs_with_their_roles() {
    sightcord()
        .args(["glance", "samples/grass-track/1-mark-forward/02.jpg"])
        .assert()
        .success()
        .stdout(contains("rear rim, left"));
    sightcord().args(["glance", "README.md"]).assert().code(2).stdout(contains("not readable"));
}

#[test]
fn every_command_has_help_with_an_example() {
    for command in ["sheets", "begin", "glance", "measure", "whatif", "since", "keep", "prove"] {
        sightcord().args([command, "--help"]).assert().success().stdout(contains("Example"));
    }
}

/// A JPEG whose head states 30,000 by 30,000 pixels over a few bytes of data.
fn says_it_is_huge(mut jpeg: Vec<u8>) -> Vec<u8> {
    let frame = jpeg.windows(2).position(|two| two == [0xFF, 0xC0]).expect("a baseline JPEG");
    // Behind the marker: length (2), bits (1), height (2), width (2).
    jpeg[frame + 5..frame + 9].copy_from_slice(&[0x75, 0x30, 0x75, 0x30]);
    jpeg
}

#[cfg(unix)]
#[test]
fn a_folder_of_odd_files_is_measured_without_them_and_each_is_named() {
    use std::os::unix::ffi::OsStrExt;
    use std::os::unix::fs::symlink;

    let folder = tempfile::tempdir().unwrap();
    let setup = folder.path().join("1-a");
    fs::create_dir_all(setup.join("folder.jpg")).unwrap();
    let whole = fs::read("tests/data/photo/grey.jpg").unwrap();
    for (name, bytes) in [
        ("good.jpg", whole.clone()),
        ("empty.jpg", Vec::new()),
        ("cut.jpg", whole[..whole.len() / 2].to_vec()),
        ("huge.jpg", says_it_is_huge(whole.clone())),
    ] {
        fs::write(setup.join(name), bytes).unwrap();
    }
    image::GrayImage::new(1, 1).save(setup.join("pixel.png")).unwrap();
    image::ImageBuffer::from_fn(300, 200, |x, y| image::Luma([(x * 201 + y * 97) as u16]))
        .save(setup.join("deep.png"))
        .unwrap();
    symlink("loop.jpg", setup.join("loop.jpg")).unwrap();
    symlink("nowhere", setup.join("nowhere.jpg")).unwrap();
    symlink(".", setup.join("self")).unwrap();
    symlink("/dev/zero", setup.join("endless.jpg")).unwrap();
    fs::write(setup.join(std::ffi::OsStr::from_bytes(b"\xff.jpg")), &whole).unwrap();
    assert!(
        std::process::Command::new("mkfifo")
            .arg(setup.join("pipe.jpg"))
            .status()
            .unwrap()
            .success()
    );

    let document = result(folder.path());
    let told: String = document
        .findings
        .iter()
        .map(|finding| format!("{} {}\n", finding.what, finding.advice))
        .collect();
    for name in [
        "empty.jpg",
        "cut.jpg",
        "huge.jpg",
        "pixel.png",
        "loop.jpg",
        "nowhere.jpg",
        "endless.jpg",
        "pipe.jpg",
        "\u{FFFD}.jpg",
    ] {
        assert!(told.contains(name), "nothing is said of {name}:\n{told}");
    }
    assert!(!told.contains("deep.png is not used"), "16 bits are read:\n{told}");
}

#[cfg(unix)]
#[test]
fn settings_that_are_no_file_are_refused_and_not_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("1-a")).unwrap();
    fs::copy("tests/data/photo/grey.jpg", folder.path().join("1-a/a.jpg")).unwrap();
    let settings = folder.path().join("job.toml");
    let refused = || {
        for command in ["measure", "keep"] {
            let to = folder.path().join("to");
            let limit = std::time::Duration::from_secs(60);
            let said = sightcord()
                .arg(command)
                .arg(folder.path())
                .arg("--to")
                .arg(&to)
                .timeout(limit)
                .assert()
                .code(2);
            said.stderr(contains("job.toml").and(contains("file")));
            assert!(!to.exists());
        }
    };
    fs::create_dir(&settings).unwrap();
    refused();
    fs::remove_dir(&settings).unwrap();
    std::os::unix::fs::symlink("/dev/zero", &settings).unwrap();
    refused();
    fs::remove_file(&settings).unwrap();
    assert!(std::process::Command::new("mkfifo").arg(&settings).status().unwrap().success());
    refused();
}

#[test]
fn numbers_that_are_none_or_out_of_all_range_are_refused_with_line_and_range() {
    let folder = job(&[("1-mark-forward/02.jpg", "1-only/02.jpg")]);
    for number in
        ["nan", "inf", "1e400", "1e308", "99999999999999999999", "-9223372036854775808", "0", "-1"]
    {
        fs::write(
            folder.path().join("job.toml"),
            format!("[print]\nmeasured_along_mm = {number}\n"),
        )
        .unwrap();
        let said = sightcord().arg("measure").arg(folder.path()).assert().code(2);
        said.stderr(
            contains("line 2").and(contains("measured_along_mm")).and(contains("200 to 450 mm")),
        );
    }
}

#[test]
fn a_report_goes_neither_among_the_photos_nor_onto_a_file_nor_below_one() {
    let folder = job(&[("1-mark-forward/02.jpg", "1-only/02.jpg")]);
    let photo = folder.path().join("1-only/02.jpg");
    let before = fs::read(&photo).unwrap();
    let below = photo.join("x");
    for target in [folder.path(), &folder.path().join("1-only"), &photo, &below] {
        let said =
            sightcord().arg("measure").arg(folder.path()).arg("--to").arg(target).assert().code(2);
        said.stderr(contains("the report can't").and(contains("another folder with --to")));
    }
    assert_eq!(fs::read(&photo).unwrap(), before);
    assert_eq!(fs::read_dir(folder.path().join("1-only")).unwrap().count(), 1);
}
