//! One X-corner, fitted to a fraction of a pixel.
//!
//! The model is a blurred X-corner on linear light: m + s h erf(d1 / (sqrt 2 b)) erf(d2 / (sqrt 2
//! b)), where d1 and d2 are the distances from the two edges, b the blur (the pixel's own box
//! included), m the mean level, h half the contrast and s = +1 or -1 tells which pair of opposite
//! cells is dark. Position, both edge angles, blur and both levels are fitted by least squares. The
//! product is exact where the edges are square to each other; where they are not, the model errs by
//! the same amount on opposite sides of the corner, so that it widens the scatter a little and
//! shifts nothing.
//!
//! The window is an ellipse in lattice coordinates (see `corner_window`).

use nalgebra::{SMatrix, SVector};

use crate::math::lanes::{LANES, Lanes};
use crate::math::solve::Cholesky;
use crate::photo::LinearImage;
use crate::sightings::corner_window::{Bundle, Window};
use crate::sightings::noise::Noise;

/// Smallest cell whose corner can be told from its neighbours, px.
const MIN_CELL_PX: f64 = 3.0;
/// How far the corner may lie from the guess, in sides of the shorter cell: beyond half a cell it
/// is another corner.
const MAX_MOVE_CELLS: f64 = 0.35;
/// Step (px) below which the fit has converged: a quarter of the noise of the best corners, and the
/// next step would be far smaller.
const CONVERGED_PX: f64 = 3e-3;
/// Step (px) below which the residuals tell the noise.
const NOISE_PX: f64 = 0.05;
/// Part of half the contrast from which on the model counts as flat.
const FLAT: f32 = 0.8;
const MAX_ITERATIONS: usize = 25;
/// A step that raises the cost by less than this part is told apart from rounding by nothing.
const COST_PRECISION: f64 = 1e-5;
/// Damping beyond which no step lowers the cost any more.
const MAX_DAMPING: f64 = 1e6;
/// The window is cut out anew when the corner has left its centre by this much, px; and until the
/// noise is known, which asks for a rough place only.
const RECENTRE_PX: f64 = 0.05;
const ROUGH_RECENTRE_PX: f64 = 0.3;
/// Priors that hold what a window of a few pixels cannot tell; in larger windows the pixels
/// outweigh them.
const PRIOR_ANGLE: f64 = 0.10;
const PRIOR_LOG_BLUR: f64 = 0.5;
/// Blur of a sharp photo, px: the pixel's own box (0.29) and half a pixel of lens and demosaicing
/// (common practice, no source).
const USUAL_BLUR_PX: f64 = 0.55;
/// Blur of the first step, in cells and at most in px: it reaches corners that lie a pixel or two
/// from the guess.
const START_BLUR_CELLS: f64 = 0.08;
const MAX_START_BLUR_PX: f64 = 2.0;
/// Narrowest blur, px. Sharpened photos ask for less than the pixel's own box, where the model
/// changes between one pixel and the next: held here the fit converges, and it lands closest to the
/// truth of the shared sets (0.3: 7 % worse, 0.5: 2 %).
const MIN_BLUR_PX: f64 = 0.4;
/// Least noise of a pixel, as linear light and as a part of the contrast: quantisation of 8-bit
/// photos and compression (common practice, no source). It keeps a window of a few lucky pixels
/// from claiming too much.
const NOISE_FLOOR: f64 = 0.002;
const NOISE_FLOOR_OF_CONTRAST: f64 = 0.005;
/// Noise of dark and bright pixels as a part of the contrast, to begin with: measured on the
/// sharpened photos of the shared sets.
const USUAL_NOISE_OF_CONTRAST: [f64; 2] = [0.03, 0.15];
/// The same as parts of the mean square of all pixels, and the pixels by which they count beside
/// what is measured.
const USUAL_NOISE_SHARE: [f64; 2] = [0.1, 1.9];
const USUAL_NOISE_PIXELS: f64 = 2.0;
/// Least contrast in linear light; below it shadows and texture look like corners.
const MIN_CONTRAST: f64 = 0.02;
/// Largest rms residual as a part of the contrast: sharpened photos leave up to 0.15, a cord or
/// tube across the window more.
const MAX_RESIDUAL: f64 = 0.22;
/// The same in a grainy photo: in units of its noise, and at most as a part of the contrast.
const MAX_RESIDUAL_OF_NOISE: f64 = 1.6;
const MAX_NOISY_RESIDUAL: f64 = 0.8;
/// Largest uncertainty of the position, px: a corner known worse helps nobody and is mostly
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
/// What noise may add in a grainy photo, in units of its own.
const MAX_SECTOR_OF_NOISE: f64 = 4.0;

