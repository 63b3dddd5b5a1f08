//! Proves that an archive is what was sealed: checks it, measures again, and compares.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::Read;
use std::path::Path;

use serde_json::Value;

use crate::pipeline::Progress;
use crate::visible;

use super::bag::{self, Bag};
use super::checksum::{Algorithm, checksums};
use super::evenings::Within;
use super::measure_again::measure_again;
use super::opened::Opened;
use super::proof::{Proof, ProveError};
use super::{check_bag, own_form};

/// Proves an archive, or the folder unpacked from one. `quick` checks alone, and does not measure.
pub fn prove(
    at: &Path,
    quick: bool,
    expect: Option<&str>,
    progress: &(dyn Fn(Progress) + Sync),
) -> Result<Proof, ProveError> {
    let Looked { opened, bag, sealed, mut proof } = look(at, expect)?;
    if quick || !proof.problems.is_empty() {
        return Ok(proof);
    }
    if sealed.is_empty() {
        return Err(ProveError::NoResult(at.to_owned()));
    }
    for (within, text) in &sealed {
        // Messages about one evening name it where there are several.
        let mut own = Proof::default();
        measure_again(within, text, &opened.bag, &bag, progress, &mut own)?;
        proof.add(own, (sealed.len() > 1).then_some(within));
    }
    Ok(proof)
}

/// An archive looked at without measuring.
struct Looked {
    opened: Opened,
    bag: Bag,
    /// The texts of the sealed results, one an evening.
    sealed: Vec<(Within, String)>,
    proof: Proof,
}

fn look(at: &Path, expect: Option<&str>) -> Result<Looked, ProveError> {
    let opened = Opened::open(at)?;
    let mut proof = Proof::default();
    if opened.is_file {
        let io = |why| ProveError::Io { at: at.to_owned(), why };
        let (_, mut sums) =
            checksums(File::open(at).map_err(io)?, &[Algorithm::Sha256]).map_err(io)?;
        proof.sha256 = sums.pop();
    }
    if let Some(expect) = expect {
        expected(at, expect, &mut proof)?;
    }
    proof.problems.extend(opened.problems.iter().cloned());
    let bag = check_bag::check(&opened.bag)?;
    proof.payload = bag.payload_size();
    proof.bag_version = bag.version;
    proof.sealed_by = bag.fact("Sealed-By").map(str::to_owned);
    proof.problems.extend(bag.problems.iter().cloned());
    let (mut sealed, mut room) = (Vec::new(), MOST_RESULTS_BYTES);
    for within in Within::all_of(bag.files.keys()) {
        match read_result(&opened.bag, &within, &bag, &mut room)? {
            Some(Ok(text)) => {
                photos_of_result(&text, &within, &bag, &mut proof);
                sealed.push((within, text));
            }
            Some(Err(why)) => proof.problems.push(why),
            None => {}
        }
    }
    proof.n_evenings = sealed.len();
    if own_form::is_own(&bag) {
        own_form::check(at, &opened, &bag, &sealed, &mut proof)?;
    } else {
        proof.notes.extend(bag.warnings.iter().cloned());
        proof.notes.extend(
            bag.unlisted_tags
                .iter()
                .map(|path| format!("{path} is in no list of checksums, so it was not checked")),
        );
    }
    Ok(Looked { opened, bag, sealed, proof })
}

/// Whether this is an archive, or the folder unpacked from one, by its looks.
pub fn is_archive(at: &Path) -> bool {
    let begins_as_zip = || {
        let mut head = [0; 2];
        File::open(at).and_then(|mut file| file.read_exact(&mut head)).is_ok() && head == *b"PK"
    };
    at.join(bag::DECLARATION).is_file() || (at.is_file() && begins_as_zip())
}

/// The sealed result.json of an archive or of the folder unpacked from one, the first evening's,
/// after everything but measuring again was found in order; for comparisons. The error says what is
/// wrong.
pub fn sealed_result(at: &Path) -> anyhow::Result<String> {
    let Looked { sealed, proof, .. } = look(at, None)?;
    if let Some(problem) = proof.problems.first() {
        anyhow::bail!(
            "{} was altered: {problem}. Prove it for the whole list, and use another copy",
            at.display()
        );
    }
    let first = sealed.into_iter().find(|(within, _)| *within == Within::first());
    Ok(first.map(|(_, text)| text).ok_or_else(|| ProveError::NoResult(at.to_owned()))?)
}

