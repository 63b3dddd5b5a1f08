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

    let mut first_with: BTreeMap<String, String> = BTreeMap::new();
    let mut copies = Vec::new();
    let mut keep = |file: &PhotoFile| {
        if file.sha256.is_empty() {
            return false;
        }
        if let Some(first) = first_with.get(&file.sha256) {
            copies.push(
                Finding::warning(
                    "photo-twice",
                    format!("{} is the same file as {first}; it is used once.", file.id),
                    "Take one of them out. If the photo belongs to the other set-up, remove it here instead.",
                )
                .in_photo(&file.id),
            );
            return false;
        }
        first_with.insert(file.sha256.clone(), file.id.clone());
        true
    };
    job.camera.retain(&mut keep);
    for setup in &mut job.setups {
        setup.photos.retain(&mut keep);
    }
    job.setups.retain(|setup| !setup.photos.is_empty());
    job.loose.retain(&mut keep);
    job.findings.extend(copies);
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
