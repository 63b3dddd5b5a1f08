//! What the bench page remembers from one start to the next: its address and the ticks, in one
//! small file of its own in the job folder.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::token;
use crate::disk::new_file::replace;

/// The file's name; the dot keeps it from counting as a file of the job.
pub const KEPT_NAME: &str = ".bench.json";
const SCHEMA: &str = "sightcord-bench/1";
/// Nobody ticks more than this many bytes of steps.
const MOST_BYTES: u64 = 100_000;

/// What is remembered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kept {
    schema: String,
    /// The secret part of the address.
    pub token: String,
    /// The port that the page was served at last.
    pub port: Option<u16>,
    /// Steps that were ticked off, as [`super::state::step_key`] names them.
    pub ticks: BTreeSet<String>,
}

impl Kept {
    /// Reads the file; what is no file of this program's gives a new address, and so does `fresh`.
    pub fn of(home: &Path, fresh: bool) -> io::Result<Self> {
        let mut text = String::new();
        let read = File::open(home.join(KEPT_NAME))
            .and_then(|file| file.take(MOST_BYTES).read_to_string(&mut text));
        let kept: Option<Self> = read.ok().and_then(|_| serde_json::from_str(&text).ok());
        let mut kept = match kept {
            Some(kept) if kept.schema == SCHEMA && token::is_well_formed(&kept.token) => kept,
            _ => Self {
                schema: SCHEMA.to_owned(),
                token: token::new()?,
                port: None,
                ticks: BTreeSet::new(),
            },
        };
        if fresh {
            kept.token = token::new()?;
        }
        Ok(kept)
    }

    /// Writes it so that there is always the old or the new one, readable for its owner alone: it
    /// holds the secret.
    pub fn store(&self, home: &Path) -> io::Result<()> {
        let text = serde_json::to_string_pretty(self).map_err(io::Error::other)? + "\n";
        replace(&home.join(KEPT_NAME), text.as_bytes(), None)
    }
}
