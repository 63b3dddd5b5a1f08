//! Seals a job in one file: photos, settings, result and report.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, BufReader, BufWriter, Cursor, Seek, Write};
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::bag::{self, Entry};
use super::checksum::{Algorithm, checksums, sha256};
use super::place::{self, CleanError};
use super::readme::{self, Privacy};
use super::zipped::{SealedZip, overhead};
use super::{layout, paths};
use crate::disk::free_bytes;
use crate::disk::make_folders_in;
use crate::disk::new_file::NewFile;
use crate::disk::place::is_within;
use crate::disk::scratch::ScratchFolder;
use crate::finding::Finding;
use crate::job::JOB_FILE;
use crate::photo::listing::{REPORT_FOLDER, later_evenings};
use crate::pipeline::{self, JobFolder, PipelineError, Progress};
use crate::report::result::{Program, RESULT_NAME, SCHEMA};
use crate::report::{ResultDocument, html, text};
use crate::text::units::Show;

/// Why a job was not sealed. Nothing was written then.
#[derive(Debug, Error)]
pub enum KeepError {
    #[error(transparent)]
    Job(#[from] PipelineError),
    #[error("{} is there already, and nothing was written: name another file with --to, or move that one away", .0.display())]
    Exists(PathBuf),
    #[error("there is no folder {}: make it first, or name a file in another folder with --to", .0.display())]
    NoFolder(PathBuf),
    #[error("{} names no file: end it with a name such as my-bike.zip", .0.display())]
    NoName(PathBuf),
    #[error("{} lies in the job's report folder, which the next measurement replaces: name a file elsewhere with --to", .0.display())]
    InReport(PathBuf),
    #[error(
        "the photo \"{photo}\" can't be kept under its name: {why}. Rename it with plain letters and digits, and measure again"
    )]
    Name { photo: String, why: String },
    #[error(
        "{photo} can't be copied without what could give its place away: {why}. Take the photo out of the job or save it as JPEG, and measure \
         again; or keep the job without --without-place"
    )]
    CannotClean { photo: String, why: CleanError },
    #[error(
        "{what} changed while the job was being kept, and nothing was written: let no other program write there, and try again"
    )]
    Changed { what: String },
    #[error("{} has no room for the archive: it takes {needed} bytes, and {free} are free. Make room, or name a file on another disk with --to", .folder.display())]
    NoRoom { folder: PathBuf, needed: u64, free: u64 },
    #[error("{} can't be read: {why}. Check its permissions, or copy it from the phone again", .at.display())]
    Read { at: PathBuf, why: io::Error },
    #[error("{} can't be written: {why}. Nothing is left of it; make room or check the folder's permissions, or name another file with --to", .at.display())]
    Write { at: PathBuf, why: io::Error },
}

/// A job sealed.
#[derive(Clone, Debug)]
pub struct Sealed {
    pub file: PathBuf,
    pub bytes: u64,
    /// SHA-256 of the whole file: the number to write down.
    pub sha256: String,
    pub n_photos: usize,
    pub privacy: Privacy,
    /// What the job folder holds and the archive does not.
    pub left_out: Vec<Finding>,
    /// The report in the job's folder does not hold the result that was sealed.
    pub measured_anew: bool,
}

/// Seals the job in `folder` as the new file `target`. The same job gives the same bytes.
pub fn keep(
    folder: &Path,
    target: &Path,
    without_place: bool,
    progress: &(dyn Fn(Progress) + Sync),
) -> Result<Sealed, KeepError> {
    let target_folder = check_target(folder, target)?;
    let job = SealedJob::open(folder, without_place)?;
    let settings = job.settings()?;
    let (document, measured_anew) = job.result(progress);
    if job.settings()? != settings {
        return Err(KeepError::Changed { what: JOB_FILE.to_owned() });
    }
    let mut parts = job.photo_parts()?;
    parts.extend(settings.map(|bytes| Part::memory(layout::JOB, bytes)));
    parts
        .extend(report_files(&document).into_iter().map(|(path, bytes)| Part::memory(path, bytes)));
    parts.sort_by(|a, b| a.entry.path.cmp(&b.entry.path));
    let payload: Vec<Entry> = parts.iter().map(|part| part.entry.clone()).collect();
    let texts = bag_texts(&document, job.n_photos(), &job.privacy, &payload);
    parts.extend(texts.into_iter().map(|(path, bytes)| Part::memory(path, bytes)));
    parts.sort_by(|a, b| a.entry.path.cmp(&b.entry.path));

    let top = top_folder(&document.job.id);
    let needed = parts.iter().map(|part| part.entry.bytes).sum::<u64>()
        + overhead(parts.iter().map(|part| top.len() + 1 + part.entry.path.len()));
    if let Some(free) = free_bytes(&target_folder).filter(|&free| free < needed) {
        return Err(KeepError::NoRoom { folder: target_folder, needed, free });
    }
    let (bytes, sha256) = write(&parts, &top, target, &target_folder)?;
    Ok(Sealed {
        file: target.to_owned(),
        bytes,
        sha256,
        n_photos: job.n_photos(),
        privacy: job.privacy,
        left_out: job.left_out.into_iter().chain(later(folder)).collect(),
        measured_anew,
    })
}

