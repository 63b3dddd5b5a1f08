//! Temporary files and folders, removed afterwards, also when the person presses Ctrl-C.

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};

use tempfile::TempDir;

/// Passing files and folders have names that begin so; the dot keeps them from being read as a
/// set-up.
pub const PREFIX: &str = ".sightcord-";

/// What is to be removed if the run is interrupted.
static PASSING: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// Held while something is done that must not be interrupted. Always taken before [`PASSING`].
static BUSY: Mutex<()> = Mutex::new(());

/// The last words of a run that is broken off.
static LAST_WORDS: OnceLock<Box<dyn Fn() -> String + Send + Sync>> = OnceLock::new();

/// Exit code after Ctrl-C: 128 and the signal's number, as shells have it.
const INTERRUPTED: i32 = 130;

/// How often a folder is emptied that other threads still write into: once it is gone, their next
/// file fails, and so do they.
const MOST_TRIES: usize = 200;

fn lock<T>(mutex: &'static Mutex<T>) -> MutexGuard<'static, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What is to be said when the run is broken off; the first call decides.
pub fn say_on_interrupt(words: impl Fn() -> String + Send + Sync + 'static) {
    let _ = LAST_WORDS.set(Box::new(words));
}

/// From here on Ctrl-C, or an order to end, takes away what is half made before the program ends.
/// Calling it again changes nothing.
pub fn clear_away_on_interrupt() {
    // Somebody who had the program go on after the terminal closes (nohup) is not to be ended by
    // its closing.
    if hanging_up_is_ignored() {
        return;
    }
    // It fails only where a handler is set already; then that one decides.
    let _ = ctrlc::set_handler(|| {
        // Before any lock is held: the words may wait for one.
        let words = LAST_WORDS.get().map(|words| words());
        // The locks are kept to the end, so that nothing new is begun meanwhile.
        let _busy = lock(&BUSY);
        let passing = lock(&PASSING);
        for path in passing.iter() {
            // The other threads may still be writing into a folder while it is emptied.
            for _ in 0..MOST_TRIES {
                let _ = std::fs::remove_file(path).or_else(|_| std::fs::remove_dir_all(path));
                if !path.exists() {
                    break;
                }
            }
        }
        if let Some(words) = words {
            // Nobody may be there to read it.
            let _ = writeln!(io::stderr(), "{words}");
        }
        std::process::exit(INTERRUPTED);
    });
}

/// Whether the signal of a closing terminal was ignored when the program was started.
fn hanging_up_is_ignored() -> bool {
    // Only this system shows it without unsafe code: a mask in hexadecimal digits, whose last bit
    // is that signal's.
    let Ok(status) = std::fs::read_to_string(Path::new("/proc").join("self/status")) else {
        return false;
    };
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:")).unwrap_or_default();
    u64::from_str_radix(mask.trim(), 16).is_ok_and(|mask| mask & 1 == 1)
}

/// An interrupt waits as long as this lives.
pub struct Uninterrupted(
    #[allow(dead_code, reason = "what counts is that it is held")] MutexGuard<'static, ()>,
);

/// Keeps interrupts waiting, for the moments in which things change their names. Not to be asked
/// for twice at a time.
pub fn uninterrupted() -> Uninterrupted {
    Uninterrupted(lock(&BUSY))
}

/// A name that is taken away on Ctrl-C as long as this lives.
pub struct Passing(PathBuf);

impl Passing {
    /// Makes something under a passing name.
    pub fn made<T>(
        make: impl FnOnce() -> io::Result<T>,
        path: impl FnOnce(&T) -> PathBuf,
    ) -> io::Result<(T, Self)> {
        // Made and entered under one lock: an interrupt in between would not know of it.
        let mut passing = lock(&PASSING);
        let made = make()?;
        let path = path(&made);
        passing.push(path.clone());
        Ok((made, Self(path)))
    }
}

impl Drop for Passing {
    fn drop(&mut self) {
        lock(&PASSING).retain(|path| *path != self.0);
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
        Self::made(|| tempfile::Builder::new().prefix("sightcord-").tempdir())
    }

    /// Next to what it is for, under a name that begins with a dot.
    pub fn in_folder(folder: &Path) -> io::Result<Self> {
        Self::made(|| tempfile::Builder::new().prefix(PREFIX).tempdir_in(folder))
    }

    fn made(make: impl FnOnce() -> io::Result<TempDir>) -> io::Result<Self> {
        let (folder, _passing) = Passing::made(make, |folder| folder.path().to_owned())?;
        Ok(Self { folder, _passing })
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// The folder is no longer passing: the caller decides what becomes of it.
    pub fn keep(self) -> PathBuf {
        self.folder.keep()
    }
}
