//! Slips of the pen that are made again and again, named for what they are.

use std::path::{Path, PathBuf};

use super::keys::{KEYS, Kind};

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
        (true, _) if !has_begun && value.chars().any(char::is_alphabetic) => {
            Some(bare_word(key, without_note(value)))
        }
        (true, _) if value.starts_with('"') && value.matches('"').count() == 1 => Some((
            "the text's second quote is missing".to_owned(),
            format!("Write {key} = {}.", in_quotes(value)),
        )),
        _ => None,
    }
}

/// What is wrong with a value that is neither a number nor in quotes, by what the setting takes: a
/// number with its unit behind it, a word that means another, or text.
fn bare_word(key: &str, value: &str) -> (String, String) {
    let kind = KEYS.iter().find(|known| known.name == key).map(|known| known.kind);
    match kind {
        Some(Kind::Number { .. } | Kind::Whole { .. }) => {
            let is_of_number = |c: char| c.is_ascii_digit() || "+-.".contains(c);
            let value = value.replacen(',', ".", 1);
            let end = value.find(|c| !is_of_number(c)).unwrap_or(value.len());
            let (number, unit) = value.split_at(end);
            let unit = unit.trim();
            if number.parse::<f64>().is_ok() && unit.chars().all(char::is_alphabetic) {
                return (
                    format!("{key} takes a number without its unit"),
                    format!("Leave \"{unit}\" away: write {key} = {number}."),
                );
            }
            return (
                format!("{key} takes a number"),
                format!(
                    "Write a plain number after {key} =, with a point for decimals and no quotes."
                ),
            );
        }
        Some(Kind::Flag) => {
            let advice = match value.to_lowercase().as_str() {
                "yes" | "on" => format!("Write {key} = true."),
                "no" | "off" => format!("Write {key} = false."),
                _ => format!("Write {key} = true or {key} = false."),
            };
            return (format!("{key} is true or false"), advice);
        }
        Some(Kind::OneOf(words)) if !words.contains(&value) => {
            let choices: Vec<String> =
                words.iter().map(|word| format!("{key} = \"{word}\"")).collect();
            let (last, others) = choices.split_last().map_or(("", &[][..]), |(l, o)| (l, o));
            let advice = match others {
                [] => format!("Write {last}."),
                others => format!("Write {} or {last}.", others.join(", ")),
            };
            return (format!("{value} is no word that {key} knows"), advice);
        }
        _ => {}
    }
    ("text must stand in double quotes".to_owned(), format!("Write {key} = {}.", in_quotes(value)))
}

/// What is wrong where a setting stands twice in one section, the second time at `at`.
pub(super) fn twice(text: &str, at: usize) -> Option<(String, String)> {
    let line = |at: usize| 1 + text.bytes().take(at).filter(|byte| *byte == b'\n').count();
    let here = line(at);
    let key_of = |line: &str| line.split_once('=').map(|(key, _)| key.trim().to_owned());
    let lines: Vec<&str> = text.lines().take(here).collect();
    let (second, before) = lines.split_last()?;
    let second = second.trim();
    let (name, is_same): (String, Box<dyn Fn(&str) -> bool>) = if second.starts_with('[') {
        (second.to_owned(), Box::new(|line: &str| line.trim() == second))
    } else {
        let key = key_of(second).filter(|key| is_key(key))?;
        (key.clone(), Box::new(move |line: &str| key_of(line).as_ref() == Some(&key)))
    };
    let in_section = |line: &&str| second.starts_with('[') || !line.trim_start().starts_with('[');
    let back = before.iter().rev().take_while(|line| in_section(line));
    let first = before.len() - back.into_iter().position(|line| is_same(line))?;
    Some((
        format!("{name} stands twice, in lines {first} and {here}"),
        "Keep the one that is right, and take the other out.".to_owned(),
    ))
}

/// Whether this may be the name of a setting or a section.
fn is_key(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || "_-.".contains(c);
    !name.is_empty() && name.chars().all(plain)
}

/// The value as it must be written: a number as it is, text in double quotes, no note behind it.
fn in_quotes(value: &str) -> String {
    let value =
        without_note(value).trim_matches(['"', '\'', '\u{201c}', '\u{201d}', '\u{201e}']).trim();
    if value.parse::<f64>().is_ok() || ["true", "false"].contains(&value) {
        return value.to_owned();
    }
    format!("\"{}\"", value.replace(['"', '\\'], ""))
}

/// The value without the note behind it.
fn without_note(value: &str) -> &str {
    value.split('#').next().unwrap_or_default().trim()
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
    let value = without_note(value);
    let (whole, decimals) = value.split_once(',')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let unsigned = whole.strip_prefix(['-', '+']).unwrap_or(whole);
    (digits(unsigned) && digits(decimals))
        .then(|| (value.to_owned(), format!("{whole}.{decimals}")))
}
