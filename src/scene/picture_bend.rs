//! How a lens bends straight lines in one photo, told by that photo's own cards: a flat grid must look flat.
//!
//! A place at r half diagonals from the picture's middle is put to r (1 + a r^2 + b r^4): the two terms that a phone's lens shows
//! (Brown 1971, radial part, the other way round). a and b are those for which a plane-to-picture map (homography) fits every
//! card's corners best. That is no calibration: it says nothing of the focal length, and serves for straightness alone.

use nalgebra::{DVector, Matrix2, Vector2};

use crate::camera::start::{homography, map};
use crate::cards::Pattern;
use crate::math::levenberg::minimise;
use crate::sightings::PhotoSightings;

/// What a and b are taken to be before anything is seen (standard deviation): at the picture's corner phones bend by some per cent.
const USUAL_BEND: f64 = 0.1;
/// Corners of a card that are used at most, spread evenly: more of them only repeat the same bend.
const CORNERS_PER_CARD: usize = 80;
/// Cards with fewer corners tell no bend: four fix the map itself.
const LEAST_CORNERS: usize = 20;
/// The residuals' own scatter understates what is wrong with paper that bows; a factor on the standard deviation (our estimate).
const PAPER_FACTOR: f64 = 2.0;

/// The bend of one photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PictureBend {
    /// Middle of the picture and half of its diagonal, px.
    middle: Vector2<f64>,
    unit: f64,
    pub a: f64,
    pub b: f64,
    /// Covariance of a and b.
    pub cov: Matrix2<f64>,
}

impl PictureBend {
    /// The bend of a photo of this size (px). With too few corners the usual bend's width stands as uncertainty.
    pub fn of(sightings: &PhotoSightings, width: usize, height: usize) -> Self {
        let (w, h) = (width as f64, height as f64);
        let none = Self {
            middle: Vector2::new((w - 1.0) / 2.0, (h - 1.0) / 2.0),
            unit: (w.hypot(h) / 2.0).max(1.0),
            a: 0.0,
            b: 0.0,
            cov: Matrix2::identity() * USUAL_BEND * USUAL_BEND,
        };
        let cards: Vec<(Vec<Vector2<f64>>, Vec<Vector2<f64>>)> = sightings
            .patterns
            .iter()
            .filter(|seen| matches!(seen.pattern, Pattern::Card(_)) && seen.corners.len() >= LEAST_CORNERS)
            .map(|seen| {
                let stride = seen.corners.len().div_ceil(CORNERS_PER_CARD);
                let node = |c: &crate::sightings::CornerSighting| Vector2::from(seen.pattern.node(f64::from(c.row), f64::from(c.col)));
                seen.corners.iter().step_by(stride).map(|c| (node(c), Vector2::from(c.at))).unzip()
            })
            .collect();
        let n: usize = cards.iter().map(|(plane, _)| 2 * plane.len()).sum();
        if n == 0 {
            return none;
        }
        let found = minimise(DVector::zeros(2), n + 2, 12, |at, residuals, jacobian| {
            const STEP: f64 = 1e-4;
            let bent = |da: f64, db: f64| Self { a: at[0] + da, b: at[1] + db, ..none }.residuals(&cards);
            let (Some(here), Some(by_a), Some(by_b)) = (bent(0.0, 0.0), bent(STEP, 0.0), bent(0.0, STEP)) else { return false };
            for i in 0..n {
                residuals[i] = here[i];
                jacobian[(i, 0)] = (by_a[i] - here[i]) / STEP;
                jacobian[(i, 1)] = (by_b[i] - here[i]) / STEP;
            }
            for i in 0..2 {
                residuals[n + i] = at[i] / USUAL_BEND;
                jacobian[(n + i, i)] = 1.0 / USUAL_BEND;
            }
            true
        });
        let variance = (2.0 * found.cost / n as f64).max(1e-6) * PAPER_FACTOR * PAPER_FACTOR;
        match found.covariance() {
            Some(cov) => {
                // The prior is no residual in px: what it holds must not be scaled by the corners' noise.
                let cov = Matrix2::from_fn(|i, j| cov[(i, j)]) * variance.max(1e-3);
                Self { a: found.parameters[0], b: found.parameters[1], cov, ..none }
            }
            None => none,
        }
    }

    fn factor(&self, off: &Vector2<f64>) -> f64 {
        let r2 = off.norm_squared() / (self.unit * self.unit);
        1.0 + r2 * (self.a + r2 * self.b)
    }

    /// The place where a lens without bend would have put what is seen at a pixel.
    pub fn straightened(&self, at: [f64; 2]) -> Vector2<f64> {
        let off = Vector2::from(at) - self.middle;
        self.middle + off * self.factor(&off)
    }

    /// Derivatives of the straightened place by a and b, px.
    pub fn by_bend(&self, at: [f64; 2]) -> [Vector2<f64>; 2] {
        let off = Vector2::from(at) - self.middle;
        let r2 = off.norm_squared() / (self.unit * self.unit);
        [off * r2, off * r2 * r2]
    }

    /// What is left of every corner after its card's best map, in px of the photo as it is: divided by the factor, since a bend that shrank
    /// the picture would shrink what is left as well.
    fn residuals(&self, cards: &[(Vec<Vector2<f64>>, Vec<Vector2<f64>>)]) -> Option<Vec<f64>> {
        let mut left = Vec::new();
        for (plane, pixels) in cards {
            let straight: Vec<Vector2<f64>> = pixels.iter().map(|p| self.straightened([p.x, p.y])).collect();
            let h = homography(plane, &straight)?;
            for ((node, at), pixel) in plane.iter().zip(&straight).zip(pixels) {
                let factor = self.factor(&(pixel - self.middle));
                let off = (map(&h, node) - at) / if factor > 0.1 { factor } else { return None };
                left.extend([off.x, off.y]);
            }
        }
        Some(left)
    }
}
