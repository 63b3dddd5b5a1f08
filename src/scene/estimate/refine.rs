//! Rounds of weighing, rejecting and adjusting, from a state that is nearly right.

use crate::finding::Finding;
use crate::math::robust::median;
use crate::scene::adjust::hand;
use crate::scene::adjust::noise::{REJECT, reject, weigh};
use crate::scene::adjust::solve::{Problem, adjust};
use crate::scene::model::observe::Block;
use crate::scene::model::priors::{Drift, Priors};
use crate::scene::model::solution::Solution;
use crate::scene::model::state::State;
use crate::scene::model::unknowns::Slots;
use crate::scene::strings::line_choice::settle_lines;

/// Most steps of each adjustment; it ends before where it has converged (our choice).
const STEPS: usize = 15;
/// And of the last one where these did not do.
const LAST_STEPS: usize = 40;
/// A scene has settled where so many steps lower the cost by no more than this part (our choice: a
/// flag that one photo shows creeps along its ray for ever, and moves nothing else).
const SETTLED: f64 = 5e-3;

/// Whether a descent that was broken off had little left to go.
fn settles(state: &mut State, problem: &Problem) -> bool {
    let before = problem.cost(state);
    let ended = adjust(state, problem, LAST_STEPS);
    ended.converged || before - ended.cost < SETTLED * before
}

/// Lines settled, then rounds of weighing, rejecting and adjusting, from a state that is nearly
/// right.
pub fn refine(
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
        converged = adjust(state, &Problem { blocks, priors, slots }, STEPS).converged;
    }
    converged || settles(state, &Problem { blocks, priors, slots })
}

/// The most drift that is allowed for: of the focal length, as a part of it, and of the principal
/// point, px (our choice).
const MOST_ZOOM: f64 = 0.1;
const MOST_SHIFT_PX: f64 = 100.0;
/// By how much more than what was found is allowed for (our choice).
const DRIFT_MARGIN: f64 = 1.2;

/// Where photos drift more than the standard prior allows (refocusing), the prior follows what they
/// show: per lens, the rms of the drift itself, if larger.
fn loosen_drift(state: &State, priors: &mut Priors) {
    let Drift { zoom: least_zoom, shift_px: least_shift } = priors.usual_drift;
    for lens in 0..state.lenses.len() {
        let of_lens: Vec<_> = state.views.iter().filter(|v| v.lens == lens).collect();
        let rms = |values: &dyn Fn(&crate::scene::model::view::View) -> f64| {
            (of_lens.iter().map(|v| values(v).powi(2)).sum::<f64>() / of_lens.len().max(1) as f64)
                .sqrt()
        };
        priors.zoom_sigma[lens] = rms(&|v| v.log_zoom).clamp(least_zoom, least_zoom.max(MOST_ZOOM))
            * if of_lens.len() < 2 { 1.0 } else { DRIFT_MARGIN };
        let shift = rms(&|v| v.shift[0]).max(rms(&|v| v.shift[1]));
        priors.shift_sigma[lens] =
            shift.clamp(least_shift, least_shift.max(MOST_SHIFT_PX)) * DRIFT_MARGIN;
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
                priors.measured_sheets.iter().any(|measured| measured.number == sheet.number);
            if (sheet.scale[way] - middle).abs() > PRINTED_APART
                && !measured
                && !priors.loose_sheets.contains(&sheet.number)
            {
                priors.loose_sheets.push(sheet.number);
            }
        }
    }
}

/// What is reported of sheets that were printed apart.
pub fn sheet_findings(solution: &Solution) -> Vec<Finding> {
    let findings = solution.priors.loose_sheets.iter().filter_map(|number| {
        let sheet = solution.state.sheets.iter().find(|sheet| sheet.number == *number)?;
        let percent = 100.0 * (sheet.scale[0] + sheet.scale[1]) / 2.0;
        Some(Finding::warning(
            "card-scale-differs",
            format!("Card {number} was printed {percent:+.1} % larger than the others; it was not used for scale."),
            "Print all cards in one go at 100 %, and measure the check lines of one of them.",
        ))
    });
    findings.collect()
}
