//! How a lens bends straight lines in one photo, measured by that photo's own cards: a flat grid
//! must look flat.
//!
//! A place at r half diagonals from a middle is put to r (1 + a r^2 + b r^4 + c r^6): the terms
//! that a phone's lens shows (Brown 1971, radial part, the other way round); the middle lies
//! somewhere near the picture's. They are those for which a plane-to-picture map (homography) fits
//! every card's corners best. That is no calibration: it does not give the focal length,
//! and serves for straightness alone.

use nalgebra::{DMatrix, DVector, SMatrix, SVector, Vector2};

use crate::camera::start::{homography, map};
use crate::cards::Pattern;
use crate::math::levenberg_marquardt::minimise;
use crate::sightings::PhotoSightings;

/// The unknowns: a, b, c, and the middle's place off the picture's middle, px.
const N: usize = 5;
/// What they are taken to be before anything is seen (standard deviation): at the picture's corner
/// phones bend by some per cent, and the stabiliser moves the middle by 8 to 13 px.
const USUAL: [f64; N] = [0.1, 0.1, 0.1, 15.0, 15.0];
/// Steps for differences, small against the above (our choice).
const STEP: [f64; N] = [1e-4, 1e-4, 1e-4, 0.05, 0.05];
/// Corners of a card that are used at most, spread evenly: more of them only repeat the same bend.
const CORNERS_PER_CARD: usize = 80;
/// Cards with fewer corners tell no bend: four fix the map itself.
const LEAST_CORNERS: usize = 20;
/// Noise of a corner that paper, which bows, adds to the photo's, px (our estimate).
const PAPER_PX: f64 = 0.15;
/// Rounds of the fit: it is nearly linear, and the first few do the work.
const MAX_STEPS: usize = 8;

/// A card's nodes, and where they were seen.
type Seen = (Vec<Vector2<f64>>, Vec<Vector2<f64>>);

/// The bend of one photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PictureBend {
    /// Middle of the picture and half of its diagonal, px.
    middle: Vector2<f64>,
    unit: f64,
    parameters: SVector<f64, N>,
    cov: SMatrix<f64, N, N>,
}

impl PictureBend {
    /// The bend of a photo of this size (px). With too few corners there is none, and the usual
    /// bend's width is the uncertainty.
    pub fn of(sightings: &PhotoSightings, width: usize, height: usize) -> Self {
        let (w, h) = (width as f64, height as f64);
        let none = Self {
            middle: Vector2::new((w - 1.0) / 2.0, (h - 1.0) / 2.0),
            unit: (w.hypot(h) / 2.0).max(1.0),
            parameters: SVector::zeros(),
            cov: SMatrix::from_diagonal(&SVector::from(USUAL).map(|x| x * x)),
        };
        let is_usable = |seen: &&crate::sightings::PatternSighting| {
            matches!(seen.pattern, Pattern::Card(_)) && seen.corners.len() >= LEAST_CORNERS
        };
        let cards: Vec<Seen> = sightings
            .patterns
            .iter()
            .filter(is_usable)
            .map(|seen| {
                let stride = seen.corners.len().div_ceil(CORNERS_PER_CARD);
                let thinned = seen.corners.iter().step_by(stride);
                let node = |row: u8, col: u8| {
                    Vector2::from(seen.pattern.node(f64::from(row), f64::from(col)))
                };
                thinned.map(|c| (node(c.row, c.col), Vector2::from(c.at))).unzip()
            })
            .collect();
        let n: usize = cards.iter().map(|(plane, _)| 2 * plane.len()).sum();
        if n == 0 {
            return none;
        }
        let evaluate =
            |at: &DVector<f64>, residuals: &mut DVector<f64>, jacobian: &mut DMatrix<f64>| {
                none.evaluate(&cards, at, residuals, jacobian).is_some()
            };
        let found = minimise(DVector::zeros(N), n + N, MAX_STEPS, evaluate);
        match found.covariance() {
            Some(cov) => Self {
                parameters: SVector::from_fn(|i, _| found.parameters[i]),
                // What is left of the corners shows whether the model fits; it never makes the bend
                // better known than the paper lets it.
                cov: SMatrix::from_fn(|i, j| cov[(i, j)]) * (2.0 * found.cost / n as f64).max(1.0),
                ..none
            },
            None => none,
        }
    }

    /// Residuals of corners and of what is known beforehand, with their derivatives; None where the
    /// bend has no value.
    fn evaluate(
        &self,
        cards: &[Seen],
        at: &DVector<f64>,
        residuals: &mut DVector<f64>,
        jacobian: &mut DMatrix<f64>,
    ) -> Option<()> {
        let mut bend = *self;
        bend.parameters = SVector::from_fn(|i, _| at[i]);
        let here = bend.residuals(cards)?;
        for (i, value) in here.iter().enumerate() {
            residuals[i] = value / PAPER_PX;
        }
        for j in 0..N {
            let mut moved = bend;
            moved.parameters[j] += STEP[j];
            let there = moved.residuals(cards)?;
            for (i, value) in there.iter().enumerate() {
                jacobian[(i, j)] = (value - here[i]) / STEP[j] / PAPER_PX;
            }
            residuals[here.len() + j] = at[j] / USUAL[j];
            jacobian[(here.len() + j, j)] = 1.0 / USUAL[j];
        }
        Some(())
    }

    /// Place off the middle, and the factor by which it is moved outward.
    fn factor(&self, at: &Vector2<f64>) -> (Vector2<f64>, f64) {
        let [a, b, c, x, y] = self.parameters.into();
        let off = at - self.middle - Vector2::new(x, y);
        let r2 = off.norm_squared() / (self.unit * self.unit);
        (off, 1.0 + r2 * (a + r2 * (b + r2 * c)))
    }

    /// The place where a lens without bend would have put what is seen at a pixel.
    pub fn straightened(&self, at: [f64; 2]) -> Vector2<f64> {
        let (off, factor) = self.factor(&Vector2::from(at));
        self.middle + off * factor
    }

    /// Standard uncertainty of `sum of weight_i . straightened(at_i)` that the bend leaves, px.
    pub fn sigma_of(&self, terms: &[(Vector2<f64>, [f64; 2])]) -> f64 {
        let value = |bend: &Self| {
            terms.iter().map(|(weight, at)| weight.dot(&bend.straightened(*at))).sum::<f64>()
        };
        let here = value(self);
        let by = SVector::<f64, N>::from_fn(|i, _| {
            let mut moved = *self;
            moved.parameters[i] += STEP[i];
            (value(&moved) - here) / STEP[i]
        });
        by.dot(&(self.cov * by)).max(0.0).sqrt()
    }

    /// What is left of every corner after its card's best map, in px of the photo as it is: divided
    /// by the factor, since a bend that shrank the picture would shrink what is left as well.
    fn residuals(&self, cards: &[Seen]) -> Option<Vec<f64>> {
        let mut left = Vec::new();
        for (plane, pixels) in cards {
            let straight: Vec<Vector2<f64>> =
                pixels.iter().map(|p| self.straightened([p.x, p.y])).collect();
            let h = homography(plane, &straight)?;
            for ((node, at), pixel) in plane.iter().zip(&straight).zip(pixels) {
                let (_, factor) = self.factor(pixel);
                // A bend that folds the picture is none.
                if factor < 0.1 {
                    return None;
                }
                let off = (map(&h, node) - at) / factor;
                left.extend([off.x, off.y]);
            }
        }
        Some(left)
    }
}
