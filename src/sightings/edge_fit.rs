//! One edge of a cord or line: a blurred step fitted to the pixels of a narrow box, on linear
//! light.
//!
//! The model is (1 - A) (i0 + i1 q) + A (o0 + o1 q) with q = d - p and A = (1 + erf(q / (sqrt 2
//! b))) / 2: two levels that may slope, and a step at p blurred by b. Linear light matters: on
//! tone-curved values the step's middle lies up to 0.9 px off.

use nalgebra::{SMatrix, SVector};

use crate::math::lanes::{LANES, Lanes};

/// Slopes of the levels that are usual, as a part of the brighter level for each px: a round cord's
/// shading, a shadow's rim.
const USUAL_SLOPE: f64 = 0.08;
/// Noise of a pixel: on dark ground, and what a bright level adds to it as a part of itself
/// (measured on the sharpened photos of the shared sets). Only their ratio matters: the residuals
/// tell the scale.
pub(super) const DARK_NOISE: f64 = 0.02;
pub(super) const BRIGHT_NOISE: f64 = 0.2;
/// Least scale of the noise against the above: photos of this kind are never ten times cleaner.
const MIN_NOISE_SCALE: f64 = 0.1;
/// Width of the prior on the logarithm of the blur where it is free (our choice: a factor of two).
const LOG_BLUR_WIDTH: f64 = 0.7;
const MAX_ITERATIONS: usize = 12;
/// Step below which the fit has converged, px: far below the noise of any one station.
const CONVERGED_PX: f64 = 1e-3;
/// Fewest pixels for the five unknowns.
const MIN_PIXELS: usize = 12;

/// A pixel of the box: how far outward it lies from where the edge is expected (px), and its linear
/// light.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
    pub outward: f32,
    pub value: f32,
}

/// How an edge is to be fitted.
#[derive(Clone, Copy, Debug)]
pub struct EdgeTask {
    /// Pixels are used from this far inside to this far outside of the expected place, px.
    pub inside: f64,
    pub outside: f64,
    /// Blur, px, and whether it may change.
    pub blur: f64,
    pub free_blur: bool,
}

/// A fitted edge.
#[derive(Clone, Copy, Debug)]
pub struct Edge {
    /// Outward from the expected place, px.
    pub at: f64,
    /// Standard uncertainty of `at` from the residuals, px.
    pub sigma: f64,
    /// Linear light on either side at the edge.
    pub inner: f64,
    pub outer: f64,
    pub blur: f64,
    /// Root mean square residual against the usual noise.
    pub noise: f64,
}

impl Edge {
    /// Height of the step: positive when it is brighter outside.
    pub fn step(&self) -> f64 {
        self.outer - self.inner
    }
}

/// Unknowns: place, logarithm of the blur, inner level and slope, outer level and slope.
const N: usize = 6;

/// Fits the edge nearest to the expected place; None when nothing converges inside the box or the
/// box is too empty.
pub fn fit_edge(samples: &[Sample], task: &EdgeTask) -> Option<Edge> {
    let window =
        |s: &&Sample| f64::from(s.outward) > -task.inside && f64::from(s.outward) < task.outside;
    let used: Vec<Sample> = samples.iter().filter(window).copied().collect();
    if used.len() < MIN_PIXELS {
        return None;
    }
    let bundles = bundles(&used);
    let mean = |outside: bool| {
        let side = used.iter().filter(|s| (s.outward > 0.0) == outside).map(|s| f64::from(s.value));
        let (n, sum) = side.fold((0.0, 0.0), |(n, sum), value| (n + 1.0, sum + value));
        (n > 2.0).then(|| sum / n)
    };
    let (inner, outer) = (mean(false)?, mean(true)?);
    let mut p = SVector::<f64, N>::from([0.0, task.blur.ln(), inner, 0.0, outer, 0.0]);
    let slope_weight = (USUAL_SLOPE * inner.max(outer).max(0.01)).powi(-2);
    let blur_weight = if task.free_blur { LOG_BLUR_WIDTH.powi(-2) } else { 1e9 };
    let mut last = None;
    for _ in 0..MAX_ITERATIONS {
        let (mut matrix, mut gradient, squares, n) = normal(&bundles, &p);
        for (i, usual, weight) in
            [(1, task.blur.ln(), blur_weight), (3, 0.0, slope_weight), (5, 0.0, slope_weight)]
        {
            matrix[(i, i)] += weight;
            gradient[i] += weight * (usual - p[i]);
        }
        let step = matrix.cholesky()?.solve(&gradient);
        last = Some((matrix, squares / (n - 4.0).max(1.0)));
        // The step is far from linear in place and blur: neither may run away at once.
        p[0] += step[0].clamp(-0.5, 0.5);
        p[1] += step[1].clamp(-0.5, 0.5);
        for i in 2..N {
            p[i] += step[i];
        }
        let inside = p[0] > 0.5 - task.inside && p[0] < task.outside - 0.3;
        if !inside {
            return None;
        }
        if step[0].abs() < CONVERGED_PX {
            break;
        }
    }
    let (matrix, variance) = last?;
    let variance = variance.max(MIN_NOISE_SCALE * MIN_NOISE_SCALE);
    let sigma = (matrix.try_inverse()?[(0, 0)] * variance).sqrt();
    let edge = Edge {
        at: p[0],
        sigma,
        inner: p[2],
        outer: p[4],
        blur: p[1].exp(),
        noise: variance.sqrt(),
    };
    (sigma.is_finite() && sigma > 0.0).then_some(edge)
}

