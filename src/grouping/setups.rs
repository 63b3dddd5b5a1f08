//! The noun that leaves this stage: the photos in set-ups, and who said so.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::positions::Sorted;
use crate::finding::Finding;
use crate::job::Job;
use crate::photo::PhotoFacts;
use crate::photo::job_photos::CAMERA_FOLDER;

/// Set-up of photos of cards alone that do not lie on the bench, where other photos show them
/// there.
pub(super) const CARDS_ELSEWHERE: &str = "0-camera-elsewhere";

/// Who said that a photo belongs to its set-up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum GroupedBy {
    /// It lies in the set-up's folder.
    #[default]
    Folder,
    /// The job's settings name it.
    Job,
    /// The program found it, from where the wheel stands in it.
    Found,
}

/// A photo and its set-up.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct GroupingEntry {
    /// As in the list of photos.
    pub photo: String,
    pub setup: String,
    pub by: GroupedBy,
}

/// A photo as it was listed.
#[derive(Clone, Debug, Default)]
pub struct Listed {
    /// Its place in the job folder.
    pub id: String,
    /// The set-up that its folder, or the job, names; None for a photo that lies loose.
    pub setup: Option<String>,
    /// Whether the job's settings named the set-up.
    pub by_job: bool,
    /// When it was taken, in letters that sort by time, and by which camera's clock.
    pub taken: Option<String>,
    pub camera: Option<String>,
}

impl Listed {
    /// `folder` names the set-up that its folder says; what the job says comes first.
    pub fn new(id: &str, folder: Option<&str>, facts: Option<&PhotoFacts>, job: &Job) -> Self {
        let by_job = job
            .setups
            .iter()
            .find(|setup| setup.photos.iter().any(|photo| photo == id))
            .map(|setup| setup.name.as_str());
        Self {
            id: id.to_owned(),
            setup: by_job.or(folder).map(str::to_owned),
            by_job: by_job.is_some(),
            taken: facts.and_then(|facts| facts.exif.taken.clone()),
            camera: facts.and_then(|facts| facts.exif.model.clone()),
        }
    }

    /// Whether it lies with the photos of cards alone, for the lens.
    pub fn is_for_the_lens(&self) -> bool {
        self.setup.as_deref() == Some(CAMERA_FOLDER)
    }
}

/// A set-up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhotoSetup {
    pub name: String,
    /// Whether its photos show cards alone, for the lens.
    pub lens_only: bool,
}

/// The photos in set-ups.
#[derive(Clone, Debug, Default)]
pub struct Grouping {
    /// Those whose photos show cards alone come first.
    pub setups: Vec<PhotoSetup>,
    /// For each photo its set-up.
    pub of_photo: Vec<usize>,
    /// For each photo who said so.
    pub by: Vec<GroupedBy>,
    pub findings: Vec<Finding>,
}

/// "mark forward: 8 photos, mark rearward: 8, cards only: 4".
pub fn in_words(setups: &[PhotoSetup], counts: &[usize]) -> String {
    let mut first = true;
    let mut words: Vec<String> = Vec::new();
    let bench_first = setups.iter().zip(counts).filter(|(setup, _)| !setup.lens_only);
    let then_lens = setups.iter().zip(counts).filter(|(setup, _)| setup.lens_only);
    for (PhotoSetup { name, lens_only }, n) in bench_first.chain(then_lens).filter(|(_, n)| **n > 0)
    {
        let name = match (*lens_only, name == CARDS_ELSEWHERE) {
            (true, true) => "cards elsewhere".to_owned(),
            (true, false) => "cards only".to_owned(),
            (false, _) => plain_name(name),
        };
        let unit = if std::mem::take(&mut first) {
            if *n == 1 { " photo" } else { " photos" }
        } else {
            ""
        };
        words.push(format!("{name}: {n}{unit}"));
    }
    words.join(", ")
}

/// A set-up's name without the number in front, in words: "mark forward".
pub fn plain_name(name: &str) -> String {
    let rest =
        name.trim_start_matches(|c: char| c.is_ascii_digit()).trim_start_matches(['-', '_', ' ']);
    if rest.is_empty() { name.to_owned() } else { rest.replace('-', " ") }
}

impl Grouping {
    /// "mark forward: 6 photos, mark rearward: 6; 3 more show no card or can't be read": only what
    /// can be of use is counted.
    pub fn in_words(&self, photos: &[Listed], sorted: &Sorted) -> String {
        let all: Vec<usize> = (0..photos.len()).collect();
        self.counted(&all, sorted)
    }

    /// The same of some photos.
    pub(super) fn counted(&self, photos: &[usize], sorted: &Sorted) -> String {
        let shows_something = |photo: &usize| sorted.has_card.get(*photo).is_none_or(|has| *has);
        let (useful, useless): (Vec<usize>, Vec<usize>) =
            photos.iter().copied().partition(shows_something);
        let counts: Vec<usize> = (0..self.setups.len())
            .map(|setup| useful.iter().filter(|photo| self.of_photo[**photo] == setup).count())
            .collect();
        let words = in_words(&self.setups, &counts);
        match useless.len() {
            0 => words,
            1 => format!("{words}; 1 more shows no card or can't be read"),
            n => format!("{words}; {n} more show no card or can't be read"),
        }
    }

    /// The photos as the result lists them.
    pub fn entries(&self, photos: &[Listed]) -> Vec<GroupingEntry> {
        let entry = |(idx, photo): (usize, &Listed)| GroupingEntry {
            photo: photo.id.clone(),
            setup: self
                .setups
                .get(self.of_photo[idx])
                .map_or_else(String::new, |setup| setup.name.clone()),
            by: self.by[idx],
        };
        photos.iter().enumerate().map(entry).collect()
    }
}
