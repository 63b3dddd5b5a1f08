//! The model of a blurred X-corner, and the normal equations of its fit.
//!
//! A blurred X-corner on linear light: m + s h erf(d1 / (sqrt 2 b)) erf(d2 / (sqrt 2
//! b)), where d1 and d2 are the distances from the two edges, b the blur (the pixel's own box
//! included), m the mean level, h half the contrast and s = +1 or -1 says which pair of opposite
//! cells is dark. Position, both edge angles, blur and both levels are fitted by least squares. The
//! product is exact where the edges are square to each other; where they are not, the model errs by
//! the same amount on opposite sides of the corner, so that it widens the scatter a little and
//! shifts nothing.

use nalgebra::{SMatrix, SVector};

use crate::math::lanes::Lanes;
use crate::math::solve::Cholesky;
use crate::sightings::corner_window::{Bundle, Window};

/// Part of half the contrast from which on the model counts as flat.
const FLAT: f32 = 0.8;

/// Priors that hold what a window of a few pixels cannot tell; in larger windows the pixels
/// outweigh them (our choice).
const PRIOR_ANGLE: f64 = 0.10;
const PRIOR_LOG_BLUR: f64 = 0.5;

/// Narrowest blur, px. Sharpened photos ask for less than the pixel's own box, where the model
/// changes between one pixel and the next: held here the fit converges, and it lands closest to the
/// truth of the shared sets (0.3: 7 % worse, 0.5: 2 %).
const MIN_BLUR_PX: f64 = 0.4;
/// Least noise of a pixel, as linear light and as a part of the contrast: quantisation of 8-bit
/// photos and compression (common practice, no source). It keeps a window of a few lucky pixels
/// from claiming too much.
const NOISE_FLOOR: f64 = 0.002;
const NOISE_FLOOR_OF_CONTRAST: f64 = 0.005;

/// The same as parts of the mean square of all pixels, and the pixels by which they count next to
/// what is measured.
const USUAL_NOISE_SHARE: [f64; 2] = [0.1, 1.9];
const USUAL_NOISE_PIXELS: f64 = 2.0;

const N_PARAMETERS: usize = 7;
pub(super) type Vector = SVector<f64, N_PARAMETERS>;
type Matrix = SMatrix<f64, N_PARAMETERS, N_PARAMETERS>;

/// Products of the columns of the Jacobian and the residual with each other.
const N_PRODUCTS: usize = (N_PARAMETERS + 1) * (N_PARAMETERS + 2) / 2;
/// The two columns of each product, row by row of the upper triangle.
const PRODUCTS: [(usize, usize); N_PRODUCTS] = {
    let mut products = [(0, 0); N_PRODUCTS];
    let (mut product, mut left) = (0, 0);
    while left <= N_PARAMETERS {
        let mut right = left;
        while right <= N_PARAMETERS {
            products[product] = (left, right);
            product += 1;
            right += 1;
        }
        left += 1;
    }
    products
};

/// The parameters, in the order of the normal equations.
#[derive(Clone, Copy)]
pub(super) struct Model {
    pub(super) at: [f64; 2],
    /// Directions of the two edges, radians: the one along the row and the one along the column.
    pub(super) angles: [f64; 2],
    pub(super) log_blur: f64,
    pub(super) mean: f64,
    /// Half the contrast, positive when the polarity is as supposed.
    pub(super) half: f64,
}

impl Model {
    pub(super) fn moved(&self, step: &Vector) -> Self {
        Self {
            at: [self.at[0] + step[0], self.at[1] + step[1]],
            angles: [self.angles[0] + step[2], self.angles[1] + step[3]],
            // The blur may halve or double in one step, not more: the model is far from linear in
            // it.
            log_blur: (self.log_blur
                + step[4].clamp(-std::f64::consts::LN_2, std::f64::consts::LN_2))
            .max(MIN_BLUR_PX.ln()),
            mean: self.mean + step[5],
            half: self.half + step[6],
        }
    }
}

/// One edge through the corner, scaled so that the blur becomes the error function's own.
#[derive(Clone, Copy)]
pub(super) struct Edge {
    /// The corner relative to the window's centre, px.
    at: [f32; 2],
    /// Sine and cosine of the direction, times side / (sqrt 2 blur).
    sin: f32,
    cos: f32,
}

impl Edge {
    /// The blurred step at some pixels: value, slope, and scaled distances across and along the
    /// edge.
    #[inline(always)]
    pub(super) fn step(&self, bundle: &Bundle) -> (Lanes, Lanes, Lanes, Lanes) {
        let [u, v] = [bundle.u - self.at[0], bundle.v - self.at[1]];
        let across = v * self.cos - u * self.sin;
        let (value, slope) = across.erf_and_slope();
        (value, slope, across, u * self.cos + v * self.sin)
    }
}