/// Later evenings of the job, which are jobs of their own: each is sealed by itself.
fn later(folder: &Path) -> impl Iterator<Item = Finding> {
    later_evenings(folder).into_iter().map(|name| {
        Finding::note(
            "evening-not-kept",
            format!("{name}, a later evening with photos and figures of its own, is not in this archive."),
            format!("Seal it as well: name that folder to the command keep, and another file such as {name}.zip."),
        )
    })
}

/// The one folder in the ZIP; it hangs on the job alone, not on the file's name.
pub(super) fn top_folder(job_id: &str) -> String {
    format!("{}-{}", Program::this().name, job_id.get(..12).unwrap_or(job_id))
}

/// The texts beside the payload, by their paths in the bag: made from what is sealed alone, so that
/// they can be made again and compared.
pub(super) fn bag_texts(
    document: &ResultDocument,
    n_photos: usize,
    privacy: &Privacy,
    payload: &[Entry],
) -> Vec<(String, Vec<u8>)> {
    let readme = readme::text(&document.program, &document.job.id, n_photos, privacy);
    bag::tag_files(
        payload,
        &facts(document, n_photos, privacy),
        vec![(layout::README.to_owned(), readme.into_bytes())],
    )
}

/// Under this label the bag says which photos are copies without their place.
pub(super) const CLEANED_PHOTOS: &str = "Photos-Changed-To-Remove-Place";

/// Our own facts for bag-info.txt.
fn facts(
    document: &ResultDocument,
    n_photos: usize,
    privacy: &Privacy,
) -> Vec<(&'static str, String)> {
    let Program { name, version, .. } = &document.program;
    let names =
        |photos: &[String]| if photos.is_empty() { "none".to_owned() } else { photos.join(", ") };
    vec![
        ("Sealed-By", format!("{name} {version}")),
        ("External-Identifier", document.job.id.clone()),
        (
            "External-Description",
            "A motorcycle's rear wheel, chain line and frame, measured from photos".to_owned(),
        ),
        ("Result-Form", SCHEMA.to_owned()),
        ("Photos", n_photos.to_string()),
        ("Photos-With-Place", names(&privacy.with_place)),
        ("Photos-With-Serial-Number", names(&privacy.with_serial)),
        (CLEANED_PHOTOS, names(&privacy.cleaned)),
    ]
}

/// The report's files as the archive holds them, by their paths in the bag: made from the result
/// alone, so that they can be made again and compared.
///
/// The small pictures of photos that the report in the job's folder has are left out: the photos
/// themselves are in the archive.
pub fn report_files(document: &ResultDocument) -> Vec<(String, Vec<u8>)> {
    let plain = anstream::adapter::strip_str(&text::report_all(document, Show::Mm)).to_string();
    let page = html::files(document, &[], Show::Mm)
        .into_iter()
        .map(|file| (format!("{}{}", layout::REPORT, file.path), file.bytes));
    page.chain([(layout::REPORT_TEXT.to_owned(), plain.into_bytes())]).collect()
}

/// Checks, before the long work, that the archive can get its name.
fn check_target(folder: &Path, target: &Path) -> Result<PathBuf, KeepError> {
    if target.file_name().is_none() || target.as_os_str().to_string_lossy().ends_with(['/', '\\']) {
        return Err(KeepError::NoName(target.to_owned()));
    }
    // A link that leads nowhere has the name as well.
    if fs::symlink_metadata(target).is_ok() {
        return Err(KeepError::Exists(target.to_owned()));
    }
    let target_folder =
        target.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if !target_folder.is_dir() {
        return Err(KeepError::NoFolder(target_folder.to_owned()));
    }
    if is_within(target_folder, &folder.join(REPORT_FOLDER)) {
        return Err(KeepError::InReport(target.to_owned()));
    }
    Ok(target_folder.to_owned())
}

