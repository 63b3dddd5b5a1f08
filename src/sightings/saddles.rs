//! Saddle points of brightness: the places where an X-corner may be.
//!
//! An X-corner is a saddle whatever the angle of its edges: the Hessian of the smoothed brightness
//! has one positive and one negative eigenvalue, of about equal size. The strength here is the
//! square root of minus its determinant, taken relative to the local brightness, so that a shadow
//! or a short exposure changes nothing.

use super::noise::Noise;
use super::pyramid::Level;

/// Least strength of a saddle relative to the local brightness, per px^2. A blurred X-corner (blur
/// 0.8 px, edges 38 degrees apart, as at 70 degrees of tilt) whose bright cells are 1.7 times as
/// bright as its dark ones reaches this. Twelve-fold contrast is usual on paper, and on photos of a
/// bench nothing is lost up to 0.09; the noise of dark areas passes at 0.02.
const MIN_STRENGTH: f32 = 0.06;
/// Least strength in units of the noise of the level's pixels: it leaves half of the saddles that
/// grain alone makes and all of the corners that could be read in the grainiest of the shared sets.
const MIN_STRENGTH_OF_NOISE: f32 = 0.45;
/// Added to the local brightness (linear light), so that the noise of black areas is not strong.
const BLACK: f32 = 0.004;
/// Largest trace of the Hessian relative to twice the strength. An ideal X-corner has no trace;
/// blobs and ridges have much.
const MAX_TRACE: f32 = 0.7;
/// Farthest (px) that the stationary point of the brightness may lie from the pixel with the
/// strongest saddle (our choice).
const MAX_SHIFT: f32 = 1.5;
/// Rows kept of each stage while the image streams through.
const RING: usize = 8;

/// A saddle, in the pixels of its level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Saddle {
    pub at: [f64; 2],
}

/// The rows in flight: five are blurred along the row, then down the columns; three of those make
/// one row of strengths.
struct Rows {
    blurred: [Vec<f32>; RING],
    smooth: [Vec<f32>; RING],
    strength: [Vec<f32>; RING],
}

/// All saddles of a level that are strong enough, row by row.
pub fn find_saddles(level: &Level) -> Vec<Saddle> {
    if level.width < 16 || level.height < 16 {
        return Vec::new();
    }
    let noise = MIN_STRENGTH_OF_NOISE.powi(2)
        * Noise::of_pixels(level.width, &level.data).variance_per_light();
    pulp::Arch::new().dispatch(Search { level, noise })
}

/// A search through a level, compiled for the registers that the processor has: the same bits in
/// half the time with 256 bits.
struct Search<'a> {
    level: &'a Level<'a>,
    noise: f32,
}

impl pulp::NullaryFnOnce for Search<'_> {
    type Output = Vec<Saddle>;

    #[inline(always)]
    fn call(self) -> Vec<Saddle> {
        let Self { level, noise } = self;
        let mut found = Vec::new();
        let empty = || std::array::from_fn(|_| vec![0.0_f32; level.width]);
        let mut rows = Rows { blurred: empty(), smooth: empty(), strength: empty() };
        for v in 0..level.height {
            blur_along(level.row(v), &mut rows.blurred[v % RING]);
            if v < 4 {
                continue;
            }
            let row = |back: usize| rows.blurred[(v - back) % RING].as_slice();
            blur_down([row(4), row(3), row(2), row(1), row(0)], &mut rows.smooth[(v - 2) % RING]);
            if v < 6 {
                continue;
            }
            let row = |back: usize| &rows.smooth[(v - back) % RING];
            strengths([row(4), row(3), row(2)], noise, &mut rows.strength[(v - 3) % RING]);
            if v < 8 {
                continue;
            }
            peaks(&rows, v - 4, &mut found);
        }
        found
    }
}

/// The binomial 1 4 6 4 1 (a blur of 1 px) along a row; the outer two pixels stay as they were.
#[inline(always)]
pub(super) fn blur_along(row: &[f32], out: &mut [f32]) {
    let n = row.len() - 4;
    let (a, b, c, d, e) =
        (&row[..n], &row[1..n + 1], &row[2..n + 2], &row[3..n + 3], &row[4..n + 4]);
    for (i, out) in out[2..n + 2].iter_mut().enumerate() {
        *out = ((a[i] + e[i]) + 4.0 * (b[i] + d[i]) + 6.0 * c[i]) * (1.0 / 16.0);
    }
}

