//! An archive ready to be looked at: a folder, or one unpacked from a ZIP file.

use std::path::{Path, PathBuf};
use std::{fs, io};

use crate::disk::scratch::ScratchFolder;

use super::proof::ProveError;
use super::zipped;

/// An archive ready to be looked at.
pub(super) struct Opened {
    pub(super) bag: PathBuf,
    /// The bag's folder inside the ZIP.
    pub(super) top: String,
    pub(super) is_file: bool,
    pub(super) problems: Vec<String>,
    _scratch: Option<ScratchFolder>,
}

impl Opened {
    pub(super) fn open(at: &Path) -> Result<Self, ProveError> {
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

pub(super) fn scratch_folder() -> Result<ScratchFolder, ProveError> {
    ScratchFolder::new().map_err(|why| ProveError::Scratch { at: std::env::temp_dir(), why })
}
