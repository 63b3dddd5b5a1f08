//! What does not hold still although it should: moved cards, photos of another set-up, tabs that
//! came loose.

use std::collections::{BTreeMap, BTreeSet};

use crate::cards::Pattern;
use crate::finding::Finding;
use crate::math::robust::median;
use crate::say;
use crate::sightings::StringKind;
use crate::text::Amount;

use super::cord_split::{CordMoved, cord_moved_within};
use super::input::{Hangs, ScenePhoto, SceneSettings};
use super::movement::{Moved, moved_within, tabs_of};
use super::observe::{Block, Shown};
use super::residual::all_components;
use super::solution::Solution;
use super::state::Carrier;

/// What must be treated apart from the rule.
#[derive(Clone, Debug, Default)]
pub struct Exceptions {
    /// Cards that lie elsewhere in each set-up.
    pub moved_cards: BTreeSet<u8>,
    /// Cards that must not be used.
    pub dropped_cards: BTreeSet<u8>,
    twice: BTreeMap<u8, String>,
    /// Tabs told apart between set-ups.
    pub split_tabs: BTreeSet<u8>,
    /// Tabs that do not lie in the plane of their face.
    pub loose_tabs: BTreeSet<u8>,
    /// Sightings left out: photo and pattern.
    ignored: BTreeSet<(usize, Pattern)>,
    /// Photos whose turning tabs disagree with their set-up.
    strangers: BTreeSet<usize>,
    /// Bodies that moved in the midst of a set-up.
    moved: Vec<Moved>,
    /// Cords that moved in the midst of a set-up.
    cords_moved: Vec<CordMoved>,
}

/// A sighting is bad when this part of its corners had to be left out.
const BAD_SHARE: f64 = 0.4;
/// So many tabs of one turning body left out in one photo are no accident.
const LEAST_TOGETHER: usize = 3;

