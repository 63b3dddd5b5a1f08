//! Why a report can't be, or was not, written.

use std::io;
use std::path::{Path, PathBuf};

use super::LIST_NAME;

/// Why a report can't be, or was not, written. Nothing of what lies there was touched then.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    #[error("the report can't go to {}: that is a file, not a folder. Name another folder with --to", .0.display())]
    NotAFolder(PathBuf),
    #[error(
        "the report can't go to {}: that is the job's own folder. Nothing was overwritten. Leave --to out, so that the report goes to \
         the folder \"report\" in it, or name another folder with --to", .0.display()
    )]
    IsJob(PathBuf),
    #[error(
        "the report can't go to {}: that folder holds the job's own {}. Nothing was overwritten. Name another folder with --to",
        .folder.display(), .held.display()
    )]
    Holds { folder: PathBuf, held: PathBuf },
    #[error(
        "the report can't go to {}: it lies in {}, which is a set-up with photos of this job. Nothing was overwritten. Name another \
         folder with --to", .folder.display(), .setup.display()
    )]
    InSetup { folder: PathBuf, setup: PathBuf },
    #[error(
        "the report can't go to {}: the folder holds {listed}, which is no part of the report that was written there. Nothing was \
         overwritten. Name another folder with --to, or move what is there", .folder.display()
    )]
    Foreign { folder: PathBuf, listed: String },
    #[error(
        "the report can't go to {}: {listed} in it was changed since the report was written. Nothing was overwritten. Rename that \
         folder to keep it, or remove it, or name another with --to", .folder.display()
    )]
    Edited { folder: PathBuf, listed: String },
    #[error(
        "the report can't go to {}: the folder holds {listed}, and no list {LIST_NAME} says that this program wrote that (early versions \
         left none). Nothing was overwritten. Rename or remove that folder if it is an old report, or name another with --to",
        .folder.display()
    )]
    NoList { folder: PathBuf, listed: String },
    #[error(
        "the report can't go to {}: it holds the report of another measurement (no photo of it is in this job). Nothing was \
         overwritten. Rename that folder to keep it, for a comparison of before and after say, or name another with --to", .0.display()
    )]
    OtherJob(PathBuf),
    #[error(
        "the report can't go to {}: the result.json there is not one this program can read ({why}), so it may be somebody \
         else's. Nothing was overwritten. Name another folder with --to, or move what is there", .folder.display()
    )]
    UnknownResult { folder: PathBuf, why: String },
    #[error(
        "the report can't go to {}: a run that was broken off left an earlier report at {}, and it can't be put back or cleared away \
         ({why}). Move that folder to a place of your own first", .folder.display(), .aside.display()
    )]
    Aside { folder: PathBuf, aside: PathBuf, why: io::Error },
    #[error("the report can't be written to {}. {advice} (the system says: {})", .at.display(), said(why))]
    Io { at: PathBuf, why: io::Error, advice: &'static str },
}

/// What the system says, without the name of a passing file where the kind says it all.
fn said(why: &io::Error) -> String {
    match why.kind() {
        kind @ (io::ErrorKind::PermissionDenied
        | io::ErrorKind::ReadOnlyFilesystem
        | io::ErrorKind::StorageFull
        | io::ErrorKind::QuotaExceeded
        | io::ErrorKind::NotADirectory) => kind.to_string(),
        _ => why.to_string(),
    }
}

impl WriteError {
    /// Whether nothing but a missing permission, or a disk that can't be written to, is in the way.
    pub fn is_read_only(&self) -> bool {
        let kinds = [io::ErrorKind::PermissionDenied, io::ErrorKind::ReadOnlyFilesystem];
        matches!(self, Self::Io { why, .. } if kinds.contains(&why.kind()))
    }

    pub(super) fn io(at: &Path, why: io::Error) -> Self {
        let advice = match why.kind() {
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                "You have no permission to write there: name a folder of your own with --to"
            }
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                "Make room on the disk, or name a folder on another with --to"
            }
            io::ErrorKind::NotADirectory => {
                "A part of that path is a file: name another folder with --to"
            }
            _ => "Name another folder with --to",
        };
        Self::Io { at: at.to_owned(), why, advice }
    }
}
