//! Writing a file so that under its name there is the whole of it or nothing, and in another file's
//! place only where that is asked for.

use std::fs::{File, Permissions};
use std::io::{self, Seek, Write};
use std::path::{Path, PathBuf};

use super::scratch::{PREFIX, Passing};
use super::sync_folder;

/// A file on its way: it has no name yet, or a passing one that begins with a dot.
pub struct NewFile {
    folder: PathBuf,
    file: Unnamed,
}

enum Unnamed {
    /// Without any name, so that not even a power cut leaves something behind.
    #[cfg(target_os = "linux")]
    Nameless(File),
    Named(tempfile::NamedTempFile, Passing),
}

impl NewFile {
    /// Begins a file that will lie in `folder`.
    pub fn in_folder(folder: &Path) -> io::Result<Self> {
        let folder = folder.to_owned();
        #[cfg(target_os = "linux")]
        {
            use rustix::fs::{Mode, OFlags, open};
            let flags = OFlags::TMPFILE | OFlags::RDWR | OFlags::CLOEXEC;
            // Some file systems can't do it; then a passing name serves.
            if let Ok(made) = open(&folder, flags, Mode::from_raw_mode(0o666)) {
                return Ok(Self { folder, file: Unnamed::Nameless(made.into()) });
            }
        }
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX);
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let (named, passing) =
            Passing::made(|| builder.tempfile_in(&folder), |named| named.path().to_owned())?;
        Ok(Self { folder, file: Unnamed::Named(named, passing) })
    }

    pub fn file(&mut self) -> &mut File {
        match &mut self.file {
            #[cfg(target_os = "linux")]
            Unnamed::Nameless(file) => file,
            Unnamed::Named(file, _) => file.as_file_mut(),
        }
    }

    /// Brings the file to the disk and gives it its name, unless something has that name already.
    pub fn publish(mut self, target: &Path) -> io::Result<()> {
        let file = self.file();
        file.flush()?;
        file.sync_all()?;
        match self.file {
            #[cfg(target_os = "linux")]
            Unnamed::Nameless(file) => link(&file, target)?,
            Unnamed::Named(file, _passing) => {
                file.persist_noclobber(target).map_err(|error| error.error)?;
            }
        }
        // The name is on the disk when the folder is.
        sync_folder(&self.folder);
        Ok(())
    }
}

/// Writes a new file as a whole, unless something has its name already.
pub fn write_new(target: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut new = NewFile::in_folder(folder_of(target))?;
    new.file().write_all(bytes)?;
    new.publish(target)
}

/// Puts a file in the place of the one of that name, so that there is always the old or the new
/// one. It may be read by its owner alone, or as `permissions` say.
pub fn replace(target: &Path, bytes: &[u8], permissions: Option<Permissions>) -> io::Result<()> {
    let folder = folder_of(target);
    let make = || tempfile::Builder::new().prefix(PREFIX).tempfile_in(folder);
    let (mut named, _passing) = Passing::made(make, |named| named.path().to_owned())?;
    named.write_all(bytes)?;
    if let Some(permissions) = permissions {
        named.as_file().set_permissions(permissions)?;
    }
    named.as_file().sync_all()?;
    named.persist(target).map_err(|error| error.error)?;
    sync_folder(folder);
    Ok(())
}

fn folder_of(target: &Path) -> &Path {
    target.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Gives a nameless file its name in one step, which fails where the name is taken.
#[cfg(target_os = "linux")]
fn link(file: &File, target: &Path) -> io::Result<()> {
    use std::os::fd::AsRawFd;

    use rustix::fs::{AtFlags, CWD, linkat};
    let by_number = Path::new("/proc").join(format!("self/fd/{}", file.as_raw_fd()));
    match linkat(CWD, &by_number, CWD, target, AtFlags::SYMLINK_FOLLOW) {
        Ok(()) => Ok(()),
        // Without a /proc, as in some containers, the bytes are copied to a file with a passing
        // name.
        Err(rustix::io::Errno::NOENT) => {
            let mut from = file.try_clone()?;
            from.rewind()?;
            let make = || tempfile::Builder::new().prefix(PREFIX).tempfile_in(folder_of(target));
            let (mut named, _passing) = Passing::made(make, |named| named.path().to_owned())?;
            io::copy(&mut from, &mut named)?;
            named.as_file().sync_all()?;
            named.persist_noclobber(target).map(|_| ()).map_err(|error| error.error)
        }
        Err(why) => Err(why.into()),
    }
}
