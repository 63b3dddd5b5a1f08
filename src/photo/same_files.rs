//! Checksums of the listed photos; of files with the same bytes the first is kept.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::Path;

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use crate::finding::Finding;

use super::PhotoError;
use super::file_bytes::MAX_FILE_BYTES;
use super::job_photos::{JobPhotos, PhotoFile};
use crate::math::hex::hex;

/// Fills in the checksums. Of files with the same bytes only the first is kept; files that can't be
/// read are kept out too.
pub(super) fn hash_and_drop_copies(job: &mut JobPhotos) {
    let files: Vec<&mut PhotoFile> = job
        .camera
        .iter_mut()
        .chain(job.setups.iter_mut().flat_map(|setup| setup.photos.iter_mut()))
        .chain(&mut job.loose)
        .collect();
    let failures: Vec<Option<Finding>> = files
        .into_par_iter()
        .map(|file| match file_sha256(&file.path) {
            Ok(sha256) => {
                file.sha256 = sha256;
                None
            }
            Err(error) => Some(error.finding(&file.id)),
        })
        .collect();
    job.findings.extend(failures.into_iter().flatten());

    let originals = originals(job);
    let mut copies = Vec::new();
    let mut keep = |file: &PhotoFile| {
        let original = originals.get(&file.sha256).filter(|_| !file.sha256.is_empty());
        if let Some(original) = original.filter(|original| **original != file.id) {
            copies.push(twice(&file.id, original));
        }
        original == Some(&file.id)
    };
    job.camera.retain(&mut keep);
    for setup in &mut job.setups {
        setup.photos.retain(&mut keep);
    }
    job.setups.retain(|setup| !setup.photos.is_empty());
    job.loose.retain(&mut keep);
    job.findings.extend(copies);
}

/// For each checksum the file that is kept: in the first folder that has it, there the one of the
/// shortest name, since whatever copies a file makes its name longer ("IMG_1 (1).jpg").
fn originals(job: &JobPhotos) -> BTreeMap<String, String> {
    let folders = std::iter::once(&job.camera)
        .chain(job.setups.iter().map(|setup| &setup.photos))
        .chain(std::iter::once(&job.loose));
    let mut originals: BTreeMap<String, String> = BTreeMap::new();
    for folder in folders {
        let mut here: Vec<&PhotoFile> = folder.iter().collect();
        here.sort_by_key(|file| file.id.chars().count());
        for file in here {
            originals.entry(file.sha256.clone()).or_insert_with(|| file.id.clone());
        }
    }
    originals
}

fn twice(copy: &str, original: &str) -> Finding {
    let folder = |id: &str| id.rsplit_once('/').map(|(folder, _)| folder.to_owned());
    let todo = if folder(copy) == folder(original) {
        "Nothing to do: the copy is left out. You may take it out of the folder."
    } else {
        "Take out the one that lies in the wrong folder: within a set-up nothing moved, so that a photo belongs to one set-up alone."
    };
    let what = format!("{copy} is the same file as {original}; it is used once.");
    Finding::warning("photo-twice", what, todo).in_photo(copy)
}

/// SHA-256 of a file of at most [`MAX_FILE_BYTES`], without holding it in memory.
fn file_sha256(path: &Path) -> Result<String, PhotoError> {
    let unreadable = |error: std::io::Error| PhotoError::from_io(&error);
    let mut file = File::open(path).map_err(unreadable)?;
    let (mut hasher, mut buffer, mut total) = (Sha256::new(), vec![0; 1 << 16], 0_u64);
    loop {
        let n = file.read(&mut buffer).map_err(unreadable)?;
        if n == 0 {
            return Ok(hex(&hasher.finalize()));
        }
        total += n as u64;
        if total > MAX_FILE_BYTES {
            return Err(PhotoError::FileTooLarge(total));
        }
        hasher.update(&buffer[..n]);
    }
}
