//! The cord's place over one card to a few hundredths of a millimetre, from the light in its lane
//! in all photos of a set-up.
//!
//! Paper and cord are dull: a place on the paper, in shadow or not, shows the same light to every
//! camera, and so does a line along the cord's surface. So the lane has one paper profile (light
//! over place) and one cord profile (light over azimuth round the cord), and what a photo shows
//! follows from where the cord hides the paper. For a supposed place, thickness and paper height
//! both profiles are found by linear least squares; what they leave unexplained is the cost
//! (variable projection; Golub and Pereyra 1973). Shadows, stains and printed ticks are part of the
//! paper's profile and shading is part of the cord's, so that neither is taken for an edge.

use nalgebra::{SMatrix, SVector, Vector2};

use crate::math::px_mm::{Mm, Px};

use super::fine_lane::{FineLane, N, Place};
use super::lane_light_fit::{BOUND, Held, Linear, lane_shifts, linear};

/// What they may change by at once, and the steps of their derivatives (our choice).
const MOST_STEP: [f64; N] = [0.35, 0.4, 0.15, 0.3];
const STEP: [f64; N] = [0.01, 0.01, 0.01, 0.02];
/// A cord's radius is never less, nor its clearance from the paper, mm.
const LEAST_RADIUS: f64 = 0.3;

/// What the light of one lane says about the cord's middle, given the group's place.
#[derive(Clone, Copy, Debug)]
pub struct LaneShift {
    pub lane: usize,
    /// Where the cord's middle is seen, counted from the lane's first sample, and its standard
    /// uncertainty.
    pub middle: Px,
    pub sigma: Px,
    /// Whether it was found by one edge alone, the other lying beyond the lane.
    pub lone: bool,
}

/// The cord over one card in one set-up.
#[derive(Clone, Debug)]
pub struct GroupFit {
    pub place: Place,
    /// Of y, z, radius and paper height, from the residuals.
    pub covariance: SMatrix<f64, N, N>,
    pub cost: f64,
    pub shifts: Vec<LaneShift>,
}

/// A cord whose middle lies no farther inside the lane's end than this part of its radius shows one
/// edge alone; and what the radius leaves open then.
const LONE: f64 = 0.8;
const LONE_SIGMA: Mm = Mm(0.06);

/// The place near `start` that leaves least unexplained.
pub fn fit_group(lanes: &[FineLane], start: Place, held: &Held, rounds: usize) -> Option<GroupFit> {
    if lanes.is_empty() {
        return None;
    }
    let mut gains = vec![1.0; lanes.len()];
    let mut weights: Vec<Vec<f64>> = lanes.iter().map(|lane| vec![1.0; lane.light.len()]).collect();
    let mut place = start;
    let prior_cost =
        |place: &Place| (0..N).map(|i| held[i].1 * (place[i] - held[i].0).powi(2)).sum::<f64>();
    let mut damping = 1e-3;
    let mut matrix = SMatrix::<f64, N, N>::zeros();
    let mut here = linear(lanes, &place, &gains, &weights)?;
    for round in 0..rounds {
        if round < 3 {
            regain(lanes, &place, &here, &mut gains);
            reweigh(lanes, &here, &mut weights);
            here = linear(lanes, &place, &gains, &weights)?;
        }
        let squares = |l: &Linear| l.residuals.iter().map(|r| r * r).sum::<f64>();
        let now = squares(&here) + prior_cost(&place);
        let columns = derivatives(lanes, &place, &gains, &weights, &here)?;
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        matrix = SMatrix::from_fn(|i, j| dot(&columns[i], &columns[j]));
        let mut gradient = SVector::<f64, N>::from_fn(|i, _| dot(&columns[i], &here.residuals));
        for i in 0..N {
            matrix[(i, i)] += held[i].1;
            gradient[i] += held[i].1 * (place[i] - held[i].0);
        }
        let mut moved_by = 0.0f64;
        for _ in 0..4 {
            let mut damped = matrix;
            (0..N).for_each(|i| damped[(i, i)] *= 1.0 + damping);
            let step = damped.cholesky()?.solve(&-gradient);
            let mut trial = place;
            for i in 0..N {
                trial[i] += step[i].clamp(-MOST_STEP[i], MOST_STEP[i]);
            }
            trial[2] = trial[2].max(LEAST_RADIUS);
            let there = linear(lanes, &trial, &gains, &weights)?;
            if squares(&there) + prior_cost(&trial) < now {
                moved_by = (0..N).map(|i| (trial[i] - place[i]).abs()).fold(0.0, f64::max);
                (place, here) = (trial, there);
                damping = (damping * 0.2).max(1e-4);
                break;
            }
            damping *= 8.0;
        }
        if moved_by < 0.003 && round >= 3 {
            break;
        }
    }
    let scale =
        (here.cost / lanes.iter().map(|l| l.light.len()).sum::<usize>().max(1) as f64).max(0.25);
    let covariance = matrix.try_inverse()? * scale;
    let shifts = lane_shifts(lanes, &place, &gains, &weights)?;
    let shift = |(lane, (aside, sigma)): (&FineLane, (Mm, Mm))| {
        in_pixels(lane, &place, aside, Mm(sigma.0 * scale.sqrt()))
    };
    let shifts = lanes.iter().zip(shifts).filter_map(shift).collect();
    Some(GroupFit { place, covariance, cost: here.cost + prior_cost(&place), shifts })
}