/// The same blur down the columns.
#[inline(always)]
pub(super) fn blur_down(rows: [&[f32]; 5], out: &mut [f32]) {
    let n = out.len();
    let [a, b, c, d, e] = rows.map(|row| &row[..n]);
    for (i, out) in out.iter_mut().enumerate() {
        *out = ((a[i] + e[i]) + 4.0 * (b[i] + d[i]) + 6.0 * c[i]) * (1.0 / 16.0);
    }
}

/// Minus the determinant of the Hessian where it is large enough relative to the brightness and to
/// `noise` (the square of the least strength for each unit of brightness), else 0.
#[inline(always)]
fn strengths(rows: [&Vec<f32>; 3], noise: f32, out: &mut [f32]) {
    let n = out.len() - 2;
    let [above, here, below] = rows.map(|row| &row[..n + 2]);
    let (al, ac, ar) = (&above[..n], &above[1..n + 1], &above[2..n + 2]);
    let (hl, hc, hr) = (&here[..n], &here[1..n + 1], &here[2..n + 2]);
    let (bl, bc, br) = (&below[..n], &below[1..n + 1], &below[2..n + 2]);
    for (i, out) in out[1..n + 1].iter_mut().enumerate() {
        let centre = hc[i];
        let xx = (hl[i] + hr[i]) - 2.0 * centre;
        let yy = (ac[i] + bc[i]) - 2.0 * centre;
        let xy = 0.25 * ((al[i] + br[i]) - (ar[i] + bl[i]));
        let saddle = xy * xy - xx * yy;
        let least = MIN_STRENGTH * (centre + BLACK);
        *out = if saddle > (least * least).max(noise * centre) { saddle } else { 0.0 };
    }
}

/// Local maxima of strength in row `v`.
#[inline(always)]
fn peaks(rows: &Rows, v: usize, found: &mut Vec<Saddle>) {
    let [above, here, below] = [v - 1, v, v + 1].map(|v| &rows.strength[v % RING]);
    let width = here.len();
    // The outer pixels hold what the blur could not reach.
    let (first, last) = (5, width - 5);
    let mut u = first;
    while u < last {
        // Most of a photo has no saddle: many pixels at a time are passed over. Strengths are never
        // negative.
        if u + 16 <= last
            && here[u..u + 16].iter().fold(0, |bits, strength| bits | strength.to_bits()) == 0
        {
            u += 16;
            continue;
        }
        let value = here[u];
        let is_peak = value > 0.0
            && value >= here[u + 1]
            && value > here[u - 1]
            && above[u - 1..=u + 1].iter().all(|&other| value > other)
            && below[u - 1..=u + 1].iter().all(|&other| value >= other);
        if is_peak && let Some(saddle) = stationary_point(rows, u, v) {
            found.push(saddle);
        }
        u += 1;
    }
}

/// Where the gradient vanishes near a pixel, if the brightness is a saddle there.
fn stationary_point(rows: &Rows, u: usize, v: usize) -> Option<Saddle> {
    let [above, here, below] = [v - 1, v, v + 1].map(|v| &rows.smooth[v % RING][u - 1..=u + 1]);
    let xx = here[0] + here[2] - 2.0 * here[1];
    let yy = above[1] + below[1] - 2.0 * here[1];
    let xy = 0.25 * (above[0] + below[2] - above[2] - below[0]);
    let (gx, gy) = (0.5 * (here[2] - here[0]), 0.5 * (below[1] - above[1]));
    let determinant = xx * yy - xy * xy;
    let strength = (-determinant).max(0.0).sqrt();
    let balanced = (xx + yy).abs() <= MAX_TRACE * 2.0 * strength;
    if !balanced {
        return None;
    }
    let (du, dv) = ((xy * gy - yy * gx) / determinant, (xy * gx - xx * gy) / determinant);
    (du.abs() <= MAX_SHIFT && dv.abs() <= MAX_SHIFT)
        .then(|| Saddle { at: [u as f64 + f64::from(du), v as f64 + f64::from(dv)] })
}
