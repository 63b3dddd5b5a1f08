//! Pictures of the photos with what was found drawn in, each in a file of its own, never over a
//! file that is there.

use std::collections::BTreeSet;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};

use crate::disk::new_file::write_new;
use crate::disk::place::{is_within, resolved};
use crate::job::JOB_FILE;
use crate::report::html::{name_digits, plain_name};
use crate::visible::one_line;

/// What the names of pictures end in, and photos' names don't.
const DRAWN: &str = "-drawn";

/// The folder that pictures go to.
pub struct PictureFolder {
    folder: PathBuf,
    /// Names given in this run, in lower case: some file systems take no notice of it.
    given: BTreeSet<String>,
    written: usize,
    unchanged: usize,
}

impl PictureFolder {
    /// Makes the folder if it is not there. Refuses one in which the next measurement, or a watch,
    /// would take the pictures for photos: anywhere in a job, or next to the photos that are
    /// looked at.
    pub fn open(folder: &Path, looked_at: &[PathBuf]) -> anyhow::Result<Self> {
        let resolved = resolved(folder)
            .with_context(|| format!("can't look at the folder {}", folder.display()))?;
        let job = resolved.ancestors().find(|ancestor| ancestor.join(JOB_FILE).is_file());
        let looked_at =
            looked_at.iter().map(PathBuf::as_path).find(|at| would_be_looked_at(&resolved, at));
        if let Some(of) = job.or(looked_at) {
            bail!(
                "the pictures can't go to {}: there they would be taken for photos of {}. Name a folder outside with --picture",
                folder.display(),
                of.display()
            );
        }
        fs::create_dir_all(folder).with_context(|| {
            format!(
                "can't make the folder {}: name one that you may write to, and that is not a file",
                folder.display()
            )
        })?;
        Ok(Self { folder: folder.to_owned(), given: BTreeSet::new(), written: 0, unchanged: 0 })
    }

    /// Writes all pictures, or none if one would have to replace a file with other content.
    pub fn store_all(&mut self, pictures: &[(&str, &[u8])]) -> anyhow::Result<()> {
        let named: Vec<(PathBuf, &[u8])> =
            pictures.iter().map(|(photo, bytes)| (self.path_for(photo), *bytes)).collect();
        let there = named
            .iter()
            .map(|(path, bytes)| is_there(path, bytes))
            .collect::<anyhow::Result<Vec<bool>>>()?;
        for ((path, bytes), there) in named.into_iter().zip(there) {
            if there {
                self.unchanged += 1;
            } else {
                write_new(&path, bytes).with_context(|| {
                    format!("can't write {}: check that the folder may be written to and the disk has room", path.display())
                })?;
                self.written += 1;
            }
        }
        Ok(())
    }

    /// "1-mark-forward/02.jpg" goes to "1-mark-forward-02-drawn.jpg": never the name of a photo, so
    /// that pictures copied among the photos by hand replace none. A name that says less than the
    /// photo's does gets digits that tell it apart, and one that was given already gets a number.
    fn path_for(&mut self, photo: &str) -> PathBuf {
        // A photo named by its path keeps the last two parts of it.
        let mut parts: Vec<&str> = photo
            .rsplit(['/', '\\'])
            .take(2)
            .filter(|part| !matches!(*part, "" | "." | ".."))
            .collect();
        parts.reverse();
        let whole = parts.join("-");
        let stem = whole.rsplit_once('.').map_or(whole.as_str(), |(stem, _)| stem);
        let mut plain = plain_name(&whole);
        if plain != stem {
            plain = format!("{plain}-{}", name_digits(&whole));
        }
        plain += DRAWN;
        let mut name = plain.clone();
        let mut number = 2;
        while !self.given.insert(name.to_ascii_lowercase()) {
            name = format!("{plain}-{number}");
            number += 1;
        }
        self.folder.join(format!("{name}.jpg"))
    }

    pub fn words(&self) -> String {
        let plural = |n: usize| if n == 1 { "picture" } else { "pictures" };
        let unchanged = if self.unchanged > 0 {
            format!(", {} unchanged", self.unchanged)
        } else {
            String::new()
        };
        format!(
            "{} {} written to {}{unchanged}\n",
            self.written,
            plural(self.written),
            one_line(&self.folder.display().to_string())
        )
    }
}

/// Whether pictures in this folder would lie among photos: in a job folder that is looked at, or in
/// the folder of a single photo.
fn would_be_looked_at(pictures: &Path, at: &Path) -> bool {
    if at.is_dir() {
        return is_within(pictures, at);
    }
    let parent =
        at.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    is_within(pictures, parent)
}

/// Whether this very picture is there already; an error if something else is in its place.
fn is_there(path: &Path, bytes: &[u8]) -> anyhow::Result<bool> {
    match fs::symlink_metadata(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(false),
        Err(error) => {
            return Err(error).with_context(|| {
                format!("can't look at {}: name a folder that you may read", path.display())
            });
        }
        Ok(what)
            if what.is_file()
                && what.len() == bytes.len() as u64
                && fs::read(path).is_ok_and(|old| old == bytes) =>
        {
            return Ok(true);
        }
        Ok(_) => {}
    }
    bail!(
        "{} is there already with other content, and nothing was written: move it away, or name another folder",
        path.display()
    )
}
