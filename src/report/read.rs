//! Reads a result document back, with an error that says what is wrong with the file and what to
//! do.

use crate::photo::job_photos::REPORT_FOLDER;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use super::result::{RESULT_NAME, ResultDocument, SCHEMA};

/// Why a file can't be read as a result.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    #[error("there is no result at {}: no file {RESULT_NAME} was found there. Measure first, or name the report's folder", .0.display())]
    NotFound(PathBuf),
    #[error("{} can't be read: {why}", .path.display())]
    Io { path: PathBuf, why: io::Error },
    #[error("{} is larger than any result ({MOST_BYTES} bytes at most), so it was not read", .0.display())]
    TooLarge(PathBuf),
    #[error("{} is not JSON: {why}. Name the {RESULT_NAME} of a report, or its folder", .path.display())]
    NotJson { path: PathBuf, why: serde_json::Error },
    #[error("{} is JSON but not a result of this program: its \"schema\" is {found}, not \"{SCHEMA}\"", .path.display())]
    OtherSchema { path: PathBuf, found: String },
    #[error("{} is of a later form ({found}) than this program knows ({SCHEMA}): use the version of the program that wrote it, or a later one", .path.display())]
    Later { path: PathBuf, found: String },
    #[error("{} says it is a result, but a part of it is missing or of another kind: {why}. It was changed or cut off; measure again", .path.display())]
    Broken { path: PathBuf, why: serde_json::Error },
}

impl ReadError {
    /// The reason without the file's name, for a sentence that names it already.
    pub(crate) fn in_short(&self) -> String {
        match self {
            Self::NotFound(_) => "there is none".to_owned(),
            Self::Io { why, .. } => why.to_string(),
            Self::TooLarge(_) => "it is larger than any result".to_owned(),
            Self::NotJson { .. } => "it is not JSON".to_owned(),
            Self::OtherSchema { found, .. } => format!("its schema is {found}"),
            Self::Later { found, .. } => format!("it is of the later form {found}"),
            Self::Broken { why, .. } => why.to_string(),
        }
    }
}

/// No result comes near this size, not one of 500 photos; reading one takes some 60 times as many
/// bytes of memory.
pub const MOST_BYTES: u64 = 8 << 20;

impl ResultDocument {
    /// Reads a result: the file itself, a report's folder, or a job's folder with the report in its
    /// usual place.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let file = find(path)?;
        let io = |why| ReadError::Io { path: file.clone(), why };
        let mut bytes = Vec::new();
        File::open(&file)
            .and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes))
            .map_err(io)?;
        if bytes.len() as u64 > MOST_BYTES {
            return Err(ReadError::TooLarge(file));
        }
        Self::from_json(&bytes, &file)
    }

    /// The same from bytes in the memory; `path` is only for messages.
    pub fn from_json(bytes: &[u8], path: &Path) -> Result<Self, ReadError> {
        let path = || path.to_owned();
        let value: serde_json::Value = serde_json::from_slice(bytes)
            .map_err(|why| ReadError::NotJson { path: path(), why })?;
        let schema = value.get("schema").and_then(serde_json::Value::as_str);
        if schema != Some(SCHEMA) {
            let found = schema.map_or_else(|| "missing".to_owned(), |found| format!("\"{found}\""));
            return Err(if schema.is_some_and(is_later) {
                ReadError::Later { path: path(), found }
            } else {
                ReadError::OtherSchema { path: path(), found }
            });
        }
        serde_json::from_value(value).map_err(|why| ReadError::Broken { path: path(), why })
    }
}

fn find(path: &Path) -> Result<PathBuf, ReadError> {
    let candidates =
        [path.to_owned(), path.join(RESULT_NAME), path.join(REPORT_FOLDER).join(RESULT_NAME)];
    candidates
        .into_iter()
        .find(|candidate| candidate.is_file())
        .ok_or_else(|| ReadError::NotFound(path.to_owned()))
}

/// Whether a schema name is ours with a higher number.
fn is_later(schema: &str) -> bool {
    let split = |name: &str| {
        name.rsplit_once('/').map(|(stem, n)| (stem.to_owned(), n.parse::<u32>().ok()))
    };
    match (split(schema), split(SCHEMA)) {
        (Some((stem, Some(n))), Some((own_stem, Some(own)))) => stem == own_stem && n > own,
        _ => false,
    }
}
