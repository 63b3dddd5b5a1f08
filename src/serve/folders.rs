//! The job's folders as the bench page uses them: evenings, and in each the wheel's positions.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::{fs, io};

use crate::disk::new_file::write_new;
use crate::disk::scratch::uninterrupted;
use crate::disk::sync_folder;
use crate::job::JOB_FILE;
use crate::photo::evenings::{evening_number, later_evenings};
use crate::photo::job_photos::{CAMERA_FOLDER, EVENING_PREFIX, USUAL_SETUPS};
use crate::photo::order::setup_order;

/// Where a photo goes that is not to count: no folder whose name begins with a dot is ever
/// measured.
pub const ASIDE: &str = ".put-aside";

/// One evening's photos. The first evening is the job folder itself, each later one a folder in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Evening {
    /// From 1.
    pub number: u32,
    pub folder: PathBuf,
}

/// All evenings of a job in order.
pub fn evenings(home: &Path) -> Vec<Evening> {
    let first = Evening { number: 1, folder: home.to_owned() };
    let later = later_evenings(home).into_iter().filter_map(|name| {
        let number = evening_number(&name)?;
        Some(Evening { number, folder: home.join(name) })
    });
    std::iter::once(first).chain(later).collect()
}

/// Begins the evening after `last`: a folder with the same job.toml. Nothing that is there is
/// touched.
pub fn begin_next(home: &Path, last: &Evening) -> io::Result<Evening> {
    let number = last.number.saturating_add(1);
    let folder = home.join(format!("{EVENING_PREFIX}{number}"));
    fs::create_dir(&folder)?;
    let settings = last.folder.join(JOB_FILE);
    if settings.is_file() {
        let copied =
            fs::read(&settings).and_then(|bytes| write_new(&folder.join(JOB_FILE), &bytes));
        if let Err(why) = copied {
            let _ = fs::remove_dir(&folder);
            return Err(why);
        }
    }
    sync_folder(home);
    Ok(Evening { number, folder })
}

/// Takes back what [`begin_next`] made of the evening after `before`. A folder that holds anything
/// else, or settings that were changed, stays as it is, which is an error.
pub fn give_up(home: &Path, evening: &Evening, before: &Evening) -> io::Result<()> {
    let settings = evening.folder.join(JOB_FILE);
    let copy = match fs::read(&settings) {
        Err(why) if why.kind() == io::ErrorKind::NotFound => None,
        read => Some(read?),
    };
    let names = fs::read_dir(&evening.folder)?.map(|entry| Ok(entry?.file_name()));
    let names = names.collect::<io::Result<Vec<_>>>()?;
    let is_changed = copy
        .as_ref()
        .is_some_and(|bytes| fs::read(before.folder.join(JOB_FILE)).ok().as_ref() != Some(bytes));
    if is_changed || names.iter().any(|name| name != JOB_FILE) {
        return Err(io::ErrorKind::DirectoryNotEmpty.into());
    }
    let _steps = uninterrupted();
    if copy.is_some() {
        fs::remove_file(&settings)?;
    }
    if let Err(why) = fs::remove_dir(&evening.folder) {
        // A photo came meanwhile: its evening goes on.
        copy.map_or(Ok(()), |bytes| write_new(&settings, &bytes))?;
        return Err(why);
    }
    sync_folder(home);
    Ok(())
}

/// A position of the wheel: one set-up's folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Position {
    pub folder: String,
}

impl Position {
    /// "mark forward" for "1-mark-forward".
    pub fn title(&self) -> String {
        let words =
            self.folder.trim_start_matches(|c: char| c.is_ascii_digit()).replace(['-', '_'], " ");
        let words = words.trim();
        if words.is_empty() { self.folder.clone() } else { words.to_owned() }
    }
}

/// The positions of an evening: `with_photos`, the set-ups in which there are photos, with the
/// folders that are numbered as set-ups are, in their order; and the usual two where there are
/// fewer.
pub fn positions(folder: &Path, with_photos: &[String]) -> Vec<Position> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let numbered = entries
        .filter(|entry| entry.path().is_dir())
        .filter_map(|entry| entry.file_name().into_string().ok())
        // What has no number and no photos may be anybody's.
        .filter(|name| {
            name.starts_with(|c: char| c.is_ascii_digit())
                && !name.eq_ignore_ascii_case(CAMERA_FOLDER)
        });
    let names: BTreeSet<String> = numbered.chain(with_photos.iter().cloned()).collect();
    let mut names: Vec<String> = names.into_iter().collect();
    for usual in USUAL_SETUPS {
        if names.len() < USUAL_SETUPS.len() && !names.iter().any(|name| name == usual) {
            names.push(usual.to_owned());
        }
    }
    names.sort_by(|a, b| setup_order(a, b));
    names.into_iter().map(|folder| Position { folder }).collect()
}
