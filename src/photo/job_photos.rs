//! The photos of a job, as its folder holds them, and the names of the folders that mean something.

use std::path::PathBuf;

use sha2::{Digest, Sha256};

use crate::finding::Finding;

use super::file_bytes::read_limited;
use super::{Photo, PhotoError, read_photo};
use crate::math::hex::hex;

/// The sub-folder whose photos show cards only, with card poses of their own.
pub const CAMERA_FOLDER: &str = "0-camera";
/// The set-up folders of a new job: the wheel once each way round.
pub const USUAL_SETUPS: [&str; 2] = ["1-mark-forward", "2-mark-rearward"];
/// The sub-folder that reports are written to.
pub const REPORT_FOLDER: &str = "report";
/// In a report's folder, the list of what this program wrote there.
pub const REPORT_LIST: &str = "report-files.txt";
/// A later evening's photos lie in a folder of their own inside the job, named so with a number
/// from 2 on: "evening-2" holds set-ups and a job.toml as a job does, and is measured on its own.
pub const EVENING_PREFIX: &str = "evening-";
/// Name of the only set-up where photos lie directly in the job folder and nothing shows how the
/// wheel stands in them.
pub const LOOSE_SETUP: &str = "photos";

/// One photo of a job, not yet read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhotoFile {
    /// Its place in the job folder with forward slashes, such as `1-mark-forward/03.jpg`: how
    /// results name it.
    pub id: String,
    pub path: PathBuf,
    /// SHA-256 of the file, 64 hexadecimal digits.
    pub sha256: String,
}

impl PhotoFile {
    /// The file's bytes, if they are still those that were listed.
    pub(super) fn bytes(&self) -> Result<Vec<u8>, PhotoError> {
        let bytes = read_limited(&self.path)?;
        if hex(&Sha256::digest(&bytes)) == self.sha256 {
            Ok(bytes)
        } else {
            Err(PhotoError::Changed)
        }
    }

    /// Reads the photo, and makes sure that it is still the file that was listed.
    pub fn read(&self) -> Result<Photo, PhotoError> {
        let photo = read_photo(&self.path)?;
        if photo.facts.sha256 == self.sha256 { Ok(photo) } else { Err(PhotoError::Changed) }
    }
}

/// A folder of photos within which nothing moved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetupFolder {
    /// The folder's name, such as `1-mark-forward`.
    pub name: String,
    /// In the natural order of their names.
    pub photos: Vec<PhotoFile>,
}

/// The photos of a job.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JobPhotos {
    /// By numeric prefix, then by name; folders without a prefix last.
    pub setups: Vec<SetupFolder>,
    /// Photos of `0-camera`, for the lens alone.
    pub camera: Vec<PhotoFile>,
    /// Photos in the job folder itself.
    pub loose: Vec<PhotoFile>,
    /// What was left out and why, in a fixed order.
    pub findings: Vec<Finding>,
}

impl JobPhotos {
    /// All photos, those for the lens first, then by set-up, then the loose ones.
    pub fn all(&self) -> impl Iterator<Item = &PhotoFile> {
        self.camera
            .iter()
            .chain(self.setups.iter().flat_map(|setup| &setup.photos))
            .chain(&self.loose)
    }

    /// The same with the name of each photo's set-up; none for loose ones.
    pub fn with_setups(&self) -> impl Iterator<Item = (&PhotoFile, Option<&str>)> {
        let camera = self.camera.iter().map(|file| (file, Some(CAMERA_FOLDER)));
        let setups = self.setups.iter().flat_map(|setup| {
            setup.photos.iter().map(move |file| (file, Some(setup.name.as_str())))
        });
        camera.chain(setups).chain(self.loose.iter().map(|file| (file, None)))
    }
}
