//! What was found of an archive, or why it can't be proven.

use std::io;
use std::path::PathBuf;

use thiserror::Error;

use crate::report::read::ReadError;

use super::bag::BagError;
use super::compare::Reproduction;
use super::evenings::Within;
use super::layout;
use super::zipped::UnpackError;

/// Why an archive can't be read, or the order can't be followed.
#[derive(Debug, Error)]
pub enum ProveError {
    #[error("there is no file or folder {}: check the name", .0.display())]
    Missing(PathBuf),
    #[error("{} is neither a file nor a folder: name the ZIP file that the keep command wrote, or the folder unpacked from it", .0.display())]
    NeitherFileNorFolder(PathBuf),
    #[error("{} can't be read: {why}. Check its permissions", .at.display())]
    Io { at: PathBuf, why: io::Error },
    #[error(transparent)]
    Unpack(#[from] UnpackError),
    #[error(transparent)]
    Bag(#[from] BagError),
    #[error(
        "the number to expect is not 64 hexadecimal digits: give the SHA-256 that was printed when the archive was made, as --expect NUMBER"
    )]
    NotANumber,
    #[error("{} is a folder, and the number to expect is that of the ZIP file: name the ZIP file, or leave --expect out", .0.display())]
    NoNumberOfFolder(PathBuf),
    #[error(
        "{} holds no {} and so no measurement of this program that could be repeated: prove it with --quick, which checks its checksums \
         alone", .0.display(), layout::RESULT
    )]
    NoResult(PathBuf),
    #[error("the sealed result can't be compared: {0}")]
    Result(#[from] ReadError),
    #[error("no folder for passing files can be made in {}: {why}. Make room there, or name another with the environment variable TMPDIR", .at.display())]
    Scratch { at: PathBuf, why: io::Error },
}

/// What was found.
#[derive(Clone, Debug, Default)]
pub struct Proof {
    /// SHA-256 of the file; None for a folder.
    pub sha256: Option<String>,
    /// Whether that is the number that was to be expected; None where none was given.
    pub as_expected: Option<bool>,
    /// Evenings whose results it holds.
    pub n_evenings: usize,
    /// Files of the payload, and their bytes.
    pub payload: (usize, u64),
    pub bag_version: (u32, u32),
    /// The program that sealed it, in its own words.
    pub sealed_by: Option<String>,
    /// What shows that the archive is not what was sealed.
    pub problems: Vec<String>,
    /// What is good to know.
    pub notes: Vec<String>,
    /// Files whose content nothing here can check but by checksums, which the person who wrote them
    /// can make again.
    pub not_covered: Vec<String>,
    /// What measuring again gave; None where it was not measured again.
    pub reproduction: Option<Reproduction>,
}

impl Proof {
    /// The checksums hold and, where it was measured again, the figures came out again, and nothing
    /// is left that could not be compared. That nothing was altered since it was sealed is
    /// more: only the number written down then shows it, of what could not be compared as well.
    pub fn is_proven(&self) -> bool {
        let is_covered = match self.reproduction {
            None => true,
            Some(Reproduction::FiguresAlone(_)) => false,
            Some(_) => self.not_covered.is_empty(),
        };
        self.figures_hold() && (is_covered || self.as_expected == Some(true))
    }

    /// Adds what was found of one evening; `of` says which, where there are several.
    pub(super) fn add(&mut self, one: Self, of: Option<&Within>) {
        let said = |what: &String| of.map_or_else(|| what.clone(), |within| within.said(what));
        self.problems.extend(one.problems.iter().map(said));
        // Notes are of the program that sealed them all.
        for note in one.notes {
            if !self.notes.contains(&note) {
                self.notes.push(note);
            }
        }
        self.not_covered.extend(one.not_covered);
        let own = one.reproduction.map(|reproduction| reproduction.reworded(said));
        self.reproduction = match (self.reproduction.take(), own) {
            (Some(others), Some(own)) => Some(others.and(own)),
            (others, own) => others.or(own),
        };
    }

    /// Nothing speaks against it; but what could not be compared may say anything.
    pub fn figures_hold(&self) -> bool {
        self.problems.is_empty() && !matches!(self.reproduction, Some(Reproduction::Differs(_)))
    }
}
