//! The whole way from sightings to a solved scene: start, adjust, weigh, reject, check, adjust
//! again.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{DMatrix, DVector};

use crate::cards::Pattern;
use crate::finding::Finding;
use crate::math::robust::median;
use crate::sightings::StringKind;

use super::card_size::{self, size_groups};
use super::cards_first::{COARSE, LEAST_CORNERS, cards_first, level, seen_corners};
use super::cord_doubts::movement_is_told;
use super::group_spread::{GroupSpread, of_groups};
use super::hand;
use super::input::{ScenePhoto, SceneSettings};
use super::line_choice::settle_lines;
use super::marks_next::{LEAST_TAB_CORNERS, RivalCord, marks_next, seen_points, too_thick};
use super::noise::{reject, weigh};
use super::observe::{Block, SeenCorner, SeenPoint, Shown};
use super::prior::{LensSpread, Priors};
use super::solve::{Problem, adjust, covariance};
use super::state::{Cord, Slots, State};
use super::suspects::{Exceptions, find_suspects};

/// A solved scene.
#[derive(Clone, Debug)]
pub struct Solution {
    pub state: State,
    pub slots: Slots,
    pub blocks: Vec<Block>,
    pub priors: Priors,
    /// For each photo its view, if it found its place.
    pub view_of: Vec<Option<usize>>,
    /// Covariance of the kept unknowns (k = 1), in the order of `slots`; None when the photos
    /// leave something undetermined.
    pub covariance: Option<DMatrix<f64>>,
    pub findings: Vec<Finding>,
    /// Cards that were left out because they were printed at another size than the rest.
    pub cards_of_unlike_size: BTreeSet<u8>,
    /// Cards that did not lie still between set-ups.
    pub moved_cards: BTreeSet<u8>,
    /// Tabs that do not lie in their face.
    pub loose_tabs: BTreeSet<u8>,
    /// Whether the cord was seen to have moved between set-ups.
    pub cord_moved: bool,
    /// Another reading of the cord that the light bears out nearly as well.
    pub cord_rival: Option<RivalCord>,
    /// Why the cord's place may not be trusted; empty when it may.
    pub cord_doubts: Vec<Finding>,
    /// What errors that come in groups add to the covariance.
    pub group_spreads: Vec<GroupSpread>,
    /// Other readings of the same photos that fit as well: with a turning body at a second place
    /// in part of a set-up's photos.
    pub readings: Vec<Solution>,
    pub converged: bool,
    /// Whether nothing had to be treated apart from the rule.
    pub regular: bool,
}

/// Most times that the scene is built anew because something was seen not to hold still.
const MOST_RESTARTS: usize = 4;
/// Corners of a card and photo that take part before the lens is known.
const COARSE_CORNERS: usize = 40;

/// Solves the scene. `photos` must be in a fixed order; the result depends on nothing else. None
/// when no photo shows a card well enough to be placed.
pub fn solve(photos: &[ScenePhoto], settings: &SceneSettings) -> Option<Solution> {
    let unlike = cards_of_unlike_size(photos, settings);
    let mut solution = solved(&card_size::without(photos, &unlike), settings)?;
    solution.tell_covariance();
    Some(solution.knowing_unlike(unlike))
}

/// Cards that were printed at another size than the rest: of the groups of one size, the one with
/// which most of the tabs agree is right.
fn cards_of_unlike_size(photos: &[ScenePhoto], settings: &SceneSettings) -> BTreeSet<u8> {
    let groups = size_groups(photos, settings);
    if groups.len() < 2 {
        return BTreeSet::new();
    }
    let others = |group: &BTreeSet<u8>| {
        groups.iter().flatten().copied().filter(|card| !group.contains(card)).collect()
    };
    let tab_corners = |solution: &Solution| {
        let tabs = solution.blocks.iter().filter(|block| matches!(block.shown, Shown::Tab { .. }));
        tabs.flat_map(|block| &block.corners).filter(|corner| corner.used).count()
    };
    let agreeing = |others: &BTreeSet<u8>| {
        attempt(&card_size::without(photos, others), settings, &Exceptions::default())
            .map_or(0, |solution| tab_corners(&solution))
    };
    // The first of equals: the group of most cards.
    let tried = groups.iter().map(others).map(|others: BTreeSet<u8>| (agreeing(&others), others));
    tried
        .reduce(|best, next| if next.0 > best.0 { next } else { best })
        .map_or(BTreeSet::new(), |(_, others)| others)
}

