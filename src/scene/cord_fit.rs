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

use nalgebra::{DMatrix, DVector, SMatrix, SVector, Vector2};

use super::lane_light::{FineRay, LightView};

/// Spacing of the places on the paper whose light is told, mm, and how far from the lane's middle
/// they reach.
const PAPER_STEP: f64 = 0.5;
const PAPER_REACH: f64 = 14.0;
const N_PAPER: usize = (2.0 * PAPER_REACH / PAPER_STEP) as usize + 1;
/// Spacing of azimuths round the cord, radians: 18 degrees from 126 degrees on one side to the
/// other.
const AZIMUTH_STEP: f64 = std::f64::consts::PI / 10.0;
const N_AZIMUTH: usize = 15;
const N_LIGHT: usize = N_PAPER + N_AZIMUTH;
/// How much the bend (second difference) of the paper's and of the cord's light is expected to be;
/// the light is 1 on bare paper.
const PAPER_BEND: f64 = 0.25;
const CORD_BEND: f64 = 0.08;
/// By how much a photo's light may differ from the others' over the lane, evenly and from one side
/// to the other.
const UNEVEN: [f64; 2] = [0.03, 0.03];
/// What dull paper and cord, the lens's blur and the photo's sharpening are not described better
/// than.
const MODEL_NOISE: f64 = 0.008;
/// Residuals beyond this many standard deviations count less (Huber).
const BOUND: f64 = 2.5;
/// Points for each pixel at which the light is followed, and how many of them to either side its
/// blur reaches.
const FINE: usize = 4;
const TAPS: usize = 10;
/// Blur of the averaged profile besides the lens's: it is sampled between pixels and averaged over
/// one, px.
const OWN_BLUR: f64 = 0.45;
/// The unknowns that are not linear: y, z, radius, height of the paper over its card's pose (mm).
const N: usize = 4;
/// What they may change by at once, and the steps of their derivatives.
const MOST_STEP: [f64; N] = [0.35, 0.4, 0.15, 0.3];
const STEP: [f64; N] = [0.01, 0.01, 0.01, 0.02];
/// A cord's radius is never less, nor its clearance from the paper, mm.
const LEAST_RADIUS: f64 = 0.3;

/// One lane in one photo, on a fine grid.
#[derive(Clone, Debug)]
pub struct FineLane {
    /// Index among the lanes.
    pub lane: usize,
    rays: Vec<FineRay>,
    light: Vec<f64>,
    sigma: f64,
    /// Millimetres across the line of sight for each pixel.
    pub mm_per_px: f64,
    /// Weights of the fine points about a pixel.
    blur: Vec<f64>,
}

impl FineLane {
    /// None with too few samples.
    pub fn new(lane: usize, view: &LightView, noise: f64, blur_px: f64) -> Option<Self> {
        let (rays, light) = view.fine(FINE, TAPS)?;
        let sigma_px = blur_px.clamp(0.3, 3.0).hypot(OWN_BLUR) * FINE as f64;
        let weights: Vec<f64> = (0..=2 * TAPS)
            .map(|k| (-0.5 * ((k as f64 - TAPS as f64) / sigma_px).powi(2)).exp())
            .collect();
        let sum: f64 = weights.iter().sum();
        let across = |ray: &FineRay| ray.normal[0] * view.middle[1] - ray.offset;
        let mm_per_px = (across(rays.last()?) - across(rays.first()?)).abs() * FINE as f64
            / (rays.len() - 1) as f64;
        if !(mm_per_px > 1e-3) {
            return None;
        }
        Some(Self {
            lane,
            rays,
            light,
            sigma: noise.hypot(MODEL_NOISE),
            mm_per_px,
            blur: weights.iter().map(|w| w / sum).collect(),
        })
    }

    fn off(&self, fine: usize, place: &Place) -> f64 {
        let FineRay { normal, offset, .. } = self.rays[fine];
        normal[0] * place[0] + normal[1] * place[1] - offset
    }