const MOST_RESULT_BYTES: u64 = crate::report::read::MOST_BYTES;
/// Those of all evenings together: two hundred ordinary ones of 80 kB. Read, they take some 60
/// times as much memory.
const MOST_RESULTS_BYTES: u64 = 2 * MOST_RESULT_BYTES;

/// The text of the sealed result; None without one. `room` is what may still be read. The inner
/// error says what is wrong with it.
fn read_result(
    folder: &Path,
    within: &Within,
    bag: &Bag,
    room: &mut u64,
) -> Result<Option<Result<String, String>>, ProveError> {
    let name = within.result();
    let Some(file) = bag.files.get(&name) else { return Ok(None) };
    if file.bytes > MOST_RESULT_BYTES.min(*room) {
        return Ok(Some(Err(format!("{name} is larger than any result"))));
    }
    *room -= file.bytes;
    let at = folder.join(&name);
    let bytes = fs::read(&at).map_err(|why| ProveError::Io { at, why })?;
    Ok(Some(String::from_utf8(bytes).map_err(|_| format!("{name} is not UTF-8 text"))))
}

fn expected(at: &Path, expect: &str, proof: &mut Proof) -> Result<(), ProveError> {
    // People write long numbers in groups, and in capitals.
    let plain: String =
        expect.chars().filter(|c| !c.is_whitespace()).collect::<String>().to_ascii_lowercase();
    if plain.len() != Algorithm::Sha256.n_digits()
        || !plain.bytes().all(|byte| byte.is_ascii_hexdigit())
    {
        return Err(ProveError::NotANumber);
    }
    let Some(found) = &proof.sha256 else {
        return Err(ProveError::NoNumberOfFolder(at.to_owned()));
    };
    let same = *found == plain;
    proof.as_expected = Some(same);
    if !same {
        proof.problems.push(format!(
            "the file's SHA-256 is {found}, not the expected {plain}: the number is mistyped, or belongs to another archive"
        ));
    }
    Ok(())
}

/// The photos must be those that the result says it was measured from.
fn photos_of_result(sealed: &str, within: &Within, bag: &Bag, proof: &mut Proof) {
    let (name, photos) = (within.result(), within.photos());
    let result: Value = match serde_json::from_str(sealed) {
        Ok(result) => result,
        Err(why) => {
            proof.problems.push(format!("{name} is not JSON: {why}"));
            return;
        }
    };
    // A name that occurs twice in one object would hide a figure from this program that others
    // read, and the other way round.
    let as_written = visible::json(&result.to_string()).into_owned();
    if as_written != without_blanks(sealed) {
        proof.problems.push(format!(
            "{name} is not written as the program writes it: a name may occur in it twice"
        ));
    }
    let listed = result.get("photos").and_then(Value::as_array).into_iter().flatten();
    let mut of_result: Vec<(String, &str)> = listed
        .filter_map(|photo| {
            let (file, sha256) = (photo.get("file")?.as_str()?, photo.get("sha256")?.as_str()?);
            Some((format!("{photos}{file}"), sha256))
        })
        .collect();
    of_result.sort();
    let sealed = bag.files.iter().filter(|(path, _)| path.starts_with(&photos));
    let sealed: BTreeSet<(String, &str)> =
        sealed.map(|(path, file)| (path.clone(), file.sha256.as_str())).collect();
    let known: BTreeSet<&str> = of_result.iter().map(|(path, _)| path.as_str()).collect();
    for (path, _) in of_result.iter().filter(|photo| !sealed.contains(photo)) {
        proof.problems.push(format!("{path} is not the photo that the result was measured from"));
    }
    for (path, _) in sealed.iter().filter(|(path, _)| !known.contains(path.as_str())) {
        proof.problems.push(format!("{path} is a photo that the result was not measured from"));
    }
}

/// JSON without the blanks between its parts.
fn without_blanks(json: &str) -> String {
    let (mut in_text, mut escaped) = (false, false);
    let is_part = |c: &char| {
        let part = in_text || !c.is_ascii_whitespace();
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = in_text,
            '"' => in_text = !in_text,
            _ => {}
        }
        part
    };
    json.chars().filter(is_part).collect()
}
