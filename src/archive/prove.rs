//! Proves that an archive is what was sealed: checks it, measures again, and compares.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use serde_json::Value;
use thiserror::Error;

use super::bag::{self, Bag, BagError};
use super::checksum::{Algorithm, checksums, sha256};
use super::compare::{Alike, Reproduction, compare};
use super::layout;
use super::own_form;
use super::seal::report_files;
use super::zipped::{self, UnpackError};
use crate::disk::make_folders_in;
use crate::disk::scratch::ScratchFolder;
use crate::job::JOB_FILE;
use crate::pipeline::{self, Progress};
use crate::report::ResultDocument;
use crate::report::read::ReadError;
use crate::report::result::Program;
use crate::visible;

/// Why an archive can't be read, or the order can't be followed.
#[derive(Debug, Error)]
pub enum ProveError {
    #[error("there is no file or folder {}: check the name", .0.display())]
    Missing(PathBuf),
    #[error("{} is neither a file nor a folder: name the ZIP file that the keep command wrote, or the folder unpacked from it", .0.display())]
    NeitherFileNorFolder(PathBuf),
    #[error("{} can't be read: {why}. Check its permissions", .at.display())]
    Io { at: PathBuf, why: io::Error },
    #[error(transparent)]
    Unpack(#[from] UnpackError),
    #[error(transparent)]
    Bag(#[from] BagError),
    #[error(
        "the number to expect is not 64 hexadecimal digits: give the SHA-256 that was printed when the archive was made, as --expect NUMBER"
    )]
    NotANumber,
    #[error("{} is a folder, and the number to expect is that of the ZIP file: name the ZIP file, or leave --expect out", .0.display())]
    NoNumberOfFolder(PathBuf),
    #[error(
        "{} holds no {} and so no measurement of this program that could be repeated: prove it with --quick, which checks its checksums \
         alone", .0.display(), layout::RESULT
    )]
    NoResult(PathBuf),
    #[error("the sealed result can't be compared: {0}")]
    Result(#[from] ReadError),
    #[error("no folder for passing files can be made in {}: {why}. Make room there, or name another with the environment variable TMPDIR", .at.display())]
    Scratch { at: PathBuf, why: io::Error },
}

/// What was found.
#[derive(Clone, Debug, Default)]
pub struct Proof {
    /// SHA-256 of the file; None for a folder.
    pub sha256: Option<String>,
    /// Whether that is the number that was to be expected; None where none was given.
    pub as_expected: Option<bool>,
    /// Files of the payload, and their bytes.
    pub payload: (usize, u64),
    pub bag_version: (u32, u32),
    /// The program that sealed it, in its own words.
    pub sealed_by: Option<String>,
    /// What shows that the archive is not what was sealed.
    pub problems: Vec<String>,
    /// What is good to know.
    pub notes: Vec<String>,
    /// Files whose content nothing here can check but by checksums, which whoever wrote them can
    /// make again.
    pub not_covered: Vec<String>,
    /// What measuring again gave; None where it was not measured again.
    pub reproduction: Option<Reproduction>,
}

impl Proof {
    /// The checksums hold and, where it was measured again, the figures came out again, and nothing
    /// is left that could not be compared. That nothing was altered since it was sealed is
    /// more: only the number written down then shows it, of what could not be compared as well.
    pub fn is_proven(&self) -> bool {
        let is_covered = match self.reproduction {
            None => true,
            Some(Reproduction::FiguresAlone(_)) => false,
            Some(_) => self.not_covered.is_empty(),
        };
        self.figures_hold() && (is_covered || self.as_expected == Some(true))
    }

    /// Nothing speaks against it; but what could not be compared may say anything.
    pub fn figures_hold(&self) -> bool {
        self.problems.is_empty() && !matches!(self.reproduction, Some(Reproduction::Differs(_)))
    }
}

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
    let sealed = sealed.ok_or_else(|| ProveError::NoResult(at.to_owned()))?;
    measure_again(&sealed, &opened.bag, &bag, progress, &mut proof)?;
    Ok(proof)
}