/// Where a corner is thought to be, and how the lattice runs there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CornerGuess {
    /// Position, px; good to a pixel or two.
    pub at: [f64; 2],
    /// Step of one cell in the direction of rising columns, px.
    pub along_row: [f64; 2],
    /// Step of one cell in the direction of rising rows (down the pattern), px.
    pub along_col: [f64; 2],
    /// Whether the cell (r-1, c-1) before the corner in both directions is dark.
    pub first_dark: bool,
}

/// A fitted corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CornerFit {
    /// Position, px.
    pub at: [f64; 2],
    /// Covariance of the position [uu, uv, vv], px^2, from the residuals within the window. On
    /// sharpened photos it is somewhat too large (errors are 0.66 to 0.9 of it), since the
    /// halo of sharpening counts as noise.
    pub cov: [f64; 3],
    /// Standard deviation of the Gaussian blur, the pixel's own box included, px.
    pub blur: f64,
    /// Bright minus dark level, linear light.
    pub contrast: f64,
    /// Root mean square residual divided by the contrast.
    pub residual: f64,
}

impl CornerFit {
    /// Standard uncertainty of the position, both directions together, px.
    pub fn sigma(&self) -> f64 {
        (self.cov[0] + self.cov[2]).sqrt()
    }
}

const N_PARAMETERS: usize = 7;
type Vector = SVector<f64, N_PARAMETERS>;
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

/// Fits the blurred X-corner near a guess.
///
/// Returns None where there is no such corner: no convergence, moved by more than 0.35 cells, wrong
/// polarity, contrast too low, window not inside the image, or residuals that are not those of an X
/// (something lies across it).
pub fn fit_corner(image: &LinearImage, noise: &Noise, guess: &CornerGuess) -> Option<CornerFit> {
    let lengths = [guess.along_row, guess.along_col].map(|[u, v]| u.hypot(v));
    let cell = lengths[0].min(lengths[1]);
    let usable = cell > MIN_CELL_PX && cell.is_finite() && guess.at.iter().all(|x| x.is_finite());
    if !usable {
        return None;
    }
    let mut window = Window::new(image, guess, guess.at)?;
    let (mut problem, mut model) = start(guess, cell, &window)?;
    if off_centre(&model, &window, ROUGH_RECENTRE_PX) {
        window = Window::new(image, guess, model.at)?;
    }
    let mut normal = problem.normal(&model, &window);
    let mut damping = 1e-3;
    let mut converged = false;
    for _ in 0..MAX_ITERATIONS {
        let step = normal.step(damping)?;
        let next = model.moved(&step);
        let moved = (next.at[0] - guess.at[0]).hypot(next.at[1] - guess.at[1]);
        let near = moved <= MAX_MOVE_CELLS * cell;
        if !near {
            return None;
        }
        let moved = step[0].hypot(step[1]);
        if moved < CONVERGED_PX && !problem.rough {
            // So short a step changes neither the matrix nor the cost.
            model = next;
            converged = true;
            break;
        }
        // Where the step is short the matrix stays as it was; once the noise is known it is worked
        // out anew.
        let short = moved < NOISE_PX;
        let evaluate = |problem: &Problem, model: &Model, window: &Window| match short {
            true => problem.gradient(model, window, &normal.matrix),
            false => problem.normal(model, window),
        };
        let next_normal = evaluate(&problem, &next, &window);
        let better = next_normal.cost <= normal.cost * (1.0 + COST_PRECISION);
        if !better {
            damping *= 10.0;
            if damping > MAX_DAMPING {
                return None;
            }
            continue;
        }
        damping *= 0.1;
        model = next;
        // The window follows the corner, so that its halo and clutter stay evened out on all sides.
        let becomes_exact = problem.rough && short;
        let reach = if problem.rough && !becomes_exact { ROUGH_RECENTRE_PX } else { RECENTRE_PX };
        let recentred = off_centre(&model, &window, reach);
        if recentred {
            window = Window::new(image, guess, model.at)?;
        }
        normal = if becomes_exact {
            problem.measure_noise(&model, &window);
            problem.rough = false;
            problem.normal(&model, &window)
        } else if recentred {
            evaluate(&problem, &model, &window)
        } else {
            next_normal
        };
    }
    if !converged {
        return None;
    }
    problem.judge(&model, &normal, &window, noise)
}

/// Whether the corner has left the window's middle.
fn off_centre(model: &Model, window: &Window, reach: f64) -> bool {
    (model.at[0] - window.centre[0]).hypot(model.at[1] - window.centre[1]) > reach
}

/// The parameters, in the order of the normal equations.
#[derive(Clone, Copy)]
struct Model {
    at: [f64; 2],
    /// Directions of the two edges, radians: the one along the row and the one along the column.
    angles: [f64; 2],
    log_blur: f64,
    mean: f64,
    /// Half the contrast, positive when the polarity is as told.
    half: f64,
}

