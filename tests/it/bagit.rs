//! Bags that others made: the public conformance suite for RFC 8493, published checksums, and an
//! independent validator.

use std::path::{Path, PathBuf};

use sightcord::archive::bag::Bag;
use sightcord::archive::check_bag;
use sightcord::archive::checksum::{Algorithm, checksums, sha256};

/// Published values: FIPS 180 examples and NIST CAVS 11.0 short messages, as two public vector
/// files give them.
#[test]
fn sha256_gives_the_published_values() {
    let million = vec![b'a'; 1_000_000];
    let cases: [(&[u8], &str); 7] = [
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (&million, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
        (&[0xd3], "28969cdfa74a12c82f3bad960b0b000aca2ac329deea5c2328ebc6f2ba9802c1"),
        (&[0x11, 0xaf], "5ca7133fa735326081558ac312c620eeca9970d1e70a4b95533d956f072d1f98"),
        (&[0xb4, 0x19, 0x0e], "dff2e73091f6c05e528896c4c831b9448653dc2ff043528f6769437bc7b975c2"),
    ];
    for (message, published) in cases {
        assert_eq!(sha256(message), published);
        let (length, sums) = checksums(message, &[Algorithm::Sha256]).unwrap();
        assert_eq!((length, sums[0].as_str()), (message.len() as u64, published));
    }
}

fn suite() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/reference/data/bagit-conformance-suite")
}

/// The bags of one kind, by "version/name".
fn bags(kind: &str) -> Vec<(String, PathBuf)> {
    let mut found = Vec::new();
    for version in std::fs::read_dir(suite()).expect("the conformance suite is there").flatten() {
        let Ok(entries) = std::fs::read_dir(version.path().join(kind)) else { continue };
        for entry in entries.flatten().filter(|entry| entry.path().is_dir()) {
            let name = format!(
                "{}/{}",
                version.file_name().to_string_lossy(),
                entry.file_name().to_string_lossy()
            );
            found.push((name, entry.path()));
        }
    }
    found.sort();
    found
}

/// What is wrong with a bag, or with reading it.
fn problems(folder: &Path) -> (Vec<String>, Option<Bag>) {
    match check_bag::check(folder) {
        Ok(bag) => (bag.problems.clone(), Some(bag)),
        Err(why) => (vec![why.to_string()], None),
    }
}

#[test]
#[ignore = "needs ../shared"]
fn valid_bags_of_the_suite_are_accepted() {
    let bags = bags("valid");
    assert!(bags.len() >= 25, "only {} bags were found", bags.len());
    for (name, folder) in bags {
        let (problems, _) = problems(&folder);
        assert!(problems.is_empty(), "{name}: {problems:?}");
    }
}

#[test]
#[ignore = "needs ../shared"]
fn bags_that_deserve_a_warning_are_accepted_with_one() {
    // One of them is about files that file browsers make and delete, and some copies of the suite
    // have lost such a file.
    let bags = bags("warning");
    assert_eq!(bags.len(), 6);
    for (name, folder) in bags {
        let (problems, bag) = problems(&folder);
        assert!(problems.is_empty(), "{name}: {problems:?}");
        let warnings = bag.unwrap().warnings;
        assert!(!warnings.is_empty(), "{name} gave no warning");
    }
}

#[test]
#[ignore = "needs ../shared"]
fn invalid_bags_of_the_suite_are_refused_for_the_right_reason() {
    let reasons = [
        ("v0.97/baginfo-missing-encoding", "\"Tag-File-Character-Encoding\" is missing"),
        ("v0.97/bom-in-bagit.txt", "byte order mark"),
        ("v0.97/corrupt-data-file", "data/bare-filename was altered"),
        (
            "v0.97/corrupt-tag-file",
            "was altered: its checksum is not the one in tagmanifest-md5.txt",
        ),
        ("v0.97/extra-file-in-bag", "data/bar is a stray file"),
        ("v0.97/invalid-version-number", "\".97\" is no version number"),
        ("v0.97/missing-baginfo", "bag-info.txt is missing"),
        ("v0.97/missing-bagit.txt", "holds no bagit.txt"),
        (
            "v0.97/out-of-scope-file-paths-using-dot-notation",
            "\"../../../README.md\", which is not a safe path",
        ),
        (
            "v0.97/out-of-scope-file-paths-using-dot-notation-for-fetch",
            "fetch.txt lists \"../../../README.md\"",
        ),
        (
            "v0.97/same-filename-listed-twice-with-different-hashes",
            "twice with different checksums",
        ),
        ("v1.0/bagit-with-invalid-whitespace", "line 1 is \"BagIt-Version : 1.0\""),
        ("v1.0/notAllManifestsListAllFiles", "data/missingFromManifest.txt is a stray file"),
        ("v1.0/same-filename-listed-twice-with-different-hashes", "twice with different checksums"),
        ("v1.0/same-filename-listed-twice-with-the-same-hash", "lists \"data/README\" twice"),
    ];
    let bags = bags("invalid");
    assert_eq!(
        bags.iter().map(|(name, _)| name.as_str()).collect::<Vec<_>>(),
        reasons.map(|(name, _)| name)
    );
    for ((name, folder), (_, reason)) in bags.iter().zip(reasons) {
        let (problems, _) = problems(folder);
        assert!(problems.iter().any(|problem| problem.contains(reason)), "{name}: {problems:?}");
    }
}

#[test]
#[ignore = "needs ../shared"]
fn paths_that_lead_out_of_the_bag_on_any_system_are_refused() {
    for kind in ["linux-only", "windows-only"] {
        let bags = bags(kind);
        assert_eq!(bags.len(), 6, "{kind}");
        for (name, folder) in bags {
            let (problems, _) = problems(&folder);
            assert!(
                problems.iter().any(|problem| problem.contains("not a safe path")),
                "{kind} {name}: {problems:?}"
            );
        }
    }
}

#[test]
#[ignore = "needs ../shared"]
fn other_peoples_bags_are_proven_by_their_checksums_alone() {
    let folder = suite().join("v1.0/valid/basicBag");
    let proof = sightcord::archive::prove(&folder, true, None, &|_| {}).unwrap();
    assert!(proof.is_proven(), "{proof:?}");
    let why = sightcord::archive::prove(&folder, false, None, &|_| {}).unwrap_err().to_string();
    assert!(why.contains("--quick"), "{why}");
}
