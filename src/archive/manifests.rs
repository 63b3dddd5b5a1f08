//! The manifests of a bag, and the checksums of the files that lie in it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::PathBuf;

use rayon::prelude::*;

use super::bag::{Bag, BagError, BagFile, PAYLOAD};
use super::bag_text::{self, Declaration, Manifest};
use super::checksum::{Algorithm, checksums};
use super::paths;

/// Whether a name is that of a manifest: of the payload or not, and the checksum's name.
pub(super) fn manifest_name(path: &str) -> Option<(bool, &str)> {
    let stem = path.strip_suffix(".txt")?;
    match stem.strip_prefix("manifest-") {
        Some(checksum) => Some((true, checksum)),
        None => stem.strip_prefix("tagmanifest-").map(|checksum| (false, checksum)),
    }
}

/// One manifest of the bag.
pub(super) struct Listing {
    pub(super) name: String,
    pub(super) of_payload: bool,
    pub(super) algorithm: Algorithm,
    /// Checksum by path.
    pub(super) entries: BTreeMap<String, String>,
}

/// Reads one of the text files as a manifest, if it is one.
pub(super) fn listing(
    name: &str,
    text: &str,
    declared: Declaration,
    bag: &mut Bag,
) -> Option<Listing> {
    let (of_payload, checksum) = manifest_name(name)?;
    let Some(algorithm) = Algorithm::of_name(checksum) else {
        bag.warnings
            .push(format!("{name} was not checked: its kind of checksum is not known here"));
        return None;
    };
    let Manifest { entries, problems, warnings } =
        bag_text::manifest(text, algorithm, declared.version);
    bag.problems.extend(problems.into_iter().map(|problem| format!("{name}: {problem}")));
    bag.warnings.extend(warnings.into_iter().map(|warning| format!("{name}: {warning}")));
    let mut listing =
        Listing { name: name.to_owned(), of_payload, algorithm, entries: BTreeMap::new() };
    for entry in entries {
        let path = entry.path;
        if let Err(why) = paths::check(&path) {
            bag.problems.push(format!("{name} lists \"{path}\", which is not a safe path: {why}"));
            continue;
        }
        if path.starts_with(PAYLOAD) != of_payload {
            bag.problems.push(format!("{name} lists \"{path}\", which does not belong in it"));
            continue;
        }
        match listing.entries.insert(path.clone(), entry.checksum.clone()) {
            None => {}
            Some(other) if other != entry.checksum => {
                bag.problems
                    .push(format!("{name} lists \"{path}\" twice with different checksums"));
            }
            Some(_) if declared.version >= (1, 0) => {
                bag.problems.push(format!("{name} lists \"{path}\" twice"))
            }
            Some(_) => bag.warnings.push(format!("{name} lists \"{path}\" twice")),
        }
    }
    Some(listing)
}

/// Checksums of every file, by path and kind; SHA-256 always.
pub(super) type Sums = BTreeMap<String, BTreeMap<Algorithm, String>>;

pub(super) fn all_checksums(
    present: &BTreeMap<String, PathBuf>,
    lists: &[Listing],
    bag: &mut Bag,
) -> Result<Sums, BagError> {
    let algorithms: BTreeSet<Algorithm> =
        lists.iter().map(|list| list.algorithm).chain([Algorithm::Sha256]).collect();
    let algorithms: Vec<Algorithm> = algorithms.into_iter().collect();
    let files: Vec<(&String, &PathBuf)> = present.iter().collect();
    let read: Vec<std::io::Result<(u64, Vec<String>)>> =
        files.par_iter().map(|(_, at)| checksums(File::open(at)?, &algorithms)).collect();
    let mut sums = Sums::new();
    for ((path, at), read) in files.into_iter().zip(read) {
        let (bytes, made) = read.map_err(|why| BagError::Io { at: at.clone(), why })?;
        let of_file: BTreeMap<Algorithm, String> = algorithms.iter().copied().zip(made).collect();
        bag.files
            .insert(path.clone(), BagFile { bytes, sha256: of_file[&Algorithm::Sha256].clone() });
        sums.insert(path.clone(), of_file);
    }
    Ok(sums)
}
