//! Slips of the pen that are made again and again, named for what they are.

use std::path::{Path, PathBuf};

/// Name of the file in a job folder.
pub const JOB_FILE: &str = "job.toml";

/// A file whose name is what becomes of job.toml where an editor or a phone adds an ending of its
/// own, or begins it with a capital.
pub(super) fn misnamed(folder: &Path) -> Option<PathBuf> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .ok()?
        .flatten()
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| {
            let name = name.to_lowercase();
            name == JOB_FILE
                || ["job.toml.txt", "job.toml.toml", "job.txt", "job.tml"].contains(&name.as_str())
        })
        .collect();
    names.sort();
    names.into_iter().next().map(|name| folder.join(name))
}

/// "60,5" and "60.5" where the value in the line at `at` is a number with a comma.
pub(super) fn decimal_comma(text: &str, at: usize) -> Option<(String, String)> {
    let mut begin = 0;
    let line = text.split_inclusive('\n').find(|line| {
        begin += line.len();
        begin > at || begin == text.len()
    })?;
    let (_, value) = line.split_once('=')?;
    let value = value.split('#').next().unwrap_or_default().trim();
    let (whole, decimals) = value.split_once(',')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let unsigned = whole.strip_prefix(['-', '+']).unwrap_or(whole);
    (digits(unsigned) && digits(decimals))
        .then(|| (value.to_owned(), format!("{whole}.{decimals}")))
}
