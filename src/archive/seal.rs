//! Seals a job in one file: photos, settings, result and report.

use std::fs::{self, File};
use std::io::{self, BufReader, BufWriter, Cursor, Seek, Write};
use std::path::{Path, PathBuf};

use crate::disk::free_bytes;
use crate::disk::new_file::NewFile;
use crate::disk::place::is_within;
use crate::finding::Finding;
use crate::job::JOB_FILE;
use crate::photo::evenings::later_evenings;
use crate::photo::job_photos::REPORT_FOLDER;
use crate::pipeline::Progress;

use super::checksum::{Algorithm, checksums, sha256};
use super::layout;
use super::sealed::{KeepError, Sealed};
use super::sealed_job::{Content, Part, SealedJob};
use super::sealed_texts::{bag_texts, report_files, top_folder};
use super::tag_files::Entry;
use super::zipped::{SealedZip, overhead};

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
