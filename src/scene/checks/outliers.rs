//! Sightings that the solution contradicts, and what must have moved for them to be so.

use std::collections::{BTreeMap, BTreeSet};

use crate::cards::Pattern;
use crate::scene::model::input::{ScenePhoto, SceneSettings};
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::model::state::Carrier;

use super::between_setups::tabs_elsewhere;
use super::body_moved::{moved_within, tabs_of};
use super::cord_moved::{CordMoved, cord_moved_within};
use super::exceptions::Exceptions;
use super::loose_tabs::find_loose_tabs;
use super::outlying_tabs::torn_tabs;

/// A sighting is bad when this part of its corners had to be left out (our choice).
const BAD_SHARE: f64 = 0.4;

/// What becomes of one block: its photo, what it shows, and whether it is bad.
struct SightingVerdict {
    photo: usize,
    setup: usize,
    pattern: Pattern,
    carrier: Option<Carrier>,
    bad: bool,
}

/// Looks for sightings that the solution contradicts and adds exceptions. Returns whether there is
/// something new.
pub fn find_outliers(
    solution: &Solution,
    photos: &[ScenePhoto],
    settings: &SceneSettings,
    exceptions: &mut Exceptions,
) -> bool {
    let mut photo_of: BTreeMap<usize, usize> = BTreeMap::new();
    for (photo, view) in solution.view_of.iter().enumerate() {
        if let Some(view) = view {
            photo_of.insert(*view, photo);
        }
    }
    let before = exceptions.clone();
    find_moved_bodies(solution, photos, &photo_of, exceptions);
    if exceptions.moved.len() != before.moved.len() {
        return true;
    }
    let verdicts = verdicts(solution, photos, &photo_of);
    find_misplaced_photos(&verdicts, exceptions);
    // A tab that its face holds where it is not seems to be seen wrongly, or to have moved.
    if exceptions.ignored == before.ignored {
        find_loose_tabs(solution, exceptions);
        if exceptions.loose_tabs != before.loose_tabs {
            return true;
        }
    }
    exceptions.split_tabs.extend(torn_tabs(solution));
    let patterns: BTreeSet<Pattern> = verdicts.iter().map(|s| s.pattern).collect();
    for pattern in patterns {
        judge_pattern(solution, photos, pattern, &verdicts, exceptions);
    }
    // A card that was kicked pulls everything else aside: such tabs are looked for once cards are
    // settled.
    let settled = |exceptions: &Exceptions| {
        exceptions.moved_cards == before.moved_cards && exceptions.ignored == before.ignored
    };
    if settled(exceptions) {
        exceptions.split_tabs.extend(tabs_elsewhere(solution, settings));
    }
    for part in &settings.moving_as_one {
        if part.iter().any(|number| exceptions.split_tabs.contains(number)) {
            let of_it = solution.state.tabs.iter().filter(|tab| part.contains(&tab.number));
            exceptions.split_tabs.extend(of_it.map(|tab| tab.number));
        }
    }
    if settled(exceptions) {
        // Once split, what is left of a set-up is not split again.
        let known =
            |moved: &CordMoved| exceptions.cords_moved.iter().any(|k| k.setup == moved.setup);
        let new: Vec<CordMoved> = cord_moved_within(solution, &photo_of)
            .into_iter()
            .filter(|moved| !known(moved))
            .collect();
        exceptions.cords_moved.extend(new);
    }
    exceptions.moved_cards != before.moved_cards
        || exceptions.cords_moved != before.cords_moved
        || exceptions.dropped_cards != before.dropped_cards
        || exceptions.split_tabs != before.split_tabs
        || exceptions.ignored != before.ignored
}

/// Bodies that moved within a set-up, and the sightings of them that are left out for it.
fn find_moved_bodies(
    solution: &Solution,
    photos: &[ScenePhoto],
    photo_of: &BTreeMap<usize, usize>,
    exceptions: &mut Exceptions,
) {
    for moved in moved_within(solution, photo_of) {
        // Once split, what is left of a set-up is not split again.
        if !exceptions
            .moved
            .iter()
            .any(|known| (known.setup, known.part) == (moved.setup, moved.part))
        {
            let out = moved.left_out.iter().flat_map(|&p| {
                tabs_of(solution, photos, p, &moved).into_iter().map(move |t| (p, t))
            });
            exceptions.ignored.extend(out);
            exceptions.moved.push(moved);
        }
    }
}

