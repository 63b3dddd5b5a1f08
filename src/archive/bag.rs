//! A bag in a folder as it was found (RFC 8493), and the names of its own files.

use std::collections::BTreeMap;
use std::path::PathBuf;

use thiserror::Error;

pub const DECLARATION: &str = "bagit.txt";
pub const INFO: &str = "bag-info.txt";
pub const MANIFEST: &str = "manifest-sha256.txt";
pub const TAG_MANIFEST: &str = "tagmanifest-sha256.txt";
pub(super) const FETCH: &str = "fetch.txt";
/// What `bag-info.txt` was called up to version 0.95.
pub(super) const OLD_INFO: &str = "package-info.txt";
pub(super) const PAYLOAD: &str = "data/";

/// A file that lies in the bag's folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BagFile {
    pub bytes: u64,
    pub sha256: String,
}

/// A bag as it was found.
#[derive(Clone, Debug, Default)]
pub struct Bag {
    pub version: (u32, u32),
    /// Labels and values of `bag-info.txt`.
    pub info: Vec<(String, String)>,
    /// Every file below the bag's folder, by its path with forward slashes.
    pub files: BTreeMap<String, BagFile>,
    /// What makes the bag invalid.
    pub problems: Vec<String>,
    /// What a bag should not have, but may.
    pub warnings: Vec<String>,
    /// Files outside the payload that no tag manifest lists; the standard allows them.
    pub unlisted_tags: Vec<String>,
    /// Listed files that are missing and not needed.
    pub(super) n_harmlessly_missing: usize,
}

impl Bag {
    /// The first value under a label, whose case does not count.
    pub fn fact(&self, label: &str) -> Option<&str> {
        self.info
            .iter()
            .find(|(known, _)| known.eq_ignore_ascii_case(label))
            .map(|(_, value)| value.as_str())
    }

    /// Number and bytes of the payload's files.
    pub fn payload_size(&self) -> (usize, u64) {
        let payload = self.files.iter().filter(|(path, _)| path.starts_with(PAYLOAD));
        payload.fold((0, 0), |(n, bytes), (_, file)| (n + 1, bytes + file.bytes))
    }
}

/// Why a folder can't be looked at as a bag at all.
#[derive(Debug, Error)]
pub enum BagError {
    #[error("{} can't be read: {why}. Check its permissions, or copy it from where it came from again", .at.display())]
    Io { at: PathBuf, why: std::io::Error },
    #[error(
        "{} is no archive of this kind: it holds no {DECLARATION}. Name the ZIP file that the program's keep command wrote, or the \
         folder that was unpacked from it", .0.display()
    )]
    NotABag(PathBuf),
}
