//! One section of `job.toml`, read key by key, with everything wrong in it gathered instead of
//! stopping at the first.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::figure::nearest::nearest;

use super::Side;
use super::keys::{KEYS, Key, Kind, LISTS, SECTIONS, keys_of};
use super::other_words::meant;
use super::problem::Problem;

/// The value of a key that must be there.
pub(super) fn required<Value>(
    section: &Section<'_>,
    key: &'static str,
    read: impl FnOnce(&Section<'_>) -> Option<Value>,
) -> Option<Value> {
    if !section.has(key) {
        section.problem(key, format!("{key} is missing"), format!("Add a line {key} = ..."));
        return None;
    }
    read(section)
}

/// More mistakes than this are not reported.
const MOST_PROBLEMS: usize = 100;

/// The file's text and what was found wrong in it.
pub(super) struct Document {
    /// Where each line begins, in bytes.
    lines: Vec<usize>,
    problems: RefCell<Vec<Problem>>,
}

impl Document {
    pub fn new(text: &str) -> Self {
        let breaks =
            text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at + 1);
        let lines = std::iter::once(0).chain(breaks).collect();
        Self { lines, problems: RefCell::new(Vec::new()) }
    }

    /// Adds a problem at this place of the text.
    pub fn problem(&self, at: Range<usize>, what: impl Into<String>, advice: impl Into<String>) {
        // A person with this much to fix reads no further, and each costs a comparison with every
        // known key.
        if self.has_enough() {
            return;
        }
        self.problems.borrow_mut().push(Problem {
            line: self.line(at.start),
            what: what.into(),
            advice: advice.into(),
        });
    }

    fn has_enough(&self) -> bool {
        self.problems.borrow().len() >= MOST_PROBLEMS
    }

    /// What was found wrong, by line.
    pub fn into_problems(self) -> Vec<Problem> {
        let mut problems = self.problems.into_inner();
        problems.sort();
        problems
    }

    fn line(&self, offset: usize) -> usize {
        self.lines.partition_point(|&begin| begin <= offset)
    }
}

/// A section: its name in the key table, its keys, and where it begins. Absent sections are empty.
pub(super) struct Section<'doc> {
    document: &'doc Document,
    name: &'static str,
    table: Option<&'doc DeTable<'doc>>,
    at: Range<usize>,
}

impl<'doc> Section<'doc> {
    /// The whole file.
    pub fn top(document: &'doc Document, table: &'doc DeTable<'doc>) -> Self {
        let top = Self { document, name: "", table: Some(table), at: 0..0 };
        top.refuse_unknown_keys();
        top
    }

    /// The section `[name]`.
    pub fn section(&self, name: &'static str) -> Self {
        let absent = Self { document: self.document, name, table: None, at: 0..0 };
        match self.value(name) {
            None => absent,
            Some(value) => match value.get_ref() {
                DeValue::Table(table) => Self::checked(self.document, name, table, value.span()),
                _ => {
                    self.document.problem(
                        value.span(),
                        format!("{name} is a section that may appear once only"),
                        format!("Write [{name}] in a line of its own, and its keys below it."),
                    );
                    absent
                }
            },
        }
    }

    /// All sections `[[key]]`, which the key table calls `name`.
    pub fn list(&self, key: &'static str, name: &'static str) -> Vec<Self> {
        let Some(value) = self.value(key) else { return Vec::new() };
        let tables = match value.get_ref() {
            DeValue::Array(entries) => entries
                .iter()
                .map(|entry| Some((entry.get_ref().as_table()?, entry.span())))
                .collect::<Option<Vec<_>>>(),
            _ => None,
        };
        match tables {
            Some(tables) => tables
                .into_iter()
                .map(|(table, at)| Self::checked(self.document, name, table, at))
                .collect(),
            None => {
                self.document.problem(
                    value.span(),
                    format!("{name} is a section that may appear several times"),
                    format!("Write [[{name}]], in double brackets, in a line of its own for each, and its keys below it."),
                );
                Vec::new()
            }
        }
    }

    fn checked(
        document: &'doc Document,
        name: &'static str,
        table: &'doc DeTable<'doc>,
        at: Range<usize>,
    ) -> Self {
        let section = Self { document, name, table: Some(table), at };
        section.refuse_unknown_keys();
        section
    }

    /// Whether the key is there, right or wrong.
    pub fn has(&self, key: &str) -> bool {
        self.value(key).is_some()
    }

    /// Text behind a key of kind [`Kind::Text`].
    pub fn text(&self, key: &'static str) -> Option<String> {
        let value = self.value(key)?;
        let Kind::Text { max_chars } = spec(self.name, key).kind else { return None };
        match value.get_ref().as_str() {
            Some(text)
                if (1..=max_chars).contains(&text.trim().chars().count())
                    && !text.chars().any(char::is_control) =>
            {
                Some(text.trim().to_owned())
            }
            _ => self.refuse(
                key,
                &format!("must be text in double quotes, of 1 to {max_chars} letters in one line"),
            ),
        }
    }

