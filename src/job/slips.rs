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

/// What is wrong with the line at `at`, and how to write it, for a slip that is made often: text
/// without quotes or with one of them, a section without its bracket, a setting without its sign.
pub(super) fn slip(text: &str, at: usize) -> Option<(String, String)> {
    if let Some((typed, meant)) = decimal_comma(text, at) {
        return Some((
            format!("{typed} has a decimal comma"),
            format!("Write it with a point: {meant}."),
        ));
    }
    let line = line_at(text, at)?.trim();
    if line.starts_with('[') {
        let name = line.trim_matches(['[', ']', ' ']);
        let [open, close] = if line.starts_with("[[") { ["[[", "]]"] } else { ["[", "]"] };
        return (is_key(name) && !line.ends_with(close)).then(|| {
            (
                "this section's bracket is not closed".to_owned(),
                format!("Write {open}{name}{close}."),
            )
        });
    }
    let Some((key, value)) = line.split_once('=') else {
        let (key, value) = line.split_once([' ', ':'])?;
        return is_key(key.trim()).then(|| {
            let meant = in_quotes(value.trim_start_matches(':').trim());
            ("there is no = after the setting's name".to_owned(), format!("Write {key} = {meant}."))
        });
    };
    let (key, value) = (key.trim(), value.trim());
    let has_begun = value.starts_with(['"', '\'', '[', '{']);
    match (is_key(key), value) {
        (false, _) => None,
        (true, "") => Some((
            format!("{key} has no value"),
            "Write one behind the =, or take the line out.".to_owned(),
        )),
        (true, _) if !has_begun && value.chars().any(char::is_alphabetic) => Some((
            "text must stand in double quotes".to_owned(),
            format!("Write {key} = {}.", in_quotes(value)),
        )),
        (true, _) if value.starts_with('"') && value.matches('"').count() == 1 => Some((
            "the text's second quote is missing".to_owned(),
            format!("Write {key} = {}.", in_quotes(value)),
        )),
        _ => None,
    }
}

/// Whether this may be the name of a setting or a section.
fn is_key(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || "_-.".contains(c);
    !name.is_empty() && name.chars().all(plain)
}

/// The value as it must be written: a number as it is, text in double quotes, no note behind it.
fn in_quotes(value: &str) -> String {
    let value = value.split('#').next().unwrap_or_default();
    let value = value.trim().trim_matches(['"', '\'', '\u{201c}', '\u{201d}', '\u{201e}']).trim();
    if value.parse::<f64>().is_ok() || ["true", "false"].contains(&value) {
        return value.to_owned();
    }
    format!("\"{}\"", value.replace(['"', '\\'], ""))
}

/// The line that holds the byte at `at`, or the last one.
fn line_at(text: &str, at: usize) -> Option<&str> {
    let mut begin = 0;
    text.split_inclusive('\n').find(|line| {
        begin += line.len();
        begin > at || begin == text.len()
    })
}

/// "60,5" and "60.5" where the value in the line at `at` is a number with a comma.
fn decimal_comma(text: &str, at: usize) -> Option<(String, String)> {
    let (_, value) = line_at(text, at)?.split_once('=')?;
    let value = value.split('#').next().unwrap_or_default().trim();
    let (whole, decimals) = value.split_once(',')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let unsigned = whole.strip_prefix(['-', '+']).unwrap_or(whole);
    (digits(unsigned) && digits(decimals))
        .then(|| (value.to_owned(), format!("{whole}.{decimals}")))
}