/// From so many sightings in so many photos on, what had to be left out is no accident: over four
/// dozen sets of photos with one lens there was not one, in one with two lenses of the same name
/// twenty in seven photos.
const CONTRADICTIONS: (usize, usize) = (5, 3);

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

    fn left_out(&self) -> impl Iterator<Item = &(usize, Pattern)> {
        let accounted = |photo: &usize| {
            self.strangers.contains(photo)
                || self.moved.iter().any(|moved| moved.left_out.contains(photo))
        };
        self.ignored.iter().filter(move |(photo, _)| !accounted(photo))
    }

    /// Whether so many sightings in so many photos had to be left out that the photos contradict
    /// each other as a whole.
    pub fn contradict(&self) -> bool {
        let photos: BTreeSet<usize> = self.left_out().map(|(photo, _)| *photo).collect();
        self.n_left_out() >= CONTRADICTIONS.0 && photos.len() >= CONTRADICTIONS.1
    }

    /// A number that stands twice in one photo was printed twice: nobody can tell which is which in
    /// the other photos.
    pub fn drop_cards_seen_twice(&mut self, photos: &[ScenePhoto]) {
        for photo in photos {
            for sighting in &photo.sightings.patterns {
                if let Pattern::Card(number) = sighting.pattern
                    && photo
                        .sightings
                        .patterns
                        .iter()
                        .filter(|p| p.pattern == sighting.pattern)
                        .count()
                        > 1
                {
                    self.dropped_cards.insert(number);
                    self.twice.entry(number).or_insert_with(|| photo.file.clone());
                }
            }
        }
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

    /// Findings that tell of the exceptions.
    pub fn findings(&self, photos: &[ScenePhoto], settings: &SceneSettings) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (number, file) in &self.twice {
            findings.push(
                Finding::warning(
                    "card-twice",
                    format!("Card {number} lies on the bench twice, so neither of the two could be used."),
                    "Lay each number down once only: print a card with a number that is not used yet.",
                )
                .in_photo(file.clone()),
            );
        }
        for number in &self.moved_cards {
            findings.push(Finding::warning(
                "card-moved",
                format!("Card {number} lies elsewhere in one set-up than in another; each place was used for itself."),
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
        for number in &self.split_tabs {
            if settings.tabs.iter().any(|tab| tab.number == *number && tab.hangs == Hangs::Cord) {
                findings.push(Finding::note(
                    "rider-moved",
                    format!(
                        "The rider with tab {number} was moved along the cord between set-ups; it counts in each for itself."
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
        for moved in &self.moved {
            findings.push(moved_finding(moved, photos, settings));
        }
        findings.extend(self.cords_moved.iter().map(|moved| cord_finding(moved, photos, settings)));
        let is_told = |photo: usize| self.moved.iter().any(|moved| moved.left_out.contains(&photo));
        let mut strangers = self.strangers_told(settings);
        strangers.retain(|photo| !is_told(*photo));
        for &photo in &strangers {
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
        for &(photo, pattern) in
            self.ignored.iter().filter(|(photo, _)| !strangers.contains(photo) && !is_told(*photo))
        {
            let name = match pattern {
                Pattern::Card(n) => format!("Card {n}"),
                Pattern::Tab(n) => format!("Tab {n}"),
            };
            findings.push(
                Finding::note(
                    "sighting-left-out",
                    format!(
                        "{name} in photo {} lies elsewhere than the other photos show it; it was left out there.",
                        photos[photo].file
                    ),
                    "Nothing to do if the figures are good; it may be a reflection or may have moved.",
                )
                .in_photo(photos[photo].file.clone()),
            );
        }
        findings
    }

    /// Photos that are told to be of another set-up: strangers, and those in which several tabs of
    /// one turning body had to be left out.
    fn strangers_told(&self, settings: &SceneSettings) -> BTreeSet<usize> {
        let body_of =
            |number: u8| settings.tabs.iter().find(|tab| tab.number == number).map(|tab| tab.hangs);
        let mut left_out: BTreeMap<(usize, u8), usize> = BTreeMap::new();
        for (photo, pattern) in &self.ignored {
            if let (Pattern::Tab(_), Some(Hangs::On(Carrier::Turning(body)))) =
                (pattern, body_of(pattern.number()))
            {
                *left_out.entry((*photo, body)).or_default() += 1;
            }
        }
        let together =
            left_out.into_iter().filter(|(_, n)| *n >= LEAST_TOGETHER).map(|((photo, _), _)| photo);
        self.strangers.iter().copied().chain(together).collect()
    }
}

/// What is said of a body that moved in the midst of a set-up.
fn moved_finding(moved: &Moved, photos: &[ScenePhoto], settings: &SceneSettings) -> Finding {
    let (name, body) =
        (&settings.setups[moved.setup], if moved.kind == 1 { "gearbox sprocket" } else { "wheel" });
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

/// What is said of a cord that moved in the midst of a set-up.
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

/// One block's standing: its photo, what it shows, and whether it is bad.
struct Standing {
    photo: usize,
    setup: usize,
    pattern: Pattern,
    carrier: Option<Carrier>,
    bad: bool,
}

/// Looks for sightings that the solution contradicts and adds exceptions. Returns whether there is
/// something new.
pub fn find_suspects(
    solution: &Solution,
    photos: &[ScenePhoto],
    exceptions: &mut Exceptions,
) -> bool {
    let mut photo_of: BTreeMap<usize, usize> = BTreeMap::new();
    for (photo, view) in solution.view_of.iter().enumerate() {
        if let Some(view) = view {
            photo_of.insert(*view, photo);
        }
    }
    let before = exceptions.clone();
    for moved in moved_within(solution, &photo_of) {
        // Once split, what is left of a set-up is not split again.
        if !exceptions
            .moved
            .iter()
            .any(|known| (known.setup, known.kind) == (moved.setup, moved.kind))
        {
            let out = moved.left_out.iter().flat_map(|&p| {
                tabs_of(solution, photos, p, &moved).into_iter().map(move |t| (p, t))
            });
            exceptions.ignored.extend(out);
            exceptions.moved.push(moved);
        }
    }
    if exceptions.moved.len() != before.moved.len() {
        return true;
    }
    let mut standings = Vec::new();
    for block in &solution.blocks {
        let (Some(pattern), Some(&photo)) = (solution.pattern(block), photo_of.get(&block.view))
        else {
            continue;
        };
        let n_out = block.corners.iter().filter(|c| !c.used).count();
        let carrier = match block.shown {
            Shown::Tab { tab, .. } => Some(solution.state.tabs[tab].carrier),
            _ => None,
        };
        let bad = n_out as f64 > BAD_SHARE * block.corners.len() as f64;
        standings.push(Standing { photo, setup: photos[photo].setup, pattern, carrier, bad });
    }
    strangers(&standings, exceptions);
    loose_tabs(solution, exceptions);
    exceptions.split_tabs.extend(torn_tabs(solution));
    let stranger = |s: &Standing, exceptions: &Exceptions| {
        exceptions.strangers.contains(&s.photo) && s.carrier.is_some()
    };
    let patterns: BTreeSet<Pattern> = standings.iter().map(|s| s.pattern).collect();
    for pattern in patterns {
        let of_it: Vec<&Standing> =
            standings.iter().filter(|s| s.pattern == pattern && !stranger(s, exceptions)).collect();
        let n_bad = of_it.iter().filter(|s| s.bad).count();
        if n_bad == 0 {
            continue;
        }
        let setups: BTreeSet<usize> = of_it.iter().map(|s| s.setup).collect();
        let bad_in = |setup: usize| {
            let here = of_it.iter().filter(|s| s.setup == setup);
            let (bad, all) = here.fold((0, 0), |(bad, all), s| (bad + usize::from(s.bad), all + 1));
            bad >= 2 && 2 * bad > all
        };
        let whole_setups = setups.iter().filter(|s| bad_in(**s)).count();
        let number = pattern.number();
        // A flag hangs on its line: nobody holds it still, and where it is seen badly the line's
        // own images count more.
        if matches!(pattern, Pattern::Tab(_))
            && solution.state.flags.iter().any(|flag| flag.number == number)
        {
            continue;
        }
        match pattern {
            Pattern::Card(_)
                if whole_setups > 0
                    && setups.len() > 1
                    && !exceptions.moved_cards.contains(&number) =>
            {
                exceptions.moved_cards.insert(number);
            }
            Pattern::Card(_) if 3 * n_bad > 2 * of_it.len() => {
                exceptions.dropped_cards.insert(number);
            }
            Pattern::Tab(_)
                if whole_setups > 0
                    && setups.len() > 1
                    && !exceptions.split_tabs.contains(&number)
                    && solution
                        .state
                        .tabs
                        .iter()
                        .any(|tab| tab.number == number && tab.only_setup.is_none()) =>
            {
                exceptions.split_tabs.insert(number);
            }
            _ => {
                for s in of_it.iter().filter(|s| s.bad) {
                    exceptions.ignored.insert((s.photo, pattern));
                }
            }
        }
    }
    let still =
        exceptions.moved_cards == before.moved_cards && exceptions.ignored == before.ignored;
    if still {
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
        || exceptions.loose_tabs != before.loose_tabs
}

/// A tab whose corners lie this many times as far off as the usual tab's, and in each photo all to
/// one side by this part of it, is held between the places where it was in two set-ups.
const TORN: (f64, f64) = (4.0, 0.5);

/// Tabs of turning bodies that lie elsewhere in one set-up than in another by so little, or in so
/// even numbers, that the solution holds them in between: their corners are off in all photos, and
/// to one side in each.
fn torn_tabs(solution: &Solution) -> BTreeSet<u8> {
    let state = &solution.state;
    let of_tab =
        |block: &Block| if let Shown::Tab { tab, .. } = block.shown { Some(tab) } else { None };
    let noises: Vec<f64> = solution
        .blocks
        .iter()
        .filter(|block| of_tab(block).is_some())
        .map(|block| block.noise)
        .collect();
    let Some(usual) = median(&noises) else { return BTreeSet::new() };
    let is_torn = |tab: usize| {
        let blocks: Vec<&Block> =
            solution.blocks.iter().filter(|block| of_tab(block) == Some(tab)).collect();
        let mut photos_in: BTreeMap<usize, usize> = BTreeMap::new();
        for block in &blocks {
            *photos_in.entry(state.views[block.view].setup).or_default() += 1;
        }
        if photos_in.values().filter(|&&n| n >= 2).count() < 2
            || blocks.iter().any(|block| block.noise < TORN.0 * usual)
        {
            return false;
        }
        let (mut aside, mut all) = (0.0, 0.0);
        for block in blocks {
            let off = all_components(state, &solution.slots, block);
            let n = (off.len() / 2).max(1) as f64;
            let mean = [0, 1].map(|way| off.iter().skip(way).step_by(2).sum::<f64>() / n);
            aside += n * (mean[0] * mean[0] + mean[1] * mean[1]);
            all += off.iter().map(|r| r * r).sum::<f64>();
        }
        aside > TORN.1 * all
    };
    (0..state.tabs.len())
        .filter(|&tab| {
            matches!(state.tabs[tab].carrier, Carrier::Turning(_))
                && state.tabs[tab].only_setup.is_none()
                && is_torn(tab)
        })
        .map(|tab| state.tabs[tab].number)
        .collect()
}

/// A tab tilted against its face, or off it, by more than this many times what the tie allows is
/// not stuck flat: half a degree or 0.4 mm by the standard values.
const LOOSE: (f64, f64) = (9.0, 8.0);

/// Frees the worst tab of each face that does not lie in it. With two tabs left nobody can tell
/// which is wrong.
fn loose_tabs(solution: &Solution, exceptions: &mut Exceptions) {
    let state = &solution.state;
    let (flat, turned) = solution.priors.face_sigma;
    for face in state.faces.iter().filter(|face| face.tabs.len() > 2) {
        let tilt = |tab: usize| {
            let pose = &state.tabs[tab].carrier_from_tab;
            let tilt = pose.r.column(2).cross(&face.normal).norm().clamp(0.0, 1.0).asin()
                / (LOOSE.0 * turned);
            let off = (face.normal.dot(&pose.t) - face.offset).abs() / (LOOSE.1 * flat);
            tilt.max(off)
        };
        if let Some(&worst) = face.tabs.iter().max_by(|&&a, &&b| tilt(a).total_cmp(&tilt(b)))
            && tilt(worst) > 1.0
        {
            exceptions.loose_tabs.insert(state.tabs[worst].number);
        }
    }
}

/// Photos in which the tabs of a turning body disagree with the rest of their set-up: taken with
/// the wheel somewhere else.
fn strangers(standings: &[Standing], exceptions: &mut Exceptions) {
    let photos: BTreeSet<usize> = standings.iter().map(|s| s.photo).collect();
    for photo in photos {
        let turning: Vec<&Standing> = standings
            .iter()
            .filter(|s| s.photo == photo && matches!(s.carrier, Some(Carrier::Turning(_))))
            .collect();
        let n_bad = turning.iter().filter(|s| s.bad).count();
        if n_bad >= 2 && n_bad == turning.len() {
            exceptions.strangers.insert(photo);
            exceptions.ignored.extend(turning.iter().map(|s| (photo, s.pattern)));
        }
    }
}
