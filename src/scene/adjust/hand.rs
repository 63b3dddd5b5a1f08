//! How unsteady the hand was while photos were read out row by row: the prior on each photo's sweep
//! follows what the cards show of it.
//!
//! Cards lie still. Whatever else was moved between two photos must not pass for the hand, so only
//! they are asked.

use nalgebra::{DMatrix, DVector};

use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::priors::Priors;
use crate::scene::model::state::State;
use crate::scene::model::unknowns::{N_VIEW, SWEEP, Slots};
use crate::scene::model::view::Sweep;

use super::{block_normal, prior};

/// How far a hand turns (radians) and shifts (mm) in the fiftieth of a second in which a phone
/// reads its rows, one standard deviation: two degrees and twenty millimetres a second (our
/// estimate; common practice, no source). What the photos show takes its place.
pub const USUAL: [f64; 2] = [7e-4, 0.4];
/// A steadier hand than this is not believed in, nor a wilder one: the first moves no pixel by a
/// twentieth, the second smears every photo.
const RANGE: [(f64, f64); 2] = [(1e-5, 5e-3), (0.01, 3.0)];
/// By how much more than what was found is allowed for: found sweeps lean towards none.
const BEYOND_FOUND: f64 = 1.5;

/// A lens that refocuses (part of the focal length) and a sensor that wanders (px) stretch a
/// picture as well: what either can explain is not the hand's.
const REFOCUSED_ZOOM: f64 = 0.01;
const REFOCUSED_SHIFT_PX: f64 = 20.0;
/// Rounds in which what was found becomes what is expected: noise that passed for a hand is gone
/// after a few.
const ROUNDS: usize = 8;

/// Standard deviations of a sweep's turn (radians) and shift (mm) about each axis: the rms of what
/// each photo's cards show on their own, everything but the photo's own unknowns held.
pub fn shown_by_cards(state: &State, slots: &Slots, blocks: &[Block], priors: &Priors) -> [f64; 2] {
    let mut of_views: Vec<Vec<&Block>> = vec![Vec::new(); state.views.len()];
    for block in blocks.iter().filter(|block| matches!(block.shown, Shown::Card(_))) {
        of_views[block.view].push(block);
    }
    let seen: Vec<Seen> = of_views.iter().map(|blocks| Seen::of(state, slots, blocks)).collect();
    let mut priors = Priors { sweep_sigma: USUAL, ..priors.clone() };
    priors.zoom_sigma.iter_mut().for_each(|sigma| *sigma = sigma.max(REFOCUSED_ZOOM));
    priors.shift_sigma.iter_mut().for_each(|sigma| *sigma = sigma.max(REFOCUSED_SHIFT_PX));
    for _ in 0..ROUNDS {
        let (mut turns, mut shifts, mut n) = (0.0, 0.0, 0);
        for sweep in
            seen.iter().enumerate().filter_map(|(view, seen)| seen.sweep(state, view, &priors))
        {
            turns += sweep.turn.norm_squared();
            shifts += sweep.shift.norm_squared();
            n += 3;
        }
        if n == 0 {
            return USUAL;
        }
        let found = [turns, shifts].map(|sum| BEYOND_FOUND * (sum / f64::from(n)).sqrt());
        priors.sweep_sigma = [0, 1].map(|i| found[i].clamp(RANGE[i].0, RANGE[i].1));
    }
    priors.sweep_sigma
}

/// What one photo's cards determine of its own unknowns: normal equations.
struct Seen {
    own: DMatrix<f64>,
    gradient: DVector<f64>,
}

impl Seen {
    fn of(state: &State, slots: &Slots, blocks: &[&Block]) -> Self {
        let mut seen =
            Self { own: DMatrix::zeros(N_VIEW, N_VIEW), gradient: DVector::zeros(N_VIEW) };
        // A card has no unknowns besides the view's own; a block without corners in use has none at
        // all.
        let parts = blocks
            .iter()
            .map(|block| block_normal::normal(state, slots, block))
            .filter(|part| part.local.len() == N_VIEW);
        for part in parts {
            for j in 0..N_VIEW {
                seen.gradient[j] += part.gradient[j];
                (0..=j).for_each(|i| seen.own[(j, i)] += part.normal[(i, j)]);
            }
        }
        seen
    }

    /// The view's sweep after one step of all its own unknowns.
    fn sweep(&self, state: &State, view: usize, priors: &Priors) -> Option<Sweep> {
        let (mut own, mut gradient) = (self.own.clone(), self.gradient.clone());
        for (r, unknown, d) in prior::view_rows(state, view, priors) {
            own[(unknown, unknown)] += d * d;
            gradient[unknown] += d * r;
        }
        let step = own.cholesky()?.solve(&-gradient);
        let mut sweep = state.views[view].sweep;
        sweep.turn += step.fixed_rows::<3>(SWEEP);
        sweep.shift += step.fixed_rows::<3>(SWEEP + 3);
        Some(sweep)
    }
}