/// The same without its covariance.
fn solved(photos: &[ScenePhoto], settings: &SceneSettings) -> Option<Solution> {
    let (best, exceptions) = settle(photos, settings)?;
    if !exceptions.contradict() {
        return Some(concluded(best, &exceptions, photos, settings));
    }
    // Photos of two phones, or with the zoom touched, whose data tell the same lens, contradict
    // each other everywhere.
    let apart: Vec<ScenePhoto> = photos
        .iter()
        .map(|photo| ScenePhoto {
            camera: format!("{} {}", photo.camera, photo.file),
            ..photo.clone()
        })
        .collect();
    match settle(&apart, settings) {
        Some((own, fewer)) if BETTER * fewer.n_left_out() < exceptions.n_left_out() => {
            let mut own = concluded(own, &fewer, photos, settings);
            own.findings.push(Finding::warning(
                "lenses-differ",
                "The photos contradict each other if one lens took them all, as their data say, and agree if each has its own: there are two \
                 phones in the job, or somebody zoomed. Each photo's lens was estimated for itself, which costs accuracy.",
                "Take all photos with one phone, one lens and without zoom.",
            ));
            Some(own)
        }
        _ => Some(concluded(best, &exceptions, photos, settings)),
    }
}

/// A lens for each photo is believed where it leaves this many times fewer sightings contradicted.
const BETTER: usize = 3;

/// Solved again until nothing more is seen not to hold still.
fn settle(photos: &[ScenePhoto], settings: &SceneSettings) -> Option<(Solution, Exceptions)> {
    let mut exceptions = Exceptions::default();
    exceptions.drop_cards_seen_twice(photos);
    let mut best = attempt(photos, settings, &exceptions)?;
    for _ in 0..MOST_RESTARTS {
        if !find_suspects(&best, photos, &mut exceptions) {
            break;
        }
        best = attempt(photos, settings, &exceptions)?;
    }
    Some((best, exceptions))
}

fn concluded(
    mut best: Solution,
    exceptions: &Exceptions,
    photos: &[ScenePhoto],
    settings: &SceneSettings,
) -> Solution {
    best.regular = exceptions.is_empty();
    best.findings.extend(exceptions.findings(photos, settings));
    best.findings.extend(sheet_findings(&best));
    best.loose_tabs = exceptions.loose_tabs.clone();
    best.moved_cards = exceptions.moved_cards.clone();
    best
}

/// Solves a scene again after a second look at the same photos. Starts from the first solution
/// where the second look only added to what was there; otherwise from the beginning.
pub fn solve_again(
    first: &Solution,
    photos: &[ScenePhoto],
    settings: &SceneSettings,
) -> Option<Solution> {
    let unlike = &first.cards_of_unlike_size;
    let photos = &card_size::without(photos, unlike)[..];
    let mut next = added_to(first, photos).or_else(|| solved(photos, settings))?;
    next.split_setups(photos, settings);
    next.tell_covariance();
    Some(next.knowing_unlike(unlike.clone()))
}

impl Solution {
    /// The same with word of the cards that were left out for their size.
    fn knowing_unlike(mut self, unlike: BTreeSet<u8>) -> Self {
        if !unlike.is_empty()
            && !self.findings.iter().any(|finding| finding.id == card_size::WRONG_SIZE)
        {
            self.findings.push(card_size::finding(&unlike));
        }
        self.cards_of_unlike_size = unlike;
        self
    }
}

/// The first solution with what a second look added. None where that contradicts it.
fn added_to(first: &Solution, photos: &[ScenePhoto]) -> Option<Solution> {
    let blocks = first.regular.then(|| reblock(first, photos)).flatten()?;
    let mut next = Solution { blocks, covariance: None, ..first.clone() };
    refine(&mut next.state, &next.slots, &mut next.blocks, &mut next.priors, 2);
    let mut exceptions = Exceptions::default();
    (!find_suspects(&next, photos, &mut exceptions)).then_some(next)
}

