//! Which names an archive may hold: only those that can be unpacked on every system, into the
//! archive's own folder.

use std::collections::BTreeMap;

use thiserror::Error;
use unicode_normalization::UnicodeNormalization;

/// Longer paths can't be unpacked everywhere: the classic limit of one of the common systems, 260,
/// less a folder to unpack to.
const MAX_PATH_BYTES: usize = 200;

/// Why a path inside an archive is not safe.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum UnsafePath {
    #[error("it is absolute, or begins at somebody's home folder")]
    Absolute,
    #[error("it has an empty part, or one that leads out of its folder (\"..\")")]
    Dots,
    #[error("it holds a backslash, a colon or a control character")]
    Character,
    #[error("a part of it is the name of a device on some systems")]
    Device,
    #[error("a part of it ends with a dot or a blank, which some systems leave off")]
    Ending,
    #[error("it is longer than {MAX_PATH_BYTES} bytes")]
    TooLong,
}

/// Names that some systems treat as devices, with any ending.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "conin$", "conout$"];

/// Whether a path with forward slashes stays inside its folder and can be unpacked on every system.
pub fn check(path: &str) -> Result<(), UnsafePath> {
    if path.starts_with(['/', '~']) {
        return Err(UnsafePath::Absolute);
    }
    // A colon is a drive's letter or a hidden second stream of a file on some systems.
    if path.chars().any(|c| c.is_control() || c == '\\' || c == ':') {
        return Err(UnsafePath::Character);
    }
    for part in path.split('/') {
        if part.is_empty() || part == "." || part == ".." {
            return Err(UnsafePath::Dots);
        }
        if part.ends_with(['.', ' ']) {
            return Err(UnsafePath::Ending);
        }
        if is_device(part) {
            return Err(UnsafePath::Device);
        }
    }
    if path.len() > MAX_PATH_BYTES { Err(UnsafePath::TooLong) } else { Ok(()) }
}

fn is_device(part: &str) -> bool {
    let stem = part.split('.').next().unwrap_or(part).trim_end().to_lowercase();
    let numbered = |prefix: &str| {
        stem.strip_prefix(prefix).is_some_and(|rest| {
            rest.chars().count() == 1 && rest.starts_with(|c: char| c.is_numeric())
        })
    };
    DEVICES.contains(&stem.as_str()) || numbered("com") || numbered("lpt")
}

/// The path as systems see it that know neither upper from lower case nor one spelling of an accent
/// from another.
pub fn folded(path: &str) -> String {
    path.nfc().collect::<String>().to_lowercase().nfc().collect()
}

/// The first two of these paths that would become one on a system which does not tell case or
/// accents' spelling apart. Folders count as well: `A/x` and `a/y` collide.
pub fn collision<'path>(paths: impl IntoIterator<Item = &'path str>) -> Option<(String, String)> {
    let mut seen: BTreeMap<String, &str> = BTreeMap::new();
    for path in paths {
        let ends = path.match_indices('/').map(|(at, _)| at).chain([path.len()]);
        for end in ends {
            let prefix = &path[..end];
            match seen.insert(folded(prefix), prefix) {
                Some(other) if other != prefix => {
                    return Some((other.to_owned(), prefix.to_owned()));
                }
                _ => {}
            }
        }
    }
    None
}
