//! What this program's own archives are held to beyond the standard: nothing in them that it does
//! not write itself.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::report::ResultDocument;
use crate::report::program::Program;

use super::bag::{self, Bag};
use super::evenings::Within;
use super::opened::Opened;
use super::place::is_clean;
use super::proof::{Proof, ProveError};
use super::readme::Privacy;
use super::sealed_texts::{CLEANED_PHOTOS, SealedEvening, bag_texts, top_folder};
use super::tag_files::{Entry, one_line};
use super::{layout, tag_files, zipped};

/// Whether a bag says that this program made it, or holds what only this program puts there:
/// leaving its name out does not make the rules milder.
pub fn is_own(bag: &Bag) -> bool {
    let mut evenings = Within::all_of(bag.files.keys()).into_iter();
    names_this_program(bag) || evenings.any(|within| bag.files.contains_key(&within.result()))
}

fn names_this_program(bag: &Bag) -> bool {
    bag.fact("Sealed-By").unwrap_or_default().split(' ').next()
        == Some(Program::this().name.as_str())
}

/// Holds a bag to the form in which this program writes its own.
pub(super) fn check(
    at: &Path,
    opened: &Opened,
    bag: &Bag,
    sealed: &[(Within, String)],
    proof: &mut Proof,
) -> Result<(), ProveError> {
    let not_ours = |what: &str| format!("{what}, as it never has in an archive of this program");
    if bag.version != (1, 0) {
        proof
            .problems
            .push(not_ours(&format!("the bag has version {}.{}", bag.version.0, bag.version.1)));
    }
    if !names_this_program(bag) {
        proof.problems.push(format!(
            "{} does not name this program, though the bag holds {}",
            bag::INFO,
            layout::RESULT
        ));
    }
    proof.problems.extend(bag.warnings.iter().map(|warning| not_ours(warning)));
    proof.problems.extend(
        bag.unlisted_tags
            .iter()
            .map(|path| format!("{path} is a stray file: no list of checksums names it")),
    );
    for path in bag.files.keys().filter(|path| !is_known(path)) {
        proof.problems.push(format!(
            "{path} is a stray file: archives of this program hold none of that name"
        ));
    }
    let own = [layout::README, bag::INFO, bag::MANIFEST, bag::TAG_MANIFEST].map(str::to_owned);
    let results = Within::all_of(bag.files.keys()).into_iter().map(|within| within.result());
    for needed in results.chain(own) {
        if !bag.files.contains_key(&needed) {
            proof.problems.push(format!("{needed} is missing"));
        }
    }
    // What is missing or too many was reported; how the rest is written counts only where nothing
    // is.
    if !proof.problems.is_empty() {
        return Ok(());
    }
    texts(&opened.bag, bag, sealed, proof)?;
    if opened.is_file {
        top_of_zip(opened, sealed, proof);
        let files: Vec<String> = bag.files.keys().cloned().collect();
        let scratch = std::env::temp_dir();
        if let Some(offset) =
            zipped::differs_from_canonical(at, &opened.top, &opened.bag, &files, &scratch)?
        {
            proof
                .problems
                .push(format!("the ZIP file around the bag was altered or written again: it differs from byte {offset} on"));
        }
    }
    Ok(())
}

fn is_known(path: &str) -> bool {
    let within = Within::of(path);
    match path.strip_prefix(&within.photos()) {
        // A photo lies in the folder of its set-up, or directly in the job's; nothing else is laid
        // out as part of a job.
        Some(photo) => photo.matches('/').count() <= 1 && photo != crate::job::JOB_FILE,
        None if path.starts_with("data/") => {
            path == within.job() || path.starts_with(&within.report())
        }
        None => [bag::DECLARATION, bag::INFO, bag::MANIFEST, bag::TAG_MANIFEST, layout::README]
            .contains(&path),
    }
}

