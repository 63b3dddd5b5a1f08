//! The linear part of the cord's fit: the light of paper and cord that fits a lane best, and its
//! change with the cord's place.

use nalgebra::{DMatrix, DVector};

use crate::math::px_mm::Mm;

use super::fine_lane::{FineLane, N, N_LIGHT, N_PAPER, Place};

/// By how much a photo's light may differ from the others' over the lane, evenly and from one side
/// to the other (our choice).
const UNEVEN: [f64; 2] = [0.03, 0.03];
/// Residuals beyond this many standard deviations count less (Huber).
pub const BOUND: f64 = 2.5;
/// Step of the derivative by a lane's own shift (our choice).
const SHIFT_STEP: Mm = Mm(0.02);

/// How much the bend (second difference) of the paper's and of the cord's light is expected to be;
/// the light is 1 on bare paper (our choice).
const PAPER_BEND: f64 = 0.25;
const CORD_BEND: f64 = 0.08;

pub struct Linear {
    pub residuals: Vec<f64>,
    pub cost: f64,
    pub values: DVector<f64>,
}

/// How the place is held: value and weight (1 / sigma^2) of each unknown.
pub type Held = [(f64, f64); N];

/// Holds light that no sample shows near bare paper's in shade, weakly (our choice).
const LIGHT_HELD: f64 = 1e-3;
const USUAL_LIGHT: f64 = 0.7;

/// A lane's row: places among the unknowns, and factors.
type Row = Vec<(usize, f64)>;

/// The normal equations of the light of paper, cord and each lane's unevenness.
struct LightEquations {
    normal: DMatrix<f64>,
    right: DVector<f64>,
    /// Of each lane's samples.
    rows: Vec<Vec<Row>>,
}

impl LightEquations {
    /// `gains` scale the lanes' light, `weights` are the samples' (robust).
    fn at(lanes: &[FineLane], place: &Place, gains: &[f64], weights: &[Vec<f64>]) -> Self {
        let n = N_LIGHT + 2 * lanes.len();
        let (mut normal, mut right) = (DMatrix::zeros(n, n), DVector::zeros(n));
        hold_bend(&mut normal, 0, N_PAPER, PAPER_BEND);
        hold_bend(&mut normal, N_PAPER, N_LIGHT, CORD_BEND);
        for i in 0..N_LIGHT {
            normal[(i, i)] += LIGHT_HELD;
            right[i] += LIGHT_HELD * USUAL_LIGHT;
        }
        for k in 0..lanes.len() {
            for (i, sigma) in UNEVEN.iter().enumerate() {
                normal[(N_LIGHT + 2 * k + i, N_LIGHT + 2 * k + i)] += sigma.powi(-2);
            }
        }
        let rows: Vec<Vec<Row>> =
            lanes.iter().enumerate().map(|(k, lane)| uneven_rows(lane, k, place)).collect();
        for (k, lane) in lanes.iter().enumerate() {
            for (i, row) in rows[k].iter().enumerate() {
                let weight = weights[k][i] / (lane.sigma * lane.sigma);
                let value = lane.light[i] * gains[k];
                for &(a, fa) in row {
                    right[a] += weight * fa * value;
                    for &(b, fb) in row {
                        normal[(b, a)] += weight * fa * fb;
                    }
                }
            }
        }
        Self { normal, right, rows }
    }
}

/// Holds the second difference of the unknowns from `from` to before `to`.
fn hold_bend(normal: &mut DMatrix<f64>, from: usize, to: usize, sigma: f64) {
    let weight = sigma.powi(-2);
    for i in from + 1..to - 1 {
        for (a, fa) in [(i - 1, 1.0), (i, -2.0), (i + 1, 1.0)] {
            for (b, fb) in [(i - 1, 1.0), (i, -2.0), (i + 1, 1.0)] {
                normal[(a, b)] += weight * fa * fb;
            }
        }
    }
}

