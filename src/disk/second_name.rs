//! A file under a second name.

use std::fs::{self, File};
use std::io;
use std::path::Path;

/// A second name for a file where the file system can do that, or a copy of it. It never takes the
/// place of another file.
pub fn second_name(from: &Path, to: &Path) -> io::Result<()> {
    // A link is followed first: its second name would be one more link, which may lead to another
    // place from there.
    let real = from.canonicalize()?;
    if fs::hard_link(&real, to).is_ok() {
        return Ok(());
    }
    io::copy(&mut File::open(&real)?, &mut File::create_new(to)?).map(|_| ())
}
