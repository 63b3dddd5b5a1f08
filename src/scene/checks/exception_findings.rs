//! Findings about the exceptions.

use std::collections::{BTreeMap, BTreeSet};

use crate::cards::Pattern;
use crate::finding::Finding;
use crate::say;
use crate::scene::model::input::{Hangs, ScenePhoto, SceneSettings};
use crate::scene::model::state::{Carrier, TurningPart};
use crate::text::{Amount, listed};

use super::body_moved::Moved;
use super::cord_moved::CordMoved;
use super::exceptions::Exceptions;

/// So many tabs of one turning body left out in one photo are no accident.
const LEAST_TOGETHER: usize = 3;

impl Exceptions {
    /// Findings about the exceptions.
    pub fn findings(&self, photos: &[ScenePhoto], settings: &SceneSettings) -> Vec<Finding> {
        let mut findings = self.card_findings();
        findings.extend(self.tab_findings(settings));
        for moved in &self.moved {
            findings.push(moved_finding(moved, photos, settings));
        }
        findings.extend(self.cords_moved.iter().map(|moved| cord_finding(moved, photos, settings)));
        findings.extend(self.photo_findings(photos, settings));
        findings
    }

    fn card_findings(&self) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (number, file) in &self.twice {
            findings.push(
                Finding::warning(
                    "card-twice",
                    format!(
                        "Card {number} was seen in two places on the bench, so neither could be used: there are two of that number, or it was moved."
                    ),
                    "Lay each number down once only, and touch no card until the last photo is taken.",
                )
                .in_photo(file.clone()),
            );
        }
        for number in &self.moved_cards {
            findings.push(Finding::warning(
                "card-moved",
                format!("Card {number} lies in different places in different set-ups; each set-up uses its own."),
                "Tape the cards down before the first photo and leave them until the last.",
            ));
        }
        for number in self.dropped_cards.iter().filter(|n| !self.twice.contains_key(n)) {
            findings.push(Finding::warning(
                "card-restless",
                format!("Card {number} does not lie still even within a set-up, or is not flat; it was not used."),
                "Tape it down flat and take the photos again.",
            ));
        }
        findings
    }

    fn moved_as_one(&self, part: &[u8]) -> bool {
        part.iter().all(|number| self.split_tabs.contains(number))
    }

    fn tab_findings(&self, settings: &SceneSettings) -> Vec<Finding> {
        let mut findings = Vec::new();
        let moved_as_one = |part: &&Vec<u8>| part.len() > 1 && self.moved_as_one(part);
        for part in settings.moving_as_one.iter().filter(moved_as_one) {
            let tabs: Vec<String> = part.iter().map(u8::to_string).collect();
            findings.push(Finding::warning(
                "part-moved",
                format!(
                    "Tabs {} moved together between set-ups: the part that carries them was knocked or slid. They were not used to tie the \
                     set-ups.",
                    tabs.join(" and ")
                ),
                "See that the part is tight (for the spindle's ends: the wheel's nuts), turn the wheel without leaning on it, and take the \
                 photos of both set-ups again.",
            ));
        }
        for side in &self.sides_apart {
            let tabs: Vec<String> = side.iter().map(u8::to_string).collect();
            let (tabs, stand, them, were) = match tabs.len() {
                1 => (format!("Tab {}", tabs[0]), "stands", "it", "it was"),
                _ => (format!("Tabs {}", listed(&tabs)), "stand", "them", "they were"),
            };
            findings.push(Finding::warning(
                "part-moved",
                format!(
                    "{tabs} {stand} elsewhere on the wheel in one set-up than in another, and no photo shows {them} beside its other tabs: \
                     the wheel moved while photos were taken from one side and then from the other, or {were} touched. What rests on \
                     {them} is unsure by as much."
                ),
                "See that the wheel's nuts and bearings are tight, keep off the wheel until both sides are photographed, and take the \
                 photos of both set-ups again.",
            ));
        }
        let is_reported = |number: &&u8| {
            !settings.moving_as_one.iter().any(|p| moved_as_one(&p) && p.contains(number))
                && !self.sides_apart.iter().any(|side| side.contains(number))
        };
        for number in self.split_tabs.iter().filter(is_reported) {
            if settings.tabs.iter().any(|tab| tab.number == *number && tab.hangs == Hangs::Cord) {
                findings.push(Finding::note(
                    "rider-moved",
                    format!(
                        "The rider with tab {number} was moved along the cord between set-ups; each set-up uses its own place for it."
                    ),
                    "Nothing to do: it shows where the cord runs at either place.",
                ));
                continue;
            }
            findings.push(Finding::warning(
                "tab-moved",
                format!("Tab {number} moved between set-ups although it should stay on its part; it was not used to tie them."),
                "Stick it on again and take both set-ups again, or leave it out.",
            ));
        }
        findings
    }

    /// Photos of another set-up, and single sightings that were left out.
    fn photo_findings(&self, photos: &[ScenePhoto], settings: &SceneSettings) -> Vec<Finding> {
        let mut findings = Vec::new();
        let is_reported =
            |photo: usize| self.moved.iter().any(|moved| moved.left_out.contains(&photo));
        let mut misplaced = self.photos_of_other_setups(settings);
        misplaced.retain(|photo| !is_reported(*photo));
        for &photo in &misplaced {
            findings.push(
                Finding::warning(
                    "photo-of-other-setup",
                    format!(
                        "In photo {} the wheel is turned differently from the other photos of set-up {}; its tabs were not used there.",
                        photos[photo].file, settings.setups[photos[photo].setup]
                    ),
                    "Move the photo into the folder of the set-up it belongs to.",
                )
                .in_photo(photos[photo].file.clone()),
            );
        }
        for &(photo, pattern) in self
            .ignored
            .iter()
            .filter(|(photo, _)| !misplaced.contains(photo) && !is_reported(*photo))
        {
            let name = match pattern {
                Pattern::Card(n) => format!("Card {n}"),
                Pattern::Tab(n) => format!("Tab {n}"),
            };
            findings.push(
                Finding::note(
                    "sighting-left-out",
                    format!(
                        "{name} in photo {} is not where the other photos show it; it was left out there.",
                        photos[photo].file
                    ),
                    "Nothing to do if the figures are good; it may be a reflection or may have moved.",
                )
                .in_photo(photos[photo].file.clone()),
            );
        }
        findings
    }

    /// Photos that are reported to be of another set-up: misplaced ones, and those in which several
    /// tabs of one turning body had to be left out.
    fn photos_of_other_setups(&self, settings: &SceneSettings) -> BTreeSet<usize> {
        let body_of =
            |number: u8| settings.tabs.iter().find(|tab| tab.number == number).map(|tab| tab.hangs);
        let mut left_out: BTreeMap<(usize, TurningPart), usize> = BTreeMap::new();
        for (photo, pattern) in &self.ignored {
            if let (Pattern::Tab(_), Some(Hangs::On(Carrier::Turning(body)))) =
                (pattern, body_of(pattern.number()))
            {
                *left_out.entry((*photo, body)).or_default() += 1;
            }
        }
        let together =
            left_out.into_iter().filter(|(_, n)| *n >= LEAST_TOGETHER).map(|((photo, _), _)| photo);
        self.misplaced_photos.iter().copied().chain(together).collect()
    }
}