/// The rows of the `k`-th lane, its unevenness included.
fn uneven_rows(lane: &FineLane, k: usize, place: &Place) -> Vec<Row> {
    let mut rows = lane.rows(place, Mm(0.0));
    let last = (lane.light.len() - 1).max(1) as f64;
    for (i, row) in rows.iter_mut().enumerate() {
        row.push((N_LIGHT + 2 * k, 1.0));
        row.push((N_LIGHT + 2 * k + 1, 2.0 * i as f64 / last - 1.0));
    }
    rows
}

fn light_of(row: &[(usize, f64)], values: &DVector<f64>) -> f64 {
    row.iter().map(|(i, f)| f * values[*i]).sum::<f64>()
}

/// Solves for paper, cord and unevenness at a place. `gains` scale the lanes' light, `weights` are
/// the samples' (robust).
pub fn linear(
    lanes: &[FineLane],
    place: &Place,
    gains: &[f64],
    weights: &[Vec<f64>],
) -> Option<Linear> {
    let LightEquations { normal, right, rows } = LightEquations::at(lanes, place, gains, weights);
    let values = normal.cholesky()?.solve(&right);
    let mut residuals = Vec::new();
    let mut cost = 0.0;
    for (k, lane) in lanes.iter().enumerate() {
        for (i, row) in rows[k].iter().enumerate() {
            let r = (lane.light[i] * gains[k] - light_of(row, &values)) / lane.sigma;
            residuals.push(r * weights[k][i].sqrt());
            cost += if r.abs() <= BOUND { r * r } else { BOUND * (2.0 * r.abs() - BOUND) };
        }
    }
    // What the priors of the linear unknowns cost counts as well: a shadow edge sharper than light
    // throws one is not free.
    let mut prior = |value: f64| {
        residuals.push(value);
        cost += value * value;
    };
    for i in 1..N_PAPER - 1 {
        prior((values[i - 1] - 2.0 * values[i] + values[i + 1]) / PAPER_BEND);
    }
    for i in N_PAPER + 1..N_LIGHT - 1 {
        prior((values[i - 1] - 2.0 * values[i] + values[i + 1]) / CORD_BEND);
    }
    for k in 0..lanes.len() {
        for (i, sigma) in UNEVEN.iter().enumerate() {
            prior(values[N_LIGHT + 2 * k + i] / sigma);
        }
    }
    Some(Linear { residuals, cost, values })
}

/// Each lane's own sideways shift of the cord and its standard uncertainty: its column is the
/// change of the model's light with it.
pub fn lane_shifts(
    lanes: &[FineLane],
    place: &Place,
    gains: &[f64],
    weights: &[Vec<f64>],
) -> Option<Vec<(Mm, Mm)>> {
    let LightEquations { normal, right, rows } = LightEquations::at(lanes, place, gains, weights);
    let n_plain = right.len();
    let n = n_plain + lanes.len();
    let plain = normal.clone().cholesky()?.solve(&right);
    let (mut normal, mut right) = (normal.resize(n, n, 0.0), right.resize_vertically(n, 0.0));
    for (k, lane) in lanes.iter().enumerate() {
        let [less, more] = [-1.0, 1.0].map(|s| lane.rows(place, Mm(s * SHIFT_STEP.0)));
        for (i, row) in rows[k].iter().enumerate() {
            let change =
                (light_of(&more[i], &plain) - light_of(&less[i], &plain)) / (2.0 * SHIFT_STEP.0);
            let weight = weights[k][i] / (lane.sigma * lane.sigma);
            let at = n_plain + k;
            let value = lane.light[i] * gains[k];
            right[at] += weight * change * value;
            normal[(at, at)] += weight * change * change;
            for &(b, fb) in row.iter() {
                normal[(b, at)] += weight * change * fb;
                normal[(at, b)] += weight * change * fb;
            }
        }
        normal[(n_plain + k, n_plain + k)] += 1.0;
    }
    let factor = normal.cholesky()?;
    let values = factor.solve(&right);
    let inverse = factor.inverse();
    let shift =
        |k: usize| (Mm(values[n_plain + k]), Mm(inverse[(n_plain + k, n_plain + k)].sqrt()));
    Some((0..lanes.len()).map(shift).collect())
}
