//! Where the axis of a thin round line lies across its image, by the light across it.
//!
//! The line is taken for a round rod a few pixels wide that hangs in light from all around. Its
//! light across is L (1 - m + m sqrt(1 - s^2) + k s), s from -1 to 1 over its width: as bright all
//! over (m = 0), darker to its edges (m = 1), and brighter on one side (k). Behind it lies a ground
//! of its own level and slope at every place, and the camera has blurred and sharpened both.
//! Width and shading hardly change along the line, so they are fitted for all places together; the
//! places' own offsets come after. Judging from the edges alone would move the axis to the brighter
//! side by a tenth of a pixel and more. A line with one flank as dark as its ground differs
//! from a narrower one next to it by its width alone, if at all: the fit starts from both readings,
//! and what other photos know of the width goes in as [`Width`].

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

use crate::math::lanes::{LANES, Lanes};
use crate::math::levenberg_marquardt::{Minimum, minimise};
use crate::math::robust::sigma_about_zero;

use super::line_strips::{Axis, Place, Strip, Width};

/// Parts into which the width is cut for the sum over it (our choice).
const PARTS: usize = 12;
/// Scale of a camera's sharpening, px: what is added is the difference to the picture blurred by so
/// much.
const SHARPENING_PX: f64 = 1.0;
/// Usual values and their spread: blur (logarithm), sharpening, roundness, skew and its change
/// along. From phone-like photos.
const USUAL: [(usize, f64, f64); 5] = [
    (BLUR, -0.8, 0.3),
    (SHARPEN, 0.5, 0.4),
    (ROUND, 0.5, 0.3),
    (SKEW, 0.0, 0.3),
    (SKEW + 1, 0.0, 0.15),
];
/// Noise of a pixel in linear light, in the dark and as a part of its brightness: a start; the
/// photo's own follows from the misfit.
const DARK_NOISE: f64 = 0.002;
const BRIGHT_NOISE: f64 = 0.02;
/// The misfit changes that noise by no more than this, times: smooth light has none, and a busy
/// ground is no noise.
const MISFIT: (f64, f64) = (0.3, 10.0);
/// Where the fit starts: skew, and offset in half-widths. Lit from one side, a line has two
/// readings.
const STARTS: [(f64, f64); 5] =
    [(0.0, 0.0), (-0.45, -0.4), (-0.45, 0.4), (0.45, -0.4), (0.45, 0.4)];
/// A line narrower than this, px, shows too little of its shading to tell two readings
/// apart: it is read as lit evenly.
pub const NARROW: f64 = 2.3;
/// Places and steps that tell which start is the right one, and steps of the fit from it (our
/// choice).
const PLACES_TO_CHOOSE: usize = 5;
const STEPS_TO_CHOOSE: usize = 6;
const MAX_STEPS: usize = 12;
/// Steps of the numerical derivatives: far above single precision, far below what matters.
const DELTA: f64 = 2e-3;

// Unknowns: logarithm of the half-width and its change along, logarithm of the blur, sharpening,
// roundness, skew and its change along, and the offset of the axis from the rough path: mean,
// slope, bend.
const WIDTH: usize = 0;
const BLUR: usize = 2;
const SHARPEN: usize = 3;
const ROUND: usize = 4;
const SKEW: usize = 5;
const OFFSET: usize = 7;
const N: usize = 10;

/// Fits all places together, then each place's own axis: None for a place that shows nothing. With
/// them goes the width that the light itself asks for, without what was known before. None when the
/// fit fails.
pub fn find_axis(places: &[&Place], known: &Width) -> Option<(Vec<Option<Axis>>, Width)> {
    let n: usize = places.iter().map(|place| place.strips.len()).sum();
    if n < 3 * N || !known.log_half.is_finite() {
        return None;
    }
    let each = places.len().div_ceil(PLACES_TO_CHOOSE);
    let few: Vec<&Place> = places.iter().copied().skip(each / 2).step_by(each).collect();
    let start = |(skew, offset): (f64, f64)| {
        let mut start = DVector::zeros(N);
        USUAL.iter().for_each(|&(i, value, _)| start[i] = value);
        start[WIDTH] = known.log_half;
        start[WIDTH + 1] = known.change;
        start[SKEW] = skew;
        start[OFFSET] = offset * known.log_half.exp();
        start
    };
    // The photo's own noise: what the plain start leaves.
    let plain = fit(&few, known, start(STARTS[0]), 1.0, STEPS_TO_CHOOSE)?;
    // A narrow line's shading is mostly the model's own error, and is weighed as such.
    let is_narrow = 2.0 * known.log_half.exp() < NARROW;
    let noise = if is_narrow { MISFIT.1 } else { misfit(&few, &plain.parameters) };
    let starts = if is_narrow { &STARTS[..1] } else { &STARTS[..] };
    let tried =
        starts.iter().filter_map(|&from| fit(&few, known, start(from), noise, STEPS_TO_CHOOSE));
    let best = tried.min_by(|a, b| a.cost.total_cmp(&b.cost))?;
    let minimum = fit(places, known, best.parameters, noise, MAX_STEPS)?;
    let width = own_width(&minimum, known)?;
    let p = minimum.parameters;
    Some((places.iter().map(|place| own_axis(place, &p, noise)).collect(), width))
}

