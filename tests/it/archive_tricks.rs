//! Archives made by somebody who knows the program and wants it to say "proven" of something else.

use std::fs::{self, File};
use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};

use sightcord::archive::compare::Reproduction;
use sightcord::archive::prove;
use zip::CompressionMethod;
use zip::write::SimpleFileOptions;

use crate::common::kept;
use crate::common::kept::{
    JOB, Kept, content, entries, full, noticed, quick, with_new_checksums, zip_of,
};

type Entries = Vec<(String, Vec<u8>)>;

fn edited(entries: &mut [(String, Vec<u8>)], end: &str, from: &str, to: &str) {
    let bytes = content(entries, end);
    let text = String::from_utf8(bytes.clone()).unwrap();
    assert!(text.contains(from), "{end} holds no {from}:\n{text}");
    *bytes = text.replacen(from, to, 1).into_bytes();
}

/// The archive with one text replaced in one file, all checksums made again.
fn forged(kept: &Kept, end: &str, from: &str, to: &str) -> PathBuf {
    let mut entries = entries(&kept.bytes());
    edited(&mut entries, end, from, to);
    kept.other(&with_new_checksums(entries))
}

fn unpacked(kept: &Kept, into: &Path) -> PathBuf {
    zip::ZipArchive::new(File::open(kept.zip()).unwrap()).unwrap().extract(into).unwrap();
    fs::read_dir(into).unwrap().next().unwrap().unwrap().path()
}

#[test]
fn an_edited_figure_alone_is_noticed() {
    let kept = Kept::new();
    let mut entries = entries(&kept.bytes());
    edited(
        &mut entries,
        "result.json",
        "\"offset\": null",
        "\"offset\": { \"value\": 0.1, \"u\": 0.2, \"quality\": \"good\" }",
    );
    let proof = quick(&kept.other(&zip_of(&entries))).unwrap();
    assert!(
        proof
            .problems
            .iter()
            .any(|problem| problem.contains("data/report/result.json was altered")),
        "{proof:?}"
    );
}

#[test]
fn leaving_out_the_program_s_name_or_the_second_list_makes_the_rules_no_milder() {
    let kept = Kept::new();
    assert!(noticed(&quick(&forged(
        &kept,
        "bag-info.txt",
        "Sealed-By: sightcord",
        "Sealed-By: somebody"
    ))));
    // Without the second list nothing covers README.txt and the facts.
    let mut entries = entries(&kept.bytes());
    entries.retain(|(name, _)| !name.ends_with("tagmanifest-sha256.txt"));
    edited(&mut entries, "bag-info.txt", "Sealed-By: sightcord", "Sealed-By: somebody");
    edited(
        &mut entries,
        "README.txt",
        "Without that number there is no such proof",
        "This is proof enough",
    );
    assert!(noticed(&quick(&kept.other(&zip_of(&entries)))));
}

#[test]
fn what_the_bag_says_of_itself_follows_from_what_is_sealed() {
    let kept = Kept::new();
    for (end, from, to) in [
        ("README.txt", "They do not show who made it or when", "They show who made it and when"),
        ("bag-info.txt", "Photos-With-Place: none", "Photos-With-Place: all"),
        (
            "bag-info.txt",
            "Photos-Changed-To-Remove-Place: none",
            "Photos-Changed-To-Remove-Place: x.jpg",
        ),
        ("bag-info.txt", "Photos: 3", "Photos: 4"),
    ] {
        let proof = quick(&forged(&kept, end, from, to)).unwrap();
        assert!(proof.problems.iter().any(|problem| problem.contains(end)), "{to}: {proof:?}");
    }
}

#[test]
fn the_folder_in_the_zip_is_named_after_the_job() {
    let kept = Kept::new();
    let mut entries = entries(&kept.bytes());
    for (name, _) in &mut entries {
        *name = name.replacen("sightcord-", "sightcork-", 1);
    }
    assert!(noticed(&quick(&kept.other(&zip_of(&entries)))));
}

#[test]
fn lists_written_otherwise_are_noticed_in_an_unpacked_folder_too() {
    let (kept, folder) = (Kept::new(), tempfile::tempdir().unwrap());
    let bag = unpacked(&kept, folder.path());
    assert!(!noticed(&quick(&bag)));
    let list = bag.join("tagmanifest-sha256.txt");
    let honest = fs::read_to_string(&list).unwrap();
    for other in [
        honest.replace('\n', "\r\n"),
        honest.replace("  ", " *"),
        honest.to_uppercase(),
        format!("{honest}\n"),
    ] {
        fs::write(&list, other).unwrap();
        assert!(noticed(&quick(&bag)));
    }
}

