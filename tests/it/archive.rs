//! Keeping a job and proving it: whatever is done to an archive is noticed, and nothing half made
//! is left.

use std::fs::{self, File};
use std::io::{Cursor, Read};
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use crate::common::kept::{
    JOB, Kept, content, entries, full, noticed, quick, run, small_job, with_new_checksums, zip_of,
};
use sightcord::archive::bag::{MANIFEST, TAG_MANIFEST};
use sightcord::archive::checksum::sha256;
use sightcord::archive::compare::Reproduction;
use sightcord::archive::{Anew, ProveError, keep, prove};

#[test]
fn a_kept_job_is_proven_and_gives_the_same_result() {
    let kept = Kept::new();
    let proof = full(&kept.zip());
    assert!(proof.is_proven(), "{proof:?}");
    assert_eq!(proof.reproduction, Some(Reproduction::Identical));
    assert_eq!(proof.sha256.as_deref(), Some(sha256(&kept.bytes()).as_str()));
    assert_eq!(proof.sha256.as_deref(), Some(kept.sha256.as_str()));
    // It is proven in the folder it was unpacked to as well.
    let unpacked = tempfile::tempdir().unwrap();
    zip::ZipArchive::new(File::open(kept.zip()).unwrap())
        .unwrap()
        .extract(unpacked.path())
        .unwrap();
    let bag = fs::read_dir(unpacked.path()).unwrap().next().unwrap().unwrap().path();
    assert!(full(&bag).is_proven());
    fs::write(bag.join("stray.txt"), "x").unwrap();
    assert!(noticed(&quick(&bag)));
}

#[test]
fn the_archive_holds_the_photos_byte_for_byte_and_hangs_on_the_job_alone() {
    let kept = Kept::new();
    let entries = entries(&kept.bytes());
    let names: Vec<&str> =
        entries.iter().map(|(name, _)| name.split_once('/').unwrap().1).collect();
    assert_eq!(
        names,
        [
            "README.txt",
            "bag-info.txt",
            "bagit.txt",
            "data/job.toml",
            "data/photos/1-mark-forward/a.jpg",
            "data/photos/1-mark-forward/b.jpg",
            "data/photos/2-mark-rearward/c.jpg",
            "data/report/index.html",
            "data/report/report.txt",
            "data/report/result.json",
            MANIFEST,
            TAG_MANIFEST,
        ]
    );
    for (name, bytes) in &entries {
        if let Some((_, photo)) = name.split_once("data/photos/") {
            assert_eq!(*bytes, fs::read(kept.job.path().join(photo)).unwrap());
        }
    }
    // Another folder with the same files, another name of the file, an earlier report in place: the
    // same bytes.
    let again = small_job();
    let binary = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .arg("measure")
        .arg(again.path())
        .arg("-q")
        .status()
        .unwrap();
    assert_eq!(binary.code(), Some(1), "nothing can be measured from grey photos");
    let target = kept.folder.path().join("second name.zip");
    let sealed = keep(again.path(), &target, false, &|_| {}).unwrap();
    assert_eq!(sealed.anew, Anew::No, "the report in the folder is of these inputs");
    assert_eq!(fs::read(target).unwrap(), kept.bytes());
}

/// A newer ZIP crate that wrote other headers would make every archive kept before look altered.
#[test]
fn the_canonical_form_of_a_zip_stays_what_it_is() {
    let bytes = zip_of(&[
        ("a/b.txt".to_owned(), b"hello\n".to_vec()),
        ("a/\u{e9}.txt".to_owned(), Vec::new()),
    ]);
    assert_eq!(sha256(&bytes), "8aa87029df2b7e5b2c90bef126282c6fd999e370ea108e0376a1038ddaa97eb3");
}

#[test]
fn every_flipped_byte_is_noticed() {
    let kept = Kept::new();
    let bytes = kept.bytes();
    // A fixed sequence, so that a failure can be repeated: a linear congruential generator with
    // Knuth's MMIX constants.
    let mut state = 20_240_517_u64;
    let mut next = |below: usize| {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % below
    };
    for _ in 0..200 {
        let (at, bit) = (next(bytes.len()), next(8));
        let mut altered = bytes.clone();
        altered[at] ^= 1 << bit;
        let outcome = quick(&kept.other(&altered));
        assert!(noticed(&outcome), "bit {bit} of byte {at} was flipped, and nobody noticed");
    }
}