/// The job as the archive will hold it.
struct SealedJob {
    /// The job's own folder, or copies.
    folder: PathBuf,
    opened: JobFolder,
    privacy: Privacy,
    left_out: Vec<Finding>,
    /// The folder is the job's own, so that its report may serve.
    is_original: bool,
    _copies: Option<ScratchFolder>,
}

impl SealedJob {
    fn open(folder: &Path, without_place: bool) -> Result<Self, KeepError> {
        let opened = pipeline::open(folder)?;
        check_names(&opened)?;
        let mut left_out = opened.photos.findings.clone();
        // What the listing says of files that are left out would not be said of the sealed photos:
        // the result in the archive is that of the files in the archive.
        if !without_place && left_out.is_empty() {
            let privacy = privacy(&opened, false)?;
            return Ok(Self {
                folder: folder.to_owned(),
                opened,
                privacy,
                left_out,
                is_original: true,
                _copies: None,
            });
        }
        let scratch = |why| KeepError::Write { at: std::env::temp_dir(), why };
        let copies = ScratchFolder::new().map_err(scratch)?;
        for photo in opened.photos.all() {
            let to = copies.path().join(&photo.id);
            let (around, _) = photo.id.rsplit_once('/').unwrap_or_default();
            make_folders_in(copies.path(), Path::new(around)).map_err(scratch)?;
            if without_place {
                let bytes = fs::read(&photo.path)
                    .map_err(|why| KeepError::Read { at: photo.path.clone(), why })?;
                let clean = place::cleaned(&bytes)
                    .map_err(|why| KeepError::CannotClean { photo: photo.id.clone(), why })?;
                File::create_new(to)
                    .and_then(|mut file| file.write_all(&clean))
                    .map_err(scratch)?;
            } else {
                super::prove::second_name(&photo.path, &to).map_err(scratch)?;
            }
        }
        let settings = folder.join(JOB_FILE);
        if settings.is_file() {
            let to = copies.path().join(JOB_FILE);
            super::prove::second_name(&settings, &to)
                .map_err(|why| KeepError::Read { at: settings, why })?;
        }
        let listed = opened;
        let mut opened = pipeline::open(copies.path())?;
        // Photos that differed in nothing but what was left out are the same file by now.
        let n_sealed = opened.photos.all().count();
        if n_sealed < listed.photos.all().count() {
            left_out.extend(
                opened.photos.findings.iter().filter(|finding| finding.photo.is_some()).cloned(),
            );
            let sealed: BTreeSet<String> =
                opened.photos.all().map(|photo| photo.id.clone()).collect();
            for photo in listed.photos.all().filter(|photo| !sealed.contains(&photo.id)) {
                fs::remove_file(copies.path().join(&photo.id)).map_err(scratch)?;
            }
            opened = pipeline::open(copies.path())?;
        }
        let privacy = privacy(&opened, without_place)?;
        let folder = copies.path().to_owned();
        Ok(Self { folder, opened, privacy, left_out, is_original: false, _copies: Some(copies) })
    }

    fn n_photos(&self) -> usize {
        self.opened.photos.all().count()
    }

    /// The bytes of job.toml, if there is one.
    fn settings(&self) -> Result<Option<Vec<u8>>, KeepError> {
        let at = self.folder.join(JOB_FILE);
        match fs::read(&at) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(why) if why.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(why) => Err(KeepError::Read { at, why }),
        }
    }

    /// The result of these very inputs, measured from them: what lies in the job's folder may be of
    /// other photos, whatever it says. True where it is not what lies there.
    fn result(&self, progress: &(dyn Fn(Progress) + Sync)) -> (ResultDocument, bool) {
        let inputs = JobFolder {
            job: self.opened.job.clone(),
            photos: self.opened.photos.clone(),
            id: self.opened.id.clone(),
        };
        let document = pipeline::measure(inputs, progress).document;
        let at = self.folder.join(REPORT_FOLDER).join(RESULT_NAME);
        let is_there = self.is_original
            && fs::read(at).is_ok_and(|bytes| bytes == document.to_json().as_bytes());
        (document, !is_there)
    }

    fn photo_parts(&self) -> Result<Vec<Part>, KeepError> {
        let parts = self.opened.photos.all().map(|photo| {
            let read = |why| KeepError::Read { at: photo.path.clone(), why };
            let bytes = fs::metadata(&photo.path).map_err(read)?.len();
            let entry = Entry {
                path: format!("{}{}", layout::PHOTOS, photo.id),
                bytes,
                sha256: photo.sha256.clone(),
            };
            Ok(Part { entry, content: Content::File(photo.path.clone()) })
        });
        parts.collect()
    }
}

