//! Photos that lie in no folder, sorted by the position of the wheel that they show.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::photo::job_photos::{CAMERA_FOLDER, LOOSE_SETUP};

use super::assign::{Work, is_camera};
use super::clock::{have_one_clock, in_time};
use super::positions::Shows;
use super::setups::CARDS_ELSEWHERE;

impl Work<'_> {
    /// Photos in no folder go to the position they show; those that show no wheel to that of the
    /// photos next to them, where nothing but their order can tell.
    pub(super) fn sort_loose(&mut self) {
        let loose: Vec<usize> =
            (0..self.photos.len()).filter(|idx| self.photos[*idx].setup.is_none()).collect();
        if loose.is_empty() {
            return;
        }
        let is_flat = loose.len() == self.photos.iter().filter(|p| !is_camera(p)).count();
        // In the order forward, rearward, ...
        for position in 0..self.sorted.positions.len() {
            if loose.iter().any(|photo| self.position(*photo) == Some(position)) {
                self.own_setup(position);
            }
        }
        if self.owns.is_empty() {
            // Nothing shows where the wheel stands: one set-up, within which nothing moved.
            let all = self.setup(LOOSE_SETUP, false);
            self.move_to(&loose, all);
            return;
        }
        let order = in_time(self.photos, &loose);
        let clock = have_one_clock(self.photos, &order);
        let stops = if is_flat && clock { self.stops(&order) } else { BTreeMap::new() };
        let mut known: Vec<(usize, usize)> = Vec::new();
        for (rank, &photo) in order.iter().enumerate() {
            if let Some(position) = self.position(photo) {
                let setup = self.setup_of_stop(position, stops.get(&photo).copied().unwrap_or(1));
                known.push((rank, setup));
                self.move_to(&[photo], setup);
            }
        }
        let sorted = self.sorted;
        let shown = |photo: usize| sorted.shows.get(photo).copied().unwrap_or(Shows::Nothing);
        // Cards that lie at two places are not one ground.
        let apart = loose.iter().any(|photo| shown(*photo) == Shows::CardsOnly);
        for (rank, &photo) in order.iter().enumerate() {
            let apart_in_time = |other: usize| self.apart_in_time(&[photo], &order[other..=other]);
            let far = |other: usize| {
                (clock.then(|| apart_in_time(other)).flatten(), other.abs_diff(rank))
            };
            let nearest =
                known.iter().min_by_key(|(other, _)| far(*other)).map(|(_, setup)| *setup);
            let setup = match shown(photo) {
                Shows::Wheel(_) => continue,
                Shows::BenchOnly | Shows::Nothing if is_flat => nearest,
                Shows::CardsElsewhere if apart => Some(self.setup(CARDS_ELSEWHERE, true)),
                Shows::CardsOnly | Shows::CardsElsewhere | Shows::BenchOnly | Shows::Nothing => {
                    None
                }
            };
            let setup = setup.unwrap_or_else(|| self.setup(CAMERA_FOLDER, true));
            self.move_to(&[photo], setup);
        }
        self.report_sorted(&loose, is_flat);
    }

    /// How many times the wheel had been brought to its position when a photo was taken, this one
    /// counted, for photos of one clock.
    fn stops(&self, order: &[usize]) -> BTreeMap<usize, usize> {
        let mut stops = BTreeMap::new();
        let (mut count, mut last): (BTreeMap<usize, usize>, Option<usize>) =
            (BTreeMap::new(), None);
        for &photo in order {
            let Some(position) = self.position(photo) else { continue };
            if last != Some(position) {
                *count.entry(position).or_default() += 1;
                last = Some(position);
            }
            stops.insert(photo, count.get(&position).copied().unwrap_or(1));
        }
        stops
    }

    /// The set-up of a position that the wheel was brought to for the `stop`-th time: by hand it
    /// never comes to quite the same place.
    fn setup_of_stop(&mut self, position: usize, stop: usize) -> usize {
        let first = self.own_setup(position);
        if stop < 2 {
            return first;
        }
        let name = self.name(first);
        let apart =
            if stop == 2 { format!("{name}-again") } else { format!("{name}-again-{}", stop - 1) };
        if !self.out.setups.iter().any(|known| known.name == apart) {
            self.out.findings.push(Finding::warning(
                "wheel-turned-back",
                format!(
                    "The wheel was turned away and back again {} while photos were taken: by hand it never comes to quite the same place, so \
                     that the later photos count as a position of their own, {apart}.",
                    self.mark_in_words(position)
                ),
                "Take all photos of one position of the wheel, from both sides, before you turn it.",
            ));
        }
        self.setup(&apart, false)
    }

    fn report_sorted(&mut self, loose: &[usize], is_flat: bool) {
        let words = self.out.counted(loose, self.sorted);
        let (what, todo) = if is_flat {
            (
                format!("The photos were sorted by the wheel's position in them: {words}."),
                "Nothing to do, if that is what you took. measure --keep-grouping writes it into job.toml, where you can change it.",
            )
        } else {
            (
                format!(
                    "{} lie in no set-up's folder; they were sorted by the wheel's position in them: {words}.",
                    self.files(loose)
                ),
                "Nothing to do, if that is right; else move each into the folder of the set-up it was taken in.",
            )
        };
        self.out.findings.push(Finding::note("photos-sorted", what, todo));
    }
}