    /// How far the middle of a cord there lies inside what is seen of the lane, radii; negative
    /// beyond its end.
    fn inside(&self, place: &Place) -> f64 {
        let (first, last) = (self.off(TAPS, place), self.off(self.rays.len() - 1 - TAPS, place));
        first.max(last).min(-first.min(last)) / place[2]
    }

    /// Pixel (counted from the first sample) at which the line of sight passes the cord's middle,
    /// which may lie beyond the lane's end.
    fn middle_px(&self, place: &Place) -> Option<f64> {
        let n = self.light.len();
        let at = |px: usize| self.off(TAPS + px * FINE, place);
        let crossed = (1..n).find(|&i| at(i - 1) * at(i) <= 0.0);
        let i = crossed.unwrap_or(if at(0).abs() < at(n - 1).abs() { 1 } else { n - 1 });
        let px = (i - 1) as f64 + at(i - 1) / (at(i - 1) - at(i));
        px.is_finite().then_some(px)
    }

    /// Rows of the linear model, one for each sample: index and factor of paper and cord light.
    fn rows(&self, place: &Place, shift: f64) -> Vec<Vec<(usize, f64)>> {
        let [_, _, radius, higher] = *place;
        let edge = self.mm_per_px / FINE as f64;
        let fine: Vec<[(usize, f64); 4]> = (0..self.rays.len())
            .map(|i| {
                let FineRay { azimuth, on_paper, per_mm_up, .. } = self.rays[i];
                let off = self.off(i, place) + shift;
                let covered = ((radius - off.abs()) / edge + 0.5).clamp(0.0, 1.0);
                let hat = |at: f64, n: usize, from: usize| {
                    let at = at.clamp(0.0, n as f64 - 1.001);
                    (from + at as usize, at.fract())
                };
                let (p, paper) =
                    hat((on_paper + per_mm_up * higher + PAPER_REACH) / PAPER_STEP, N_PAPER, 0);
                let turn = azimuth - (off / radius).clamp(-1.0, 1.0).asin();
                let (c, cord) =
                    hat(turn / AZIMUTH_STEP + (N_AZIMUTH - 1) as f64 / 2.0, N_AZIMUTH, N_PAPER);
                [
                    (p, (1.0 - covered) * (1.0 - paper)),
                    (p + 1, (1.0 - covered) * paper),
                    (c, covered * (1.0 - cord)),
                    (c + 1, covered * cord),
                ]
            })
            .collect();
        let mut dense = [0.0; N_LIGHT];
        (0..self.light.len())
            .map(|sample| {
                let mut touched: Vec<usize> = Vec::with_capacity(24);
                for (point, weight) in fine[sample * FINE..].iter().zip(&self.blur) {
                    for &(i, factor) in point.iter().filter(|(_, factor)| *factor > 0.0) {
                        if dense[i] == 0.0 {
                            touched.push(i);
                        }
                        dense[i] += factor * weight;
                    }
                }
                touched.into_iter().map(|i| (i, std::mem::take(&mut dense[i]))).collect()
            })
            .collect()
    }
}

/// y, z, radius and height of the paper, mm.
pub type Place = [f64; N];