impl Model {
    fn moved(&self, step: &Vector) -> Self {
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
struct Edge {
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
    fn step(&self, bundle: &Bundle) -> (Lanes, Lanes, Lanes, Lanes) {
        let [u, v] = [bundle.u - self.at[0], bundle.v - self.at[1]];
        let across = v * self.cos - u * self.sin;
        let (value, slope) = across.erf_and_slope();
        (value, slope, across, u * self.cos + v * self.sin)
    }
}

/// The normal equations at one model.
struct Normal {
    matrix: Matrix,
    gradient: Vector,
    cost: f64,
}

impl Normal {
    fn step(&self, damping: f64) -> Option<Vector> {
        let mut damped = self.matrix;
        for i in 0..N_PARAMETERS {
            damped[(i, i)] *= 1.0 + damping;
        }
        Some(Cholesky::new(&damped)?.solve(&self.gradient))
    }
}

/// What stays fixed during a fit.
struct Problem {
    /// +1 when the cells (r-1, c-1) and (r, c) are bright.
    polarity: f64,
    /// Signs that turn each edge's normal towards rising rows and columns.
    sides: [f64; 2],
    /// Noise of dark and of bright pixels, linear light.
    noise: [f64; 2],
    /// Edge angles and blur of the priors.
    prior: Model,
    /// Whether the noise is not known yet: the place need not be exact then.
    rough: bool,
}

/// The start of the fit: edges along the lattice, levels by linear least squares, and one step of
/// the position with a wide blur, which reaches corners that lie a pixel or two away.
fn start(guess: &CornerGuess, cell: f64, window: &Window) -> Option<(Problem, Model)> {
    let ([a, b], [c, d]) = (guess.along_row, guess.along_col);
    let turn = (a * d - b * c).signum();
    let angles = [b.atan2(a), d.atan2(c)];
    let mut model =
        Model { at: guess.at, angles, log_blur: USUAL_BLUR_PX.ln(), mean: 0.0, half: 1.0 };
    let mut problem = Problem {
        polarity: if guess.first_dark { -1.0 } else { 1.0 },
        // (-sin, cos) points to rising rows along the row's edge when the lattice is right-handed,
        // and away from rising columns.
        sides: [turn, -turn],
        // Noise of one weighs every pixel alike, and the first step needs no priors.
        noise: [1.0; 2],
        prior: model,
        rough: true,
    };
    model.log_blur = (START_BLUR_CELLS * cell).clamp(USUAL_BLUR_PX, MAX_START_BLUR_PX).ln();
    let normal = problem.normal(&model, window);
    // In half times the position's step, mean and half the model is linear: one solution gives all
    // of them.
    const LINEAR: [usize; 4] = [0, 1, 5, 6];
    let matrix =
        SMatrix::<f64, 4, 4>::from_fn(|line, col| normal.matrix[(LINEAR[line], LINEAR[col])]);
    let solution = Cholesky::new(&matrix)?
        .solve(&SVector::<f64, 4>::from_fn(|line, _| normal.gradient[LINEAR[line]]));
    model.mean = solution[2];
    model.half += solution[3];
    // The first levels are rough: half the contrast at the end is asked for.
    let contrasty = 4.0 * model.half > MIN_CONTRAST;
    if !contrasty {
        return None;
    }
    let [du, dv] = [solution[0] / model.half, solution[1] / model.half];
    let limited = (MAX_MOVE_CELLS * cell / du.hypot(dv)).min(1.0);
    model.at = [model.at[0] + limited * du, model.at[1] + limited * dv];
    model.log_blur = USUAL_BLUR_PX.ln();
    problem.noise = USUAL_NOISE_OF_CONTRAST.map(|noise| noise * 2.0 * model.half);
    Some((problem, model))
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
    fn edges(&self, model: &Model, window: &Window) -> [Edge; 2] {
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
    fn correlation(&self, model: &Model) -> (f32, f32) {
        let (sin, cos) = (model.angles[0] - model.angles[1]).sin_cos();
        let side = self.sides[0] * self.sides[1];
        ((side * cos) as f32, (side * sin) as f32)
    }

    fn normal(&self, model: &Model, window: &Window) -> Normal {
        self.with_priors(model, &self.sums::<true>(model, window), None)
    }

    /// The same near a place where the matrix is known already: it hardly changes, and is most of
    /// the work.
    fn gradient(&self, model: &Model, window: &Window, matrix: &Matrix) -> Normal {
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
    fn measure_noise(&mut self, model: &Model, window: &Window) {
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

    /// Whether what was fitted is an X-corner, and how well it is known.
    fn judge(
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
        // Position and levels are counted; angles and blur are partly told by their priors.
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
        let clean = contrast >= MIN_CONTRAST && residual <= max_residual && !uneven && !turned;
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
