//! What was reported of a watched folder so far, what is new in it, and what may still be on its
//! way.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::finding::Finding;
use crate::glance::seen::Glance;
use crate::glance::{adds, missing};
use crate::job::Job;
use crate::photo::{JobPhotos, Photo, PhotoError, PhotoFile};
use crate::pipeline::Sortable;

use super::sorting::{self, Said};
use super::{lines, words};

/// A photo that was reported.
struct Reported {
    glance: Glance,
    photo: Sortable,
    /// Of its file.
    sha256: String,
}

/// What was reported of a folder so far, and what may still be on its way.
#[derive(Default)]
pub struct Arrivals {
    /// Photos reported, in the order in which they came.
    reported: Vec<Reported>,
    /// Files that could not be read when last looked at, and their checksums then.
    waiting: BTreeMap<String, String>,
    /// Why the photos are not counted: they are of several jobs.
    refused: Option<Finding>,
}

impl Arrivals {
    /// Whether nothing was reported yet.
    pub fn is_empty(&self) -> bool {
        self.reported.is_empty()
    }

    /// Whether some file could not be read yet and is looked at again.
    pub fn is_waiting(&self) -> bool {
        !self.waiting.is_empty()
    }

    /// Forgets what is no longer in the folder, and names what is new or has changed.
    pub fn new_among<'a>(&mut self, listed: &'a JobPhotos) -> Vec<(&'a PhotoFile, Option<String>)> {
        let all: Vec<(&PhotoFile, Option<String>)> =
            listed.with_setups().map(|(file, setup)| (file, setup.map(str::to_owned))).collect();
        let there: BTreeSet<(&str, &str)> =
            all.iter().map(|(file, _)| (file.id.as_str(), file.sha256.as_str())).collect();
        self.reported.retain(|reported| {
            there.contains(&(reported.glance.photo.as_str(), reported.sha256.as_str()))
        });
        self.waiting.retain(|id, _| there.iter().any(|(there, _)| there == id));
        let is_reported = |file: &PhotoFile| {
            self.reported
                .iter()
                .any(|reported| reported.glance.photo == file.id && reported.sha256 == file.sha256)
        };
        all.into_iter().filter(|(file, _)| !is_reported(file)).collect()
    }

    /// Whether a photo can be reported: it was read, or it could not be and is the same as when it
    /// was last tried.
    pub fn is_ready(&mut self, file: &PhotoFile, read: &Result<Photo, PhotoError>) -> bool {
        let same_as_before = self.waiting.get(&file.id) == Some(&file.sha256);
        match read {
            Err(PhotoError::Changed) => {
                self.waiting.insert(file.id.clone(), String::new());
                false
            }
            Err(_) if !same_as_before => {
                self.waiting.insert(file.id.clone(), file.sha256.clone());
                false
            }
            _ => {
                self.waiting.remove(&file.id);
                true
            }
        }
    }

    pub(super) fn add(&mut self, file: &PhotoFile, new: Glance, photo: Sortable) {
        self.reported.push(Reported { glance: new, photo, sha256: file.sha256.clone() });
    }

    /// Sorts all photos again: each may show more of those before it.
    pub(super) fn sort(&mut self, job: &Job) {
        let photos: Vec<Sortable> =
            self.reported.iter().map(|reported| reported.photo.clone()).collect();
        let mut glances: Vec<&mut Glance> =
            self.reported.iter_mut().map(|reported| &mut reported.glance).collect();
        let Said { findings, refused } = sorting::sort(&mut glances, photos, job, true);
        self.refused = findings.into_iter().rfind(|_| refused);
    }

    /// How far the photos are, or why they are not counted.
    pub fn tally(&self, job: &Job) -> String {
        match &self.refused {
            Some(why) => words::paragraph(&why.what) + &words::advice(&why.advice),
            None => lines::tally(&self.glances(), job),
        }
    }

    /// Adds a photo to those reported, and gives the words for it.
    pub fn take(&mut self, file: &PhotoFile, new: Glance, photo: Sortable, job: &Job) -> New {
        self.add(file, new, photo);
        self.sort(job);
        let all = self.glances();
        let missing = missing::missing(&all, job);
        let (before, new) = all.split_at(all.len().saturating_sub(1));
        let line = lines::lines(before, new, job);
        let glance = new.first().cloned().unwrap_or_default();
        New { line, adds: adds::adds(before, &glance, job), missing, glance }
    }

    pub fn glances(&self) -> Vec<Glance> {
        self.reported.iter().map(|reported| reported.glance.clone()).collect()
    }
}

/// The report on a new photo.
#[derive(Debug, Serialize)]
pub struct New {
    #[serde(flatten)]
    pub glance: Glance,
    pub adds: Vec<String>,
    /// What is still missing after it.
    pub missing: Vec<String>,
    /// The same in a line.
    #[serde(skip)]
    pub line: String,
}

impl New {
    /// All about it.
    pub fn reported(&self, job: &Job) -> String {
        let mut text = words::described(&self.glance, job);
        if self.glance.error.is_none() {
            text.push_str(&words::entry("adds", &format!("{}.", self.adds.join("; "))));
        }
        text + &words::missing_in_words(&self.missing, true) + "\n"
    }
}
