//! Checks everything that the standard (RFC 8493) asks of anybody's bag.
//!
//! The program's own bags are held to more than this by [`super::prove()`].

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use walkdir::WalkDir;

use super::bag::{Bag, BagError, DECLARATION, FETCH, INFO, OLD_INFO, PAYLOAD};
use super::bag_text::{self, Declaration};
use super::checksum::Algorithm;
use super::manifests::{Listing, Sums, all_checksums, listing, manifest_name};
use super::paths;

/// Text files of a bag that are larger are not read: a million photos would not fill one.
const MOST_TEXT_BYTES: u64 = 256 << 20;
/// Files that file browsers leave behind; a bag that lists one which is gone has lost nothing (RFC
/// 8493, section 5.1.1 names them as a trap).
const DROPPINGS: [&str; 3] = [".ds_store", "thumbs.db", "desktop.ini"];

/// Checks everything that the standard asks of a bag: declaration, manifests, checksums,
/// completeness, paths, size.
pub fn check(folder: &Path) -> Result<Bag, BagError> {
    let mut bag = Bag::default();
    let present = list(folder, &mut bag)?;
    if !present.contains_key(DECLARATION) {
        return Err(BagError::NotABag(folder.to_owned()));
    }
    let read = |path: &str| {
        read_text(&present[path]).map_err(|why| BagError::Io { at: present[path].clone(), why })
    };
    let declared = match bag_text::declaration(&read(DECLARATION)?) {
        Ok(declared) => declared,
        Err(why) => {
            bag.problems.push(format!("{DECLARATION} is not valid: {why}"));
            return Ok(bag);
        }
    };
    bag.version = declared.version;
    if !present.keys().any(|path| path.starts_with(PAYLOAD)) && !folder.join("data").is_dir() {
        bag.problems.push("the folder data is missing".to_owned());
    }
    let mut texts: BTreeMap<&str, String> = BTreeMap::new();
    for path in present.keys().filter(|path| is_bag_text(path)) {
        match declared.encoding.decode(&read(path)?) {
            Some(text) => {
                texts.insert(path, text);
            }
            None => bag
                .problems
                .push(format!("{path} is not text in the encoding that {DECLARATION} names")),
        }
    }
    let lists: Vec<Listing> =
        texts.iter().filter_map(|(name, text)| listing(name, text, declared, &mut bag)).collect();
    let sums = all_checksums(&present, &lists, &mut bag)?;
    if !lists.iter().any(|list| list.of_payload) {
        bag.problems
            .push("there is no manifest of the payload whose checksums are known here (md5, sha1, sha224 to sha512)".to_owned());
    }
    let to_fetch = to_fetch(&texts, declared, &mut bag);
    let folded: BTreeMap<String, &String> =
        sums.keys().map(|path| (paths::folded(path), path)).collect();
    for list in &lists {
        compare(list, &sums, &folded, &to_fetch, &mut bag);
    }
    completeness(&present, &lists, &mut bag);
    facts(&texts, &mut bag);
    Ok(bag)
}

/// Every ordinary file below a folder. Links and devices are problems, and are never followed.
pub(super) fn list(folder: &Path, bag: &mut Bag) -> Result<BTreeMap<String, PathBuf>, BagError> {
    let mut present = BTreeMap::new();
    let mut empty: BTreeSet<String> = BTreeSet::new();
    for entry in WalkDir::new(folder).sort_by_file_name() {
        let entry = entry.map_err(|why| {
            let at = why.path().unwrap_or(folder).to_owned();
            BagError::Io { at, why: why.into() }
        })?;
        let relative = entry.path().strip_prefix(folder).unwrap_or(entry.path());
        let path = relative
            .components()
            .map(|part| part.as_os_str().to_string_lossy())
            .collect::<Vec<_>>()
            .join("/");
        // Whatever lies in a folder comes after it.
        if let Some((parent, _)) = path.rsplit_once('/') {
            empty.remove(parent);
        }
        if entry.file_type().is_dir() {
            empty.insert(path);
            continue;
        }
        if !entry.file_type().is_file() {
            bag.problems.push(format!("{path} is a link or a device, not a file"));
        } else if relative.to_str().is_none() {
            bag.problems.push(format!("{path}: its name is not text"));
        } else {
            if let Err(why) = paths::check(&path) {
                bag.problems.push(format!("\"{path}\" is not a safe path: {why}"));
            }
            present.insert(path, entry.into_path());
        }
    }
    // The bag's own folder, and a payload without a file, are in order.
    let extra =
        empty.iter().filter(|path| !path.is_empty() && **path != PAYLOAD.trim_end_matches('/'));
    bag.warnings
        .extend(extra.map(|path| format!("{path} is an empty folder, which no list can name")));
    if let Some((a, b)) = paths::collision(present.keys().map(String::as_str)) {
        bag.problems.push(format!("\"{a}\" and \"{b}\" would be one file on many systems"));
    }
    Ok(present)
}

fn read_text(path: &Path) -> std::io::Result<Vec<u8>> {
    if fs::metadata(path)?.len() > MOST_TEXT_BYTES {
        return Err(std::io::Error::other("it is larger than any such file"));
    }
    fs::read(path)
}

