//! Odd photos against even photos: two solutions that share nothing but the priors.
//!
//! A parameter's covariance tells random error only. Two halves of the photos, each solved for itself, should differ by about twice
//! the full solution's standard uncertainty; more betrays errors that the noise does not tell of (a lens that the model does not
//! fit, a part that moved).

use super::observe::{Block, Shown};
use super::solution::Solution;
use super::solve::{Problem, adjust};
use super::state::State;

/// Each half needs this many photos of the bench to be worth solving.
const LEAST_PHOTOS: usize = 4;

/// The states that odd and even photos of each set-up alone lead to, starting from the full solution. Cords and lines, and so datum
/// and up, stay those of the full solution. None with too few photos.
pub fn halves(solution: &Solution) -> Option<[State; 2]> {
    // Photos are counted set-up by set-up, so that both halves see every set-up.
    let mut parity = vec![0; solution.state.views.len()];
    let mut counts = std::collections::BTreeMap::new();
    for (view_idx, view) in solution.state.views.iter().enumerate() {
        let n: &mut usize = counts.entry(view.setup).or_default();
        parity[view_idx] = *n % 2;
        *n += 1;
    }
    let enough = (0..2).all(|half| {
        let of_half = |idx: usize| parity[idx] == half && solution.blocks.iter().any(|b| b.view == idx && !is_card(b));
        (0..solution.state.views.len()).filter(|&idx| of_half(idx)).count() >= LEAST_PHOTOS
    });
    if !enough {
        return None;
    }
    let solve_half = |half: usize| {
        let blocks: Vec<Block> = solution.blocks.iter().filter(|block| parity[block.view] == half).cloned().collect();
        let mut state = solution.state.clone();
        adjust(&mut state, &Problem { blocks: &blocks, priors: &solution.priors, slots: &solution.slots }, 8);
        state.cords.clone_from(&solution.state.cords);
        state.lines.clone_from(&solution.state.lines);
        state.flags.clone_from(&solution.state.flags);
        state
    };
    let (odd, even) = rayon::join(|| solve_half(0), || solve_half(1));
    Some([odd, even])
}

fn is_card(block: &Block) -> bool {
    matches!(block.shown, Shown::Card(_))
}
