//! Folders of later evenings inside a job.

use std::path::Path;

use super::job_photos::EVENING_PREFIX;

/// The number of a later evening by its folder's name: 2 for "evening-2".
pub fn evening_number(name: &str) -> Option<u32> {
    let number = name.strip_prefix(EVENING_PREFIX)?;
    let plain = number.starts_with(|c: char| c.is_ascii_digit() && c != '0');
    number.parse().ok().filter(|&number| plain && number >= 2)
}

/// Names of the folders of a job's later evenings, in order.
pub fn later_evenings(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let folders = entries
        .filter(|entry| entry.path().is_dir())
        .filter_map(|entry| entry.file_name().into_string().ok());
    let mut found: Vec<(u32, String)> =
        folders.filter_map(|name| Some((evening_number(&name)?, name))).collect();
    found.sort();
    found.into_iter().map(|(_, name)| name).collect()
}