/// How much larger than stated noise is, from what a fit leaves.
fn misfit(places: &[&Place], p: &DVector<f64>) -> f64 {
    let left: Vec<f64> = places
        .iter()
        .filter_map(|place| fit_light(place, &Local::at(p, place.along)))
        .flatten()
        .collect();
    sigma_about_zero(&left).unwrap_or(1.0).clamp(MISFIT.0, MISFIT.1)
}

/// The width that the light asks for: the fit's, freed of what went in.
fn own_width(minimum: &Minimum, known: &Width) -> Option<Width> {
    let covariance = minimum.covariance()?;
    let before = known.spread[0].powi(-2);
    let after = 1.0 / covariance[(WIDTH, WIDTH)];
    let own = (after - before).max(1e-3 * before);
    let log_half = (minimum.parameters[WIDTH] * after - known.log_half * before) / own;
    Some(Width {
        log_half,
        change: minimum.parameters[WIDTH + 1],
        spread: [own.powf(-0.5), known.spread[1]],
    })
}

/// Fits some places together. None when that comes to no finite end.
fn fit(
    places: &[&Place],
    known: &Width,
    start: DVector<f64>,
    noise: f64,
    steps: usize,
) -> Option<Minimum> {
    let known =
        [(WIDTH, known.log_half, known.spread[0]), (WIDTH + 1, known.change, known.spread[1])];
    let usual = || USUAL.iter().copied().chain(known);
    let n_all = places.iter().map(|place| place.strips.len()).sum::<usize>() + usual().count();
    let evaluate = |p: &DVector<f64>, out: &mut DVector<f64>, jacobian: &mut DMatrix<f64>| {
        let mut next = 0;
        for place in places {
            let here = Local::at(p, place.along);
            // A place whose ground is busy must not bend the others.
            let tamed_at = |local: &Local| {
                let fitted = fit_light(place, local);
                (0..place.strips.len())
                    .map(|i| fitted.as_ref().map_or(0.0, |f| tamed(f[i] / noise)))
                    .collect::<Vec<f64>>()
            };
            let base = tamed_at(&here);
            out.rows_mut(next, base.len()).copy_from_slice(&base);
            let t = place.along;
            for (k, columns) in Local::COLUMNS.iter().enumerate() {
                let mut moved = here;
                moved.0[k] += DELTA;
                for (i, (value, base)) in tamed_at(&moved).into_iter().zip(&base).enumerate() {
                    let slope = (value - base) / DELTA;
                    for (column, factor) in columns.iter().zip([1.0, t, 1.0 - t * t]) {
                        jacobian[(next + i, *column)] = slope * factor;
                    }
                }
            }
            next += base.len();
        }
        for (i, value, spread) in usual() {
            out[next] = (p[i] - value) / spread;
            jacobian.row_mut(next).fill(0.0);
            jacobian[(next, i)] = 1.0 / spread;
            next += 1;
        }
        p[WIDTH].abs() < 4.0 && p[BLUR].abs() < 4.0
    };
    let minimum = minimise(start, n_all, steps, evaluate);
    minimum.cost.is_finite().then_some(minimum)
}

/// The unknowns as they are at one place: logarithms of half-width and blur, sharpening, roundness,
/// skew, offset across.
#[derive(Clone, Copy, Debug)]
struct Local([f64; 6]);

impl Local {
    /// The unknowns on which each hangs: its mean, its change along, its bend.
    const COLUMNS: [&[usize]; 6] = [
        &[WIDTH, WIDTH + 1],
        &[BLUR],
        &[SHARPEN],
        &[ROUND],
        &[SKEW, SKEW + 1],
        &[OFFSET, OFFSET + 1, OFFSET + 2],
    ];

    fn at(p: &DVector<f64>, along: f64) -> Self {
        let basis = [1.0, along, 1.0 - along * along];
        Self(Self::COLUMNS.map(|columns| {
            columns.iter().zip(basis).map(|(column, factor)| p[*column] * factor).sum()
        }))
    }

