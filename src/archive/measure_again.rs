//! Measuring again from the sealed photos, and what is compared then.

use std::io;
use std::path::Path;

use crate::disk::make_folders_in;
use crate::disk::second_name::second_name;
use crate::job::JOB_FILE;
use crate::pipeline::{self, Progress};
use crate::report::ResultDocument;
use crate::report::program::Program;

use super::bag::Bag;
use super::checksum::sha256;
use super::compare::{Alike, compare};
use super::evenings::Within;
use super::opened::scratch_folder;
use super::proof::{Proof, ProveError};
use super::sealed_texts::report_files;

/// Lays one evening's sealed photos and settings out as a job, measures it, and compares.
pub(super) fn measure_again(
    within: &Within,
    sealed: &str,
    folder: &Path,
    bag: &Bag,
    progress: &(dyn Fn(Progress) + Sync),
    proof: &mut Proof,
) -> Result<(), ProveError> {
    let document = ResultDocument::from_json(sealed.as_bytes(), Path::new(&within.result()))?;
    let this = Program::this();
    let same_version = document.program.is_same_version(&this);
    let same_machine = document.program.machine == this.machine;
    if !same_version {
        note_other_version(&document, &this, within, bag, proof);
    } else if !same_machine {
        note_other_machine(&document.program, &this, proof);
    }
    note_lacking_features(&document.program, &this, proof);
    let job = scratch_folder()?;
    lay_out(folder, within, bag, job.path())
        .map_err(|why| ProveError::Scratch { at: job.path().to_owned(), why })?;
    let again = match pipeline::open(job.path()) {
        Ok(opened) => pipeline::measure(opened, progress).document,
        Err(why) => {
            let what = why.to_string().replace(&job.path().display().to_string(), "the sealed job");
            proof.problems.push(format!("the sealed job can't be measured again: {what}"));
            return Ok(());
        }
    };
    // Only this version writes its reports the same way.
    if same_version {
        compare_report(&document, within, bag, proof);
    }
    // Version, revision and machine are given in the notes, and features decide only which photos
    // can be read.
    let again = ResultDocument { program: document.program.clone(), ..again };
    let alike = match (same_version, same_machine) {
        (false, _) => Alike::Figures,
        (true, false) => Alike::AllButLastBits,
        (true, true) => Alike::Bytes,
    };
    proof.reproduction = match compare(sealed, &again.to_json(), alike) {
        Ok(reproduction) => Some(reproduction),
        Err(why) => {
            proof.problems.push(format!("{} is not JSON: {why}", within.result()));
            None
        }
    };
    Ok(())
}

/// What only the version that sealed the job can compare.
fn note_other_version(
    document: &ResultDocument,
    this: &Program,
    within: &Within,
    bag: &Bag,
    proof: &mut Proof,
) {
    proof.notes.push(format!(
        "it was sealed by {}, and this is {}: figures, verdicts and settings are compared, but what the report's \
         pages and the plan say in words only that version can compare",
        document.program.in_words(),
        this.in_words()
    ));
    // Where this version would write the same, another one did; else this can't be known here.
    let same = report_files(document, within);
    let is_same = |path: &String| {
        same.iter().any(|(known, bytes)| known == path && bag.files[path].sha256 == sha256(bytes))
    };
    let (report, result) = (within.report(), within.result());
    let pages = bag.files.keys().filter(|path| path.starts_with(&report) && **path != result);
    proof.not_covered.extend(pages.filter(|path| !is_same(path)).cloned());
}

fn note_other_machine(sealed_by: &Program, this: &Program, proof: &mut Proof) {
    let machine = if sealed_by.machine.is_empty() {
        "an unnamed kind of machine"
    } else {
        &sealed_by.machine
    };
    proof.notes.push(format!(
        "it was measured on {machine}, and this is {}: figures are compared within 1 % of their U, not byte by byte",
        this.machine
    ));
}

fn note_lacking_features(sealed_by: &Program, this: &Program, proof: &mut Proof) {
    let lacking: Vec<&str> = sealed_by
        .features
        .iter()
        .filter(|feature| !this.features.contains(feature))
        .map(String::as_str)
        .collect();
    if !lacking.is_empty() {
        proof.notes.push(format!(
            "it was measured by a build with {}, which this one lacks: photos that only such a build reads are missing here",
            lacking.join(", ")
        ));
    }
}

/// Lays the sealed photos and settings out as they lay in the job.
fn lay_out(folder: &Path, within: &Within, bag: &Bag, job: &Path) -> io::Result<()> {
    let (photos, settings) = (within.photos(), within.job());
    for path in bag.files.keys() {
        let own = path.strip_prefix(&photos).or((*path == settings).then_some(JOB_FILE));
        if let Some(own) = own {
            let (around, _) = own.rsplit_once('/').unwrap_or_default();
            make_folders_in(job, Path::new(around))?;
            second_name(&folder.join(path), &job.join(own))?;
        }
    }
    Ok(())
}

/// The sealed report must be what this version writes for the sealed result.
fn compare_report(document: &ResultDocument, within: &Within, bag: &Bag, proof: &mut Proof) {
    let report = within.report();
    let written = report_files(document, within);
    for (path, bytes) in &written {
        if bag.files.get(path).is_none_or(|file| file.sha256 != sha256(bytes)) {
            proof
                .problems
                .push(format!("{path} is not what this version writes for the sealed result"));
        }
    }
    let reports = bag.files.keys().filter(|path| path.starts_with(&report));
    for stray in reports.filter(|path| !written.iter().any(|(known, _)| known == *path)) {
        proof
            .problems
            .push(format!("{stray} is a stray file: this version writes none of that name"));
    }
}