/// What becomes of each pattern in each photo.
fn verdicts(
    solution: &Solution,
    photos: &[ScenePhoto],
    photo_of: &BTreeMap<usize, usize>,
) -> Vec<SightingVerdict> {
    let verdict = |block: &Block| {
        let (Some(pattern), Some(&photo)) = (solution.pattern(block), photo_of.get(&block.view))
        else {
            return None;
        };
        let n_out = block.corners.iter().filter(|c| !c.used).count();
        let carrier = match block.shown {
            Shown::Tab { tab, .. } => Some(solution.state.tabs[tab].carrier),
            _ => None,
        };
        let bad = n_out as f64 > BAD_SHARE * block.corners.len() as f64;
        Some(SightingVerdict { photo, setup: photos[photo].setup, pattern, carrier, bad })
    };
    solution.blocks.iter().filter_map(verdict).collect()
}

/// Whether one pattern's bad sightings mean that it moved, that it is of no use, or that they alone
/// are to be left out.
fn judge_pattern(
    solution: &Solution,
    photos: &[ScenePhoto],
    pattern: Pattern,
    verdicts: &[SightingVerdict],
    exceptions: &mut Exceptions,
) {
    let is_misplaced =
        |s: &SightingVerdict| exceptions.misplaced_photos.contains(&s.photo) && s.carrier.is_some();
    let of_it: Vec<&SightingVerdict> =
        verdicts.iter().filter(|s| s.pattern == pattern && !is_misplaced(s)).collect();
    let n_bad = of_it.iter().filter(|s| s.bad).count();
    if n_bad == 0 {
        return;
    }
    let setups: BTreeSet<usize> = of_it.iter().map(|s| s.setup).collect();
    // A tab that stood elsewhere for a whole set-up is left out of its photos one by one else.
    let out_before: Vec<(usize, usize)> = match pattern {
        Pattern::Card(_) => Vec::new(),
        Pattern::Tab(_) => exceptions
            .left_out()
            .filter(|(_, out)| *out == pattern)
            .map(|&(photo, _)| (photo, photos[photo].setup))
            .collect(),
    };
    let bad_in = |setup: usize| {
        let here = of_it.iter().filter(|s| s.setup == setup);
        let (bad, all) = here.fold((0, 0), |(bad, all), s| (bad + usize::from(s.bad), all + 1));
        let before = out_before.iter().filter(|(_, other)| *other == setup).count();
        bad + before >= 2 && 2 * (bad + before) > all + before
    };
    let whole_setups = setups.iter().filter(|s| bad_in(**s)).count();
    let number = pattern.number();
    // A flag hangs on its line: nobody holds it still, and where it is seen badly the line's own
    // images count more.
    if matches!(pattern, Pattern::Tab(_))
        && solution.state.flags.iter().any(|flag| flag.number == number)
    {
        return;
    }
    let in_whole_setup = whole_setups > 0 && setups.len() > 1;
    let is_tied =
        solution.state.tabs.iter().any(|tab| tab.number == number && tab.only_setup.is_none());
    match pattern {
        Pattern::Card(_) if in_whole_setup && !exceptions.moved_cards.contains(&number) => {
            exceptions.moved_cards.insert(number);
        }
        Pattern::Card(_) if 3 * n_bad > 2 * of_it.len() => {
            exceptions.dropped_cards.insert(number);
        }
        Pattern::Tab(_)
            if in_whole_setup && !exceptions.split_tabs.contains(&number) && is_tied =>
        {
            exceptions.split_tabs.insert(number);
            for (photo, _) in out_before {
                exceptions.ignored.remove(&(photo, pattern));
            }
        }
        _ => {
            let bad = of_it.iter().filter(|s| s.bad);
            exceptions.ignored.extend(bad.map(|s| (s.photo, pattern)));
        }
    }
}

/// Photos in which the tabs of a turning body disagree with the rest of their set-up: taken with
/// the wheel somewhere else.
fn find_misplaced_photos(verdicts: &[SightingVerdict], exceptions: &mut Exceptions) {
    let photos: BTreeSet<usize> = verdicts.iter().map(|s| s.photo).collect();
    for photo in photos {
        let turning: Vec<&SightingVerdict> = verdicts
            .iter()
            .filter(|s| s.photo == photo && matches!(s.carrier, Some(Carrier::Turning(_))))
            .collect();
        let n_bad = turning.iter().filter(|s| s.bad).count();
        if n_bad >= 2 && n_bad == turning.len() {
            exceptions.misplaced_photos.insert(photo);
            exceptions.ignored.extend(turning.iter().map(|s| (photo, s.pattern)));
        }
    }
}
