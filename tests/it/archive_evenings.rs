//! A job of several evenings in one archive: all are sealed, and each is proven by itself.

use std::fs;

use crate::common::kept::{
    JOB, entries, full, noticed, quick, run, small_job, with_new_checksums, zip_of,
};
use sightcord::archive::compare::Reproduction;
use sightcord::archive::evenings::Within;
use sightcord::archive::{keep, layout};
use tempfile::TempDir;

/// A small job with a second evening that holds one photo of its own, and a third that was only
/// begun.
fn three_evenings() -> TempDir {
    let job = small_job();
    let photo = fs::read("tests/data/photo/grey.jpg").unwrap();
    for (evening, photos) in [("evening-2", vec!["1-mark-forward/a.jpg"]), ("evening-3", vec![])] {
        let at = job.path().join(evening);
        fs::create_dir(&at).unwrap();
        fs::write(at.join("job.toml"), JOB).unwrap();
        for name in photos {
            fs::create_dir_all(at.join(name).parent().unwrap()).unwrap();
            fs::write(at.join(name), [photo.as_slice(), b"second evening"].concat()).unwrap();
        }
    }
    job
}

fn content<'entries>(entries: &'entries [(String, Vec<u8>)], end: &str) -> &'entries Vec<u8> {
    &entries.iter().find(|(name, _)| name.ends_with(end)).unwrap().1
}

/// The job kept, with the folder it lies in.
fn kept() -> (TempDir, TempDir, Vec<u8>) {
    let (folder, job) = (tempfile::tempdir().unwrap(), three_evenings());
    let at = folder.path().join("a.zip");
    let sealed = keep(job.path(), &at, false, &|_| {}).unwrap();
    assert_eq!((sealed.n_evenings, sealed.n_photos), (2, 4));
    let left_out: Vec<&str> = sealed.left_out.iter().map(|finding| finding.id.as_str()).collect();
    assert_eq!(left_out, ["evening-not-kept"], "the third was only begun");
    let bytes = fs::read(at).unwrap();
    (folder, job, bytes)
}

#[test]
fn all_evenings_are_sealed_and_each_comes_out_again() {
    let (folder, job, bytes) = kept();
    let entries = entries(&bytes);
    let names: Vec<&str> =
        entries.iter().map(|(name, _)| name.split_once('/').unwrap().1).collect();
    for name in [
        "data/job.toml",
        "data/photos/1-mark-forward/a.jpg",
        "data/report/result.json",
        "data/evening-2/job.toml",
        "data/evening-2/photos/1-mark-forward/a.jpg",
        "data/evening-2/report/result.json",
        "data/evening-2/report/index.html",
    ] {
        assert!(names.contains(&name), "{name}: {names:?}");
    }
    assert!(names.iter().all(|name| !name.contains("evening-3")), "{names:?}");
    let sealed = content(&entries, "data/evening-2/photos/1-mark-forward/a.jpg");
    let own = fs::read(job.path().join("evening-2/1-mark-forward/a.jpg")).unwrap();
    assert!(*sealed == own);
    let readme = String::from_utf8(content(&entries, "README.txt").clone()).unwrap();
    assert!(readme.contains("data/evening-2/") && readme.contains("4 photos"), "{readme}");

    let proof = full(&folder.path().join("a.zip"));
    assert!(proof.is_proven(), "{proof:?}");
    assert_eq!((proof.n_evenings, &proof.reproduction), (2, &Some(Reproduction::Identical)));
    // The second evening's sealed result is that of its folder measured by itself.
    let out = run(&["measure", "--json", job.path().join("evening-2").to_str().unwrap()]);
    assert!(*content(&entries, "data/evening-2/report/result.json") == out.stdout);
    // The same job gives the same bytes.
    let again = folder.path().join("b.zip");
    keep(three_evenings().path(), &again, false, &|_| {}).unwrap();
    assert!(fs::read(again).unwrap() == bytes);
    // An evening by itself is an archive of one.
    let one = folder.path().join("two.zip");
    let sealed = keep(&job.path().join("evening-2"), &one, false, &|_| {}).unwrap();
    assert_eq!((sealed.n_evenings, sealed.n_photos), (1, 1));
    assert!(full(&one).is_proven());
}

