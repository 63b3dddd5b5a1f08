//! The linear part of the cord's fit: the light of paper and cord that fits a lane best, and its
//! change with the cord's place.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn, SMatrix, SVector};

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
    /// The light of paper and cord, which all lanes share.
    pub values: DVector<f64>,
}

/// How the place is held: value and weight (1 / sigma^2) of each unknown.
pub type Held = [(f64, f64); N];

/// Holds light that no sample shows near bare paper's in shade, weakly (our choice).
const LIGHT_HELD: f64 = 1e-3;
const USUAL_LIGHT: f64 = 0.7;

/// A sample's row: places among the light's unknowns, and factors.
type Row = Vec<(usize, f64)>;

/// The normal equations of the light of paper and cord, which all lanes share, and of what each lane
/// has of its own, `OWN` unknowns: an arrow, from which each lane's own are eliminated first, so
/// that work grows with the lanes and not with their cube.
struct LightEquations<const OWN: usize> {
    /// The lower triangle.
    common: DMatrix<f64>,
    right: DVector<f64>,
    lanes: Vec<OfLane<OWN>>,
}

/// One lane's part of them.
struct OfLane<const OWN: usize> {
    own: SMatrix<f64, OWN, OWN>,
    with_common: SMatrix<f64, N_LIGHT, OWN>,
    right: SVector<f64, OWN>,
}

/// Their solution.
struct Light<const OWN: usize> {
    common: DVector<f64>,
    own: Vec<SVector<f64, OWN>>,
    /// The common equations without the lanes' own unknowns, and the inverse of each lane's own.
    factor: Cholesky<f64, Dyn>,
    inverses: Vec<SMatrix<f64, OWN, OWN>>,
    lanes: Vec<OfLane<OWN>>,
}

impl<const OWN: usize> LightEquations<OWN> {
    /// `gains` scale the lanes' light, `weights` are the samples' (robust), `rows` the common
    /// unknowns' factors and `own_row` those of a lane's own, which are held at zero with `held`
    /// (1 / sigma^2).
    fn at(
        lanes: &[FineLane],
        gains: &[f64],
        weights: &[Vec<f64>],
        rows: &[Vec<Row>],
        held: [f64; OWN],
        own_row: impl Fn(usize, usize) -> SVector<f64, OWN>,
    ) -> Self {
        let (mut common, mut right) = (DMatrix::zeros(N_LIGHT, N_LIGHT), DVector::zeros(N_LIGHT));
        hold_bend(&mut common, 0, N_PAPER, PAPER_BEND);
        hold_bend(&mut common, N_PAPER, N_LIGHT, CORD_BEND);
        for i in 0..N_LIGHT {
            common[(i, i)] += LIGHT_HELD;
            right[i] += LIGHT_HELD * USUAL_LIGHT;
        }
        let mut of_lane = |(k, lane): (usize, &FineLane)| {
            let mut of_lane = OfLane {
                own: SMatrix::from_diagonal(&SVector::from(held)),
                with_common: SMatrix::zeros(),
                right: SVector::zeros(),
            };
            for (i, row) in rows[k].iter().enumerate() {
                let weight = weights[k][i] / (lane.sigma * lane.sigma);
                let value = lane.light[i] * gains[k];
                let own = own_row(k, i);
                for &(a, fa) in row {
                    right[a] += weight * fa * value;
                    for &(b, fb) in row.iter().filter(|(b, _)| *b >= a) {
                        common[(b, a)] += weight * fa * fb;
                    }
                    for j in 0..OWN {
                        of_lane.with_common[(a, j)] += weight * fa * own[j];
                    }
                }
                of_lane.own += own * own.transpose() * weight;
                of_lane.right += own * (weight * value);
            }
            of_lane
        };
        let lanes = lanes.iter().enumerate().map(&mut of_lane).collect();
        Self { common, right, lanes }
    }