/// The finding for a body that moved in the middle of a set-up.
fn moved_finding(moved: &Moved, photos: &[ScenePhoto], settings: &SceneSettings) -> Finding {
    let (name, body) = (&settings.setups[moved.setup], moved.part.word());
    let nth = photos[..=moved.from].iter().filter(|photo| photo.setup == moved.setup).count();
    let used = if moved.before_used { "before it" } else { "from it on" };
    Finding::warning(
        "moved-within-setup",
        format!(
            "In set-up {name} the {body} is turned or moved from photo {nth} on ({}); only what the photos {used} show of it was used.",
            photos[moved.from].file
        ),
        "Within a set-up nothing may be touched: take the photos of that set-up again, or put those from there on into a folder of their own.",
    )
    .in_photo(photos[moved.from].file.clone())
}

/// The finding for a cord that moved in the middle of a set-up.
fn cord_finding(moved: &CordMoved, photos: &[ScenePhoto], settings: &SceneSettings) -> Finding {
    let file = &photos[moved.from].file;
    let used = if moved.before_used { "before it" } else { "from it on" };
    Finding::warning(
        "cord-moved-within-setup",
        say![
            format!("In set-up {} the cord lies ", settings.setups[moved.setup]),
            Amount::tenths(moved.by_mm),
            format!(
                " farther to one side from photo {file} on: somebody knocked it. Only what the photos {used} show of it was used."
            ),
        ],
        "Fasten the cord so that nobody can knock it, and take that set-up's photos again.",
    )
    .in_photo(file.clone())
}
