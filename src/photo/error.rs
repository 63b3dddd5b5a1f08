//! Why a photo could not be read: a value that becomes a finding and never stops the others.

use std::io;

use thiserror::Error;

use crate::finding::Finding;

use super::decoded::{MAX_PIXELS, MAX_SIDE, MIN_SIDE};
use super::file_bytes::MAX_FILE_BYTES;
use super::format::PhotoFormat;

/// Why a photo could not be read. Messages name no path, so that results say the same on every
/// machine.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum PhotoError {
    #[error("the file can't be read: {0}")]
    Unreadable(String),
    #[error("this is not an ordinary file")]
    NotAFile,
    #[error("the file is empty")]
    Empty,
    #[error("the file is not a picture, whatever its name says")]
    NotAPicture,
    #[error("the file is a {0}, which this program does not read")]
    KindNotRead(String),
    #[error("the file is HEIC, which this program was built without")]
    HeicNotBuiltIn,
    #[error("the file is larger than {} MB ({} bytes)", MAX_FILE_BYTES / 1_000_000, .0)]
    FileTooLarge(u64),
    #[error("the picture is larger than {} megapixels or {MAX_SIDE} pixels a side ({} x {})", MAX_PIXELS / 1_000_000, .0, .1)]
    PictureTooLarge(usize, usize),
    #[error("the picture would take more memory to read than any photo should")]
    TooMuchMemory,
    #[error("the picture is smaller than {MIN_SIDE} pixels a side ({0} x {1})")]
    PictureTooSmall(usize, usize),
    #[error("the file is cut off: its end is missing")]
    CutOff,
    #[error("the {format} data are damaged: {detail}")]
    Damaged { format: PhotoFormat, detail: String },
    #[error("the file changed while it was being measured")]
    Changed,
}

impl PhotoError {
    /// The same words on every kind of machine for what the operating system said.
    pub(super) fn from_io(error: &io::Error) -> Self {
        Self::Unreadable(reason(error))
    }

    /// Stable name by which the manual explains it.
    pub fn id(&self) -> &'static str {
        match self {
            Self::Unreadable(_) | Self::NotAFile => "photo-unreadable",
            Self::Empty => "photo-empty",
            Self::NotAPicture => "photo-not-a-picture",
            Self::KindNotRead(_) => "photo-kind-not-read",
            Self::HeicNotBuiltIn => "photo-heic",
            Self::FileTooLarge(_) | Self::PictureTooLarge(..) | Self::TooMuchMemory => {
                "photo-too-large"
            }
            Self::PictureTooSmall(..) => "photo-too-small",
            Self::CutOff => "photo-cut-off",
            Self::Damaged { .. } => "photo-damaged",
            Self::Changed => "photo-changed",
        }
    }

    /// What the person can do about it.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Unreadable(_) => {
                "Check that the file may be read, and copy it from the phone again."
            }
            Self::NotAFile => "Copy the photo itself into the folder.",
            Self::Empty | Self::CutOff | Self::Damaged { .. } => {
                "Copy it from the phone again with a cable or card reader; if it still fails, take the photo again."
            }
            Self::NotAPicture => {
                "Take the file out of the folder, or put the photo it should be in its place."
            }
            Self::KindNotRead(_) => {
                "Save it as JPEG at full size without cropping, or set the camera to JPEG, HDR off."
            }
            Self::HeicNotBuiltIn => {
                "Set the phone to JPEG (in the camera's settings: formats, \"most compatible\", or \"high efficiency\" off) and take the \
                 photo again, or take a program that was built with its default features"
            }
            Self::FileTooLarge(_) | Self::PictureTooLarge(..) | Self::TooMuchMemory => {
                "Use the phone's ordinary photo mode, not a panorama or a stitched picture; 8 to 50 megapixels are plenty."
            }
            Self::PictureTooSmall(..) => "Put the photo itself in the folder, not its thumbnail.",
            Self::Changed => {
                "Let no other program write to the job folder meanwhile, and measure again."
            }
        }
    }

    /// The same as a finding about this photo (`file` as in the result, such as
    /// `1-mark-forward/03.jpg`).
    pub fn finding(&self, file: &str) -> Finding {
        Finding::refused(self.id(), format!("{file} is not used: {self}."), self.advice())
            .in_photo(file)
    }
}

/// Why the operating system refused, in a mechanic's words where there are some.
pub(super) fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "it is not there, or a link leads nowhere".to_owned(),
        io::ErrorKind::PermissionDenied => "this user may not read it".to_owned(),
        io::ErrorKind::InvalidInput | io::ErrorKind::InvalidFilename => {
            "its name can't be used".to_owned()
        }
        kind => kind.to_string(),
    }
}
