//! Seals a job in one file: photos, settings, result and report.

use std::fs::{self, File};
use std::io::{self, BufReader, BufWriter, Cursor, Seek, Write};
use std::path::{Path, PathBuf};

use crate::disk::free_bytes;
use crate::disk::new_file::NewFile;
use crate::disk::place::is_within;
use crate::finding::Finding;
use crate::job::JOB_FILE;
use crate::photo::ListError;
use crate::photo::evenings::later_evenings;
use crate::photo::job_photos::REPORT_FOLDER;
use crate::pipeline::{PipelineError, Progress};
use crate::report::ResultDocument;

use super::checksum::{Algorithm, checksums, sha256};
use super::evenings::Within;
use super::readme::Privacy;
use super::sealed::{Anew, KeepError, Sealed};
use super::sealed_job::{Content, Part, SealedJob};
use super::sealed_texts::{SealedEvening, bag_texts, report_files, top_folder};
use super::tag_files::Entry;
use super::zipped::{SealedZip, overhead};

/// Seals the job in `folder`, all its evenings, as the new file `target`. The same job gives the
/// same bytes.
pub fn keep(
    folder: &Path,
    target: &Path,
    without_place: bool,
    progress: &(dyn Fn(Progress) + Sync),
) -> Result<Sealed, KeepError> {
    let target_folder = check_target(folder, target)?;
    let mut left_out = Vec::new();
    let jobs = open_all(folder, without_place, &mut left_out)?;
    let (mut parts, mut evenings, mut anew) = (Vec::new(), Vec::new(), Anew::No);
    let mut privacy = Privacy::default();
    for job in &jobs {
        let (document, own) = evening_parts(job, &mut parts, progress)?;
        anew = anew.max(own);
        privacy.and(&job.privacy);
        evenings.push(SealedEvening { within: job.within.clone(), document });
    }
    parts.sort_by(|a, b| a.entry.path.cmp(&b.entry.path));
    let payload: Vec<Entry> = parts.iter().map(|part| part.entry.clone()).collect();
    let texts = bag_texts(&evenings, &privacy, &payload);
    parts.extend(texts.into_iter().map(|(path, bytes)| Part::memory(path, bytes)));
    parts.sort_by(|a, b| a.entry.path.cmp(&b.entry.path));

    let top = top_folder(evenings.first().map_or("", |evening| &evening.document.job.id));
    let needed = parts.iter().map(|part| part.entry.bytes).sum::<u64>()
        + overhead(parts.iter().map(|part| top.len() + 1 + part.entry.path.len()));
    if let Some(free) = free_bytes(&target_folder).filter(|&free| free < needed) {
        return Err(KeepError::NoRoom { folder: target_folder, needed, free });
    }
    let (bytes, sha256) = write(&parts, &top, target, &target_folder)?;
    let n_photos = jobs.iter().map(SealedJob::n_photos).sum();
    let n_evenings = jobs.len();
    left_out.extend(jobs.into_iter().flat_map(|job| job.left_out));
    Ok(Sealed {
        file: target.to_owned(),
        bytes,
        sha256,
        n_photos,
        n_evenings,
        privacy,
        left_out,
        anew,
    })
}

/// The job's evenings, each a job of its own. A later one without a photo that can be used is left
/// out: it was only begun.
fn open_all(
    folder: &Path,
    without_place: bool,
    left_out: &mut Vec<Finding>,
) -> Result<Vec<SealedJob>, KeepError> {
    let mut jobs = vec![SealedJob::open(folder, Within::first(), without_place)?];
    for name in later_evenings(folder) {
        let Some(within) = Within::later(&name) else { continue };
        match SealedJob::open(&folder.join(&name), within, without_place) {
            Ok(job) => jobs.push(job),
            Err(KeepError::Job(
                PipelineError::NoPhotos(_)
                | PipelineError::NoneUsable(..)
                | PipelineError::List(ListError::NoPhotos(_)),
            )) => left_out.push(Finding::note(
                "evening-not-kept",
                format!("{name} holds no photo that can be used, and is not in this archive."),
                "Nothing to do, if it was only begun; else look at its photos, and keep the job again under another name.",
            )),
            Err(why) => return Err(why),
        }
    }
    Ok(jobs)
}

/// Adds what is sealed of one evening; gives its result, and whether that is what lies in its
/// folder.
fn evening_parts(
    job: &SealedJob,
    parts: &mut Vec<Part>,
    progress: &(dyn Fn(Progress) + Sync),
) -> Result<(ResultDocument, Anew), KeepError> {
    let settings = job.settings()?;
    let (document, anew) = job.result(progress);
    if job.settings()? != settings {
        return Err(KeepError::Changed { what: job.within.name_of(JOB_FILE) });
    }
    parts.extend(job.photo_parts()?);
    parts.extend(settings.map(|bytes| Part::memory(job.within.job(), bytes)));
    let report = report_files(&document, &job.within);
    parts.extend(report.into_iter().map(|(path, bytes)| Part::memory(path, bytes)));
    Ok((document, anew))
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

/// Writes the archive and gives it its name. Gives its length and SHA-256.
pub(super) fn write(
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
