//! Whether what was fitted is an X-corner, and how well it is known.

use crate::math::lanes::LANES;
use crate::math::solve::Cholesky;
use crate::sightings::corner_window::Window;
use crate::sightings::noise::Noise;

use super::corner::CornerFit;
use super::corner_fit::is_contrasty;
use super::corner_model::{Model, Normal, Problem, Vector};

/// Largest rms residual as a part of the contrast: sharpened photos leave up to 0.15, a cord or
/// tube across the window more.
const MAX_RESIDUAL: f64 = 0.22;
/// The same in a grainy photo: in units of its noise, and at most as a part of the contrast.
const MAX_RESIDUAL_OF_NOISE: f64 = 1.6;
const MAX_NOISY_RESIDUAL: f64 = 0.8;
/// Largest uncertainty of the position, px: a corner known worse is no help and is mostly
/// something else.
const MAX_SIGMA_PX: f64 = 0.5;
/// Largest turn of an edge against the lattice, radians. In the shared sets 99 % stay below 0.16 in
/// windows of a few pixels and below 0.05 in larger ones.
const MAX_TURN: f64 = 0.25;
/// Largest mean residual of one of sixteen sectors as a part of the contrast: what may be uneven,
/// and what noise may add to the mean of one pixel (four times the noise of bright pixels in the
/// shared sets). Beyond it the cells' levels are not those of a chequer.
const MAX_SECTOR_RESIDUAL: f64 = 0.04;
const MAX_SECTOR_NOISE: f64 = 0.6;
/// What noise may add in a grainy photo, in units of its own (our choice).
const MAX_SECTOR_OF_NOISE: f64 = 4.0;

impl Problem {
    /// Whether what was fitted is an X-corner, and how well it is known.
    pub(super) fn judge(
        &self,
        model: &Model,
        normal: &Normal,
        window: &Window,
        noise: &Noise,
    ) -> Option<CornerFit> {
        let contrast = 2.0 * model.half;
        let edges = self.edges(model, window);
        let correlation = self.correlation(model).0;
        let (mean, half) = (model.mean as f32, (self.polarity * model.half) as f32);
        let mut squares = 0.0;
        // Sum of residuals and of weights in each sector: four quadrants, each halved between its
        // edges, inside and outside.
        let mut sectors = [[0.0; 2]; 16];
        let inside = (window.n / (2.0 * std::f64::consts::PI)) as f32;
        pulp::Arch::new().dispatch(
            #[inline(always)]
            || {
                for bundle in &window.bundles {
                    let (value0, slope0, across0, _) = edges[0].step(bundle);
                    let (value1, slope1, across1, _) = edges[1].step(bundle);
                    let shape = value0 * value1 + slope0 * slope1 * (0.5 * correlation);
                    let residuals = bundle.value - shape * half - mean;
                    let outer = bundle.u * bundle.u + bundle.v * bundle.v - inside;
                    let nearer = across0.abs() - across1.abs();
                    for lane in 0..LANES {
                        let (residual, weight) =
                            (f64::from(residuals[lane]), f64::from(bundle.weight[lane]));
                        squares += weight * residual * residual;
                        let which = [outer[lane], nearer[lane], across0[lane], across1[lane]];
                        let sector = &mut sectors
                            [which.iter().fold(0, |index, &x| 2 * index + usize::from(x > 0.0))];
                        sector[0] += weight * residual;
                        sector[1] += weight;
                    }
                }
            },
        );
        // Position and levels are counted; angles and blur are partly determined by their priors.
        let freedom = (window.n - 4.0).max(1.0);
        let residual = (squares / freedom).sqrt() / contrast;
        let noise = f64::from(noise.at((model.mean + model.half.abs()) as f32)) / contrast;
        let max_residual =
            MAX_RESIDUAL.max((MAX_RESIDUAL_OF_NOISE * noise).min(MAX_NOISY_RESIDUAL));
        let sector_noise = MAX_SECTOR_NOISE.max(MAX_SECTOR_OF_NOISE * noise);
        let uneven = sectors.iter().any(|&[sum, n]| {
            let allowed = MAX_SECTOR_RESIDUAL + sector_noise / n.max(1.0).sqrt();
            sum.abs() > allowed * contrast * n.max(1.0)
        });
        let turned = (0..2).any(|i| (model.angles[i] - self.prior.angles[i]).abs() > MAX_TURN);
        let clean =
            is_contrasty(contrast, model.mean) && residual <= max_residual && !uneven && !turned;
        if !clean {
            return None;
        }
        // The noise was measured on flat ground; what the edges leave beyond it widens the
        // covariance, nothing narrows it.
        let scale = (normal.cost / freedom).max(1.0);
        let factors = Cholesky::new(&normal.matrix)?;
        let column = |i: usize| {
            factors.solve(&Vector::from_fn(|line, _| if line == i { scale } else { 0.0 }))
        };
        let (first, second) = (column(0), column(1));
        let cov = [first[0], first[1], second[1]];
        let known = cov[0] + cov[2] <= MAX_SIGMA_PX * MAX_SIGMA_PX;
        known.then(|| CornerFit {
            at: model.at,
            cov,
            blur: model.log_blur.exp(),
            contrast,
            residual,
        })
    }
}