/// The new sightings as observations of what the first solution knows; None when they show
/// something that it does not.
fn reblock(first: &Solution, photos: &[ScenePhoto]) -> Option<Vec<Block>> {
    let mut blocks = Vec::new();
    for (idx, photo) in photos.iter().enumerate() {
        let Some(view) = first.view_of.get(idx).copied().flatten() else {
            let shows_card =
                photo.sightings.patterns.iter().any(|p| matches!(p.pattern, Pattern::Card(_)));
            if shows_card {
                return None;
            }
            continue;
        };
        let of_setup = |block: &&Block| first.state.views[block.view].setup == photo.setup;
        let of_view = |block: &&Block| block.view == view;
        let mut push =
            |shown: Shown, corners: Vec<SeenCorner>, points: Vec<SeenPoint>, noise: f64| {
                blocks.push(Block { view, shown, corners, points, noise });
            };
        for sighting in &photo.sightings.patterns {
            let corners = seen_corners(sighting);
            let same = |block: &&Block| first.pattern(block) == Some(sighting.pattern);
            let is_card = matches!(sighting.pattern, Pattern::Card(_));
            if photo.lens_only && !is_card
                || corners.len() < if is_card { LEAST_CORNERS } else { LEAST_TAB_CORNERS }
            {
                continue;
            }
            if let Some(block) = first.blocks.iter().filter(of_view).find(same) {
                push(block.shown, corners, Vec::new(), block.noise);
            } else {
                // Seen in another photo of the set-up: the same card or tab; a flag hangs otherwise
                // in each.
                let block = first.blocks.iter().filter(of_setup).find(same);
                match block.map(|block| (block.shown, block.noise)) {
                    Some((Shown::Flag { .. }, _)) | None => {
                        let known = first
                            .blocks
                            .iter()
                            .any(|block| first.pattern(block) == Some(sighting.pattern));
                        if known || matches!(sighting.pattern, Pattern::Card(_)) {
                            return None;
                        }
                        let tab_exists = first
                            .state
                            .tabs
                            .iter()
                            .any(|tab| tab.number == sighting.pattern.number());
                        if tab_exists {
                            return None;
                        }
                    }
                    Some((shown, noise)) => push(shown, corners, Vec::new(), noise),
                }
            }
        }
        if photo.lens_only {
            continue;
        }
        // The cord's mid-line was chosen from all photos together; it stays as it was chosen.
        let chosen = first
            .blocks
            .iter()
            .filter(|block| of_view(block) && matches!(block.shown, Shown::Cord(_)));
        let from_lanes = !photo.sightings.lines.iter().any(|line| line.kind == StringKind::Cord);
        blocks.extend(chosen.filter(|_| from_lanes).cloned());
        let mut push =
            |shown: Shown, corners: Vec<SeenCorner>, points: Vec<SeenPoint>, noise: f64| {
                blocks.push(Block { view, shown, corners, points, noise });
            };
        for line in &photo.sightings.lines {
            let shown = match line.kind {
                StringKind::Cord => Shown::Cord(
                    first.state.cords.iter().position(|cord| cord.setup == photo.setup)?,
                ),
                kind => match first.state.lines.iter().position(|known| known.kind == kind) {
                    Some(idx) if !too_thick(&first.state, view, idx, line) => Shown::Line(idx),
                    _ => continue,
                },
            };
            let noise = first
                .blocks
                .iter()
                .find(|block| block.shown == shown)
                .map_or(1.0, |block| block.noise);
            push(shown, Vec::new(), seen_points(line), noise);
        }
    }
    Some(blocks)
}