/// Writes the texts of the bag again and compares: the lists of checksums, README.txt and the
/// facts, which follow from the result and the photos. Another version may have had other words for
/// the last two: then they are not covered.
fn texts(
    folder: &Path,
    bag: &Bag,
    sealed: &[(Within, String)],
    proof: &mut Proof,
) -> Result<(), ProveError> {
    let payload: Vec<Entry> = bag
        .files
        .iter()
        .filter(|(path, _)| path.starts_with("data/"))
        .map(|(path, file)| Entry {
            path: path.clone(),
            bytes: file.bytes,
            sha256: file.sha256.clone(),
        })
        .collect();
    let read = |(within, text): &(Within, String)| {
        let document =
            ResultDocument::from_json(text.as_bytes(), Path::new(&within.result())).ok()?;
        Some(SealedEvening { within: within.clone(), document })
    };
    let evenings: Option<Vec<SealedEvening>> = sealed.iter().map(read).collect();
    let evenings = evenings.unwrap_or_default();
    let this = Program::this();
    let is_this_version = !evenings.is_empty()
        && evenings.iter().all(|evening| evening.document.program.is_same_version(&this));
    // As this version would write them.
    let ours = if evenings.is_empty() {
        Vec::new()
    } else {
        let (privacy, unclean) = privacy(folder, bag, &evenings)?;
        // What counts as clean in another version is up to that version.
        if is_this_version {
            proof.problems.extend(unclean);
        }
        bag_texts(&evenings, &privacy, &payload)
    };
    let is_same = |path: &str, bytes: &[u8]| {
        bag.files.get(path).is_some_and(|file| file.sha256 == super::checksum::sha256(bytes))
    };
    let again = if is_this_version {
        ours
    } else {
        let is_ours =
            |path: &&str| ours.iter().any(|(known, bytes)| known == path && is_same(path, bytes));
        let words = [layout::README, bag::INFO].into_iter().filter(|path| !is_ours(path));
        proof.not_covered.extend(words.map(str::to_owned));
        let at = folder.join(layout::README);
        let readme = fs::read(&at).map_err(|why| ProveError::Io { at, why })?;
        let facts: Vec<(&str, String)> = bag
            .info
            .iter()
            .filter(|(label, _)| label != "Payload-Oxum")
            .map(|(label, value)| (label.as_str(), value.clone()))
            .collect();
        tag_files::tag_files(&payload, &facts, vec![(layout::README.to_owned(), readme)])
    };
    for (path, bytes) in again {
        if !is_same(&path, &bytes) {
            proof.problems.push(format!("{path} is not what the program writes for this archive"));
        }
    }
    Ok(())
}

/// What the sealed photos show about people, and which of them are not as clean as stated. Which
/// were cleaned, only the bag itself can say; whether they are clean, they show.
fn privacy(
    folder: &Path,
    bag: &Bag,
    evenings: &[SealedEvening],
) -> Result<(Privacy, Vec<String>), ProveError> {
    let mut privacy = Privacy::default();
    let mut unclean = Vec::new();
    let mut cleaned = bag.fact(CLEANED_PHOTOS).unwrap_or_default();
    let photos = evenings.iter().flat_map(|SealedEvening { within, document }| {
        document.photos.iter().map(move |photo| {
            (within.name_of(&photo.file), format!("{}{}", within.photos(), photo.file))
        })
    });
    for (name, path) in photos {
        let at = folder.join(&path);
        let bytes = fs::read(&at).map_err(|why| ProveError::Io { at, why })?;
        let rest = cleaned.strip_prefix(one_line(&name).as_str());
        let rest = rest.filter(|rest| rest.is_empty() || rest.starts_with(", "));
        if let Some(rest) = rest {
            cleaned = rest.trim_start_matches(", ");
            if !is_clean(&bytes) {
                unclean.push(format!("{path} is said to be a copy of the picture and the lens's facts alone, but it holds more"));
            }
        }
        privacy.look_at(&name, &bytes, rest.is_some());
    }
    Ok((privacy, unclean))
}

/// The ZIP's one folder is named after the job.
fn top_of_zip(opened: &Opened, sealed: &[(Within, String)], proof: &mut Proof) {
    let first = sealed.first();
    let result: Option<Value> = first.and_then(|(_, text)| serde_json::from_str(text).ok());
    let id = result
        .as_ref()
        .and_then(|result| result.get("job")?.get("id")?.as_str())
        .unwrap_or_default();
    let needed = top_folder(id);
    if opened.top != needed {
        proof.problems.push(format!(
            "the folder in the ZIP file is named \"{}\", not \"{needed}\"",
            opened.top
        ));
    }
}