fn check_names(opened: &JobFolder) -> Result<(), KeepError> {
    let sealed = |id: &str| format!("{}{id}", layout::PHOTOS);
    let refused = |photo: &str, why: String| KeepError::Name { photo: photo.to_owned(), why };
    for photo in opened.photos.all() {
        paths::check(&sealed(&photo.id)).map_err(|why| refused(&photo.id, why.to_string()))?;
        // RFC 8493 wants it as %25 in the lists, which common tools for checksums and some
        // validators of bags don't understand.
        if photo.id.contains('%') {
            return Err(refused(
                &photo.id,
                "it holds a percent sign, with which other tools could not check the archive"
                    .to_owned(),
            ));
        }
    }
    match paths::collision(opened.photos.all().map(|photo| photo.id.as_str())) {
        Some((a, b)) => Err(refused(&b, format!("on many systems it would be one with \"{a}\""))),
        None => Ok(()),
    }
}

/// What the photos that are sealed tell about people; `are_copies`: without their place, all of
/// them.
fn privacy(opened: &JobFolder, are_copies: bool) -> Result<Privacy, KeepError> {
    let mut privacy = Privacy::default();
    for photo in opened.photos.all() {
        let bytes =
            fs::read(&photo.path).map_err(|why| KeepError::Read { at: photo.path.clone(), why })?;
        privacy.look_at(&photo.id, &bytes, are_copies);
    }
    Ok(privacy)
}

/// One file of the bag.
struct Part {
    entry: Entry,
    content: Content,
}

enum Content {
    File(PathBuf),
    Memory(Vec<u8>),
}

impl Part {
    fn memory(path: impl Into<String>, bytes: Vec<u8>) -> Self {
        let entry = Entry { path: path.into(), bytes: bytes.len() as u64, sha256: sha256(&bytes) };
        Self { entry, content: Content::Memory(bytes) }
    }
}

/// Writes the archive and gives it its name. Gives its length and SHA-256.
fn write(
    parts: &[Part],
    top: &str,
    target: &Path,
    target_folder: &Path,
) -> Result<(u64, String), KeepError> {
    let failed = |why: io::Error| match why.kind() {
        io::ErrorKind::AlreadyExists => KeepError::Exists(target.to_owned()),
        _ => KeepError::Write { at: target.to_owned(), why },
    };
    let mut new = NewFile::in_folder(target_folder).map_err(failed)?;
    let mut zip = SealedZip::new(BufWriter::new(new.file()));
    for part in parts {
        let name = format!("{top}/{}", part.entry.path);
        match &part.content {
            Content::Memory(bytes) => {
                zip.add(&name, &mut Cursor::new(bytes)).map_err(failed).map(|_| ())?
            }
            Content::File(at) => {
                let read = |why| KeepError::Read { at: at.clone(), why };
                // The photo goes through the memory, so that what is checked is what is written.
                let bytes = fs::read(at).map_err(read)?;
                if bytes.len() as u64 != part.entry.bytes || sha256(&bytes) != part.entry.sha256 {
                    return Err(KeepError::Changed { what: at.display().to_string() });
                }
                zip.add(&name, &mut Cursor::new(bytes)).map_err(failed)?;
            }
        }
    }
    let mut out = zip.finish().map_err(failed)?;
    out.flush().map_err(failed)?;
    drop(out);
    let file: &mut File = new.file();
    file.rewind().map_err(failed)?;
    let (bytes, mut sums) =
        checksums(BufReader::new(file), &[Algorithm::Sha256]).map_err(failed)?;
    new.publish(target).map_err(failed)?;
    Ok((bytes, sums.remove(0)))
}
