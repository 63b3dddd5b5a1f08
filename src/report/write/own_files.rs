//! The list of what this program wrote into a report's folder, and what it shows about the files
//! that are there now.

use std::collections::BTreeMap;
use std::fs::{self, DirEntry, File};
use std::io::{self, Read};
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::math::hex::hex;

use super::ReportFile;
pub use crate::photo::job_photos::REPORT_LIST as LIST_NAME;

/// No list comes near this size: a line a file, and a file a photo.
const MOST_LIST_BYTES: u64 = 4 << 20;
/// Files that file browsers leave behind without being asked.
const DROPPINGS: [&str; 3] = [".DS_Store", "Thumbs.db", "desktop.ini"];

/// SHA-256 of each file of a report, by its path in the report's folder.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OwnFiles(BTreeMap<String, String>);

impl OwnFiles {
    pub fn of(files: &[ReportFile]) -> Self {
        Self(
            files
                .iter()
                .map(|file| (file.path.clone(), hex(Sha256::digest(&file.bytes).as_slice())))
                .collect(),
        )
    }

    /// One line a file, as the common tools for checksums write and read it.
    pub fn text(&self) -> String {
        self.0.iter().map(|(path, sha256)| format!("{sha256}  {path}\n")).collect()
    }

    /// None unless every line is one that [`Self::text`] writes.
    pub fn parse(text: &str) -> Option<Self> {
        let entry = |line: &str| {
            let (sha256, path) = line.split_once("  ")?;
            let is_sum = sha256.len() == 64
                && sha256.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'));
            (is_sum && is_plain(path)).then(|| (path.to_owned(), sha256.to_owned()))
        };
        let files = Self(text.lines().map(entry).collect::<Option<_>>()?);
        (files.text() == text).then_some(files)
    }

    /// The list in a report's folder; None where there is none, or one that is not as this program
    /// writes it.
    fn read(folder: &Path) -> Option<Self> {
        let at = folder.join(LIST_NAME);
        if !fs::symlink_metadata(&at)
            .is_ok_and(|found| found.is_file() && found.len() <= MOST_LIST_BYTES)
        {
            return None;
        }
        let mut text = String::new();
        File::open(at).ok()?.take(MOST_LIST_BYTES).read_to_string(&mut text).ok()?;
        Self::parse(&text)
    }
}

/// A name, or a folder's name and a name, of letters that every file system takes as they are.
pub(super) fn is_plain(path: &str) -> bool {
    let mut parts = path.split('/');
    let are_plain = |part: &str| {
        !part.is_empty()
            && !part.starts_with('.')
            && part
                .bytes()
                .all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'-' | b'_'))
    };
    parts.clone().count() <= 2 && parts.all(are_plain) && path != LIST_NAME
}

/// What lies in a report's folder; each by its path with forward slashes, sorted.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Contents {
    /// There is a list, and it is as this program writes it.
    pub has_list: bool,
    /// In the list, with the bytes that it had then.
    pub unchanged: Vec<String>,
    /// In the list, with other bytes.
    pub changed: Vec<String>,
    /// What file browsers leave behind.
    pub droppings: Vec<String>,
    /// All else. A name that ends in a slash is that of a folder, a link or a device.
    pub foreign: Vec<String>,
    /// Folders that the list names.
    pub sub_folders: Vec<String>,
}

impl Contents {
    /// Looks one level deep: a deeper file is in no report.
    pub fn of(folder: &Path) -> io::Result<Self> {
        let list = OwnFiles::read(folder);
        let mut contents = Self { has_list: list.is_some(), ..Self::default() };
        let list = list.unwrap_or_default();
        for entry in fs::read_dir(folder)? {
            let entry = entry?;
            // A name with other letters than Unicode's is in no list.
            let name = entry.file_name().to_string_lossy().into_owned();
            let begins = format!("{name}/");
            if entry.file_type()?.is_dir() && list.0.keys().any(|path| path.starts_with(&begins)) {
                for inner in fs::read_dir(entry.path())? {
                    let inner = inner?;
                    let path = format!("{begins}{}", inner.file_name().to_string_lossy());
                    contents.sort_in(&inner, path, &list)?;
                }
                contents.sub_folders.push(name);
            } else if !(contents.has_list && name == LIST_NAME) {
                contents.sort_in(&entry, name, &list)?;
            }
        }
        for paths in [
            &mut contents.unchanged,
            &mut contents.changed,
            &mut contents.droppings,
            &mut contents.foreign,
        ] {
            paths.sort();
        }
        Ok(contents)
    }

    fn sort_in(&mut self, entry: &DirEntry, path: String, list: &OwnFiles) -> io::Result<()> {
        // A link is never part of a report, whatever it leads to.
        if !entry.file_type()?.is_file() {
            self.foreign.push(path + "/");
            return Ok(());
        }
        match list.0.get(&path) {
            Some(sha256) if file_sha256(&entry.path())? == *sha256 => self.unchanged.push(path),
            Some(_) => self.changed.push(path),
            None if DROPPINGS.contains(&path.rsplit('/').next().unwrap_or(&path)) => {
                self.droppings.push(path)
            }
            None => self.foreign.push(path),
        }
        Ok(())
    }
}

fn file_sha256(at: &Path) -> io::Result<String> {
    let (mut file, mut hasher, mut buffer) = (File::open(at)?, Sha256::new(), vec![0; 1 << 16]);
    loop {
        match file.read(&mut buffer)? {
            0 => return Ok(hex(hasher.finalize().as_slice())),
            n => hasher.update(&buffer[..n]),
        }
    }
}
