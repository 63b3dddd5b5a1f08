//! Where each photo of the evening counts: the photos are sorted as a measurement sorts them, so
//! that the page's tallies and the figures speak of the same positions of the wheel.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::folders::Position;
use super::position::Place;
use crate::bench::from_job::scene_settings;
use crate::cards::Pattern;
use crate::grouping::{self, Listed, Mark, Shows, Sorted, group};
use crate::guarded::guarded;
use crate::job::Job;
use crate::pipeline::known::{FirstLook, Known};
use crate::pipeline::{Sortable, runs};
use crate::scene::ScenePhoto;

/// A photo to be sorted.
#[derive(Clone, Debug)]
pub struct Sought {
    pub key: String,
    /// Its place in the evening's folder, as results name it.
    pub id: String,
    /// The folder it lies in; None for one that lies loose.
    pub folder: Option<String>,
    /// The position in which the page has it.
    pub position: Option<usize>,
    pub sha256: String,
}

/// The folder of a photo inside the evening's; None where it lies in the evening's own.
pub fn folder_of(path: &Path, evening: &Path) -> Option<String> {
    let folder = path.parent().filter(|folder| *folder != evening)?;
    Some(folder.file_name()?.to_string_lossy().into_owned())
}

/// Photos with what they show of the wheel.
pub struct Shown {
    keys: Vec<String>,
    listed: Vec<Listed>,
    sorted: Sorted,
}

/// Where photos count.
#[derive(Clone, Debug, Default)]
pub struct Sorting {
    /// For each photo its set-up; None for photos of cards alone, which serve the lens.
    pub setup_of: BTreeMap<String, Option<String>>,
    /// Which way the mark lies in each set-up, as far as its photos show.
    pub marks: BTreeMap<String, Mark>,
}

impl Shown {
    /// `new` is a photo that has no folder yet, with the position that the wheel is said to stand
    /// in: that counts where no tab shows it.
    pub fn of(photos: &[Sought], new: Option<&Sought>, known: &Known, job: &Job) -> Self {
        let all: Vec<&Sought> = photos.iter().chain(new).collect();
        let looks: Vec<Option<Arc<FirstLook>>> =
            all.iter().map(|photo| known.get(&photo.sha256)).collect();
        let sortable = |(photo, look): (&&Sought, &Option<Arc<FirstLook>>)| {
            let seen = look.as_ref().map(|look| (&look.facts, &look.sightings));
            Sortable::new(&photo.id, photo.folder.as_deref(), seen, job)
        };
        let (mut scenes, listed): (Vec<ScenePhoto>, Vec<Listed>) =
            all.iter().zip(&looks).map(sortable).map(|one| (one.scene, one.listed)).unzip();
        for (number, _) in job.displaced_tabs() {
            for scene in &mut scenes {
                scene.sightings.patterns.retain(|seen| seen.pattern != Pattern::Tab(number));
            }
        }
        let in_order = match new {
            Some(_) => runs_by_position(&all),
            None => runs(&listed),
        };
        let sorted = guarded("The photos were not sorted.", || {
            grouping::sort(&scenes, &scene_settings(job, &[]), job, &in_order)
        });
        Self {
            keys: all.iter().map(|photo| photo.key.clone()).collect(),
            listed,
            sorted: sorted.unwrap_or_default(),
        }
    }

    /// The same with the new photo, the last one, in its folder; None for the evening's own.
    pub fn filed(mut self, id: String, folder: Option<String>) -> Self {
        if let Some(last) = self.listed.last_mut() {
            (last.id, last.setup) = (id, folder);
        }
        self
    }

    fn position(&self, photo: usize) -> Option<usize> {
        match self.sorted.shows.get(photo) {
            Some(Shows::Wheel(position)) => Some(*position),
            _ => None,
        }
    }

    fn mark(&self, photo: usize) -> Option<Mark> {
        self.sorted.positions.get(self.position(photo)?)?.mark
    }

    /// Which way the mark lies in the last photo, if that shows the wheel at all.
    pub fn last_mark(&self) -> Option<Option<Mark>> {
        let last = self.listed.len().checked_sub(1)?;
        self.position(last).map(|_| self.mark(last))
    }

    /// Puts every photo into a set-up, as a measurement does. One that lies in a folder and would
    /// be a set-up of its own, with the wheel's position there unknown, stays in its folder until
    /// further photos show it.
    pub fn sorting(&self) -> Sorting {
        let out = group(&self.listed, &self.sorted);
        let mut sorting = Sorting::default();
        let mut votes: BTreeMap<(&str, Mark), usize> = BTreeMap::new();
        for (idx, key) in self.keys.iter().enumerate() {
            let Some(setup) = out.setups.get(out.of_photo[idx]) else { continue };
            let mut name = setup.name.as_str();
            if let Some(folder) = self.listed[idx].setup.as_deref()
                && self.listed.iter().all(|other| other.setup.as_deref() != Some(name))
                && self.mark(idx).is_none()
            {
                name = folder;
            }
            if let Some(mark) = self.mark(idx) {
                *votes.entry((name, mark)).or_default() += 1;
            }
            let counts = (!setup.lens_only).then(|| name.to_owned());
            sorting.setup_of.insert(key.clone(), counts);
        }
        let mut most: BTreeMap<&str, usize> = BTreeMap::new();
        for ((name, mark), n) in votes {
            if n > most.get(name).copied().unwrap_or(0) {
                most.insert(name, n);
                sorting.marks.insert(name.to_owned(), mark);
            }
        }
        sorting
    }
}

/// The photos of each position in their order, a new one at the end of the position that the wheel
/// is said to stand in.
fn runs_by_position(photos: &[&Sought]) -> Vec<Vec<usize>> {
    let mut by_position: BTreeMap<Option<usize>, Vec<usize>> = BTreeMap::new();
    for (idx, photo) in photos.iter().enumerate() {
        by_position.entry(photo.position).or_default().push(idx);
    }
    by_position.into_values().collect()
}

/// Whether all photos so far lie loose in the evening's own folder: further ones go there as well,
/// and all are sorted alike.
pub fn is_flat(photos: &[Sought]) -> bool {
    !photos.is_empty() && photos.iter().all(|photo| photo.folder.is_none())
}

/// The path of a photo that is put at a place of the evening.
pub fn folder_at(evening: &Path, place: &Place) -> PathBuf {
    match place {
        Place::Loose => evening.to_owned(),
        Place::Folder(name) => evening.join(name),
    }
}

/// The words that say where the wheel's mark is.
pub fn mark_in_words(mark: Option<Mark>) -> &'static str {
    match mark {
        Some(Mark::Forward) => "The mark is ahead of the axle here",
        Some(Mark::Rearward) => "The mark is behind the axle here",
        Some(Mark::Up) => "The mark is above the axle here",
        Some(Mark::Down) => "The mark is below the axle here",
        None => "The wheel is in another position here",
    }
}

/// "position 2, mark rearward".
pub fn position_in_words(positions: &[Position], position: usize) -> String {
    let title = positions.get(position).map(Position::title).unwrap_or_default();
    format!("position {}, {title}", position + 1)
}
