//! Two halves of the photos, each solved on its own: odd against even, and left against right.
//!
//! A parameter's covariance shows random error only. Two halves that share nothing but what was
//! known before any photo should differ by no more than their own uncertainties allow; more shows
//! errors that the noise does not show: a lens that the model does not fit, a part that moved, a
//! shadow that one side's photos show in the cord's place.

use nalgebra::DMatrix;

use crate::scene::adjust::solve::{Problem, adjust_loose, loose_covariance};
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::priors::Priors;
use crate::scene::model::solution::Solution;
use crate::scene::model::state::State;
use crate::scene::model::view::View;

/// Each half needs this many photos of the bench to be worth solving.
const LEAST_PHOTOS: usize = 4;
const STEPS: usize = 8;

/// How photos are split.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Split {
    /// Every other photo of each set-up.
    OddEven,
    /// By the side of the cord, or of the world's x axis, on which the camera stood.
    LeftRight,
}

/// One half's solution, cord, lines and all.
pub struct HalfEstimate {
    pub state: State,
    /// Of the kept unknowns; enormous where the half shows nothing of one.
    pub covariance: DMatrix<f64>,
}

/// What either half of the photos gives, starting from the full solution. None with too few photos.
pub fn estimate_halves(solution: &Solution, split: Split) -> Option<[HalfEstimate; 2]> {
    let state = &solution.state;
    let side = |view: &View| {
        let eye = view.camera_from_world.inverse().t;
        let middle = state.cords.first().map_or(0.0, |cord| cord.at(eye.x).y);
        usize::from(eye.y < middle)
    };
    // Photos are counted set-up by set-up, so that both halves see every set-up.
    let mut counts = std::collections::BTreeMap::new();
    let mut half_of = Vec::with_capacity(state.views.len());
    for view in &state.views {
        let n: &mut usize = counts.entry(view.setup).or_default();
        half_of.push(if split == Split::OddEven { *n % 2 } else { side(view) });
        *n += 1;
    }
    let enough = (0..2).all(|half| {
        let of_half = |idx: usize| {
            half_of[idx] == half && solution.blocks.iter().any(|b| b.view == idx && !is_card(b))
        };
        (0..state.views.len()).filter(|&idx| of_half(idx)).count() >= LEAST_PHOTOS
    });
    if !enough {
        return None;
    }
    let solve_half = |half: usize| {
        let blocks: Vec<Block> =
            solution.blocks.iter().filter(|block| half_of[block.view] == half).cloned().collect();
        let mut state = solution.state.clone();
        let priors: &Priors = &solution.priors;
        let problem = Problem { blocks: &blocks, priors, slots: &solution.slots };
        adjust_loose(&mut state, &problem, STEPS);
        let covariance = loose_covariance(&state, &problem)?;
        Some(HalfEstimate { state, covariance })
    };
    let (one, other) = rayon::join(|| solve_half(0), || solve_half(1));
    Some([one?, other?])
}

fn is_card(block: &Block) -> bool {
    matches!(block.shown, Shown::Card(_))
}
