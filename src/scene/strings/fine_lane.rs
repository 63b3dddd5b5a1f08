//! One card's light on a grid finer than pixels, and what of it lies inside a cord.

use crate::math::px_mm::{Mm, MmPerPx, Px};

use super::lane_light::{FineRay, LightView};

/// The unknowns that are not linear: y, z, radius, height of the paper over its card's pose (mm).
pub const N: usize = 4;

/// What dull paper and cord, the lens's blur and the photo's sharpening are not described better
/// than.
pub const MODEL_NOISE: f64 = 0.008;
/// y, z, radius and height of the paper, mm.
pub type Place = [f64; N];

/// Spacing of the places on the paper whose light is estimated, mm, and how far from the lane's
/// middle they reach (our choice).
const PAPER_STEP: f64 = 0.5;
const PAPER_REACH: f64 = 14.0;
pub const N_PAPER: usize = (2.0 * PAPER_REACH / PAPER_STEP) as usize + 1;
/// Spacing of azimuths round the cord, radians: 18 degrees from 126 degrees on one side to the
/// other.
const AZIMUTH_STEP: f64 = std::f64::consts::PI / 10.0;
const N_AZIMUTH: usize = 15;
pub const N_LIGHT: usize = N_PAPER + N_AZIMUTH;

/// Points for each pixel at which the light is followed, and how many of them to either side its
/// blur reaches.
const FINE: usize = 4;
const TAPS: usize = 10;
/// Blur of the averaged profile besides the lens's: it is sampled between pixels and averaged over
/// one, px.
const OWN_BLUR: f64 = 0.45;

/// One lane in one photo, on a fine grid.
#[derive(Clone, Debug)]
pub struct FineLane {
    /// Index among the lanes.
    pub lane: usize,
    pub rays: Vec<FineRay>,
    pub light: Vec<f64>,
    /// Standard deviation of the light, in parts of bare paper's.
    pub sigma: f64,
    /// Across the line of sight.
    pub scale: MmPerPx,
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
            scale: MmPerPx(mm_per_px),
            blur: weights.iter().map(|w| w / sum).collect(),
        })
    }

    /// Distance of a cord's middle from a fine line of sight, + along its normal, mm.
    pub fn off(&self, fine: usize, place: &Place) -> f64 {
        let FineRay { normal, offset, .. } = self.rays[fine];
        normal[0] * place[0] + normal[1] * place[1] - offset
    }

    /// How far the middle of a cord there lies inside what is seen of the lane, radii; negative
    /// beyond its end.
    pub fn inside(&self, place: &Place) -> f64 {
        let (first, last) = (self.off(TAPS, place), self.off(self.rays.len() - 1 - TAPS, place));
        first.max(last).min(-first.min(last)) / place[2]
    }

    /// Pixel (counted from the first sample) at which the line of sight passes the cord's middle,
    /// which may lie beyond the lane's end.
    pub fn middle(&self, place: &Place) -> Option<Px> {
        let n = self.light.len();
        let at = |px: usize| self.off(TAPS + px * FINE, place);
        let crossed = (1..n).find(|&i| at(i - 1) * at(i) <= 0.0);
        let i = crossed.unwrap_or(if at(0).abs() < at(n - 1).abs() { 1 } else { n - 1 });
        let px = (i - 1) as f64 + at(i - 1) / (at(i - 1) - at(i));
        px.is_finite().then_some(Px(px))
    }

    /// Rows of the linear model, one for each sample: index and factor of paper and cord light,
    /// with the cord shifted sideways in this lane alone.
    pub fn rows(&self, place: &Place, shift: Mm) -> Vec<Vec<(usize, f64)>> {
        let [_, _, radius, higher] = *place;
        let edge = self.scale.0 / FINE as f64;
        let fine: Vec<[(usize, f64); 4]> = (0..self.rays.len())
            .map(|i| {
                let FineRay { azimuth, on_paper, per_mm_up, .. } = self.rays[i];
                let off = self.off(i, place) + shift.0;
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
