//! Folders that several tests look at, measured once for all of them.
#![allow(dead_code)] // Each test file uses its share.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, OnceLock, PoisonError};

use sightcord::pipeline::{self, Measured};

static KEPT: Mutex<BTreeMap<PathBuf, &OnceLock<Measured>>> = Mutex::new(BTreeMap::new());

/// What the library makes of a sample or a shared set, which no test changes.
pub fn measured(folder: &Path) -> &'static Measured {
    let place = *KEPT
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .entry(folder.to_owned())
        .or_insert_with(|| Box::leak(Box::default()));
    place.get_or_init(|| pipeline::measure(pipeline::open(folder).expect("a job folder"), &|_| ()))
}