/// Lines settled, then rounds of weighing, rejecting and adjusting, from a state that is nearly
/// right.
pub(super) fn refine(
    state: &mut State,
    slots: &Slots,
    blocks: &mut Vec<Block>,
    priors: &mut Priors,
    rounds: usize,
) -> bool {
    settle_lines(state, blocks);
    let mut converged = false;
    for _ in 0..rounds {
        reject(state, slots, blocks, REJECT);
        weigh(state, slots, blocks);
        reject(state, slots, blocks, REJECT);
        loosen_drift(state, priors);
        priors.sweep_sigma = hand::shown_by_cards(state, slots, blocks, priors);
        loosen_sheets(state, priors);
        converged = adjust(state, &Problem { blocks, priors, slots }, 15).converged;
    }
    converged
}

/// Farther than this many standard deviations from where it should be, a corner is left out: one in
/// 150,000 good ones is.
pub(super) const REJECT: f64 = 4.5;

fn attempt(
    photos: &[ScenePhoto],
    settings: &SceneSettings,
    exceptions: &Exceptions,
) -> Option<Solution> {
    let photos = &exceptions.applied(photos)[..];
    let mut first =
        cards_first(photos, settings, &exceptions.moved_cards, &exceptions.dropped_cards);
    if first.state.views.is_empty() {
        return None;
    }
    let mut priors = standard_priors(settings, &first.lens_start, first.state.lenses.len());
    // Cards and cameras alone, coarse to fine; a few corners of each card do until the lens is
    // known.
    thin(&mut first.blocks, COARSE_CORNERS);
    let slots = Slots::of(&first.state);
    for noise in [COARSE, 5.0] {
        first.blocks.iter_mut().for_each(|block| block.noise = noise);
        adjust(
            &mut first.state,
            &Problem { blocks: &first.blocks, priors: &priors, slots: &slots },
            40,
        );
    }
    priors.sweep_sigma = hand::shown_by_cards(&first.state, &slots, &first.blocks, &priors);
    level(&mut first, photos);
    let mut state = first.state;
    let mut blocks = first.blocks;
    let marks = marks_next(&mut state, photos, &first.view_of, settings, exceptions);
    blocks.extend(marks.blocks);
    priors.still_bodies = marks.still_bodies;
    let slots = Slots::of(&state);
    // Everything together, first with few corners and wide bounds.
    priors.cord_moved_sigma = 3.0;
    blocks.iter_mut().for_each(|block| block.noise = 5.0);
    adjust(&mut state, &Problem { blocks: &blocks, priors: &priors, slots: &slots }, 30);
    thicken(&mut blocks);
    blocks.iter_mut().for_each(|block| block.noise = 3.0);
    reject(&state, &slots, &mut blocks, 6.0);
    adjust(&mut state, &Problem { blocks: &blocks, priors: &priors, slots: &slots }, 10);
    let problem = Problem { blocks: &blocks, priors: &priors, slots: &slots };
    let cord_moved = cord_has_moved(&state, &problem, settings.cord_moved_sigma);
    priors.cord_moved_sigma = if cord_moved { 30.0 } else { settings.cord_moved_sigma };
    let converged = refine(&mut state, &slots, &mut blocks, &mut priors, 3);
    Some(Solution {
        state,
        slots,
        blocks,
        priors,
        view_of: first.view_of,
        covariance: None,
        findings: first.findings,
        cards_of_unlike_size: BTreeSet::new(),
        moved_cards: BTreeSet::new(),
        loose_tabs: BTreeSet::new(),
        cord_moved,
        cord_rival: marks.cord_rival,
        cord_doubts: Vec::new(),
        group_spreads: Vec::new(),
        readings: Vec::new(),
        converged,
        regular: false,
    })
}

/// The standard values of `prior::Priors` under a job's settings.
fn standard_priors(
    settings: &SceneSettings,
    lens_start: &[(f64, usize, usize)],
    n_lenses: usize,
) -> Priors {
    Priors {
        print: settings.print,
        print_sigma: settings.print_sigma,
        sheet_sigma: 5e-4,
        loose_sheets: Vec::new(),
        measured_sheets: settings.measured_sheets.clone(),
        bow_sigma: settings.bow_sigma,
        tab_scale_sigma: 3e-3,
        usual_drift: (settings.zoom_sigma, settings.shift_sigma),
        zoom_sigma: vec![settings.zoom_sigma; n_lenses],
        shift_sigma: vec![settings.shift_sigma; n_lenses],
        sweep_sigma: hand::USUAL,
        lens_start: lens_start.to_vec(),
        lens_spread: LensSpread::USUAL,
        flag_sigma: settings.flag_sigma,
        // A tab that stands 0.05 mm off is tilted by a milliradian or so (our estimate; common
        // practice, no source).
        face_sigma: (settings.flat_sigma, settings.flat_sigma * 0.02),
        still_bodies: Vec::new(),
        cord_moved_sigma: settings.cord_moved_sigma,
        cord_straight_sigma: 0.1,
    }
}