    fn moved_to(mut self, across: f64) -> Self {
        self.0[5] = across;
        self
    }
}

/// Beyond a few standard deviations a residual counts less and less (our choice of three).
fn tamed(residual: f64) -> f64 {
    const BOUND: f64 = 3.0;
    BOUND * (residual / BOUND).atan()
}

/// The axis of one place with the shape of all: the least misfit, by a parabola through three
/// offsets.
fn own_axis(place: &Place, p: &DVector<f64>, noise: f64) -> Option<Axis> {
    let here = Local::at(p, place.along);
    let cost = |across: f64| {
        let fitted = fit_light(place, &here.moved_to(across))?;
        Some(fitted.iter().map(|r| tamed(*r / noise).powi(2)).sum::<f64>())
    };
    let Local([log_half, .., mut at]) = here;
    for step in [0.2, 0.1, 0.05, 0.05] {
        let (before, here, after) = (cost(at - step)?, cost(at)?, cost(at + step)?);
        let bend = before - 2.0 * here + after;
        at +=
            if bend > 0.0 { (0.5 * step * (before - after) / bend).clamp(-0.3, 0.3) } else { 0.0 };
    }
    Some(Axis { across: at, width: 2.0 * log_half.exp() })
}

/// Ground and line's own light of one place by least squares; residuals in sigma.
fn fit_light(place: &Place, local: &Local) -> Option<Vec<f64>> {
    let Local([log_half, log_blur, sharpen, round, skew, across]) = *local;
    let half = log_half.exp();
    let edges: Vec<f64> =
        (0..=PARTS).map(|i| half * (2.0 * i as f64 / PARTS as f64 - 1.0)).collect();
    let part = |i: usize| {
        let s = (2.0 * i as f64 + 1.0) / PARTS as f64 - 1.0;
        1.0 - round + round * (1.0 - s * s).sqrt() + skew * s
    };
    let parts: Vec<f64> = (0..PARTS).map(part).collect();
    let n = place.strips.len();
    let (mut cover, mut shade) = (vec![0.0; n], vec![0.0; n]);
    let blur = log_blur.exp();
    for (sigma, weight) in [(blur, 1.0 + sharpen), (blur.hypot(SHARPENING_PX), -sharpen)] {
        let scale = (std::f64::consts::FRAC_1_SQRT_2 / sigma) as f32;
        pulp::Arch::new().dispatch(
            #[inline(always)]
            || {
                for (chunk_idx, chunk) in place.strips.chunks(LANES).enumerate() {
                    let mut d = Lanes::ZERO;
                    d.0.iter_mut()
                        .zip(chunk)
                        .for_each(|(lane, strip)| *lane = strip.across - across as f32);
                    let (mut sum, mut before) = (Lanes::ZERO, below(d, edges[0], scale));
                    let first = before;
                    for (part, edge) in parts.iter().zip(&edges[1..]) {
                        let next = below(d, *edge, scale);
                        sum += (before - next) * *part as f32;
                        before = next;
                    }
                    let covered = first - before;
                    for i in 0..chunk.len() {
                        cover[chunk_idx * LANES + i] += weight * 0.5 * f64::from(covered[i]);
                        shade[chunk_idx * LANES + i] += weight * 0.5 * f64::from(sum[i]);
                    }
                }
            },
        );
    }
    let row = |i: usize| {
        let ground = 1.0 - cover[i];
        Vector3::new(ground, ground * (f64::from(place.strips[i].across) - across) / 5.0, shade[i])
    };
    let sigma = |strip: &Strip| {
        (DARK_NOISE + BRIGHT_NOISE * f64::from(strip.light).max(0.0))
            / f64::from(strip.count).max(1.0).sqrt()
    };
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for (i, strip) in place.strips.iter().enumerate() {
        let weight = sigma(strip).powi(-2);
        normal += row(i) * row(i).transpose() * weight;
        right += row(i) * (f64::from(strip.light) * weight);
    }
    // A little of the unit matrix: an empty strip of ground must not spoil the rest.
    let light = (normal + Matrix3::identity() * 1e-6).cholesky()?.solve(&right);
    // Sharpening takes more light from next to a bright line than is there.
    let misfit = |(i, strip): (usize, &Strip)| {
        (f64::from(strip.light) - row(i).dot(&light).max(0.0)) / sigma(strip)
    };
    Some(place.strips.iter().enumerate().map(misfit).collect())
}

/// How far a blurred edge has risen at each place d: from -1 before it to 1 behind it.
#[inline(always)]
fn below(d: Lanes, edge: f64, scale: f32) -> Lanes {
    ((d - edge as f32) * scale).erf_and_slope().0
}