    /// A number behind a key of kind [`Kind::Number`], in its range.
    pub fn number(&self, key: &'static str) -> Option<f64> {
        let value = self.value(key)?;
        let Kind::Number { min, max, unit } = spec(self.name, key).kind else { return None };
        let number = match value.get_ref() {
            DeValue::Float(float) => float.as_str().parse().ok(),
            DeValue::Integer(whole) => {
                i64::from_str_radix(whole.as_str(), whole.radix()).ok().map(|whole| whole as f64)
            }
            _ => None,
        };
        match number {
            Some(number) if (min..=max).contains(&number) => Some(number),
            Some(number) => self.refuse(key, &format!("= {number} is out of range: {min} to {max} {unit}")),
            None => {
                self.refuse(key, &format!("must be a number without quotes, with a point for decimals: {min} to {max} {unit}"))
            }
        }
    }

    /// A whole number behind a key of kind [`Kind::Whole`], in its range.
    pub fn whole<Whole: TryFrom<i64>>(&self, key: &'static str) -> Option<Whole> {
        let value = self.value(key)?;
        let Kind::Whole { min, max } = spec(self.name, key).kind else { return None };
        match whole_of(value.get_ref()).filter(|whole| (min..=max).contains(whole)) {
            Some(whole) => whole.try_into().ok(),
            None => self.refuse(key, &format!("must be a whole number from {min} to {max}")),
        }
    }

    /// `true` or `false` behind a key of kind [`Kind::Flag`].
    pub fn flag(&self, key: &'static str) -> Option<bool> {
        let value = self.value(key)?;
        value
            .get_ref()
            .as_bool()
            .or_else(|| self.refuse(key, "must be true or false, without quotes"))
    }

    /// One of the words of a key of kind [`Kind::OneOf`].
    pub fn word(&self, key: &'static str) -> Option<&'static str> {
        let value = self.value(key)?;
        let Kind::OneOf(words) = spec(self.name, key).kind else { return None };
        let given = value.get_ref().as_str().unwrap_or_default();
        words.iter().find(|&&word| word == given).copied().or_else(|| {
            let choices: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
            let nearest = meant(given)
                .filter(|word| words.contains(word))
                .or_else(|| nearest(given, words.iter().copied()))
                .filter(|_| words.len() > 2 && !given.is_empty());
            let hint =
                nearest.map_or_else(String::new, |word| format!("; the nearest is \"{word}\""));
            self.refuse(key, &format!("must be {}{hint}", choices.join(" or ")))
        })
    }

    /// A side behind a key whose words are "left" and "right".
    pub fn side(&self, key: &'static str) -> Option<Side> {
        self.word(key).map(|word| if word == "left" { Side::Left } else { Side::Right })
    }

    /// The value behind a key of kind [`Kind::Own`].
    pub fn value(&self, key: &str) -> Option<&'doc Spanned<DeValue<'doc>>> {
        self.table?.get(key)
    }

    /// Adds a problem with this key (or with the section, where the key is missing).
    pub fn problem(&self, key: &str, what: impl Into<String>, advice: impl Into<String>) {
        let at = self.value(key).map_or(self.at.clone(), Spanned::span);
        self.document.problem(at, what, advice);
    }

    /// Adds a problem with the value behind this key and gives nothing.
    fn refuse<Nothing>(&self, key: &'static str, what: &str) -> Option<Nothing> {
        let meaning = spec(self.name, key).meaning;
        self.problem(key, format!("{}{key} {what}", self.title()), format!("It is {meaning}."));
        None
    }

    fn refuse_unknown_keys(&self) {
        for (key, _) in self.table.into_iter().flatten() {
            let typed = key.get_ref().as_ref();
            let known = || keys_of(self.name).map(|key| key.name);
            let sections =
                || SECTIONS.iter().chain(LISTS).copied().filter(|_| self.name.is_empty());
            if known().chain(sections()).any(|name| name == typed) {
                continue;
            }
            if self.document.has_enough() {
                return;
            }
            // A key written before its section's line is the commonest slip of all.
            let home =
                KEYS.iter().find(|key| key.name == typed).filter(|key| key.section != self.name);
            let advice = match (home, nearest(typed, known().chain(sections()))) {
                (Some(home), _) => {
                    format!("It belongs below {}: move it there.", bracketed(home.section))
                }
                (None, Some(nearest)) => format!(
                    "The nearest known name is {nearest}. Known here: {}.",
                    known().chain(sections()).collect::<Vec<_>>().join(", ")
                ),
                (None, None) => "Take it out.".to_owned(),
            };
            self.document.problem(
                key.span(),
                format!("{}there is no key {typed}", self.title()),
                advice,
            );
        }
    }

    /// `[bike] ` to stand before a key; nothing for the top of the file.
    fn title(&self) -> String {
        if self.name.is_empty() { String::new() } else { format!("{} ", bracketed(self.name)) }
    }
}

pub(super) fn whole_of(value: &DeValue<'_>) -> Option<i64> {
    let whole = value.as_integer()?;
    i64::from_str_radix(whole.as_str(), whole.radix()).ok()
}

/// A section's name as it is written in the file.
fn bracketed(section: &str) -> String {
    match section {
        "" => "the top of the file".to_owned(),
        "print.card" => "[[print.card]]".to_owned(),
        list if LISTS.contains(&list) => format!("[[{list}]]"),
        once => format!("[{once}]"),
    }
}

/// The table's entry. The names are the program's own, so one that is missing is a slip in the
/// program that its tests find: they read a file with every key.
fn spec(section: &str, name: &str) -> &'static Key {
    static UNKNOWN: Key = Key { section: "", name: "", kind: Kind::Own, meaning: "not known" };
    KEYS.iter().find(|key| key.section == section && key.name == name).unwrap_or(&UNKNOWN)
}
