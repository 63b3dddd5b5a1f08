//! The job as the archive will hold it: as it lies there, or copies of it.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::disk::make_folders_in;
use crate::disk::scratch::ScratchFolder;
use crate::disk::second_name::second_name;
use crate::finding::Finding;
use crate::job::JOB_FILE;
use crate::photo::job_photos::REPORT_FOLDER;
use crate::pipeline::{self, JobFolder, Progress};
use crate::report::ResultDocument;
use crate::report::result::RESULT_NAME;

use super::checksum::sha256;
use super::evenings::Within;
use super::readme::Privacy;
use super::sealed::{Anew, KeepError};
use super::tag_files::Entry;
use super::{paths, place};

/// The job as the archive will hold it.
pub(super) struct SealedJob {
    /// The job's own folder, or copies.
    pub(super) folder: PathBuf,
    pub(super) within: Within,
    pub(super) opened: JobFolder,
    pub(super) privacy: Privacy,
    pub(super) left_out: Vec<Finding>,
    /// The job's folder, with the report that lies there.
    pub(super) original: PathBuf,
    /// Whether the photos are copies without their place.
    pub(super) without_place: bool,
    pub(super) _copies: Option<ScratchFolder>,
}

impl SealedJob {
    pub(super) fn open(
        folder: &Path,
        within: Within,
        without_place: bool,
    ) -> Result<Self, KeepError> {
        let opened = pipeline::open(folder)?;
        check_names(&opened, &within)?;
        let mut left_out = opened.photos.findings.clone();
        // What the listing says of files that are left out would not be said of the sealed photos:
        // the result in the archive is that of the files in the archive.
        if !without_place && left_out.is_empty() {
            let privacy = privacy(&opened, &within, false)?;
            return Ok(Self {
                folder: folder.to_owned(),
                within,
                opened,
                privacy,
                left_out,
                original: folder.to_owned(),
                without_place,
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
                second_name(&photo.path, &to).map_err(scratch)?;
            }
        }
        let settings = folder.join(JOB_FILE);
        if settings.is_file() {
            let to = copies.path().join(JOB_FILE);
            second_name(&settings, &to).map_err(|why| KeepError::Read { at: settings, why })?;
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
        let privacy = privacy(&opened, &within, without_place)?;
        Ok(Self {
            folder: copies.path().to_owned(),
            within,
            opened,
            privacy,
            left_out,
            original: folder.to_owned(),
            without_place,
            _copies: Some(copies),
        })
    }

    pub(super) fn n_photos(&self) -> usize {
        self.opened.photos.all().count()
    }

    /// The bytes of job.toml, if there is one.
    pub(super) fn settings(&self) -> Result<Option<Vec<u8>>, KeepError> {
        let at = self.folder.join(JOB_FILE);
        match fs::read(&at) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(why) if why.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(why) => Err(KeepError::Read { at, why }),
        }
    }

    /// The result of these very inputs, measured from them: what lies in the job's folder may be of
    /// other photos, whatever it says. And whether that is what lies there.
    pub(super) fn result(&self, progress: &(dyn Fn(Progress) + Sync)) -> (ResultDocument, Anew) {
        let inputs = JobFolder {
            job: self.opened.job.clone(),
            photos: self.opened.photos.clone(),
            id: self.opened.id.clone(),
        };
        let document = pipeline::measure(inputs, progress).document;
        let at = self.original.join(REPORT_FOLDER).join(RESULT_NAME);
        let anew = if self.without_place {
            Anew::Copies
        } else if fs::read(at).is_ok_and(|bytes| is_same(&bytes, &document, &self.left_out)) {
            Anew::No
        } else {
            Anew::NoResult
        };
        (document, anew)
    }

    pub(super) fn photo_parts(&self) -> Result<Vec<Part>, KeepError> {
        let parts = self.opened.photos.all().map(|photo| {
            let read = |why| KeepError::Read { at: photo.path.clone(), why };
            let bytes = fs::metadata(&photo.path).map_err(read)?.len();
            let entry = Entry {
                path: format!("{}{}", self.within.photos(), photo.id),
                bytes,
                sha256: photo.sha256.clone(),
            };
            Ok(Part { entry, content: Content::File(photo.path.clone()) })
        });
        parts.collect()
    }
}

/// Whether the bytes of an earlier result are this document's. Where files were left out of the
/// archive the earlier result has findings about them besides, and nothing else.
fn is_same(earlier: &[u8], document: &ResultDocument, left_out: &[Finding]) -> bool {
    let sealed = document.to_json();
    if left_out.is_empty() {
        return earlier == sealed.as_bytes();
    }
    let about_them: Vec<serde_json::Value> =
        left_out.iter().filter_map(|finding| serde_json::to_value(finding).ok()).collect();
    let without_those = |bytes: &[u8]| -> Option<serde_json::Value> {
        let mut value: serde_json::Value = serde_json::from_slice(bytes).ok()?;
        value.get_mut("findings")?.as_array_mut()?.retain(|finding| !about_them.contains(finding));
        Some(value)
    };
    let earlier = without_those(earlier);
    earlier.is_some() && earlier == without_those(sealed.as_bytes())
}

fn check_names(opened: &JobFolder, within: &Within) -> Result<(), KeepError> {
    let sealed = |id: &str| format!("{}{id}", within.photos());
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
fn privacy(opened: &JobFolder, within: &Within, are_copies: bool) -> Result<Privacy, KeepError> {
    let mut privacy = Privacy::default();
    for photo in opened.photos.all() {
        let bytes =
            fs::read(&photo.path).map_err(|why| KeepError::Read { at: photo.path.clone(), why })?;
        privacy.look_at(&within.name_of(&photo.id), &bytes, are_copies);
    }
    Ok(privacy)
}

/// One file of the bag.
pub(super) struct Part {
    pub(super) entry: Entry,
    pub(super) content: Content,
}

pub(super) enum Content {
    File(PathBuf),
    Memory(Vec<u8>),
}

impl Part {
    pub(super) fn memory(path: impl Into<String>, bytes: Vec<u8>) -> Self {
        let entry = Entry { path: path.into(), bytes: bytes.len() as u64, sha256: sha256(&bytes) };
        Self { entry, content: Content::Memory(bytes) }
    }
}