#[test]
fn every_part_of_the_headers_counts() {
    let kept = Kept::new();
    let bytes = kept.bytes();
    // The last two kilobytes hold the ZIP's directory, which no checksum covers.
    for at in ((bytes.len() - 2000)..bytes.len()).step_by(9) {
        let mut altered = bytes.clone();
        altered[at] ^= 0x10;
        assert!(
            noticed(&quick(&kept.other(&altered))),
            "byte {at} was changed, and nobody noticed"
        );
    }
}

#[test]
fn cutting_adding_reordering_and_renaming_are_noticed() {
    let kept = Kept::new();
    let bytes = kept.bytes();
    for length in [0, 1, 100, bytes.len() / 2, bytes.len() - 1] {
        assert!(noticed(&quick(&kept.other(&bytes[..length]))), "cut to {length} bytes");
    }
    assert!(noticed(&quick(&kept.other(&[bytes.as_slice(), b"x"].concat()))));
    assert!(noticed(&quick(&kept.other(&[b"x", bytes.as_slice()].concat()))));

    let sorted = entries(&bytes);
    assert_eq!(zip_of(&sorted), bytes, "the tests write ZIP files as the program does");
    let mut other_order = sorted.clone();
    other_order.swap(3, 4);
    assert!(noticed(&quick(&kept.other(&zip_of(&other_order)))));

    let mut renamed = sorted.clone();
    renamed[4].0 = renamed[4].0.replace("a.jpg", "d.jpg");
    renamed.sort();
    assert!(noticed(&quick(&kept.other(&zip_of(&renamed)))));

    let mut swapped = sorted.clone();
    let first = swapped[4].1.clone();
    swapped[4].1 = std::mem::replace(&mut swapped[5].1, first);
    assert!(noticed(&quick(&kept.other(&zip_of(&swapped)))));
    // Also with all checksums made again: the result names the photos it was measured from.
    assert!(noticed(&quick(&kept.other(&with_new_checksums(swapped)))));

    let mut missing = sorted.clone();
    missing.remove(5);
    assert!(noticed(&quick(&kept.other(&zip_of(&missing)))));

    let mut stray = sorted.clone();
    stray.push((format!("{}/zzz.txt", sorted[0].0.split('/').next().unwrap()), b"x".to_vec()));
    assert!(noticed(&quick(&kept.other(&zip_of(&stray)))));
}

#[test]
fn a_figure_edited_with_all_checksums_made_again_is_caught_by_measuring_again() {
    let kept = Kept::new();
    let honest = entries(&kept.bytes());
    assert_eq!(
        with_new_checksums(honest.clone()),
        kept.bytes(),
        "the forger writes as the program does"
    );

    for (from, to) in [
        ("\"offset\": null", "\"offset\": { \"value\": 0.1, \"u\": 0.2, \"quality\": \"good\" }"),
        ("\"used\": false", "\"used\": true"),
    ] {
        let mut forged = honest.clone();
        let result = content(&mut forged, "result.json");
        let text = String::from_utf8(result.clone()).unwrap();
        assert!(text.contains(from), "{text}");
        *result = text.replacen(from, to, 1).into_bytes();
        let at = kept.other(&with_new_checksums(forged));
        assert!(quick(&at).unwrap().is_proven(), "the checksums alone can't show it");
        let proof = full(&at);
        assert!(!proof.is_proven(), "{from} became {to}");
        assert!(matches!(proof.reproduction, Some(Reproduction::Differs(_))), "{proof:?}");
        // And by the number that was written down, without measuring.
        let expected = prove(&at, true, Some(&kept.sha256), &|_| {}).unwrap();
        assert_eq!((expected.as_expected, expected.is_proven()), (Some(false), false));
    }
    // The report for people is made from the figures, so it can't say something else.
    let mut forged = honest.clone();
    content(&mut forged, "report.txt").extend(b"All is well.\n");
    assert!(!full(&kept.other(&with_new_checksums(forged))).is_proven());
    // Nor can the settings.
    let mut forged = honest;
    content(&mut forged, "job.toml").extend(b"chain_side = \"left\"\n");
    assert!(!full(&kept.other(&with_new_checksums(forged))).is_proven());
}

