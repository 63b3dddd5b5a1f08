//! How grainy a photo is: the noise of its pixels, measured by brightness in the photo itself.
//!
//! A phone indoors has next to none, one at dusk has a third of a tab's contrast. Limits on what is
//! a corner and what is a cell are judged relative to it; a threshold that is right for one photo
//! is wrong for the next.

use crate::photo::LinearImage;

/// Classes of brightness, equally wide in its square root: shot noise is then about equally strong
/// in all.
const N_CLASSES: usize = 16;
/// One pixel is looked at in this many rows and columns: a quarter of a million in 8 megapixels.
const ROW_STEP: usize = 8;
const COL_STEP: usize = 4;
/// Distance of the two neighbours a pixel is compared with: farther than demosaicing and
/// compression tie pixels together.
const REACH: usize = 2;
/// The quantile of the differences that is taken for noise, and its value for a normal variable of
/// unit variance: the smooth part of a photo is more than a third of it, whatever texture and edges
/// do to the rest.
const QUANTILE: f64 = 0.3;
const QUANTILE_OF_NORMAL: f64 = 0.385;
/// Classes below a sixteenth of full white, where quantisation counts for more than light.
const DARK_CLASSES: usize = 4;
/// Fewest pixels in a class; classes with fewer take after their neighbours (our choice).
const MIN_PIXELS: usize = 200;

/// Noise of a pixel (one standard deviation, linear light) by its brightness.
#[derive(Clone, Debug, PartialEq)]
pub struct Noise {
    sigma: [f32; N_CLASSES],
}

impl Noise {
    /// A photo without any.
    pub const NONE: Self = Self { sigma: [0.0; N_CLASSES] };

    /// Measures a photo's noise.
    pub fn of(image: &LinearImage) -> Self {
        Self::of_pixels(image.width(), image.data())
    }

    /// The same of row-major pixels.
    pub fn of_pixels(width: usize, data: &[f32]) -> Self {
        let mut steps: [Vec<f32>; N_CLASSES] = std::array::from_fn(|_| Vec::new());
        for row in data.chunks_exact(width.max(1)).step_by(ROW_STEP) {
            for u in (REACH..row.len().saturating_sub(REACH)).step_by(COL_STEP) {
                let [before, here, after] = [row[u - REACH], row[u], row[u + REACH]];
                steps[class((before + here + after) / 3.0)]
                    .push((before + after - 2.0 * here).abs());
            }
        }
        let measured = steps.map(|mut steps| {
            (steps.len() >= MIN_PIXELS).then(|| {
                let at = (QUANTILE * steps.len() as f64) as usize;
                let (_, step, _) = steps.select_nth_unstable_by(at, f32::total_cmp);
                // The second difference of independent pixels has six times the variance of one.
                *step / (QUANTILE_OF_NORMAL * 6.0_f64.sqrt()) as f32
            })
        });
        let nearest = |class: usize| {
            let known = (0..N_CLASSES)
                .filter_map(|other| measured[other].map(|sigma| (other.abs_diff(class), sigma)));
            known.min_by_key(|&(distance, _)| distance).map_or(0.0, |(_, sigma)| sigma)
        };
        Self { sigma: std::array::from_fn(nearest) }
    }

    /// Noise of a pixel of this brightness, linear light.
    pub fn at(&self, brightness: f32) -> f32 {
        self.sigma[class(brightness)]
    }

    /// Noise of bright pixels relative to their brightness.
    pub fn relative(&self) -> f32 {
        self.middle_of_bright(|sigma, brightness| sigma / brightness)
    }

    /// Variance of bright pixels for each unit of brightness: where grain shows it is shot noise
    /// above all, and this about constant.
    pub fn variance_per_light(&self) -> f32 {
        self.middle_of_bright(|sigma, brightness| sigma * sigma / brightness)
    }

    /// Median over all but the darkest classes.
    fn middle_of_bright(&self, of: impl Fn(f32, f32) -> f32) -> f32 {
        let brightness = |class: usize| ((class as f32 + 0.5) / N_CLASSES as f32).powi(2);
        let mut all: Vec<f32> = (DARK_CLASSES..N_CLASSES)
            .map(|class| of(self.sigma[class], brightness(class)))
            .collect();
        all.sort_by(f32::total_cmp);
        all[all.len() / 2]
    }
}

fn class(brightness: f32) -> usize {
    ((brightness.max(0.0).sqrt() * N_CLASSES as f32) as usize).min(N_CLASSES - 1)
}
