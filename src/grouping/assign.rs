//! From positions of the wheel to set-ups: folders are trusted and checked, and what lies in none
//! is sorted.

use std::collections::{BTreeMap, BTreeSet};

use crate::figure::Side;
use crate::photo::job_photos::CAMERA_FOLDER;

use super::clock::seconds;
use super::places::Mark;
use super::positions::{Shows, Sorted};
use super::setups::{GroupedBy, Grouping, Listed, PhotoSetup};

/// Puts every photo into a set-up.
pub fn group(photos: &[Listed], sorted: &Sorted) -> Grouping {
    let mut work = Work { photos, sorted, out: Grouping::default(), owns: BTreeMap::new() };
    work.out.of_photo = vec![0; photos.len()];
    work.out.by = photos
        .iter()
        .map(|photo| match (&photo.setup, photo.by_job) {
            (Some(_), true) => GroupedBy::Job,
            (Some(_), false) => GroupedBy::Folder,
            (None, _) => GroupedBy::Found,
        })
        .collect();
    work.believe_folders();
    work.report_swapped_names();
    work.check_folders();
    work.sort_loose();
    work.lens_first();
    work.out
}

pub(super) struct Work<'a> {
    pub(super) photos: &'a [Listed],
    pub(super) sorted: &'a Sorted,
    pub(super) out: Grouping,
    /// For each set-up of the bench the wheel's position in it.
    pub(super) owns: BTreeMap<usize, usize>,
}