#[test]
fn a_name_that_occurs_twice_in_the_result_is_noticed() {
    let kept = Kept::new();
    let twice = "\"schema\": \"another\",\n  \"schema\": \"sightcord-result/1\"";
    assert!(noticed(&quick(&forged(
        &kept,
        "result.json",
        "\"schema\": \"sightcord-result/1\"",
        twice
    ))));
}

#[test]
fn a_result_with_the_same_values_in_other_bytes_is_not_the_sealed_one() {
    let kept = Kept::new();
    let proof = full(&forged(&kept, "result.json", "\n", "\n\n"));
    assert!(matches!(proof.reproduction, Some(Reproduction::Differs(_))), "{proof:?}");
}

#[test]
fn settings_among_the_photos_are_a_stray_file_and_overwrite_nothing() {
    let (kept, folder) = (Kept::new(), tempfile::tempdir().unwrap());
    let mut entries = entries(&kept.bytes());
    let top = entries[0].0.split('/').next().unwrap().to_owned();
    let settings = b"schema = \"sightcord-job/1\"\n";
    let sha256 = sightcord::archive::checksum::sha256(settings);
    entries.push((format!("{top}/data/photos/job.toml"), settings.to_vec()));
    entries.sort();
    let listed =
        format!("\"photos\": [\n    {{ \"file\": \"job.toml\", \"sha256\": \"{sha256}\" }},");
    edited(&mut entries, "result.json", "\"photos\": [", &listed);
    let other = kept.other(&with_new_checksums(entries));
    let proof = full(&other);
    assert!(
        proof
            .problems
            .iter()
            .any(|problem| problem.contains("data/photos/job.toml is a stray file")),
        "{proof:?}"
    );
    zip::ZipArchive::new(File::open(other).unwrap()).unwrap().extract(folder.path()).unwrap();
    let bag = fs::read_dir(folder.path()).unwrap().next().unwrap().unwrap().path();
    assert!(!full(&bag).is_proven());
    assert_eq!(fs::read_to_string(bag.join("data/job.toml")).unwrap(), JOB);
}

#[test]
fn a_page_beside_the_report_is_a_stray_file() {
    let kept = Kept::new();
    let mut entries = entries(&kept.bytes());
    let top = entries[0].0.split('/').next().unwrap().to_owned();
    entries.push((format!("{top}/data/report/opinion.html"), b"All is well.".to_vec()));
    entries.sort();
    let proof = full(&kept.other(&with_new_checksums(entries)));
    assert!(
        proof.problems.iter().any(|problem| problem.contains("opinion.html is a stray file")),
        "{proof:?}"
    );
}

/// A page, texts and findings that another version is said to have written are named, and nothing
/// is said to be unaltered.
#[test]
fn what_of_another_version_cannot_be_checked_is_named() {
    what_another_program_is_said_to_have_written_is_named(
        "version",
        env!("CARGO_PKG_VERSION"),
        "0.0.9",
    );
}

/// Another revision of one version is another program; to leave the revision out makes nothing
/// milder.
#[test]
fn what_of_another_revision_cannot_be_checked_is_named() {
    let this = sightcord::report::program::Program::this().revision;
    if this == "unknown" {
        return;
    }
    what_another_program_is_said_to_have_written_is_named(
        "revision",
        &this,
        "0123456789abcdef0123456789abcdef01234567",
    );
    for unknown in ["", "unknown"] {
        let kept = Kept::new();
        let mut entries = entries(&kept.bytes());
        edited(
            &mut entries,
            "result.json",
            &format!("\"revision\": \"{this}\""),
            &format!("\"revision\": \"{unknown}\""),
        );
        content(&mut entries, "index.html").extend(b"All is well.");
        let proof = full(&kept.other(&with_new_checksums(entries)));
        assert!(
            proof
                .problems
                .iter()
                .any(|problem| problem.contains("index.html is not what this version")),
            "{proof:?}"
        );
    }
}

