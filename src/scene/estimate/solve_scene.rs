//! The whole way from sightings to a solved scene: estimated again until nothing more is seen
//! to have moved.

use std::collections::{BTreeMap, BTreeSet};

use crate::finding::Finding;
use crate::scene::checks::exceptions::Exceptions;
use crate::scene::checks::outliers::find_outliers;
use crate::scene::model::input::{ScenePhoto, SceneSettings};
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::start::card_size::{self, size_groups};

use super::from_start::estimate;
use super::refine::{refine, sheet_findings};

/// Rounds of refinement after ties were loosened: the scene is nearly right then (our choice).
const ROUNDS_AFTER: usize = 2;
/// Most times that the scene is built again because something was seen to have moved.
const MOST_RESTARTS: usize = 4;
/// And because tabs lie loose: these are found before what else is wrong.
const MOST_FOR_LOOSE_TABS: usize = 4;

/// Solves the scene. `photos` must be in a fixed order; the result depends on nothing else. None
/// when no photo shows a card well enough to be placed.
pub fn solve(photos: &[ScenePhoto], settings: &SceneSettings) -> Option<Solution> {
    let unlike = cards_of_unlike_size(photos, settings);
    let photos = card_size::without(photos, &unlike);
    let mut solution = solve_without_covariance(&photos, settings, &Exceptions::default())?;
    solution.update_covariance();
    Some(solution.with_cards_of_unlike_size(unlike))
}

/// Cards that were printed at another size than the rest: of the groups of one size, the one is right
/// with which the tabs agree best. Those of a wrong size leave the tabs' corners far off: with A3
/// on A4 by thirty times their noise.
pub fn cards_of_unlike_size(photos: &[ScenePhoto], settings: &SceneSettings) -> BTreeSet<u8> {
    let groups = size_groups(photos, settings);
    if groups.len() < 2 {
        return BTreeSet::new();
    }
    let others = |group: &BTreeSet<u8>| {
        groups.iter().flatten().copied().filter(|card| !group.contains(card)).collect()
    };
    let agreement_of = |solution: &Solution| -> f64 {
        let tabs = solution.blocks.iter().filter(|block| matches!(block.shown, Shown::Tab { .. }));
        let used = |block: &Block| block.corners.iter().filter(|corner| corner.used).count();
        tabs.map(|block| used(block) as f64 / block.noise.max(1.0)).sum()
    };
    let agreeing = |others: &BTreeSet<u8>| {
        estimate(&card_size::without(photos, others), settings, &Exceptions::default())
            .map_or(0.0, |solution| agreement_of(&solution))
    };
    // The first of equals: the group of most cards.
    let tried = groups.iter().map(others).map(|others: BTreeSet<u8>| (agreeing(&others), others));
    tried
        .reduce(|best, next| if next.0 > best.0 { next } else { best })
        .map_or(BTreeSet::new(), |(_, others)| others)
}