impl Work<'_> {
    pub(super) fn setup(&mut self, name: &str, lens_only: bool) -> usize {
        if let Some(known) = self.out.setups.iter().position(|known| known.name == name) {
            return known;
        }
        self.out.setups.push(PhotoSetup { name: name.to_owned(), lens_only });
        self.out.setups.len() - 1
    }

    pub(super) fn in_setup(&self, setup: usize) -> Vec<usize> {
        let believed = |photo: &usize| {
            self.photos[*photo].setup.is_some() && self.out.of_photo[*photo] == setup
        };
        (0..self.photos.len()).filter(believed).collect()
    }

    pub(super) fn position(&self, photo: usize) -> Option<usize> {
        match self.sorted.shows.get(photo) {
            Some(Shows::Wheel(position)) => Some(*position),
            _ => None,
        }
    }

    fn believe_folders(&mut self) {
        for (idx, photo) in self.photos.iter().enumerate() {
            if let Some(name) = &photo.setup {
                self.out.of_photo[idx] = self.setup(name, name.eq_ignore_ascii_case(CAMERA_FOLDER));
            }
        }
        for setup in 0..self.out.setups.len() {
            if self.out.setups[setup].lens_only {
                continue;
            }
            let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
            for position in
                self.in_setup(setup).into_iter().filter_map(|photo| self.position(photo))
            {
                *counts.entry(position).or_default() += 1;
            }
            let name = self.out.setups[setup].name.to_lowercase();
            let is_named = |position: usize| {
                self.sorted
                    .positions
                    .get(position)
                    .and_then(|p| p.mark)
                    .is_some_and(|mark| name.contains(mark.word()))
            };
            let own = counts.iter().max_by_key(|(position, n)| {
                (**n, is_named(**position), std::cmp::Reverse(**position))
            });
            if let Some((position, _)) = own {
                self.owns.insert(setup, *position);
            }
        }
    }

    /// Photos that show the wheel in another position than the rest of their folder go where they
    /// fit, and are named.
    fn check_folders(&mut self) {
        let owners = self.owns.clone();
        for (&setup, &own) in &owners {
            let inside = self.in_setup(setup);
            let mut misfits: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
            for &photo in &inside {
                if let Some(position) =
                    self.position(photo).filter(|position| self.contradict(*position, own))
                {
                    misfits.entry(position).or_default().push(photo);
                }
            }
            for (position, photos) in misfits {
                let fits = owners
                    .iter()
                    .find(|(other, owned)| **other != setup && **owned == position)
                    .map(|(other, _)| *other);
                let own_photos: Vec<usize> =
                    inside.iter().copied().filter(|p| self.position(*p) == Some(own)).collect();
                if let Some(side) = self.turned_between_sides(&own_photos, &photos, fits) {
                    self.report_turned(setup, &photos, side, own, position);
                } else if let Some(fits) = fits {
                    self.report_misfiled(setup, &photos, fits);
                } else {
                    self.report_other_position(setup, &photos, own, position);
                }
            }
        }
    }

    /// Whether two positions are so unlike that a folder's word against it is not believed: their
    /// marks lie on different sides of the axle. What turns less is left to the whole solution,
    /// which sees a knock of a tenth of a degree.
    fn contradict(&self, a: usize, b: usize) -> bool {
        let mark = |position: usize| {
            self.sorted.positions.get(position).and_then(|position| position.mark)
        };
        a != b && !(mark(a).is_some() && mark(a) == mark(b))
    }

    /// The side from which all of `others` were taken, where the folder's other photos were all
    /// taken from the other side, and the two did not just change folders: then they were taken
    /// at one time with those of the folder that they fit.
    fn turned_between_sides(
        &self,
        own: &[usize],
        others: &[usize],
        fits: Option<usize>,
    ) -> Option<Side> {
        let side_of = |photos: &[usize]| {
            let sides: BTreeSet<Side> =
                photos.iter().filter_map(|photo| self.sorted.from[*photo]).collect();
            (sides.len() == 1).then(|| sides.first().copied()).flatten()
        };
        let (first, second) = (side_of(own)?, side_of(others)?);
        if first == second || own.len() < 2 {
            return None;
        }
        let Some(fits) = fits else { return Some(second) };
        let theirs = self
            .in_setup(fits)
            .into_iter()
            .filter(|p| self.owns.get(&fits).copied() == self.position(*p));
        let theirs: Vec<usize> = theirs.collect();
        match (self.apart_in_time(others, own), self.apart_in_time(others, &theirs)) {
            (Some(from_own), Some(from_theirs)) => (from_own <= from_theirs).then_some(second),
            _ => Some(second),
        }
    }

    /// Seconds between two groups of photos, by the two that lie nearest to each other in time.
    pub(super) fn apart_in_time(&self, some: &[usize], others: &[usize]) -> Option<i64> {
        let times = |photos: &[usize]| -> Option<Vec<i64>> {
            photos
                .iter()
                .map(|photo| self.photos[*photo].taken.as_deref().and_then(seconds))
                .collect()
        };
        let (some, others) = (times(some)?, times(others)?);
        some.iter().flat_map(|a| others.iter().map(move |b| (a - b).abs())).min()
    }

    pub(super) fn name(&self, setup: usize) -> String {
        self.out.setups[setup].name.clone()
    }

    pub(super) fn move_to(&mut self, photos: &[usize], setup: usize) {
        for &photo in photos {
            self.out.of_photo[photo] = setup;
            self.out.by[photo] = GroupedBy::Found;
        }
    }

    /// The set-up of a position that no folder has.
    pub(super) fn own_setup(&mut self, position: usize) -> usize {
        if let Some((&setup, _)) = self.owns.iter().find(|(_, owned)| **owned == position) {
            return setup;
        }
        let words = match self.sorted.positions.get(position).and_then(|position| position.mark) {
            Some(mark) => mark_name(mark),
            None => "position".to_owned(),
        };
        let bench = self.out.setups.iter().filter(|setup| !setup.lens_only).count();
        let free = |name: &String| !self.out.setups.iter().any(|known| known.name == *name);
        let numbered = (bench + 1..).map(|number| format!("{number}-{words}"));
        let name = numbered.into_iter().find(free).unwrap_or(words);
        let setup = self.setup(&name, false);
        self.owns.insert(setup, position);
        setup
    }

    /// Set-ups for the lens first, as the stages after this have them, and none without photos.
    fn lens_first(&mut self) {
        let mut order: Vec<usize> =
            (0..self.out.setups.len()).filter(|setup| self.out.of_photo.contains(setup)).collect();
        order.sort_by_key(|&setup| (!self.out.setups[setup].lens_only, setup));
        if self.out.by.contains(&GroupedBy::Job) {
            // Folders come in the order of their numbers; what the job names comes in that of the
            // photos, which means nothing.
            let number = |name: &str| {
                name.split('-')
                    .next()
                    .and_then(|first| first.parse::<u32>().ok())
                    .unwrap_or(u32::MAX)
            };
            order.sort_by_key(|&setup| {
                let PhotoSetup { name, lens_only } = &self.out.setups[setup];
                (!lens_only, number(name), name.clone())
            });
        }
        let old = std::mem::take(&mut self.out.setups);
        self.out.setups = order.iter().map(|&setup| old[setup].clone()).collect();
        let place: BTreeMap<usize, usize> =
            order.into_iter().enumerate().map(|(new, old)| (old, new)).collect();
        for of in &mut self.out.of_photo {
            if let Some(new) = place.get(of) {
                *of = *new;
            }
        }
    }
}

pub(super) fn is_camera(photo: &Listed) -> bool {
    photo.setup.as_deref().is_some_and(|name| name.eq_ignore_ascii_case(CAMERA_FOLDER))
}

fn mark_name(mark: Mark) -> String {
    format!("mark-{}", mark.word())
}
