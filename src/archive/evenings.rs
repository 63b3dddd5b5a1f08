//! Where each evening of a sealed job keeps its parts: the first one right in the payload, each
//! later one in a folder of its own there, with the same parts.

use std::collections::BTreeSet;

use crate::photo::evenings::evening_number;

const PAYLOAD: &str = super::bag::PAYLOAD;

/// The place of one evening in the bag.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Within {
    /// From 1.
    pub number: u32,
    /// "" for the first, "evening-2/" for the second.
    folder: String,
}

impl Within {
    pub fn first() -> Self {
        Self { number: 1, folder: String::new() }
    }

    /// A later evening by its folder's name in the job; None for any other folder.
    pub fn later(name: &str) -> Option<Self> {
        evening_number(name).map(|number| Self { number, folder: format!("{name}/") })
    }

    /// The photos, each in the folder of its set-up.
    pub fn photos(&self) -> String {
        format!("{PAYLOAD}{}photos/", self.folder)
    }

    pub fn job(&self) -> String {
        format!("{PAYLOAD}{}job.toml", self.folder)
    }

    pub fn report(&self) -> String {
        format!("{PAYLOAD}{}report/", self.folder)
    }

    pub fn result(&self) -> String {
        self.report() + "result.json"
    }

    pub fn report_text(&self) -> String {
        self.report() + "report.txt"
    }

    /// A photo's name among those of all evenings: "evening-2/1-mark-forward/03.jpg".
    pub fn name_of(&self, photo: &str) -> String {
        format!("{}{photo}", self.folder)
    }

    /// Which evening a message is about, where there are several.
    pub fn said(&self, what: &str) -> String {
        format!("evening {}: {what}", self.number)
    }

    /// The evening that a file of the payload belongs to.
    pub fn of(path: &str) -> Self {
        let inner = path.strip_prefix(PAYLOAD).and_then(|path| path.split_once('/'));
        inner.and_then(|(folder, _)| Self::later(folder)).unwrap_or_else(Self::first)
    }

    /// The evenings that a bag's files belong to, in order; the first is always among them.
    pub fn all_of<'path>(paths: impl Iterator<Item = &'path String>) -> Vec<Self> {
        let found = paths.map(|path| Self::of(path)).chain([Self::first()]);
        found.collect::<BTreeSet<Self>>().into_iter().collect()
    }
}