/// The normal equations at one model.
pub(super) struct Normal {
    pub(super) matrix: Matrix,
    pub(super) gradient: Vector,
    pub(super) cost: f64,
}

impl Normal {
    pub(super) fn step(&self, damping: f64) -> Option<Vector> {
        let mut damped = self.matrix;
        for i in 0..N_PARAMETERS {
            damped[(i, i)] *= 1.0 + damping;
        }
        Some(Cholesky::new(&damped)?.solve(&self.gradient))
    }
}

/// What stays fixed during a fit.
pub(super) struct Problem {
    /// +1 when the cells (r-1, c-1) and (r, c) are bright.
    pub(super) polarity: f64,
    /// Signs that turn each edge's normal towards rising rows and columns.
    pub(super) sides: [f64; 2],
    /// Noise of dark and of bright pixels, linear light.
    pub(super) noise: [f64; 2],
    /// Edge angles and blur of the priors.
    pub(super) prior: Model,
    /// Whether the noise is not known yet: the place need not be exact then.
    pub(super) rough: bool,
}

/// A call of [`Problem::sums_of_pixels`].
struct Sums<'a, const FULL: bool> {
    problem: &'a Problem,
    model: &'a Model,
    window: &'a Window,
}

impl<const FULL: bool> pulp::NullaryFnOnce for Sums<'_, FULL> {
    type Output = [Lanes; N_PRODUCTS];

    #[inline(always)]
    fn call(self) -> Self::Output {
        self.problem.sums_of_pixels::<FULL>(self.model, self.window)
    }
}

impl Problem {
    pub(super) fn edges(&self, model: &Model, window: &Window) -> [Edge; 2] {
        let scale = std::f64::consts::FRAC_1_SQRT_2 * (-model.log_blur).exp();
        let at = [(model.at[0] - window.centre[0]) as f32, (model.at[1] - window.centre[1]) as f32];
        std::array::from_fn(|i| {
            let (sin, cos) = model.angles[i].sin_cos();
            let scale = self.sides[i] * scale;
            Edge { at, sin: (sin * scale) as f32, cos: (cos * scale) as f32 }
        })
    }

    /// Correlation of the distances from the two edges under the blur, and its derivative by the
    /// first edge's angle.
    pub(super) fn correlation(&self, model: &Model) -> (f32, f32) {
        let (sin, cos) = (model.angles[0] - model.angles[1]).sin_cos();
        let side = self.sides[0] * self.sides[1];
        ((side * cos) as f32, (side * sin) as f32)
    }

    pub(super) fn normal(&self, model: &Model, window: &Window) -> Normal {
        self.with_priors(model, &self.sums::<true>(model, window), None)
    }

    /// The same near a place where the matrix is known already: it hardly changes, and is most of
    /// the work.
    pub(super) fn gradient(&self, model: &Model, window: &Window, matrix: &Matrix) -> Normal {
        self.with_priors(model, &self.sums::<false>(model, window), Some(matrix))
    }

    /// [`Problem::sums_of_pixels`] compiled for the registers that the processor has: half the time
    /// with 256 bits, the same bits.
    fn sums<const FULL: bool>(&self, model: &Model, window: &Window) -> [Lanes; N_PRODUCTS] {
        pulp::Arch::new().dispatch(Sums::<FULL> { problem: self, model, window })
    }

