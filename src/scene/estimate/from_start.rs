//! One estimate of the scene from the beginning: start values, then everything adjusted together,
//! coarse to fine.

use std::collections::{BTreeMap, BTreeSet};

use crate::scene::adjust::hand;
use crate::scene::adjust::noise::reject;
use crate::scene::adjust::solve::{Problem, adjust};
use crate::scene::checks::exceptions::Exceptions;
use crate::scene::model::input::{ScenePhoto, SceneSettings};
use crate::scene::model::observe::Block;
use crate::scene::model::priors::{Drift, FaceSigma, LensSpread, LensStart, Priors};
use crate::scene::model::solution::Solution;
use crate::scene::model::unknowns::Slots;
use crate::scene::start::cards::start_cards;
use crate::scene::start::glimpses::COARSE;
use crate::scene::start::marks::start_marks;
use crate::scene::start::world_axes::level;

use super::cord_has_moved::cord_has_moved;
use super::refine::refine;

/// Corners of a card and photo that take part before the lens is known (our choice).
const COARSE_CORNERS: usize = 40;
/// Noise factors of the corners, and steps, while cards and cameras alone are adjusted (our
/// choice).
const CARDS_NOISE: [f64; 2] = [COARSE, 5.0];
const CARDS_STEPS: usize = 40;
/// The same of everything together, first with few corners and wide bounds, then with all but
/// those that lie farther off than this many standard deviations (our choice).
const WIDE_NOISE: f64 = 5.0;
const WIDE_STEPS: usize = 30;
const ALL_NOISE: f64 = 3.0;
const ALL_STEPS: usize = 10;
const ALL_REJECT: f64 = 6.0;
/// Rounds of weighing, rejecting and adjusting at the end (our choice).
const ROUNDS: usize = 3;
/// How far the cord may move from one set-up to another while nothing is known, and when it was
/// seen to have moved, mm (our choice).
const CORD_MOVED_OPEN_MM: f64 = 3.0;
const CORD_MOVED_SEEN_MM: f64 = 30.0;
/// How far one sheet's scale and one tab's lie from the common one: sheets of one printer agree
/// far better than printers do (our estimates; common practice, no source).
const SHEET_SIGMA: f64 = 5e-4;
const TAB_SCALE_SIGMA: f64 = 3e-3;
/// A tab that stands 0.05 mm off is tilted by a milliradian or so (our estimate; common practice,
/// no source).
const TILT_PER_MM: f64 = 0.02;
/// Sagitta of a tight cord sideways, mm (our estimate; common practice, no source).
const CORD_STRAIGHT_MM: f64 = 0.1;

/// One estimate of everything, from start values; `exceptions` are treated apart from the rule.
pub fn estimate(
    photos: &[ScenePhoto],
    settings: &SceneSettings,
    exceptions: &Exceptions,
) -> Option<Solution> {
    let photos = &exceptions.applied(photos)[..];
    let mut first =
        start_cards(photos, settings, &exceptions.moved_cards, &exceptions.dropped_cards);
    if first.state.views.is_empty() {
        return None;
    }
    let mut priors = standard_priors(settings, &first.lens_start, first.state.lenses.len());
    // Cards and cameras alone, coarse to fine; a few corners of each card do until the lens is
    // known.
    thin(&mut first.blocks, COARSE_CORNERS);
    let slots = Slots::of(&first.state);
    for noise in CARDS_NOISE {
        first.blocks.iter_mut().for_each(|block| block.noise = noise);
        adjust(
            &mut first.state,
            &Problem { blocks: &first.blocks, priors: &priors, slots: &slots },
            CARDS_STEPS,
        );
    }
    priors.sweep_sigma = hand::shown_by_cards(&first.state, &slots, &first.blocks, &priors);
    level(&mut first, photos);
    let mut state = first.state;
    let mut blocks = first.blocks;
    let marks = start_marks(
        &mut state,
        photos,
        &first.view_of,
        settings,
        &exceptions.split_tabs,
        &exceptions.loose_tabs,
    );
    blocks.extend(marks.blocks);
    priors.still_bodies = marks.still_bodies;
    priors.unlike_tabs = marks.unlike_tabs;
    first.findings.extend(marks.findings);
    let slots = Slots::of(&state);
    // Everything together, first with few corners and wide bounds.
    priors.cord_moved_sigma = CORD_MOVED_OPEN_MM;
    blocks.iter_mut().for_each(|block| block.noise = WIDE_NOISE);
    adjust(&mut state, &Problem { blocks: &blocks, priors: &priors, slots: &slots }, WIDE_STEPS);
    thicken(&mut blocks);
    blocks.iter_mut().for_each(|block| block.noise = ALL_NOISE);
    reject(&state, &slots, &mut blocks, ALL_REJECT);
    adjust(&mut state, &Problem { blocks: &blocks, priors: &priors, slots: &slots }, ALL_STEPS);
    let problem = Problem { blocks: &blocks, priors: &priors, slots: &slots };
    let cord_moved = cord_has_moved(&state, &problem, settings.cord_moved_sigma);
    priors.cord_moved_sigma =
        if cord_moved { CORD_MOVED_SEEN_MM } else { settings.cord_moved_sigma };
    let converged = refine(&mut state, &slots, &mut blocks, &mut priors, ROUNDS);
    Some(Solution {
        state,
        slots,
        blocks,
        priors,
        view_of: first.view_of,
        covariance: None,
        undetermined: false,
        findings: first.findings,
        cards_of_unlike_size: BTreeSet::new(),
        moved_cards: BTreeSet::new(),
        loose_tabs: BTreeMap::new(),
        cord_moved,
        cord_unsettled: false,
        cord_reading: marks.cord_reading,
        cord_findings: Vec::new(),
        group_spreads: Vec::new(),
        readings: Vec::new(),
        converged,
        regular: false,
    })
}

/// The standard values of `prior::Priors` under a job's settings.
fn standard_priors(settings: &SceneSettings, lens_start: &[LensStart], n_lenses: usize) -> Priors {
    Priors {
        print: settings.print,
        print_sigma: settings.print_sigma,
        sheet_sigma: SHEET_SIGMA,
        loose_sheets: Vec::new(),
        measured_sheets: settings.measured_sheets.clone(),
        bow_sigma: settings.bow_sigma,
        tab_scale_sigma: TAB_SCALE_SIGMA,
        unlike_tabs: BTreeSet::new(),
        usual_drift: Drift { zoom: settings.zoom_sigma, shift_px: settings.shift_sigma },
        zoom_sigma: vec![settings.zoom_sigma; n_lenses],
        shift_sigma: vec![settings.shift_sigma; n_lenses],
        sweep_sigma: hand::USUAL,
        lens_start: lens_start.to_vec(),
        lens_spread: LensSpread::USUAL,
        flag_sigma: settings.flag_sigma,
        face_sigma: FaceSigma {
            off_mm: settings.flat_sigma,
            tilt: settings.flat_sigma * TILT_PER_MM,
        },
        still_bodies: Vec::new(),
        cord_moved_sigma: settings.cord_moved_sigma,
        cord_straight_sigma: CORD_STRAIGHT_MM,
    }
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