    /// None where they determine nothing.
    fn solve(self) -> Option<Light<OWN>> {
        let Self { mut common, mut right, lanes } = self;
        let mut inverses = Vec::with_capacity(lanes.len());
        for lane in &lanes {
            let inverse = lane.own.cholesky()?.inverse();
            let by_own = lane.with_common * inverse;
            for j in 0..OWN {
                common.syger(-1.0, &by_own.column(j), &lane.with_common.column(j), 1.0);
            }
            right -= by_own * lane.right;
            inverses.push(inverse);
        }
        let factor = common.cholesky()?;
        let common = factor.solve(&right);
        let own_of = |(lane, inverse): (&OfLane<OWN>, &SMatrix<f64, OWN, OWN>)| {
            inverse * (lane.right - lane.with_common.tr_mul(&common))
        };
        let own = lanes.iter().zip(&inverses).map(own_of).collect();
        Some(Light { common, own, factor, inverses, lanes })
    }
}

impl<const OWN: usize> Light<OWN> {
    /// The covariance of a lane's own unknowns.
    fn covariance(&self, lane: usize) -> SMatrix<f64, OWN, OWN> {
        let (with_common, inverse) = (&self.lanes[lane].with_common, &self.inverses[lane]);
        let by_common = with_common.tr_mul(&self.factor.solve(with_common));
        inverse + inverse * by_common * inverse
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

/// How a lane's light may differ from the others' at its `i`-th sample: evenly, and from one side to
/// the other.
fn uneven(lane: &FineLane, i: usize) -> [f64; 2] {
    let last = (lane.light.len() - 1).max(1) as f64;
    [1.0, 2.0 * i as f64 / last - 1.0]
}

fn rows_of(lanes: &[FineLane], place: &Place) -> Vec<Vec<Row>> {
    lanes.iter().map(|lane| lane.rows(place, Mm(0.0))).collect()
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
    let rows = rows_of(lanes, place);
    let own_row = |k: usize, i: usize| SVector::from(uneven(&lanes[k], i));
    let held = UNEVEN.map(|sigma| sigma.powi(-2));
    let light = LightEquations::at(lanes, gains, weights, &rows, held, own_row).solve()?;
    let values = light.common.clone();
    let mut residuals = Vec::new();
    let mut cost = 0.0;
    for (k, lane) in lanes.iter().enumerate() {
        for (i, row) in rows[k].iter().enumerate() {
            let model = light_of(row, &values) + light.own[k].dot(&own_row(k, i));
            let r = (lane.light[i] * gains[k] - model) / lane.sigma;
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
    for own in &light.own {
        for (value, sigma) in own.iter().zip(UNEVEN) {
            prior(value / sigma);
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
    let rows = rows_of(lanes, place);
    let [even, aslant] = UNEVEN.map(|sigma| sigma.powi(-2));
    let plain = |k: usize, i: usize| SVector::from(uneven(&lanes[k], i));
    let plain = LightEquations::at(lanes, gains, weights, &rows, [even, aslant], plain).solve()?;
    let change_of = |lane: &FineLane| -> Vec<f64> {
        let [less, more] = [-1.0, 1.0].map(|s| lane.rows(place, Mm(s * SHIFT_STEP.0)));
        let change = |(more, less): (&Row, &Row)| {
            (light_of(more, &plain.common) - light_of(less, &plain.common)) / (2.0 * SHIFT_STEP.0)
        };
        more.iter().zip(&less).map(change).collect()
    };
    let changes: Vec<Vec<f64>> = lanes.iter().map(change_of).collect();
    let own_row = |k: usize, i: usize| {
        let [even, aslant] = uneven(&lanes[k], i);
        SVector::from([even, aslant, changes[k][i]])
    };
    let held = [even, aslant, 1.0];
    let light = LightEquations::at(lanes, gains, weights, &rows, held, own_row).solve()?;
    let shift = |k: usize| (Mm(light.own[k][2]), Mm(light.covariance(k)[(2, 2)].sqrt()));
    Some((0..lanes.len()).map(shift).collect())
}
