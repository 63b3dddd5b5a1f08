//! What must be treated apart from the rule: cards that were moved, tabs that came loose, sightings
//! that are left out.

use std::collections::{BTreeMap, BTreeSet};

use crate::cards::Pattern;
use crate::scene::model::input::ScenePhoto;
use crate::scene::model::solution::LooseTab;
use crate::sightings::StringKind;

use super::body_moved::Moved;
use super::cord_moved::CordMoved;

/// What must be treated apart from the rule.
#[derive(Clone, Debug, Default)]
pub struct Exceptions {
    /// Cards that lie in another place in each set-up.
    pub moved_cards: BTreeSet<u8>,
    /// Cards that must not be used.
    pub dropped_cards: BTreeSet<u8>,
    pub twice: BTreeMap<u8, String>,
    /// Tabs split between set-ups.
    pub split_tabs: BTreeSet<u8>,
    /// Tabs of one side of a turning part that stand elsewhere on it in another set-up; they are split.
    pub sides_apart: Vec<BTreeSet<u8>>,
    /// Tabs that do not lie in the plane of their face, and those of which one does not.
    pub loose_tabs: BTreeMap<u8, LooseTab>,
    /// Faces whose tabs lie farther off a plane than is usual, by name: how many times as far.
    pub rough_faces: BTreeMap<String, f64>,
    /// Sightings left out: photo and pattern.
    pub ignored: BTreeSet<(usize, Pattern)>,
    /// Photos whose turning tabs disagree with their set-up.
    pub misplaced_photos: BTreeSet<usize>,
    /// Bodies that moved in the middle of a set-up.
    pub moved: Vec<Moved>,
    /// Cords that moved in the middle of a set-up.
    pub cords_moved: Vec<CordMoved>,
}

/// From this many sightings in this many photos on, what had to be left out is no accident: over
/// four dozen sets of photos with one lens there was not one, in one with two lenses of the same
/// name twenty in seven photos.
const CONTRADICTED_SIGHTINGS: usize = 5;
const CONTRADICTED_PHOTOS: usize = 3;

impl Exceptions {
    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.moved_cards.is_empty()
            && self.dropped_cards.is_empty()
            && self.split_tabs.is_empty()
            && self.ignored.is_empty()
            && self.loose_tabs.is_empty()
            && self.cords_moved.is_empty()
    }

    /// Sightings left out that no moved part and no photo of another set-up accounts for.
    pub fn n_left_out(&self) -> usize {
        self.left_out().count()
    }

    /// These sightings: photo and pattern.
    pub fn left_out(&self) -> impl Iterator<Item = &(usize, Pattern)> {
        let accounted = |photo: &usize| {
            self.misplaced_photos.contains(photo)
                || self.moved.iter().any(|moved| moved.left_out.contains(photo))
        };
        self.ignored.iter().filter(move |(photo, _)| !accounted(photo))
    }

    /// Whether so many sightings in so many photos had to be left out that the photos contradict
    /// each other as a whole.
    pub fn contradict(&self) -> bool {
        let photos: BTreeSet<usize> = self.left_out().map(|(photo, _)| *photo).collect();
        self.n_left_out() >= CONTRADICTED_SIGHTINGS && photos.len() >= CONTRADICTED_PHOTOS
    }

    /// A number seen twice in one photo was printed twice: nothing shows which is which in
    /// the other photos.
    pub fn drop_cards_seen_twice(&mut self, photos: &[ScenePhoto]) {
        self.twice = cards_seen_twice(photos);
        self.dropped_cards.extend(self.twice.keys());
    }

    /// The photos without the sightings left out.
    pub fn applied(&self, photos: &[ScenePhoto]) -> Vec<ScenePhoto> {
        let mut photos = photos.to_vec();
        for (idx, photo) in photos.iter_mut().enumerate() {
            photo.sightings.patterns.retain(|p| !self.ignored.contains(&(idx, p.pattern)));
            if self.cords_moved.iter().any(|moved| moved.left_out.contains(&idx)) {
                photo.sightings.lanes.clear();
                photo.sightings.lines.retain(|line| line.kind != StringKind::Cord);
            }
        }
        photos
    }
}

/// Cards whose number is seen twice in one photo, each with the first such photo.
pub fn cards_seen_twice(photos: &[ScenePhoto]) -> BTreeMap<u8, String> {
    let mut twice = BTreeMap::new();
    for photo in photos {
        let mut seen = BTreeSet::new();
        for sighting in &photo.sightings.patterns {
            if let Pattern::Card(number) = sighting.pattern
                && !seen.insert(number)
            {
                twice.entry(number).or_insert_with(|| photo.file.clone());
            }
        }
    }
    twice
}