    /// Sums over the window's pixels of the products of residual and derivatives with each other;
    /// without `FULL` only those with the residual.
    #[inline(always)]
    fn sums_of_pixels<const FULL: bool>(
        &self,
        model: &Model,
        window: &Window,
    ) -> [Lanes; N_PRODUCTS] {
        let edges = self.edges(model, window);
        let (polarity, mean, half) =
            (self.polarity as f32, model.mean as f32, (self.polarity * model.half) as f32);
        // Sums over the pixels of each lane; the residual is the last column, so that gradient and
        // cost come in the same sweep.
        let (correlation, turn) = self.correlation(model);
        let (noise_dark, noise_slope) =
            (self.noise[0] as f32, (0.5 * (self.noise[1] - self.noise[0])) as f32);
        let mut sums = [Lanes::ZERO; N_PRODUCTS];
        for bundle in &window.bundles {
            let (value0, slope0, across0, along0) = edges[0].step(bundle);
            let (value1, slope1, across1, along1) = edges[1].step(bundle);
            let both = slope0 * slope1 * half;
            let skew = both * (0.5 * correlation);
            let shape = value0 * value1 + slope0 * slope1 * (0.5 * correlation);
            // By the distance from one edge; the slope's own derivative is -2 z times itself.
            let outer0 = slope0 * value1 * half - skew * across0 * 2.0;
            let outer1 = slope1 * value0 * half - skew * across1 * 2.0;
            let by_turn = both * (0.5 * turn);
            // d across / d at = (sin, -cos), d across / d angle = -along, d across / d log blur =
            // -across.
            let columns = [
                outer0 * edges[0].sin + outer1 * edges[1].sin,
                -(outer0 * edges[0].cos + outer1 * edges[1].cos),
                -(outer0 * along0) - by_turn,
                -(outer1 * along1) + by_turn,
                -(outer0 * across0 + outer1 * across1),
                Lanes::ONE,
                shape * polarity,
                bundle.value - shape * half - mean,
            ];
            let noise = (shape * polarity + 1.0) * noise_slope + noise_dark;
            let weight = bundle.weight / (noise * noise);
            let mut weighted = columns;
            for column in &mut weighted {
                *column = weight * *column;
            }
            // Every product, or those with the residual alone.
            for product in 0..N_PRODUCTS {
                let (left, right) = PRODUCTS[product];
                if FULL || right == N_PARAMETERS {
                    sums[product] += weighted[left] * columns[right];
                }
            }
        }
        sums
    }

    /// The normal equations from the sums of products, with the priors' pull on angles and blur;
    /// the matrix may be known already.
    fn with_priors(
        &self,
        model: &Model,
        sums: &[Lanes; N_PRODUCTS],
        matrix: Option<&Matrix>,
    ) -> Normal {
        let mut normal = Normal { matrix: Matrix::zeros(), gradient: Vector::zeros(), cost: 0.0 };
        for (&(left, right), lanes) in PRODUCTS.iter().zip(sums) {
            let total = f64::from(lanes.sum());
            match (left, right) {
                (N_PARAMETERS, _) => normal.cost = total,
                (_, N_PARAMETERS) => normal.gradient[left] = total,
                _ => {
                    normal.matrix[(left, right)] = total;
                    normal.matrix[(right, left)] = total;
                }
            }
        }
        for (i, pull, sigma) in [
            (2, self.prior.angles[0] - model.angles[0], PRIOR_ANGLE),
            (3, self.prior.angles[1] - model.angles[1], PRIOR_ANGLE),
            (4, self.prior.log_blur - model.log_blur, PRIOR_LOG_BLUR),
        ] {
            let weight = 1.0 / (sigma * sigma);
            normal.matrix[(i, i)] += weight;
            normal.gradient[i] += weight * pull;
            normal.cost += weight * pull * pull;
        }
        if let Some(matrix) = matrix {
            normal.matrix = *matrix;
        }
        normal
    }

    /// Measures the noise of dark and of bright pixels where the model is flat.
    pub(super) fn measure_noise(&mut self, model: &Model, window: &Window) {
        let edges = self.edges(model, window);
        let correlation = self.correlation(model).0;
        let contrast = 2.0 * model.half;
        let (mean, half) = (model.mean as f32, (self.polarity * model.half) as f32);
        let polarity = self.polarity as f32;
        let (squares, counts) = pulp::Arch::new().dispatch(
            #[inline(always)]
            || {
                // Dark and bright lanes apart.
                let (mut squares, mut counts) = ([Lanes::ZERO; 2], [Lanes::ZERO; 2]);
                for bundle in &window.bundles {
                    let (value0, slope0, ..) = edges[0].step(bundle);
                    let (value1, slope1, ..) = edges[1].step(bundle);
                    let shape = value0 * value1 + slope0 * slope1 * (0.5 * correlation);
                    let residual = bundle.value - shape * half - mean;
                    let shape = shape * polarity;
                    for (side, sign) in [-1.0, 1.0].into_iter().enumerate() {
                        let weight = bundle.weight.where_above(shape * sign, FLAT);
                        squares[side] += weight * residual * residual;
                        counts[side] += weight;
                    }
                }
                (
                    squares.map(|lanes| f64::from(lanes.sum())),
                    counts.map(|lanes| f64::from(lanes.sum())),
                )
            },
        );
        let together = (squares[0] + squares[1]) / (counts[0] + counts[1]).max(1.0);
        let floor = NOISE_FLOOR.max(NOISE_FLOOR_OF_CONTRAST * contrast);
        self.noise = std::array::from_fn(|side| {
            let usual = together * USUAL_NOISE_SHARE[side];
            ((squares[side] + USUAL_NOISE_PIXELS * usual) / (counts[side] + USUAL_NOISE_PIXELS))
                .sqrt()
                .max(floor)
        });
    }
}
