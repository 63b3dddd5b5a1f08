//! A small job kept, and what a forger would do to it.
#![allow(dead_code)] // Each test file uses its share.

use std::fs;
use std::io::{Cursor, Read};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use sightcord::archive::checksum::sha256;
use sightcord::archive::tag_files::{Entry, tag_files};
use sightcord::archive::zipped::SealedZip;
use sightcord::archive::{Proof, ProveError, keep, prove};
use tempfile::TempDir;

pub const JOB: &str = "schema = \"sightcord-job/1\"\n[bike]\nname = \"A trial\"\n";

/// A job of small grey photos, each with a tag behind its end so that no two are the same. Nothing
/// can be measured from it, but a result that says so there is.
pub fn small_job() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("job.toml"), JOB).unwrap();
    let photo = fs::read("tests/data/photo/grey.jpg").unwrap();
    for name in ["1-mark-forward/a.jpg", "1-mark-forward/b.jpg", "2-mark-rearward/c.jpg"] {
        let at = folder.path().join(name);
        fs::create_dir_all(at.parent().unwrap()).unwrap();
        fs::write(at, [photo.as_slice(), name.as_bytes()].concat()).unwrap();
    }
    folder
}

/// A small job, kept.
pub struct Kept {
    pub folder: TempDir,
    pub job: TempDir,
    pub sha256: String,
}

impl Kept {
    pub fn new() -> Self {
        let (folder, job) = (tempfile::tempdir().unwrap(), small_job());
        let sealed = keep(job.path(), &folder.path().join("a.zip"), false, &|_| {}).unwrap();
        Self { folder, job, sha256: sealed.sha256 }
    }

    pub fn zip(&self) -> PathBuf {
        self.folder.path().join("a.zip")
    }

    pub fn bytes(&self) -> Vec<u8> {
        fs::read(self.zip()).unwrap()
    }

    /// Another file next to the archive.
    pub fn other(&self, bytes: &[u8]) -> PathBuf {
        let at = self.folder.path().join("other.zip");
        fs::write(&at, bytes).unwrap();
        at
    }
}

pub fn quick(at: &Path) -> Result<Proof, ProveError> {
    prove(at, true, None, &|_| {})
}

pub fn full(at: &Path) -> Proof {
    prove(at, false, None, &|_| {}).unwrap()
}

/// Whether `prove` would end with a code other than 0.
pub fn noticed(outcome: &Result<Proof, ProveError>) -> bool {
    outcome.as_ref().map_or(true, |proof| !proof.is_proven())
}

/// Name and content of every file in a ZIP, in its order.
pub fn entries(zip: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = zip::ZipArchive::new(Cursor::new(zip)).unwrap();
    (0..archive.len())
        .map(|idx| {
            let mut entry = archive.by_index(idx).unwrap();
            let mut bytes = Vec::new();
            entry.read_to_end(&mut bytes).unwrap();
            (entry.name().unwrap().into_owned(), bytes)
        })
        .collect()
}

/// A ZIP as the program writes it, of these files in this order.
pub fn zip_of(entries: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut zip = SealedZip::new(Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        zip.add(name, &mut Cursor::new(bytes)).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// Makes every checksum of an archive again, as a forger would who knows this program.
pub fn with_new_checksums(mut entries: Vec<(String, Vec<u8>)>) -> Vec<u8> {
    let top = entries[0].0.split('/').next().unwrap().to_owned();
    let inside = |name: &str| name.strip_prefix(&format!("{top}/")).unwrap().to_owned();
    let payload: Vec<Entry> = entries
        .iter()
        .filter(|(name, _)| inside(name).starts_with("data/"))
        .map(|(name, bytes)| Entry {
            path: inside(name),
            bytes: bytes.len() as u64,
            sha256: sha256(bytes),
        })
        .collect();
    let text = |path: &str| {
        let (_, bytes) = entries.iter().find(|(name, _)| inside(name) == path).unwrap();
        String::from_utf8(bytes.clone()).unwrap()
    };
    let (info, readme) = (text("bag-info.txt"), text("README.txt"));
    let info: Vec<(&str, String)> = info
        .lines()
        .filter_map(|line| line.split_once(": "))
        .filter(|(label, _)| *label != "Payload-Oxum")
        .map(|(label, value)| (label, value.to_owned()))
        .collect();
    let tags = tag_files(&payload, &info, vec![("README.txt".to_owned(), readme.into_bytes())]);
    entries.retain(|(name, _)| inside(name).starts_with("data/"));
    entries.extend(tags.into_iter().map(|(name, bytes)| (format!("{top}/{name}"), bytes)));
    entries.sort();
    zip_of(&entries)
}

pub fn content<'entries>(
    entries: &'entries mut [(String, Vec<u8>)],
    end: &str,
) -> &'entries mut Vec<u8> {
    &mut entries.iter_mut().find(|(name, _)| name.ends_with(end)).unwrap().1
}

pub fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sightcord")).args(arguments).output().unwrap()
}
