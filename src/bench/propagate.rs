//! From the covariance of the unknowns to that of the figures.
//!
//! First-order propagation (JCGM 100, 5.2): with g the derivatives of a figure by the kept
//! unknowns, its variance is g^T C g plus the squares of its derivatives by the nuisances times
//! their variances. Nuisances are independent of each other and of the photos. The figures' joint
//! covariance is kept whole, so that differences and sums of figures can be computed later.
//!
//! The share of each prior in g^T C g follows from C^-1 being a sum of parts, C^-1 = sum_i H_i: C =
//! sum_i C H_i C, and so g^T C g = sum_i (C g)^T H_i (C g). What is left when all priors have had
//! their share comes from the photos.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use crate::scene::adjust::prior::{self, PriorSource};
use crate::scene::{Solution, State};

use super::nuisance::{Nuisance, Shift};

/// Standard uncertainties of all figures together.
#[derive(Clone, Debug)]
pub struct Propagated {
    /// Covariance of the figures, k = 1, in their order.
    pub covariance: DMatrix<f64>,
    /// For each figure: standard uncertainty by source.
    pub sources: Vec<BTreeMap<&'static str, f64>>,
    /// Derivatives of the figures by the kept unknowns.
    pub jacobian: DMatrix<f64>,
    /// For each figure: change per 1 % of print scale, both ways together, all else at its most
    /// likely.
    pub per_percent_of_print: Vec<f64>,
}

/// Steps of numerical derivatives: far above rounding, far below curvature. mm, radians and ratios
/// alike.
const STEP: f64 = 1e-5;

/// Propagates `covariance` of the solution's kept unknowns and the nuisances (with standard
/// deviations) to the figures that `evaluate` gives. `evaluate` must give the same figures, in the
/// same order, for every state near the solution.
pub fn propagate(
    solution: &Solution,
    covariance: &DMatrix<f64>,
    nuisances: &[(Nuisance, f64)],
    n_figures: usize,
    evaluate: impl Fn(&State, Shift) -> Vec<f64> + Sync,
) -> Propagated {
    let n = solution.slots.n;
    let difference = |plus: Vec<f64>, minus: Vec<f64>, step: f64| {
        let complete = plus.len() == n_figures && minus.len() == n_figures;
        DVector::from_iterator(
            n_figures,
            (0..n_figures)
                .map(|i| if complete { (plus[i] - minus[i]) / (2.0 * step) } else { f64::NAN }),
        )
    };
    // Lens and print scale reach the figures only through what they did to poses: their own
    // derivatives are zero.
    let first = solution.slots.sheets.first().copied().unwrap_or(0);
    let columns: Vec<DVector<f64>> = (0..n)
        .into_par_iter()
        .map(|slot| {
            if slot < first {
                return DVector::zeros(n_figures);
            }
            let at = |step: f64| {
                let mut state = solution.state.clone();
                let mut change = vec![0.0; n];
                change[slot] = step;
                state.nudge_kept(&solution.slots, &change);
                evaluate(&state, Shift(None))
            };
            difference(at(STEP), at(-STEP), STEP)
        })
        .collect();
    let jacobian = DMatrix::from_columns(&columns);
    let by_nuisance: Vec<DVector<f64>> = nuisances
        .par_iter()
        .map(|&(nuisance, _)| {
            let at = |step: f64| evaluate(&solution.state, Shift(Some((nuisance, step))));
            difference(at(1e-4), at(-1e-4), 1e-4)
        })
        .collect();
    // C g for all figures at once.
    let spread = covariance * jacobian.transpose();
    let mut total = &jacobian * &spread;
    let mut sources: Vec<BTreeMap<&'static str, f64>> =
        (0..n_figures).map(|figure| solution_shares(solution, &spread, &total, figure)).collect();
    for spread in &solution.group_spreads {
        let by = DMatrix::from_fn(n_figures, spread.slots.len(), |figure, k| {
            jacobian[(figure, spread.slots[k])]
        });
        let more = &by * &spread.covariance * by.transpose();
        for (figure, shares) in sources.iter_mut().enumerate() {
            *shares.entry(spread.source).or_default() += more[(figure, figure)].max(0.0);
        }
        total += more;
    }
    for ((nuisance, sigma), by) in nuisances.iter().zip(&by_nuisance) {
        let scaled = by * *sigma;
        total += &scaled * scaled.transpose();
        for (figure, shares) in sources.iter_mut().enumerate() {
            *shares.entry(nuisance.source()).or_default() += scaled[figure] * scaled[figure];
        }
    }
    for shares in &mut sources {
        shares.values_mut().for_each(|share| *share = share.sqrt());
        shares.retain(|_, share| *share > 0.0);
    }
    let per_percent_of_print = per_percent_of_print(solution, covariance, &jacobian);
    Propagated { covariance: total, sources, jacobian, per_percent_of_print }
}

/// The variance of one figure by what the solution has it from: each prior, and the photos for the
/// rest.
fn solution_shares(
    solution: &Solution,
    spread: &DMatrix<f64>,
    total: &DMatrix<f64>,
    figure: usize,
) -> BTreeMap<&'static str, f64> {
    let all = total[(figure, figure)].max(0.0);
    let mut shares: BTreeMap<&'static str, f64> = BTreeMap::new();
    for row in prior::rows(&solution.state, &solution.slots, &solution.priors) {
        let along: f64 = row.by.iter().map(|&(slot, d)| d * spread[(slot, figure)]).sum();
        *shares.entry(source_name(row.source)).or_default() += along * along;
    }
    let known: f64 = shares.values().sum();
    shares.insert("photos", (all - known).max(0.0));
    shares
}

/// What the figures do when the print was larger by 1 %: the unknowns follow the print by their
/// covariance with it.
fn per_percent_of_print(
    solution: &Solution,
    covariance: &DMatrix<f64>,
    jacobian: &DMatrix<f64>,
) -> Vec<f64> {
    let (along, across) = (solution.slots.print, solution.slots.print + 1);
    let follow =
        |slot: usize| covariance.column(slot) / covariance[(slot, slot)].max(f64::MIN_POSITIVE);
    let response = follow(along) + follow(across);
    let per_percent = jacobian * response * 0.01;
    per_percent.iter().copied().collect()
}

/// What the budget calls a prior.
fn source_name(source: PriorSource) -> &'static str {
    match source {
        PriorSource::Print => "print scale",
        PriorSource::Sheet => "print scale of single sheets",
        PriorSource::Bow => "bow of the cards",
        PriorSource::TabScale => "print scale of single tabs",
        PriorSource::Lens => "lens",
        PriorSource::Flag => "flags off their lines",
        PriorSource::Face => "tabs of one face not in one plane",
        PriorSource::Stayed => "parts that stayed",
        PriorSource::CordShape => "straightness of the cord",
        PriorSource::CordMoved => "cord moved between set-ups",
        PriorSource::Upright => "plumb lines against the cards",
    }
}