/// Where photos drift more than the standard prior allows (refocusing), the prior follows what they
/// show: per lens, the rms of the drift itself, if larger.
fn loosen_drift(state: &State, priors: &mut Priors) {
    let (least_zoom, least_shift) = priors.usual_drift;
    for lens in 0..state.lenses.len() {
        let of_lens: Vec<_> = state.views.iter().filter(|v| v.lens == lens).collect();
        let rms = |values: &dyn Fn(&super::state::View) -> f64| {
            (of_lens.iter().map(|v| values(v).powi(2)).sum::<f64>() / of_lens.len().max(1) as f64)
                .sqrt()
        };
        priors.zoom_sigma[lens] = rms(&|v| v.log_zoom).clamp(least_zoom, least_zoom.max(0.1))
            * if of_lens.len() < 2 { 1.0 } else { 1.2 };
        let shift = rms(&|v| v.shift[0]).max(rms(&|v| v.shift[1]));
        priors.shift_sigma[lens] = shift.clamp(least_shift, least_shift.max(100.0)) * 1.2;
    }
}

/// A sheet whose scale lies this far from the middle one of three or more was printed apart: five
/// times what sheets of one print differ by.
const PRINTED_APART: f64 = 2.5e-3;

/// Frees sheets that were printed apart, so that they pull on no other sheet's scale.
fn loosen_sheets(state: &State, priors: &mut Priors) {
    if state.sheets.len() < 3 {
        return;
    }
    for way in 0..2 {
        let scales: Vec<f64> = state.sheets.iter().map(|sheet| sheet.scale[way]).collect();
        let Some(middle) = median(&scales) else { continue };
        for sheet in &state.sheets {
            let measured =
                priors.measured_sheets.iter().any(|(number, ..)| *number == sheet.number);
            if (sheet.scale[way] - middle).abs() > PRINTED_APART
                && !measured
                && !priors.loose_sheets.contains(&sheet.number)
            {
                priors.loose_sheets.push(sheet.number);
            }
        }
    }
}

/// What a sheet printed apart is told of.
fn sheet_findings(solution: &Solution) -> Vec<Finding> {
    let told = solution.priors.loose_sheets.iter().filter_map(|number| {
        let sheet = solution.state.sheets.iter().find(|sheet| sheet.number == *number)?;
        let percent = 100.0 * (sheet.scale[0] + sheet.scale[1]) / 2.0;
        Some(Finding::warning(
            "card-scale-differs",
            format!("Card {number} was printed {percent:+.1} % larger than the others; it was not used for scale."),
            "Print all cards in one go at 100 %, and measure the check lines of one of them.",
        ))
    });
    told.collect()
}

/// Whether some set-up's cord lies farther from the first one's than cords left alone do and than
/// the photos leave open (k = 3 both).
fn cord_has_moved(state: &State, problem: &Problem, sigma: f64) -> bool {
    let Some(first) = state.cords.first() else { return false };
    let places = [-0.7, 0.0, 0.7];
    let apart = |cord: &Cord, s: f64| {
        let x = cord.middle + s * cord.half;
        (cord.at(x).y - first.at(x).y).abs()
    };
    let bound = (3.0 * sigma).max(0.35);
    // A few edges that are a shadow's would seem to move it.
    let told = |cord: usize| movement_is_told(state, problem.blocks, cord);
    let far: Vec<(usize, f64)> = (1..state.cords.len())
        .filter(|&i| told(0) && told(i))
        .flat_map(|i| places.map(|s| (i, s)))
        .filter(|&(i, s)| apart(&state.cords[i], s) > bound)
        .collect();
    if far.is_empty() {
        return false;
    }
    // Where one side alone is photographed, a cord that seems to lie aside may as well lie higher.
    let Some(covariance) = covariance(state, problem) else { return true };
    far.iter().any(|&(i, s)| {
        let mut gradient = DVector::zeros(problem.slots.n);
        for (k, power) in first.basis(first.middle + s * first.half).into_iter().enumerate() {
            gradient[problem.slots.cords[i] + k] += power;
            gradient[problem.slots.cords[0] + k] -= power;
        }
        apart(&state.cords[i], s) > 3.0 * gradient.dot(&(&covariance * &gradient)).sqrt()
    })
}