#[test]
fn the_number_that_was_written_down_is_checked() {
    let kept = Kept::new();
    let grouped = format!("{} {}", &kept.sha256[..32].to_uppercase(), &kept.sha256[32..]);
    let proof = prove(&kept.zip(), true, Some(&grouped), &|_| {}).unwrap();
    assert_eq!((proof.as_expected, proof.is_proven()), (Some(true), true));
    assert!(matches!(prove(&kept.zip(), true, Some("abc"), &|_| {}), Err(ProveError::NotANumber)));
}

#[test]
fn an_archive_that_could_do_harm_is_not_unpacked() {
    let kept = Kept::new();
    let refused = |entries: &[(&str, &[u8])]| {
        let entries: Vec<(String, Vec<u8>)> =
            entries.iter().map(|(name, bytes)| ((*name).to_owned(), bytes.to_vec())).collect();
        let why = quick(&kept.other(&zip_of(&entries))).unwrap_err().to_string();
        assert!(why.contains("was not unpacked"), "{why}");
    };
    for name in ["../x", "/tmp/x", "a/../../x", "C:/x", "a\\x", "a/NUL", "~/x"] {
        refused(&[(name, b"x"), ("a/bagit.txt", b"")]);
    }
    refused(&[("a/x.jpg", b"x"), ("a/X.jpg", b"y")]);
    assert!(!Path::new("../x").exists());

    // A bomb: 64 MB of zeros in 64 kB.
    let mut bomb = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default()
        .compression_method(zip::CompressionMethod::Deflated);
    bomb.start_file("a/data/zeros", options).unwrap();
    std::io::copy(&mut std::io::repeat(0).take(64 << 20), &mut bomb).unwrap();
    let bomb = bomb.finish().unwrap().into_inner();
    let why = quick(&kept.other(&bomb)).unwrap_err().to_string();
    assert!(why.contains("when unpacked"), "{why}");

    // A link.
    let mut link = zip::ZipWriter::new(Cursor::new(Vec::new()));
    link.add_symlink("a/link", "/etc/hostname", zip::write::SimpleFileOptions::default()).unwrap();
    let why = quick(&kept.other(&link.finish().unwrap().into_inner())).unwrap_err().to_string();
    assert!(why.contains("is a link"), "{why}");
}

#[test]
fn the_commands_end_with_the_codes_that_are_documented() {
    let kept = Kept::new();
    let zip = kept.zip();
    let zip = zip.to_str().unwrap();
    let code = |arguments: &[&str]| run(arguments).status.code();
    assert_eq!(code(&["prove", zip]), Some(0));
    assert_eq!(code(&["prove", zip, "--quick", "--expect", &kept.sha256]), Some(0));
    let mistyped = run(&["prove", zip, "--quick", "--expect", &"0".repeat(64)]);
    let told = String::from_utf8_lossy(&mistyped.stdout).into_owned();
    assert_eq!(mistyped.status.code(), Some(1));
    assert!(
        told.contains("NOT PROVEN: its number is not the one you gave")
            && !told.contains("altered"),
        "{told}"
    );
    assert_eq!(code(&["prove", "no-such.zip"]), Some(2));
    assert_eq!(code(&["prove", kept.job.path().to_str().unwrap()]), Some(2));
    let mut altered = kept.bytes();
    altered[2000] ^= 1;
    assert_eq!(code(&["prove", kept.other(&altered).to_str().unwrap()]), Some(1));
    // An existing file stays as it is.
    let job = kept.job.path().to_str().unwrap();
    let before = kept.bytes();
    let again = run(&["keep", job, "--to", zip]);
    assert_eq!(again.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&again.stderr).contains("is there already"));
    assert_eq!(kept.bytes(), before);
    // The number is what is printed.
    let second = kept.folder.path().join("second.zip");
    let quiet = run(&["keep", job, "--to", second.to_str().unwrap(), "--quiet"]);
    assert_eq!(String::from_utf8(quiet.stdout).unwrap().trim(), kept.sha256);
}

