//! The normal equations of one view: its own unknowns, the kept ones it meets, and both together.

use nalgebra::{DMatrix, DVector};

use crate::scene::model::observe::Block;
use crate::scene::model::priors::Priors;
use crate::scene::model::state::State;
use crate::scene::model::unknowns::Slots;

use super::{block_normal, prior};

/// One view's normal equations: its own unknowns, the kept ones it meets, and what couples them.
pub(super) struct ViewNormal {
    pub(super) own: DMatrix<f64>,
    pub(super) own_gradient: DVector<f64>,
    /// Kept slots that this view's blocks meet, sorted.
    pub(super) meets: Vec<usize>,
    /// own x meets.
    pub(super) cross: DMatrix<f64>,
    pub(super) kept: DMatrix<f64>,
    pub(super) kept_gradient: DVector<f64>,
    pub(super) cost: f64,
}

pub(super) fn view_normal(
    state: &State,
    slots: &Slots,
    blocks: &[&Block],
    view: usize,
    priors: &Priors,
) -> ViewNormal {
    let parts: Vec<_> =
        blocks.iter().map(|block| block_normal::normal(state, slots, block)).collect();
    let mut meets: Vec<usize> = parts.iter().flat_map(|part| part.kept.iter().copied()).collect();
    meets.sort_unstable();
    meets.dedup();
    let n = state.view_size(view);
    let mut out = ViewNormal {
        own: DMatrix::zeros(n, n),
        own_gradient: DVector::zeros(n),
        cross: DMatrix::zeros(n, meets.len()),
        kept: DMatrix::zeros(meets.len(), meets.len()),
        kept_gradient: DVector::zeros(meets.len()),
        meets,
        cost: 0.0,
    };
    for part in &parts {
        out.cost += part.cost;
        let n_local = part.local.len();
        // Every slot of a part is among them: none is passed over.
        let places = part.kept.iter().map(|slot| out.meets.binary_search(slot));
        let Ok(places) = places.collect::<Result<Vec<usize>, usize>>() else { continue };
        for j in 0..n_local + places.len() {
            for i in 0..=j {
                let value = part.normal[(i, j)];
                match (i < n_local, j < n_local) {
                    (true, true) => {
                        out.own[(part.local[i], part.local[j])] += value;
                        if i != j {
                            out.own[(part.local[j], part.local[i])] += value;
                        }
                    }
                    (true, false) => out.cross[(part.local[i], places[j - n_local])] += value,
                    _ => {
                        let (a, b) = (places[i - n_local], places[j - n_local]);
                        out.kept[(a, b)] += value;
                        if i != j {
                            out.kept[(b, a)] += value;
                        }
                    }
                }
            }
            if j < n_local {
                out.own_gradient[part.local[j]] += part.gradient[j];
            } else {
                out.kept_gradient[places[j - n_local]] += part.gradient[j];
            }
        }
    }
    for (r, unknown, d) in prior::view_rows(state, view, priors) {
        out.own[(unknown, unknown)] += d * d;
        out.own_gradient[unknown] += d * r;
        out.cost += r * r / 2.0;
    }
    out
}