fn what_another_program_is_said_to_have_written_is_named(key: &str, this: &str, other: &str) {
    let kept = Kept::new();
    let mut entries = entries(&kept.bytes());
    edited(
        &mut entries,
        "result.json",
        &format!("\"{key}\": \"{this}\""),
        &format!("\"{key}\": \"{other}\""),
    );
    if key == "version" {
        edited(
            &mut entries,
            "bag-info.txt",
            &format!("sightcord {this}"),
            &format!("sightcord {other}"),
        );
    }
    content(&mut entries, "index.html").extend(b"All is well.");
    content(&mut entries, "README.txt").extend(b"All is well.");
    let top = entries[0].0.split('/').next().unwrap().to_owned();
    entries.push((format!("{top}/data/report/certificate.html"), b"Certified.".to_vec()));
    entries.sort();
    let at = kept.other(&with_new_checksums(entries));
    let out = kept::run(&["prove", at.to_str().unwrap()]);
    let told = String::from_utf8(out.stdout).unwrap();
    assert_eq!(out.status.code(), Some(1), "{told}");
    assert!(
        !told.lines().any(|line| line.starts_with("Proven"))
            && told.contains("NOT PROVEN as a whole"),
        "{told}"
    );
    for path in ["data/report/index.html", "data/report/certificate.html", "README.txt"] {
        assert!(told.contains(&format!("Not covered: {path}")), "{path} in {told}");
    }
    assert!(!told.contains("nothing was altered"), "{told}");
    // Whoever has the number that was written down has that proof, whatever version it was.
    let number = sightcord::archive::checksum::sha256(&fs::read(&at).unwrap());
    assert_eq!(
        kept::run(&["prove", at.to_str().unwrap(), "--expect", &number]).status.code(),
        Some(0)
    );
}

/// Findings, plan and the rest of a result's words that another version is said to have written
/// prove nothing.
#[test]
fn emptied_lists_are_no_proof_because_another_version_is_named() {
    let kept = Kept::new();
    for pointer in ["/findings", "/expected", "/settings/print", "/camera"] {
        let mut entries = entries(&kept.bytes());
        let this = env!("CARGO_PKG_VERSION");
        let result = content(&mut entries, "result.json");
        let mut value: serde_json::Value = serde_json::from_slice(result).unwrap();
        value["program"]["version"] = "0.0.9".into();
        match value.pointer_mut(pointer).unwrap() {
            serde_json::Value::Array(list) if list.is_empty() => list.push("All is well.".into()),
            serde_json::Value::Array(list) => list.clear(),
            other => *other = "All is well.".into(),
        }
        *result = (serde_json::to_string_pretty(&value).unwrap() + "\n").into_bytes();
        edited(&mut entries, "bag-info.txt", &format!("sightcord {this}"), "sightcord 0.0.9");
        let outcome = prove(&kept.other(&with_new_checksums(entries)), false, None, &|_| {});
        assert!(noticed(&outcome), "{pointer}: {outcome:?}");
    }
}

/// One version on one kind of machine gives the same bytes: whatever differs is named, however
/// little it is.
#[test]
fn an_edit_by_less_than_a_hundredth_of_u_and_emptied_lists_are_named() {
    let kept = Kept::new();
    let said = || serde_json::json!(["All is well."]);
    for (pointer, edit) in [
        ("/findings", serde_json::json!([])),
        ("/summary", "All is well.".into()),
        ("/plan", said()),
        ("/budget", said()),
        ("/verdicts", said()),
    ] {
        let mut entries = entries(&kept.bytes());
        let result = content(&mut entries, "result.json");
        let mut value: serde_json::Value = serde_json::from_slice(result).unwrap();
        *value.pointer_mut(pointer).unwrap() = edit;
        *result = (serde_json::to_string_pretty(&value).unwrap() + "\n").into_bytes();
        let outcome = prove(&kept.other(&with_new_checksums(entries)), false, None, &|_| {});
        // A list of nonsense is no result at all.
        let told = format!("{outcome:?}");
        assert!(
            noticed(&outcome) && (outcome.is_err() || told.contains(pointer)),
            "{pointer}: {told}"
        );
    }
}

#[test]
fn an_empty_folder_in_an_archive_is_named() {
    let kept = Kept::new();
    let folder = tempfile::tempdir().unwrap();
    let bag = unpacked(&kept, folder.path());
    fs::create_dir_all(bag.join("data/photos/3-added")).unwrap();
    let proof = quick(&bag).unwrap();
    assert!(
        !proof.is_proven() && proof.problems.iter().any(|problem| problem.contains("3-added")),
        "{proof:?}"
    );
    // And in the ZIP file itself, where a folder is an entry of its own.
    let bytes = kept.bytes();
    let mut zip = zip::ZipWriter::new_append(Cursor::new(bytes)).unwrap();
    let top = bag.file_name().unwrap().to_str().unwrap();
    zip.add_directory(format!("{top}/data/photos/3-added"), SimpleFileOptions::default()).unwrap();
    let proof = quick(&kept.other(&zip.finish().unwrap().into_inner())).unwrap();
    assert!(
        !proof.is_proven() && proof.problems.iter().any(|problem| problem.contains("3-added")),
        "{proof:?}"
    );
}