fn is_bag_text(path: &str) -> bool {
    path == INFO || path == OLD_INFO || path == FETCH || manifest_name(path).is_some()
}

fn to_fetch(
    texts: &BTreeMap<&str, String>,
    declared: Declaration,
    bag: &mut Bag,
) -> BTreeSet<String> {
    let Some(text) = texts.get(FETCH) else { return BTreeSet::new() };
    let listed = bag_text::fetch(text, declared.version).unwrap_or_else(|why| {
        bag.problems.push(format!("{FETCH}: {why}"));
        Vec::new()
    });
    for path in &listed {
        if let Err(why) = paths::check(path) {
            bag.problems.push(format!("{FETCH} lists \"{path}\", which is not a safe path: {why}"));
        } else if !path.starts_with(PAYLOAD) {
            bag.problems.push(format!("{FETCH} lists \"{path}\", which is no part of the payload"));
        }
    }
    listed.into_iter().collect()
}

/// Compares what a manifest lists with what is there.
fn compare(
    list: &Listing,
    sums: &Sums,
    folded: &BTreeMap<String, &String>,
    to_fetch: &BTreeSet<String>,
    bag: &mut Bag,
) {
    let name = &list.name;
    for (path, listed) in &list.entries {
        match sums.get(path) {
            Some(made) if made[&list.algorithm] == *listed => {}
            Some(_) => bag
                .problems
                .push(format!("{path} was altered: its checksum is not the one in {name}")),
            None if to_fetch.contains(path) => {
                bag.problems.push(format!(
                    "{path} is missing: it would have to be fetched from another place ({FETCH})"
                ));
            }
            None if is_dropping(path) => {
                bag.n_harmlessly_missing += 1;
                bag.warnings.push(format!("{path} is missing; file browsers make and delete it"));
            }
            None => match same_but_for_spelling(path, listed, list.algorithm, sums, folded) {
                Some(other) => bag.warnings.push(format!(
                    "{name} lists \"{path}\"; the same bytes are there as \"{other}\""
                )),
                None => bag.problems.push(format!("{path} is missing, though {name} lists it")),
            },
        }
    }
}

fn is_dropping(path: &str) -> bool {
    DROPPINGS.contains(&path.rsplit('/').next().unwrap_or(path).to_lowercase().as_str())
}

/// A file with the same bytes whose name differs in case or in how accents are spelled alone:
/// copying does that.
fn same_but_for_spelling<'sums>(
    path: &str,
    listed: &str,
    algorithm: Algorithm,
    sums: &Sums,
    folded: &BTreeMap<String, &'sums String>,
) -> Option<&'sums String> {
    folded.get(&paths::folded(path)).copied().filter(|other| sums[*other][&algorithm] == listed)
}

/// Every payload file must be listed: by every manifest from 1.0 on, by any before.
fn completeness(present: &BTreeMap<String, PathBuf>, lists: &[Listing], bag: &mut Bag) {
    for path in present.keys() {
        let lacking = |of_payload: bool| {
            let of_kind = lists.iter().filter(move |list| list.of_payload == of_payload);
            of_kind
                .filter(|list| !list.entries.contains_key(path))
                .map(|list| list.name.as_str())
                .collect::<Vec<_>>()
        };
        let n_lists =
            |of_payload: bool| lists.iter().filter(|list| list.of_payload == of_payload).count();
        if path.starts_with(PAYLOAD) {
            if is_dropping(path) {
                bag.warnings.push(format!("{path} is a file that file browsers make and delete"));
            }
            let lacking = lacking(true);
            let listed_nowhere = lacking.len() == n_lists(true);
            if listed_nowhere || (bag.version >= (1, 0) && !lacking.is_empty()) {
                bag.problems.push(format!(
                    "{path} is a stray file: {} does not list it",
                    lacking.join(", ")
                ));
            }
        } else if !path.starts_with("tagmanifest-") && lacking(false).len() == n_lists(false) {
            bag.unlisted_tags.push(path.clone());
        }
    }
}

/// Reads the facts about the bag, and checks the one that can be checked.
pub(super) fn facts(texts: &BTreeMap<&str, String>, bag: &mut Bag) {
    let Some((name, text)) = texts.get_key_value(INFO).or_else(|| texts.get_key_value(OLD_INFO))
    else {
        return;
    };
    let (info, problems) = bag_text::info(text);
    bag.info = info;
    bag.problems.extend(problems.into_iter().map(|problem| format!("{name}: {problem}")));
    let Some(stated) = bag.fact("Payload-Oxum") else { return };
    let (n_files, bytes) = bag.payload_size();
    if stated != format!("{bytes}.{n_files}") {
        let differs = format!(
            "{name} says Payload-Oxum {stated}, but the payload is {bytes} bytes in {n_files} files"
        );
        // What is missing may have been counted; where a warning does for that, it does for the
        // count.
        if bag.n_harmlessly_missing > 0 {
            bag.warnings.push(differs)
        } else {
            bag.problems.push(differs)
        }
    }
}