/// An archive looked at without measuring.
struct Looked {
    opened: Opened,
    bag: Bag,
    /// The text of the sealed result, where there is one.
    sealed: Option<String>,
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
    let bag = bag::check(&opened.bag)?;
    proof.payload = bag.payload_size();
    proof.bag_version = bag.version;
    proof.sealed_by = bag.fact("Sealed-By").map(str::to_owned);
    proof.problems.extend(bag.problems.iter().cloned());
    let sealed = match read_result(&opened.bag, &bag)? {
        Some(Ok(sealed)) => {
            photos_of_result(&sealed, &bag, &mut proof);
            Some(sealed)
        }
        Some(Err(why)) => {
            proof.problems.push(why);
            None
        }
        None => None,
    };
    if own_form::is_own(&bag) {
        own_form::check(at, &opened, &bag, sealed.as_deref(), &mut proof)?;
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

/// The sealed result.json of an archive or of the folder unpacked from one, after everything but
/// measuring again was found in order; for comparisons. The error says what is wrong.
pub fn sealed_result(at: &Path) -> anyhow::Result<String> {
    let Looked { sealed, proof, .. } = look(at, None)?;
    if let Some(problem) = proof.problems.first() {
        anyhow::bail!(
            "{} was altered: {problem}. Prove it for the whole list, and use another copy",
            at.display()
        );
    }
    Ok(sealed.ok_or_else(|| ProveError::NoResult(at.to_owned()))?)
}

const MOST_RESULT_BYTES: u64 = crate::report::read::MOST_BYTES;

/// The text of the sealed result; None without one. The inner error says what is wrong with it.
fn read_result(folder: &Path, bag: &Bag) -> Result<Option<Result<String, String>>, ProveError> {
    let Some(file) = bag.files.get(layout::RESULT) else { return Ok(None) };
    if file.bytes > MOST_RESULT_BYTES {
        return Ok(Some(Err(format!("{} is larger than any result", layout::RESULT))));
    }
    let at = folder.join(layout::RESULT);
    let bytes = fs::read(&at).map_err(|why| ProveError::Io { at, why })?;
    Ok(Some(String::from_utf8(bytes).map_err(|_| format!("{} is not UTF-8 text", layout::RESULT))))
}

/// An archive ready to be looked at.
pub(super) struct Opened {
    pub(super) bag: PathBuf,
    /// The bag's folder inside the ZIP.
    pub(super) top: String,
    pub(super) is_file: bool,
    problems: Vec<String>,
    _scratch: Option<ScratchFolder>,
}

impl Opened {
    fn open(at: &Path) -> Result<Self, ProveError> {
        let kind = match fs::metadata(at) {
            Ok(kind) => kind,
            Err(why) if why.kind() == io::ErrorKind::NotFound => {
                return Err(ProveError::Missing(at.to_owned()));
            }
            Err(why) => return Err(ProveError::Io { at: at.to_owned(), why }),
        };
        if kind.is_dir() {
            let bag = at.to_owned();
            return Ok(Self {
                bag,
                top: String::new(),
                is_file: false,
                problems: Vec::new(),
                _scratch: None,
            });
        }
        // A pipe would never end, and a device may not either.
        if !kind.is_file() {
            return Err(ProveError::NeitherFileNorFolder(at.to_owned()));
        }
        let scratch = scratch_folder()?;
        let zipped::Unpacked { bag, top, problems } = zipped::unpack(at, scratch.path())?;
        Ok(Self { bag, top, is_file: true, problems, _scratch: Some(scratch) })
    }
}

fn scratch_folder() -> Result<ScratchFolder, ProveError> {
    ScratchFolder::new().map_err(|why| ProveError::Scratch { at: std::env::temp_dir(), why })
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
fn photos_of_result(sealed: &str, bag: &Bag, proof: &mut Proof) {
    let result: Value = match serde_json::from_str(sealed) {
        Ok(result) => result,
        Err(why) => {
            proof.problems.push(format!("{} is not JSON: {why}", layout::RESULT));
            return;
        }
    };
    // A name that stands twice in one object would hide a figure from this program that others
    // read, and the other way round.
    let as_written = visible::json(&result.to_string()).into_owned();
    if as_written != without_blanks(sealed) {
        proof.problems.push(format!(
            "{} is not written as the program writes it: a name may stand in it twice",
            layout::RESULT
        ));
    }
    let told = result.get("photos").and_then(Value::as_array).into_iter().flatten();
    let mut of_result: Vec<(String, &str)> = told
        .filter_map(|photo| {
            let (file, sha256) = (photo.get("file")?.as_str()?, photo.get("sha256")?.as_str()?);
            Some((format!("{}{file}", layout::PHOTOS), sha256))
        })
        .collect();
    of_result.sort();
    let sealed = bag.files.iter().filter(|(path, _)| path.starts_with(layout::PHOTOS));
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

/// Lays the sealed photos and settings out as a job, measures it, and compares.
fn measure_again(
    sealed: &str,
    folder: &Path,
    bag: &Bag,
    progress: &(dyn Fn(Progress) + Sync),
    proof: &mut Proof,
) -> Result<(), ProveError> {
    let document = ResultDocument::from_json(sealed.as_bytes(), Path::new(layout::RESULT))?;
    let this = Program::this();
    let same_version = document.program.is_same_version(&this);
    let same_machine = document.program.machine == this.machine;
    if !same_version {
        proof.notes.push(format!(
            "it was sealed by {}, and this is {}: figures, verdicts and settings are compared, but what the report's \
             pages and the plan say in words only that version can compare",
            document.program.told(),
            this.told()
        ));
        // Where this version would write the same, another one did; else nobody here can tell.
        let same = report_files(&document);
        let is_same = |path: &String| {
            same.iter()
                .any(|(known, bytes)| known == path && bag.files[path].sha256 == sha256(bytes))
        };
        let pages = bag
            .files
            .keys()
            .filter(|path| path.starts_with(layout::REPORT) && *path != layout::RESULT);
        proof.not_covered.extend(pages.filter(|path| !is_same(path)).cloned());
    } else if !same_machine {
        let machine = if document.program.machine.is_empty() {
            "an unnamed kind of machine"
        } else {
            &document.program.machine
        };
        proof.notes.push(format!(
            "it was measured on {machine}, and this is {}: figures are compared within 1 % of their U, not byte by byte",
            this.machine
        ));
    }
    let lacking: Vec<&str> = document
        .program
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
    let job = scratch_folder()?;
    let scratch = |why| ProveError::Scratch { at: job.path().to_owned(), why };
    for path in bag.files.keys() {
        let own = path.strip_prefix(layout::PHOTOS).or((path == layout::JOB).then_some(JOB_FILE));
        if let Some(own) = own {
            let to = job.path().join(own);
            let (around, _) = own.rsplit_once('/').unwrap_or_default();
            make_folders_in(job.path(), Path::new(around)).map_err(scratch)?;
            second_name(&folder.join(path), &to).map_err(scratch)?;
        }
    }
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
        let written = report_files(&document);
        for (path, bytes) in &written {
            if bag.files.get(path).is_none_or(|file| file.sha256 != sha256(bytes)) {
                proof
                    .problems
                    .push(format!("{path} is not what this version writes for the sealed result"));
            }
        }
        let reports = bag.files.keys().filter(|path| path.starts_with(layout::REPORT));
        for stray in reports.filter(|path| !written.iter().any(|(known, _)| known == *path)) {
            proof
                .problems
                .push(format!("{stray} is a stray file: this version writes none of that name"));
        }
    }
    // Version, revision and machine are told in the notes, and features decide only which photos
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
            proof.problems.push(format!("{} is not JSON: {why}", layout::RESULT));
            None
        }
    };
    Ok(())
}

/// A second name for a file where the file system can do that, or a copy of it. It never takes the
/// place of another file.
pub(super) fn second_name(from: &Path, to: &Path) -> io::Result<()> {
    // A link is followed first: its second name would be one more link, which may lead elsewhere
    // from there.
    let real = from.canonicalize()?;
    if fs::hard_link(&real, to).is_ok() {
        return Ok(());
    }
    io::copy(&mut File::open(&real)?, &mut File::create_new(to)?).map(|_| ())
}
