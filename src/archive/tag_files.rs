//! The text files of a bag that this program makes.

use super::bag::{DECLARATION, INFO, MANIFEST, TAG_MANIFEST};
use super::bag_text;
use super::checksum::sha256;

/// What a bag's manifests list about one file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    pub path: String,
    pub bytes: u64,
    pub sha256: String,
}

/// The text files of a bag of version 1.0, for a payload sorted by path; `others` are further tag
/// files. Sorted by name.
pub fn tag_files(
    payload: &[Entry],
    info: &[(&str, String)],
    others: Vec<(String, Vec<u8>)>,
) -> Vec<(String, Vec<u8>)> {
    let bytes: u64 = payload.iter().map(|entry| entry.bytes).sum();
    let mut facts: String =
        info.iter().map(|(label, value)| format!("{label}: {}\n", one_line(value))).collect();
    facts.push_str(&format!("Payload-Oxum: {bytes}.{}\n", payload.len()));
    let line = |sha256: &str, path: &str| format!("{sha256}  {}\n", bag_text::encoded(path));
    let manifest: String = payload.iter().map(|entry| line(&entry.sha256, &entry.path)).collect();
    let mut files = others;
    files.push((
        DECLARATION.to_owned(),
        b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n".to_vec(),
    ));
    files.push((INFO.to_owned(), facts.into_bytes()));
    files.push((MANIFEST.to_owned(), manifest.into_bytes()));
    files.sort();
    let tag_manifest: String =
        files.iter().map(|(name, bytes)| line(&sha256(bytes), name)).collect();
    files.push((TAG_MANIFEST.to_owned(), tag_manifest.into_bytes()));
    files.sort();
    files
}

/// A value takes one line, whatever it holds.
pub(super) fn one_line(value: &str) -> String {
    value.split_whitespace().collect::<Vec<_>>().join(" ")
}
