//! A job sealed, or why it was not.

use std::io;
use std::path::PathBuf;

use thiserror::Error;

use crate::finding::Finding;
use crate::pipeline::PipelineError;

use super::place::CleanError;
use super::readme::Privacy;

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
    pub n_evenings: usize,
    pub privacy: Privacy,
    /// What the job folder holds and the archive does not.
    pub left_out: Vec<Finding>,
    /// Whether the report in the job's folder holds the result that was sealed, and if not, why.
    pub anew: Anew,
}

/// Why the sealed result is not the one in the job's folder.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Anew {
    /// It is.
    #[default]
    No,
    /// The photos were copied without their place, and the result is that of the copies.
    Copies,
    /// The folder holds none of these photos and settings.
    NoResult,
}