#[test]
fn what_is_altered_of_a_later_evening_is_noticed() {
    let (folder, _job, bytes) = kept();
    let other = folder.path().join("other.zip");
    let all = entries(&bytes);
    let top = all[0].0.split('/').next().unwrap().to_owned();
    let tampered = |change: &dyn Fn(&mut Vec<(String, Vec<u8>)>)| {
        let mut entries = all.clone();
        change(&mut entries);
        entries.sort();
        fs::write(&other, with_new_checksums(entries)).unwrap();
    };
    let named = |name: &str| format!("{top}/{name}");
    let at = |entries: &[(String, Vec<u8>)], name: &str| {
        entries.iter().position(|(entry, _)| *entry == named(name)).unwrap()
    };
    // Every checksum is made again each time, as a forger would.
    tampered(&|entries| {
        let photo = at(entries, "data/evening-2/photos/1-mark-forward/a.jpg");
        entries[photo].1.push(b'x');
    });
    assert!(noticed(&quick(&other)), "another photo than the result names");
    tampered(&|entries| {
        let result = at(entries, "data/evening-2/report/result.json");
        let text = String::from_utf8(entries[result].1.clone()).unwrap();
        entries[result].1 = text.replace("A trial", "A trick").into_bytes();
    });
    let proof = full(&other);
    assert!(!proof.is_proven(), "{proof:?}");
    for gone in ["data/evening-2/report/result.json", "data/evening-2/photos/1-mark-forward/a.jpg"]
    {
        tampered(&|entries| {
            let gone = at(entries, gone);
            entries.remove(gone);
        });
        assert!(noticed(&quick(&other)), "{gone} is gone");
    }
    tampered(&|entries| entries.retain(|(name, _)| !name.contains("/evening-2/")));
    assert!(noticed(&quick(&other)), "a whole evening is gone");
    for stray in ["data/evening-2/notes.txt", "data/evening-3/job.toml", "data/evening-02/a.jpg"] {
        tampered(&|entries| entries.push((named(stray), b"x".to_vec())));
        assert!(noticed(&quick(&other)), "{stray} is too many");
    }
    // Untouched, the same way of packing is not noticed: it is the changes that were.
    let untouched: Vec<(String, Vec<u8>)> = all.clone();
    fs::write(&other, zip_of(&untouched)).unwrap();
    assert!(!noticed(&quick(&other)));
}

#[test]
fn the_commands_say_how_many_evenings_there_are() {
    let (folder, job) = (tempfile::tempdir().unwrap(), three_evenings());
    let zip = folder.path().join("a.zip");
    let (zip, job) = (zip.to_str().unwrap(), job.path().to_str().unwrap());
    let kept = run(&["keep", job, "--to", zip]);
    let said = String::from_utf8_lossy(&kept.stdout).into_owned();
    assert!(said.contains("4 photos of 2 evenings") && said.contains("evening-3"), "{said}");
    let proven = run(&["prove", zip]);
    let said = String::from_utf8_lossy(&proven.stdout).into_owned();
    assert_eq!(proven.status.code(), Some(0), "{said}");
    assert!(said.contains("2 evenings") && said.contains("every evening"), "{said}");
    let without = folder.path().join("b.zip");
    let kept = run(&["keep", job, "--without-place", "--to", without.to_str().unwrap()]);
    assert_eq!(kept.status.code(), Some(0), "{}", String::from_utf8_lossy(&kept.stderr));
    let proven = run(&["prove", without.to_str().unwrap()]);
    assert_eq!(proven.status.code(), Some(0), "{}", String::from_utf8_lossy(&proven.stdout));
}

#[test]
fn the_first_evening_lies_right_in_the_payload_and_later_ones_beside_it() {
    let first = Within::first();
    assert_eq!(first.photos(), layout::PHOTOS);
    assert_eq!(first.job(), layout::JOB);
    assert_eq!(first.result(), layout::RESULT);
    let paths = ["data/evening-10/job.toml", "data/evening-2/photos/a.jpg", "README.txt"];
    let paths: Vec<String> = paths.iter().map(|path| (*path).to_owned()).collect();
    let numbers: Vec<u32> =
        Within::all_of(paths.iter()).iter().map(|within| within.number).collect();
    assert_eq!(numbers, [1, 2, 10]);
    assert_eq!(Within::of("data/evening-2/job.toml").job(), "data/evening-2/job.toml");
    // What is no evening's folder is the first evening's, and a stray file there.
    for stray in ["data/evening-1/job.toml", "data/evening-02/x", "data/photos/evening-2/a.jpg"] {
        assert_eq!(Within::of(stray), first, "{stray}");
    }
}
