//! Passing files and folders that are gone afterwards, also when the person presses Ctrl-C.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use tempfile::TempDir;

/// What is to be taken away should the run be broken off.
static PASSING: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// Exit code after Ctrl-C: 128 and the signal's number, as shells have it.
const INTERRUPTED: i32 = 130;

/// How often a folder is emptied that other threads still write into: once it is gone, their next file fails, and so do they.
const MOST_TRIES: usize = 200;

fn passing() -> MutexGuard<'static, Vec<PathBuf>> {
    PASSING.lock().unwrap_or_else(PoisonError::into_inner)
}

/// From here on Ctrl-C takes away what is half made before the program ends. Calling it again changes nothing.
pub fn clear_away_on_interrupt() {
    // It fails only where a handler is set already; then that one decides.
    let _ = ctrlc::set_handler(|| {
        // The lock is kept to the end, so that nothing new is begun meanwhile.
        let passing = passing();
        for path in passing.iter() {
            // The other threads may still be writing into a folder while it is emptied.
            for _ in 0..MOST_TRIES {
                let _ = std::fs::remove_file(path).or_else(|_| std::fs::remove_dir_all(path));
                if !path.exists() {
                    break;
                }
            }
        }
        std::process::exit(INTERRUPTED);
    });
}

/// A name that is taken away on Ctrl-C as long as this lives.
pub struct Passing(PathBuf);

impl Passing {
    pub fn new(path: &Path) -> Self {
        passing().push(path.to_owned());
        Self(path.to_owned())
    }
}

impl Drop for Passing {
    fn drop(&mut self) {
        passing().retain(|path| *path != self.0);
    }
}

/// A folder that is gone when this is dropped.
pub struct ScratchFolder {
    folder: TempDir,
    _passing: Passing,
}

impl ScratchFolder {
    /// In the system's folder for such things.
    pub fn new() -> io::Result<Self> {
        // Made and entered under one lock: an interrupt in between would not know of it.
        let mut passing = passing();
        let folder = tempfile::Builder::new().prefix("sightcord-").tempdir()?;
        passing.push(folder.path().to_owned());
        let _passing = Passing(folder.path().to_owned());
        drop(passing);
        Ok(Self { folder, _passing })
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }
}