#[test]
fn two_archives_are_compared_and_an_altered_one_is_not() {
    let kept = Kept::new();
    let zip = kept.zip();
    let since =
        |after: &Path| run(&["since", zip.to_str().unwrap(), after.to_str().unwrap(), "--json"]);
    let same = since(&zip);
    assert_eq!(same.status.code(), Some(0), "{}", String::from_utf8_lossy(&same.stderr));
    let mut altered = kept.bytes();
    altered[2000] ^= 1;
    let refused = since(&kept.other(&altered));
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        String::from_utf8_lossy(&refused.stderr).contains("was altered"),
        "{}",
        String::from_utf8_lossy(&refused.stderr)
    );
}

#[test]
fn names_that_cannot_be_unpacked_or_checked_everywhere_are_refused_before_anything_is_written() {
    let job = small_job();
    let target = job.path().join("kept.zip");
    for name in [
        "1-mark-forward/A.jpg",
        "1-mark-forward/12:30.jpg",
        "1-mark-forward/con.jpg",
        "1-mark-forward/50%.jpg",
    ] {
        let at = job.path().join(name);
        fs::write(&at, fs::read("tests/data/photo/rgb.jpg").unwrap()).unwrap();
        let why = keep(job.path(), &target, false, &|_| {}).unwrap_err().to_string();
        assert!(why.contains("Rename it") && why.contains(name), "{why}");
        fs::remove_file(at).unwrap();
    }
    assert!(!target.exists());
}

#[test]
fn files_that_are_left_out_don_t_keep_the_rest_from_being_proven() {
    let job = small_job();
    fs::copy(job.path().join("1-mark-forward/a.jpg"), job.path().join("2-mark-rearward/copy.jpg"))
        .unwrap();
    fs::write(job.path().join("2-mark-rearward/film.gif"), b"GIF89a").unwrap();
    let target = job.path().join("kept.zip");
    let sealed = keep(job.path(), &target, false, &|_| {}).unwrap();
    assert_eq!(sealed.left_out.len(), 2, "{:?}", sealed.left_out);
    assert!(full(&target).is_proven());
}

#[cfg(target_os = "linux")]
#[test]
fn killed_at_any_moment_nothing_is_left_under_the_final_name() {
    let kept = Kept::new();
    let whole = kept.bytes();
    let folder = tempfile::tempdir().unwrap();
    let (mut n_whole, mut n_killed) = (0, 0);
    for turn in 0..50_u64 {
        let target = folder.path().join(format!("{turn}.zip"));
        let mut keeping = Command::new(env!("CARGO_BIN_EXE_sightcord"))
            .args(["keep", "--quiet", "--to"])
            .args([&target, &kept.job.path().to_owned()])
            .stdout(std::process::Stdio::null())
            .spawn()
            .unwrap();
        // Moments spread over the time that keeping takes, the end more densely than the beginning.
        std::thread::sleep(Duration::from_micros(turn * turn * 40));
        keeping.kill().unwrap();
        n_killed += u32::from(!keeping.wait().unwrap().success());
        if target.exists() {
            assert_eq!(fs::read(&target).unwrap(), whole, "killed at turn {turn}");
            n_whole += 1;
        }
    }
    let left = fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(left, n_whole, "something half made is left");
    assert!(n_killed > 0, "no run was killed in time: the test shows nothing");
    assert_eq!(entries(&whole).len(), 12);
    assert_eq!(fs::read(kept.job.path().join("job.toml")).unwrap(), JOB.as_bytes());
}

/// Fills a small file system; where this user may not mount one, a name that cannot be written
/// stands for it.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_leaves_nothing() {
    let job = small_job();
    let disk = tempfile::tempdir().unwrap();
    let mount = Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=16k", "tmpfs"])
        .arg(disk.path())
        .output();
    if !mount.is_ok_and(|mount| mount.status.success()) {
        eprintln!("skipped: this user may not mount a file system");
        return;
    }
    let target = disk.path().join("kept.zip");
    let outcome = keep(job.path(), &target, false, &|_| {});
    let left = fs::read_dir(disk.path()).unwrap().count();
    let unmounted = Command::new("umount").arg(disk.path()).status().unwrap();
    assert!(unmounted.success());
    let why = outcome.unwrap_err().to_string();
    assert!(why.contains("room"), "{why}");
    assert_eq!(left, 0);
}

