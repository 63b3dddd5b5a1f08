//! Which folder a name leads to, however it is spelt: through links, in capitals, with accents put
//! together or apart.

use std::ffi::OsString;
use std::io;
use std::path::{Component, Path, PathBuf};

/// A file or folder on this computer, distinct from every other as long as it is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    #[cfg(unix)]
    device_and_number: (u64, u64),
    /// Elsewhere names take no notice of capitals.
    #[cfg(not(unix))]
    folded: String,
}

impl Place {
    /// The place that a path leads to; None where there is nothing, or where one may not look.
    #[cfg(unix)]
    pub fn of(path: &Path) -> Option<Self> {
        use std::os::unix::fs::MetadataExt;
        let found = std::fs::metadata(path).ok()?;
        Some(Self { device_and_number: (found.dev(), found.ino()) })
    }

    #[cfg(not(unix))]
    pub fn of(path: &Path) -> Option<Self> {
        Some(Self { folded: path.canonicalize().ok()?.to_string_lossy().to_lowercase() })
    }
}

/// Whether `path` is `folder` or lies in it, at any depth. What of `path` is not there yet counts
/// by where it would be made.
pub fn is_within(path: &Path, folder: &Path) -> bool {
    let Some(folder) = Place::of(folder) else { return false };
    resolved(path).is_ok_and(|path| {
        path.ancestors().any(|ancestor| Place::of(ancestor).as_ref() == Some(&folder))
    })
}

/// An absolute path whose existing part has no links in it.
pub fn resolved(path: &Path) -> io::Result<PathBuf> {
    let absolute = std::path::absolute(path)?;
    let mut missing: Vec<OsString> = Vec::new();
    let mut existing = absolute.as_path();
    loop {
        match existing.canonicalize() {
            Ok(mut path) => {
                path.extend(missing.iter().rev());
                return Ok(path);
            }
            Err(why) if why.kind() == io::ErrorKind::NotFound => {
                // `..` behind something that does not exist leads nowhere that could be checked.
                let (Some(parent), Some(Component::Normal(name))) =
                    (existing.parent(), existing.components().next_back())
                else {
                    return Err(why);
                };
                missing.push(name.to_owned());
                existing = parent;
            }
            Err(why) => return Err(why),
        }
    }
}