/// A result that was put into the job's report folder, of these inputs by its own words, is not
/// sealed.
#[test]
fn a_result_that_does_not_come_from_the_photos_is_measured_again() {
    let kept = Kept::new();
    let out = kept::run(&["measure", kept.job.path().to_str().unwrap(), "-q"]);
    assert_eq!(out.status.code(), Some(1));
    let result = kept.job.path().join("report/result.json");
    let text = fs::read_to_string(&result).unwrap();
    let forged = text.replacen(
        "\"offset\": null",
        "\"offset\": { \"value\": 0.1, \"u\": 0.2, \"quality\": \"good\" }",
        1,
    );
    assert_ne!(forged, text);
    fs::write(&result, forged).unwrap();
    let target = kept.folder.path().join("again.zip");
    let sealed = sightcord::archive::keep(kept.job.path(), &target, false, &|_| {}).unwrap();
    assert_eq!(sealed.anew, sightcord::archive::Anew::NoResult);
    assert_eq!(fs::read(target).unwrap(), kept.bytes());
}

/// The words of another version can't be compared; its figures, verdicts, photos and settings can.
#[test]
fn naming_another_version_hides_no_edit_of_what_counts() {
    let kept = Kept::new();
    let of_other_version = |edit: &dyn Fn(&mut Entries)| {
        let mut entries = entries(&kept.bytes());
        let this = env!("CARGO_PKG_VERSION");
        edited(
            &mut entries,
            "result.json",
            &format!("\"version\": \"{this}\""),
            "\"version\": \"0.0.1\"",
        );
        edited(&mut entries, "bag-info.txt", &format!("sightcord {this}"), "sightcord 0.0.1");
        edit(&mut entries);
        full(&kept.other(&with_new_checksums(entries)))
    };
    let honest = of_other_version(&|_| {});
    assert!(honest.figures_hold(), "{honest:?}");
    assert!(
        honest.notes.iter().any(|note| note.contains("only that version can compare")),
        "{honest:?}"
    );
    for (from, to) in [
        ("\"offset\": null", "\"offset\": { \"value\": 0.1, \"u\": 0.2, \"quality\": \"good\" }"),
        ("\"id\": \"", "\"id\": \"0"),
        ("\"name\": \"A trial\"", "\"name\": \"Another\""),
    ] {
        let proof = of_other_version(&|entries| edited(entries, "result.json", from, to));
        assert!(!proof.figures_hold(), "{to}: {proof:?}");
    }
}

/// A ZIP of the same files that another program might write.
fn zip_with(entries: &[(String, Vec<u8>)], options: SimpleFileOptions, comment: &str) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        zip.start_file(name.as_str(), options).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.set_comment(comment).unwrap();
    zip.finish().unwrap().into_inner()
}

#[test]
fn another_zip_of_the_same_files_is_not_the_archive() {
    let kept = Kept::new();
    let bytes = kept.bytes();
    let entries = entries(&bytes);
    let plain = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .unix_permissions(0o644);
    for (what, other) in [
        ("a comment", zip_with(&entries, plain, "made on Monday")),
        (
            "compressed",
            zip_with(&entries, plain.compression_method(CompressionMethod::Deflated), ""),
        ),
        ("sizes of 64 bits", zip_with(&entries, plain.large_file(true), "")),
        ("other permissions", zip_with(&entries, plain.unix_permissions(0o600), "")),
        ("the archive twice", [bytes.as_slice(), &bytes].concat()),
        ("another archive in front", [zip_of(&entries[..2]).as_slice(), &bytes].concat()),
    ] {
        assert_ne!(other, bytes);
        assert!(noticed(&quick(&kept.other(&other))), "{what}: nobody noticed");
    }
}

#[test]
fn names_that_differ_between_the_two_places_of_a_zip_or_stand_twice_are_noticed() {
    let kept = Kept::new();
    let bytes = kept.bytes();
    let (from, to) = (b"data/photos/1-mark-forward/b.jpg", b"data/photos/1-mark-forward/a.jpg");
    // The lists and the result hold the name as well: only those behind a ZIP's own heads
    // count here.
    let places: Vec<usize> = bytes
        .windows(from.len())
        .enumerate()
        .filter(|(_, window)| window == from)
        .map(|(at, _)| at)
        .collect();
    let (first, last) = (places[0], places[places.len() - 1]);
    for changed in [vec![first], vec![last], vec![first, last]] {
        let mut other = bytes.clone();
        for at in changed {
            other[at..at + to.len()].copy_from_slice(to);
        }
        assert!(noticed(&quick(&kept.other(&other))));
    }
}

#[cfg(unix)]
#[test]
fn a_pipe_is_refused_and_not_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe.zip");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let why = quick(&pipe).unwrap_err().to_string();
    assert!(why.contains("neither a file nor a folder"), "{why}");
}