/// Tools that know nothing of this program accept what it writes.
#[cfg(target_os = "linux")]
#[test]
fn strangers_tools_accept_the_archive() {
    let kept = Kept::new();
    let unpacked = tempfile::tempdir().unwrap();
    match Command::new("unzip").arg("-t").arg(kept.zip()).output() {
        Ok(tested) => {
            assert!(tested.status.success(), "{}", String::from_utf8_lossy(&tested.stdout))
        }
        Err(_) => eprintln!("unzip is not installed here"),
    }
    zip::ZipArchive::new(File::open(kept.zip()).unwrap())
        .unwrap()
        .extract(unpacked.path())
        .unwrap();
    let bag = fs::read_dir(unpacked.path()).unwrap().next().unwrap().unwrap().path();
    for list in [MANIFEST, TAG_MANIFEST] {
        let checked =
            Command::new("sha256sum").arg("-c").arg(list).current_dir(&bag).output().unwrap();
        assert!(checked.status.success(), "{}", String::from_utf8_lossy(&checked.stdout));
    }
    match std::env::var_os("SIGHTCORD_BAGIT") {
        None => {
            eprintln!("the environment variable SIGHTCORD_BAGIT names no independent validator")
        }
        Some(validator) => {
            let checked = Command::new(&validator).arg("--validate").arg(&bag).output().unwrap();
            assert!(checked.status.success(), "{}", String::from_utf8_lossy(&checked.stderr));
        }
    }
}

#[test]
#[ignore = "slow: measures a sample four times"]
fn a_sample_gives_its_result_again_byte_for_byte() {
    let folder = tempfile::tempdir().unwrap();
    let target = folder.path().join("sample.zip");
    let sealed = keep(Path::new("samples/grass-track"), &target, false, &|_| {}).unwrap();
    assert!(sealed.left_out.is_empty());
    let proof = full(&target);
    assert_eq!(proof.reproduction, Some(Reproduction::Identical), "{proof:?}");
    assert!(proof.is_proven(), "{proof:?}");
    // A figure moved by a twentieth of its U, all checksums made again: only measuring again can
    // tell.
    let mut forged = entries(&fs::read(&target).unwrap());
    let result = content(&mut forged, "result.json");
    let mut document: serde_json::Value = serde_json::from_slice(result).unwrap();
    let (value, u) =
        (document["wheel"]["yaw"]["value"].clone(), document["wheel"]["yaw"]["u"].clone());
    document["wheel"]["yaw"]["value"] =
        (value.as_f64().unwrap() + u.as_f64().unwrap() / 20.0).into();
    *result = serde_json::to_vec_pretty(&document).unwrap();
    let at = folder.path().join("forged.zip");
    fs::write(&at, with_new_checksums(forged)).unwrap();
    assert!(quick(&at).unwrap().is_proven(), "the checksums alone can't show it");
    let told = full(&at).reproduction;
    assert!(
        matches!(&told, Some(Reproduction::Differs(told)) if told[0].starts_with("/wheel/yaw")),
        "{told:?}"
    );
    // Moved by less than a hundredth of U, with the plan and the budget emptied: all of it is
    // named.
    let mut forged = entries(&fs::read(&target).unwrap());
    let result = content(&mut forged, "result.json");
    let mut document: serde_json::Value = serde_json::from_slice(result).unwrap();
    let yaw = &mut document["wheel"]["yaw"];
    yaw["value"] = (yaw["value"].as_f64().unwrap() + 0.0099 * yaw["u"].as_f64().unwrap()).into();
    document["plan"] = serde_json::json!([]);
    document["budget"] = serde_json::json!([]);
    *result = serde_json::to_vec_pretty(&document).unwrap();
    fs::write(&at, with_new_checksums(forged)).unwrap();
    let told = format!("{:?}", full(&at));
    for place in ["/wheel/yaw", "/plan", "/budget"] {
        assert!(told.contains(&format!("{place}:")), "{place}: {told}");
    }
}