/// Derivatives of the residuals by the place's unknowns, by differences.
fn derivatives(
    lanes: &[FineLane],
    place: &Place,
    gains: &[f64],
    weights: &[Vec<f64>],
    here: &Linear,
) -> Option<Vec<Vec<f64>>> {
    let mut columns: Vec<Vec<f64>> = Vec::with_capacity(N);
    for i in 0..N {
        let mut moved = *place;
        moved[i] += STEP[i];
        let there = linear(lanes, &moved, gains, weights)?;
        let change = there.residuals.iter().zip(&here.residuals).map(|(a, b)| (a - b) / STEP[i]);
        columns.push(change.collect());
    }
    Some(columns)
}

/// Where a lane has the cord's middle, from its own sideways shift.
fn in_pixels(lane: &FineLane, place: &Place, aside: Mm, sigma: Mm) -> Option<LaneShift> {
    let inside = lane.inside(place);
    let middle = (inside > -LONE).then(|| lane.middle(place)).flatten()?;
    let lone = inside < LONE;
    let sigma = if lone { Mm(sigma.0.hypot(LONE_SIGMA.0)) } else { sigma };
    // Rows of samples rise or fall with the distance from the ray.
    let sign = (lane.off(lane.rays.len() - 1, place) - lane.off(0, place)).signum();
    Some(LaneShift {
        lane: lane.lane,
        middle: Px(middle.0 - (Mm(sign * aside.0) / lane.scale).0),
        sigma: sigma / lane.scale,
        lone,
    })
}

/// Brings the lanes' light to the common level that the model has for them.
fn regain(lanes: &[FineLane], place: &Place, here: &Linear, gains: &mut [f64]) {
    for (k, lane) in lanes.iter().enumerate() {
        let rows = lane.rows(place, Mm(0.0));
        let (mut up, mut down) = (0.0, 0.0);
        for (row, light) in rows.iter().zip(&lane.light) {
            let model: f64 = row.iter().map(|(i, f)| f * here.values[*i]).sum();
            up += model * light;
            down += light * light;
        }
        if down > 0.0 {
            gains[k] = (up / down).clamp(0.7, 1.4);
        }
    }
    let mean = gains.iter().sum::<f64>() / gains.len() as f64;
    gains.iter_mut().for_each(|gain| *gain /= mean);
}

fn reweigh(lanes: &[FineLane], here: &Linear, weights: &mut [Vec<f64>]) {
    let mut at = 0;
    for (lane, weights) in lanes.iter().zip(weights) {
        for weight in weights.iter_mut().take(lane.light.len()) {
            let r = here.residuals[at].abs() / weight.sqrt();
            *weight = if r <= BOUND { 1.0 } else { BOUND / r };
            at += 1;
        }
    }
}

/// A pixel between a lane's samples, which lie a pixel apart.
pub fn pixel_at(samples: &[[f64; 2]], from_first: Px) -> Option<Vector2<f64>> {
    let Px(px) = from_first;
    let first = (px.max(0.0) as usize).min(samples.len().checked_sub(2)?);
    let (a, b) = (Vector2::from(samples[first]), Vector2::from(samples[first + 1]));
    Some(a + (b - a) * (px - first as f64))
}

/// What the light leaves unexplained where no cord is supposed at all.
pub fn cost_without(lanes: &[FineLane]) -> Option<f64> {
    let away = [1e4, 0.0, LEAST_RADIUS, 0.0];
    let mut gains = vec![1.0; lanes.len()];
    let weights: Vec<Vec<f64>> = lanes.iter().map(|lane| vec![1.0; lane.light.len()]).collect();
    let first = linear(lanes, &away, &gains, &weights)?;
    regain(lanes, &away, &first, &mut gains);
    linear(lanes, &away, &gains, &weights).map(|linear| linear.cost)
}
