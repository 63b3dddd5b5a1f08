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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::glance::seen::SeenPattern;

    fn pattern(number: u8) -> SeenPattern {
        SeenPattern { number, role: None, corners: 100, cell_px: 12.0, mm_per_px: 0.8 }
    }

    fn glance(photo: &str, cards: &[u8], tabs: &[u8]) -> Glance {
        Glance {
            photo: photo.to_owned(),
            setup: photo.split_once('/').map(|(setup, _)| setup.to_owned()),
            cards: cards.iter().map(|n| pattern(*n)).collect(),
            tabs: tabs.iter().map(|n| pattern(*n)).collect(),
            ..Glance::default()
        }
    }

    fn file(id: &str, sha256: &str) -> PhotoFile {
        PhotoFile { id: id.to_owned(), path: id.into(), sha256: sha256.to_owned() }
    }

    fn listed(files: &[PhotoFile]) -> JobPhotos {
        let setup = crate::photo::SetupFolder { name: "1-a".to_owned(), photos: files.to_vec() };
        JobPhotos { setups: vec![setup], ..JobPhotos::default() }
    }

    pub(super) fn take(arrivals: &mut Arrivals, file: &PhotoFile, glance: Glance) -> New {
        let job = Job::default();
        let photo = Sortable::new(&file.id, glance.setup.as_deref(), None, &job);
        arrivals.take(file, glance, photo, &job)
    }

    #[test]
    fn a_new_photo_is_reported_by_what_it_adds_and_what_is_missing_after_it() {
        let (job, mut arrivals) = (Job::default(), Arrivals::default());
        let first = take(
            &mut arrivals,
            &file("1-a/1.jpg", "a"),
            glance("1-a/1.jpg", &[1, 2], &[1, 8, 9, 10]),
        );
        assert_eq!(
            first.adds,
            [
                "cards 1, 2 for the first time",
                "tabs 1 (rear rim, left), 8 to 10 (rear sprocket) for the first time"
            ]
        );
        assert!(
            first.line.contains("1-a/1.jpg")
                && first.line.contains("new: cards 1, 2, tabs 1, 8 to 10"),
            "{}",
            first.line
        );
        let second =
            take(&mut arrivals, &file("1-a/2.jpg", "b"), glance("1-a/2.jpg", &[2, 3], &[1, 2]));
        assert_eq!(
            second.adds,
            [
                "card 3 for the first time",
                "tab 2 (rear rim, right) for the first time",
                "the second view of tab 1 (rear rim, left)"
            ]
        );
        let text = second.reported(&job);
        assert!(text.contains("tabs 5 to 7 (gearbox sprocket)."), "{text}");
        assert!(text.contains("More photos in 1-a (2 of 6 so far)"), "{text}");
        assert!(text.contains("One more set-up (1 of 2 so far)"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        let third = take(&mut arrivals, &file("1-a/3.jpg", "c"), glance("1-a/3.jpg", &[2], &[1]));
        assert_eq!(third.adds, ["one more view of what was seen before"]);
        let tally = lines::tally(&arrivals.glances(), &job);
        assert!(tally.contains("3 of 6") && tally.contains("half round"), "{tally}");
    }

    #[test]
    fn a_file_that_cannot_be_read_is_reported_only_once_it_has_stopped_changing() {
        let mut arrivals = Arrivals::default();
        let half = file("1-a/1.jpg", "half");
        assert_eq!(arrivals.new_among(&listed(std::slice::from_ref(&half))).len(), 1);
        assert!(!arrivals.is_ready(&half, &Err(PhotoError::CutOff)), "it may be on its way");
        let more = file("1-a/1.jpg", "more of it");
        assert!(!arrivals.is_ready(&more, &Err(PhotoError::CutOff)), "it has grown");
        assert!(!arrivals.is_ready(&more, &Err(PhotoError::Changed)), "it grows while it is read");
        assert!(!arrivals.is_ready(&more, &Err(PhotoError::CutOff)));
        assert!(arrivals.is_ready(&more, &Err(PhotoError::CutOff)), "it is the same as before");
        assert!(arrivals.waiting.is_empty());
    }

    #[test]
    fn a_photo_is_reported_once_and_again_when_it_was_taken_away_or_replaced() {
        let mut arrivals = Arrivals::default();
        let first = file("1-a/1.jpg", "a");
        take(&mut arrivals, &first, glance("1-a/1.jpg", &[1], &[1]));
        assert!(arrivals.new_among(&listed(std::slice::from_ref(&first))).is_empty());
        let replaced = [file("1-a/1.jpg", "another")];
        assert_eq!(arrivals.new_among(&listed(&replaced)).len(), 1);
        assert!(arrivals.glances().is_empty(), "what is no longer there counts no more");
    }
}