fn thin(blocks: &mut [Block], most: usize) {
    for block in blocks {
        let stride = block.corners.len().div_ceil(most).max(1);
        block.corners.iter_mut().enumerate().for_each(|(i, corner)| corner.used = i % stride == 0);
    }
}

fn thicken(blocks: &mut [Block]) {
    blocks.iter_mut().flat_map(|block| &mut block.corners).for_each(|corner| corner.used = true);
}

impl Solution {
    /// Covariance of the unknowns, what groups of observations add to it, and what makes the cord
    /// doubtful.
    pub(super) fn tell_covariance(&mut self) {
        let problem = Problem { blocks: &self.blocks, priors: &self.priors, slots: &self.slots };
        self.covariance = covariance(&self.state, &problem);
        // Place and direction; a tight cord's shape (the last terms of y and z) is not at stake
        // when a card is left out.
        let straight = |&slot: &usize| [slot, slot + 1, slot + 3, slot + 4];
        let cord_slots: Vec<usize> = self.slots.cords.iter().flat_map(straight).collect();
        let group = |block: &Block, point: &SeenPoint| {
            (matches!(block.shown, Shown::Cord(_)) && point.group != 0).then_some(point.group)
        };
        self.group_spreads.clear();
        self.group_spreads.extend(of_groups(
            &self.state,
            &problem,
            &cord_slots,
            "light and shadow on the cord",
            group,
        ));
        self.cord_doubts = super::cord_doubts::doubts(self);
    }

    /// Whether every set-up's cord is seen from so many places that a movement may be told.
    pub fn cord_movement_is_told(&self) -> bool {
        (0..self.state.cords.len()).all(|cord| movement_is_told(&self.state, &self.blocks, cord))
    }

    /// Takes all observations for worse by a factor and tells the covariance anew.
    pub fn raise_noise(&mut self, factor: f64) {
        self.blocks.iter_mut().for_each(|block| block.noise *= factor);
        self.covariance = covariance(
            &self.state,
            &Problem { blocks: &self.blocks, priors: &self.priors, slots: &self.slots },
        );
    }

    /// The pattern a block shows, if it shows one.
    pub fn pattern(&self, block: &Block) -> Option<Pattern> {
        match block.shown {
            Shown::Card(card) => {
                Some(Pattern::Card(self.state.sheets[self.state.cards[card].sheet].number))
            }
            Shown::Tab { tab, .. } => Some(Pattern::Tab(self.state.tabs[tab].number)),
            Shown::Flag { flag, .. } => Some(Pattern::Tab(self.state.flags[flag].number)),
            Shown::Cord(_) | Shown::Line(_) => None,
        }
    }

    /// Number of used corners, and rms of their residuals in px, of each view.
    pub fn view_fit(&self) -> BTreeMap<usize, (usize, f64)> {
        let mut sums: BTreeMap<usize, (usize, f64)> = BTreeMap::new();
        for block in &self.blocks {
            for corner in block.corners.iter().filter(|corner| corner.used) {
                if let Some(pixel) =
                    super::residual::foreseen(&self.state, &self.slots, block, corner.cells)
                {
                    let entry = sums.entry(block.view).or_default();
                    entry.0 += 1;
                    entry.1 += (pixel - corner.at).norm_squared();
                }
            }
        }
        // Rms per coordinate, as calibration results are usually told.
        sums.values_mut().for_each(|(n, sum)| *sum = (*sum / (2.0 * *n as f64)).sqrt());
        sums
    }
}