struct Bundle {
    outward: Lanes,
    value: Lanes,
    weight: Lanes,
}

fn bundles(samples: &[Sample]) -> Vec<Bundle> {
    let column = |chunk: &[Sample], of: fn(&Sample) -> f32| {
        let mut lanes = Lanes::ZERO;
        lanes.0.iter_mut().zip(chunk).for_each(|(lane, sample)| *lane = of(sample));
        lanes
    };
    let bundle = |chunk: &[Sample]| Bundle {
        outward: column(chunk, |s| s.outward),
        value: column(chunk, |s| s.value),
        weight: column(chunk, |_| 1.0),
    };
    samples.chunks(LANES).map(bundle).collect()
}

/// The normal equations at `p`, the sum of weighted squares and the number of pixels.
fn normal(
    bundles: &[Bundle],
    p: &SVector<f64, N>,
) -> (SMatrix<f64, N, N>, SVector<f64, N>, f64, f64) {
    let (sums, n) = pulp::Arch::new().dispatch(Sums { bundles, p });
    let mut totals = sums.iter().map(|lanes| f64::from(lanes.sum()));
    let mut matrix = SMatrix::zeros();
    let mut gradient = SVector::zeros();
    for left in 0..N {
        for right in left..N {
            let total = totals.next().unwrap_or(0.0);
            matrix[(left, right)] = total;
            matrix[(right, left)] = total;
        }
        gradient[left] = totals.next().unwrap_or(0.0);
    }
    (matrix, gradient, totals.next().unwrap_or(0.0), f64::from(n.sum()))
}

/// Sums over the pixels of the products of derivatives and residual with each other, and the number
/// of pixels, compiled for the registers that the processor has.
struct Sums<'a> {
    bundles: &'a [Bundle],
    p: &'a SVector<f64, N>,
}

impl pulp::NullaryFnOnce for Sums<'_> {
    type Output = ([Lanes; (N + 1) * (N + 2) / 2], Lanes);

    #[inline(always)]
    fn call(self) -> Self::Output {
        let single = |i: usize| Lanes::splat(self.p[i] as f32);
        let (place, inner, inner_slope, outer, outer_slope) =
            (single(0), single(2), single(3), single(4), single(5));
        let scale = std::f32::consts::FRAC_1_SQRT_2 / self.p[1].exp() as f32;
        let mut sums = [Lanes::ZERO; (N + 1) * (N + 2) / 2];
        let mut n = Lanes::ZERO;
        for bundle in self.bundles {
            let q = bundle.outward - place;
            let (erf, slope) = (q * scale).erf_and_slope();
            let part = (erf + 1.0) * 0.5;
            let rest = Lanes::ONE - part;
            let (inside, outside) = (inner + inner_slope * q, outer + outer_slope * q);
            let model = rest * inside + part * outside;
            let jump = (outside - inside) * slope * (0.5 * scale);
            // The noise follows the model's level, not the pixel's own: that would favour pixels
            // that noise has made dark.
            let noise = model.max(0.0) * BRIGHT_NOISE as f32 + DARK_NOISE as f32;
            let weight = bundle.weight / (noise * noise);
            let columns = [
                -(jump + rest * inner_slope + part * outer_slope),
                -(jump * q),
                rest,
                rest * q,
                part,
                part * q,
                bundle.value - model,
            ];
            let mut product = 0;
            for left in 0..=N {
                let weighted = weight * columns[left];
                for &right in &columns[left..] {
                    sums[product] += weighted * right;
                    product += 1;
                }
            }
            n += bundle.weight;
        }
        (sums, n)
    }
}