/// What the light of one lane says about the cord's middle, given the group's place.
#[derive(Clone, Copy, Debug)]
pub struct LaneShift {
    pub lane: usize,
    /// Pixel, counted from the lane's first sample, at which the cord's middle is seen; and its
    /// standard uncertainty, px.
    pub px: f64,
    pub sigma: f64,
    /// Whether one edge tells it alone, the other lying beyond the lane.
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

struct Linear {
    residuals: Vec<f64>,
    cost: f64,
    values: DVector<f64>,
}

/// How the place is held: value and weight (1 / sigma^2) of each unknown.
pub type Held = [(f64, f64); N];

/// Solves for paper, cord and unevenness at a place. `gains` scale the lanes' light, `weights` are
/// the samples' (robust).
fn linear(
    lanes: &[FineLane],
    place: &Place,
    gains: &[f64],
    weights: &[Vec<f64>],
    shifts: Option<&mut Vec<(f64, f64)>>,
) -> Option<Linear> {
    let n_shift = if shifts.is_some() { lanes.len() } else { 0 };
    let n = N_LIGHT + 2 * lanes.len() + n_shift;
    let (mut normal, mut right) = (DMatrix::zeros(n, n), DVector::zeros(n));
    let bend = |normal: &mut DMatrix<f64>, from: usize, to: usize, sigma: f64| {
        let weight = sigma.powi(-2);
        for i in from + 1..to - 1 {
            for (a, fa) in [(i - 1, 1.0), (i, -2.0), (i + 1, 1.0)] {
                for (b, fb) in [(i - 1, 1.0), (i, -2.0), (i + 1, 1.0)] {
                    normal[(a, b)] += weight * fa * fb;
                }
            }
        }
    };
    bend(&mut normal, 0, N_PAPER, PAPER_BEND);
    bend(&mut normal, N_PAPER, N_LIGHT, CORD_BEND);
    for i in 0..N_LIGHT {
        normal[(i, i)] += 1e-3;
        right[i] += 1e-3 * 0.7;
    }
    for k in 0..lanes.len() {
        for (i, sigma) in UNEVEN.iter().enumerate() {
            normal[(N_LIGHT + 2 * k + i, N_LIGHT + 2 * k + i)] += sigma.powi(-2);
        }
    }
    let mut all_rows = Vec::with_capacity(lanes.len());
    for (k, lane) in lanes.iter().enumerate() {
        let mut rows = lane.rows(place, 0.0);
        let last = (lane.light.len() - 1).max(1) as f64;
        for (i, row) in rows.iter_mut().enumerate() {
            row.push((N_LIGHT + 2 * k, 1.0));
            row.push((N_LIGHT + 2 * k + 1, 2.0 * i as f64 / last - 1.0));
        }
        all_rows.push(rows);
    }
    let add = |normal: &mut DMatrix<f64>,
               right: &mut DVector<f64>,
               row: &[(usize, f64)],
               value: f64,
               weight: f64| {
        for &(a, fa) in row {
            right[a] += weight * fa * value;
            for &(b, fb) in row {
                normal[(b, a)] += weight * fa * fb;
            }
        }
    };
    for (k, lane) in lanes.iter().enumerate() {
        for (i, row) in all_rows[k].iter().enumerate() {
            let weight = weights[k][i] / (lane.sigma * lane.sigma);
            add(&mut normal, &mut right, row, lane.light[i] * gains[k], weight);
        }
    }
    let light_of = |row: &[(usize, f64)], values: &DVector<f64>| {
        row.iter().map(|(i, f)| f * values[*i]).sum::<f64>()
    };
    if let Some(shifts) = shifts {
        // Each lane's own sideways shift of the cord: its column is the change of the model's light
        // with it.
        let n_plain = N_LIGHT + 2 * lanes.len();
        let plain = normal
            .view((0, 0), (n_plain, n_plain))
            .into_owned()
            .cholesky()?
            .solve(&right.rows(0, n_plain).into_owned());
        for (k, lane) in lanes.iter().enumerate() {
            let [less, more] = [-1.0, 1.0].map(|s| lane.rows(place, s * SHIFT_STEP));
            for (i, row) in all_rows[k].iter_mut().enumerate() {
                let change =
                    (light_of(&more[i], &plain) - light_of(&less[i], &plain)) / (2.0 * SHIFT_STEP);
                let weight = weights[k][i] / (lane.sigma * lane.sigma);
                let at = n_plain + k;
                let value = lane.light[i] * gains[k];
                right[at] += weight * change * value;
                normal[(at, at)] += weight * change * change;
                for &(b, fb) in row.iter() {
                    normal[(b, at)] += weight * change * fb;
                    normal[(at, b)] += weight * change * fb;
                }
                row.push((at, change));
            }
            normal[(n_plain + k, n_plain + k)] += 1.0;
        }
        let factor = normal.cholesky()?;
        let values = factor.solve(&right);
        let inverse = factor.inverse();
        shifts.clear();
        shifts.extend(
            (0..lanes.len())
                .map(|k| (values[n_plain + k], inverse[(n_plain + k, n_plain + k)].sqrt())),
        );
        return Some(Linear { residuals: Vec::new(), cost: 0.0, values });
    }
    let values = normal.cholesky()?.solve(&right);
    let mut residuals = Vec::new();
    let mut cost = 0.0;
    for (k, lane) in lanes.iter().enumerate() {
        for (i, row) in all_rows[k].iter().enumerate() {
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

/// Step of the derivative by a lane's own shift, mm.
const SHIFT_STEP: f64 = 0.02;
/// A cord whose middle lies no farther inside the lane's end than this part of its radius shows one
/// edge alone; and what the radius leaves open then, mm.
const LONE: f64 = 0.8;
const LONE_SIGMA: f64 = 0.06;

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
    let mut here = linear(lanes, &place, &gains, &weights, None)?;
    for round in 0..rounds {
        if round < 3 {
            regain(lanes, &place, &here, &mut gains);
            reweigh(lanes, &here, &mut weights);
            here = linear(lanes, &place, &gains, &weights, None)?;
        }
        let squares = |l: &Linear| l.residuals.iter().map(|r| r * r).sum::<f64>();
        let now = squares(&here) + prior_cost(&place);
        let mut columns: Vec<Vec<f64>> = Vec::with_capacity(N);
        for i in 0..N {
            let mut moved = place;
            moved[i] += STEP[i];
            let there = linear(lanes, &moved, &gains, &weights, None)?;
            columns.push(
                there
                    .residuals
                    .iter()
                    .zip(&here.residuals)
                    .map(|(a, b)| (a - b) / STEP[i])
                    .collect(),
            );
        }
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
            let there = linear(lanes, &trial, &gains, &weights, None)?;
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
    let mut shifts = Vec::new();
    linear(lanes, &place, &gains, &weights, Some(&mut shifts))?;
    let shifts = lanes.iter().zip(shifts).filter_map(|(lane, (mm, sigma))| {
        let inside = lane.inside(&place);
        let px = (inside > -LONE).then(|| lane.middle_px(&place)).flatten()?;
        let lone = inside < LONE;
        let sigma =
            if lone { (sigma * scale.sqrt()).hypot(LONE_SIGMA) } else { sigma * scale.sqrt() };
        // Rows of samples rise or fall with the distance from the ray.
        let sign = (lane.off(lane.rays.len() - 1, &place) - lane.off(0, &place)).signum();
        Some(LaneShift {
            lane: lane.lane,
            px: px - sign * mm / lane.mm_per_px,
            sigma: sigma / lane.mm_per_px,
            lone,
        })
    });
    Some(GroupFit {
        place,
        covariance,
        cost: here.cost + prior_cost(&place),
        shifts: shifts.collect(),
    })
}

/// Brings the lanes' light to the common level that the model has for them.
fn regain(lanes: &[FineLane], place: &Place, here: &Linear, gains: &mut [f64]) {
    for (k, lane) in lanes.iter().enumerate() {
        let rows = lane.rows(place, 0.0);
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

/// A pixel between a lane's samples.
pub fn pixel_at(samples: &[[f64; 2]], px: f64) -> Option<Vector2<f64>> {
    let first = (px.max(0.0) as usize).min(samples.len().checked_sub(2)?);
    let (a, b) = (Vector2::from(samples[first]), Vector2::from(samples[first + 1]));
    Some(a + (b - a) * (px - first as f64))
}

/// What the light leaves unexplained where no cord is supposed at all.
pub fn cost_without(lanes: &[FineLane]) -> Option<f64> {
    let away = [1e4, 0.0, LEAST_RADIUS, 0.0];
    let mut gains = vec![1.0; lanes.len()];
    let weights: Vec<Vec<f64>> = lanes.iter().map(|lane| vec![1.0; lane.light.len()]).collect();
    let first = linear(lanes, &away, &gains, &weights, None)?;
    regain(lanes, &away, &first, &mut gains);
    linear(lanes, &away, &gains, &weights, None).map(|linear| linear.cost)
}