/// The same without its covariance, with what is known to be treated apart from the rule.
pub fn solve_without_covariance(
    photos: &[ScenePhoto],
    settings: &SceneSettings,
    known: &Exceptions,
) -> Option<Solution> {
    let (best, exceptions) = estimate_until_consistent(photos, settings, known)?;
    if !exceptions.contradict() {
        return Some(with_exceptions(best, &exceptions, photos, settings));
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
    match estimate_until_consistent(&apart, settings, known) {
        Some((own, fewer)) if BETTER * fewer.n_left_out() < exceptions.n_left_out() => {
            let mut own = with_exceptions(own, &fewer, photos, settings);
            own.findings.push(Finding::warning(
                LENSES_DIFFER,
                "The photos contradict each other if one lens took them all, as their data say, and agree if each has its own: there are two \
                 phones in the job, or somebody zoomed. Each photo's lens was estimated on its own, which costs accuracy.",
                "Take all photos with one phone, one lens and without zoom.",
            ));
            Some(own)
        }
        _ => Some(with_exceptions(best, &exceptions, photos, settings)),
    }
}

const LENSES_DIFFER: &str = "lenses-differ";
/// One lens that is focused anew changes its focal length by less than this (natural logarithm) from
/// its shortest to its longest (our estimate: phones by a hundredth or two).
const REFOCUSED: f64 = 0.035;

/// The finding that photos of one lens, as their data say, differ in focal length by more than one
/// lens can.
fn zoomed(solution: &Solution) -> Option<Finding> {
    let range_of = |lens: usize| {
        let own = solution.state.views.iter().filter(|view| view.lens == lens);
        let zooms = own.map(|view| view.log_zoom);
        let (low, high) = zooms.fold((0.0f64, 0.0f64), |(l, h), zoom| (l.min(zoom), h.max(zoom)));
        high - low
    };
    let most = (0..solution.state.lenses.len()).map(range_of).fold(0.0, f64::max);
    (most > REFOCUSED).then(|| {
        Finding::warning(
            LENSES_DIFFER,
            format!(
                "The photos were taken with focal lengths that differ by {:.0} %, though their data say one lens: there are two phones in the job, \
                 or somebody zoomed. Each photo's own was allowed for, which costs accuracy.",
                100.0 * most.exp_m1()
            ),
            "Take all photos with one phone, one lens and without zoom.",
        )
    })
}

/// A lens for each photo is believed where it leaves this many times fewer sightings contradicted.
const BETTER: usize = 3;

/// Solved again until nothing more is seen to have moved.
fn estimate_until_consistent(
    photos: &[ScenePhoto],
    settings: &SceneSettings,
    known: &Exceptions,
) -> Option<(Solution, Exceptions)> {
    let mut exceptions = known.clone();
    exceptions.drop_cards_seen_twice(photos);
    let mut best = estimate(photos, settings, &exceptions)?;
    let (mut restarts, mut for_loose_tabs) = (0, 0);
    while restarts < MOST_RESTARTS && for_loose_tabs < MOST_FOR_LOOSE_TABS {
        let n_loose = exceptions.loose_tabs.len();
        if !find_outliers(&best, photos, settings, &mut exceptions) {
            break;
        }
        let is_for_loose = exceptions.loose_tabs.len() > n_loose;
        *(if is_for_loose { &mut for_loose_tabs } else { &mut restarts }) += 1;
        best = estimate(photos, settings, &exceptions)?;
    }
    loosen_faces(&mut best, &exceptions.rough_faces);
    Some((best, exceptions))
}

/// Loosens the ties of tabs to faces that are rougher than is usual.
fn loosen_faces(solution: &mut Solution, rough: &BTreeMap<String, f64>) {
    let Solution { state, slots, blocks, priors, converged, .. } = solution;
    for face in &mut state.faces {
        face.roughness = rough.get(&face.name).copied().unwrap_or(1.0);
    }
    if !rough.is_empty() {
        *converged = refine(state, slots, blocks, priors, ROUNDS_AFTER);
    }
}

fn with_exceptions(
    mut best: Solution,
    exceptions: &Exceptions,
    photos: &[ScenePhoto],
    settings: &SceneSettings,
) -> Solution {
    best.regular = exceptions.is_empty();
    best.findings.extend(exceptions.findings(photos, settings));
    best.findings.extend(sheet_findings(&best));
    best.findings.extend(zoomed(&best));
    best.loose_tabs = exceptions.loose_tabs.clone();
    best.moved_cards = exceptions.moved_cards.clone();
    let first_place_unknown = exceptions.cords_moved.iter().any(|moved| !moved.before_used);
    best.cord_unsettled = best.cord_moved && first_place_unknown;
    best
}

impl Solution {
    /// The same with word of the cards that were left out for their size.
    pub fn with_cards_of_unlike_size(mut self, unlike: BTreeSet<u8>) -> Self {
        if !unlike.is_empty()
            && !self.findings.iter().any(|finding| finding.id == card_size::WRONG_SIZE)
        {
            self.findings.push(card_size::finding(&unlike));
        }
        self.cards_of_unlike_size = unlike;
        self
    }
}
