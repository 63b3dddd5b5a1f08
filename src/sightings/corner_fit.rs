//! One X-corner, fitted to a fraction of a pixel.
//!
//! The model is a blurred X-corner on linear light: m + s h erf(d1 / (sqrt 2 b)) erf(d2 / (sqrt 2 b)), where d1 and d2 are
//! the distances from the two edges, b the blur (the pixel's own box included), m the mean level, h half the contrast and
//! s = +1 or -1 tells which pair of opposite cells is dark. Position, both edge angles, blur and both levels are fitted
//! by least squares. The product is exact where the edges are square to each other; where they are not, the model errs
//! by the same amount on opposite sides of the corner, so that it widens the scatter a little and shifts nothing.
//!
//! The window is an ellipse in lattice coordinates: it follows a foreshortened cell and never reaches a dot.

use nalgebra::{SMatrix, SVector};

use crate::math::erf::erf_and_slope;
use crate::photo::LinearImage;

/// Half-width of the window in cells. A dot begins 0.487 cells from the corner (half a cell's diagonal less the dot's radius
/// of 0.22), and its blur reaches further in.
const WINDOW_CELLS: f64 = 0.42;
/// Largest area of the window, px^2 (a circle of radius 12 px). The floor of the position's uncertainty falls with the square
/// root of the radius only, while the cost rises with its square.
const WINDOW_AREA_PX: f64 = 452.0;
/// How far the corner may lie from the guess, in sides of the shorter cell: beyond half a cell it is another corner.
const MAX_MOVE_CELLS: f64 = 0.35;
/// Step (px) below which the fit has converged: a thirtieth of the noise of the best corners.
const CONVERGED_PX: f64 = 1e-3;
const MAX_ITERATIONS: usize = 25;
/// Priors that hold what a window of a few pixels cannot tell; in larger windows the pixels outweigh them. The noise that weighs
/// them against the pixels is a fraction of the contrast, as measured on sharpened and compressed photos.
const PRIOR_NOISE: f64 = 0.05;
const PRIOR_ANGLE: f64 = 0.10;
const PRIOR_LOG_BLUR: f64 = 0.5;
/// Blur of a sharp photo, px: the pixel's own box (0.29) and half a pixel of lens and demosaicing (common practice, no source).
const USUAL_BLUR_PX: f64 = 0.55;
/// Narrowest blur that the pixel grid can show, px.
const MIN_BLUR_PX: f64 = 0.15;
/// Least noise of a pixel, as linear light and as a part of the contrast: quantisation of 8-bit photos and compression
/// (common practice, no source). It keeps a window of a few lucky pixels from claiming too much.
const NOISE_FLOOR: f64 = 0.002;
const NOISE_FLOOR_OF_CONTRAST: f64 = 0.005;
/// Least contrast in linear light; below it shadows and texture look like corners.
const MIN_CONTRAST: f64 = 0.02;
/// Largest rms residual as a part of the contrast: sharpened photos leave up to 0.15, a cord or tube across the window more.
const MAX_RESIDUAL: f64 = 0.2;
/// Largest mean residual of one quadrant as a part of the contrast. Opposite or neighbouring cells that don't share their levels
/// are not two and two cells of a chequer.
const MAX_QUADRANT_RESIDUAL: f64 = 0.2;

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
    /// Covariance of the position [uu, uv, vv], px^2, from the residuals within the window. On sharpened photos it is
    /// somewhat too large (errors are 0.66 to 0.9 of it), since the halo of sharpening counts as noise.
    pub cov: [f64; 3],
    /// Standard deviation of the Gaussian blur, the pixel's own box included, px.
    pub blur: f64,
    /// Bright minus dark level, linear light.
    pub contrast: f64,
    /// Root mean square residual divided by the contrast.
    pub residual: f64,
}

const N_PARAMETERS: usize = 7;
type Vector = SVector<f64, N_PARAMETERS>;
type Matrix = SMatrix<f64, N_PARAMETERS, N_PARAMETERS>;

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

struct Pixel {
    u: f64,
    v: f64,
    value: f64,
    weight: f64,
}

/// The normal equations at one model: gradient, matrix and cost.
struct Normal {
    matrix: Matrix,
    gradient: Vector,
    cost: f64,
}

/// What stays fixed during a fit.
struct Problem<'a> {
    guess: &'a CornerGuess,
    /// +1 when the cells (r-1, c-1) and (r, c) are bright.
    polarity: f64,
    /// Signs that turn each edge's normal towards rising rows and columns.
    sides: [f64; 2],
    /// Square of the noise that weighs the priors, linear light.
    prior_variance: f64,
    prior: Model,
}

/// Fits the blurred X-corner near a guess.
///
/// Returns None where there is no such corner: no convergence, moved by more than 0.35 cells, wrong polarity, contrast too low,
/// window not inside the image, or residuals that are not those of an X (something lies across it).
pub fn fit_corner(image: &LinearImage, guess: &CornerGuess) -> Option<CornerFit> {
    let lengths = [guess.along_row, guess.along_col].map(|[u, v]| u.hypot(v));
    let cell = lengths[0].min(lengths[1]);
    if !(cell > 2.0 && cell.is_finite() && guess.at[0].is_finite() && guess.at[1].is_finite()) {
        return None;
    }
    let mut pixels = window(image, guess, guess.at)?;
    let mut centre = guess.at;
    let (problem, mut model) = start(guess, cell, &pixels)?;
    let mut normal = problem.normal(&model, &pixels);
    let mut damping = 1e-3;
    let mut converged = false;
    for _ in 0..MAX_ITERATIONS {
        let mut damped = normal.matrix;
        for i in 0..N_PARAMETERS {
            damped[(i, i)] *= 1.0 + damping;
        }
        let step = damped.cholesky()?.solve(&normal.gradient);
        let next = model.moved(&step);
        let moved = (next.at[0] - guess.at[0]).hypot(next.at[1] - guess.at[1]);
        if !(moved <= MAX_MOVE_CELLS * cell) {
            return None;
        }
        let next_normal = problem.normal(&next, &pixels);
        if !(next_normal.cost <= normal.cost) {
            damping *= 10.0;
            if damping > 1e6 {
                return None;
            }
            continue;
        }
        damping = (damping * 0.1).max(1e-7);
        model = next;
        normal = next_normal;
        if step[0].hypot(step[1]) < CONVERGED_PX {
            converged = true;
            break;
        }
        // The window follows the corner, so that its halo and clutter stay evened out on all sides.
        if (model.at[0] - centre[0]).hypot(model.at[1] - centre[1]) > 0.05 {
            centre = model.at;
            pixels = window(image, guess, centre)?;
            normal = problem.normal(&model, &pixels);
        }
    }
    if !converged {
        return None;
    }
    problem.judge(&model, &normal, &pixels)
}

/// The pixels of the window about `centre`, weighted by how much of each lies inside; None when it leaves the image.
fn window(image: &LinearImage, guess: &CornerGuess, centre: [f64; 2]) -> Option<Vec<Pixel>> {
    let ([a, b], [c, d]) = (guess.along_row, guess.along_col);
    let cross = a * d - b * c;
    let area_of_unit = std::f64::consts::PI * cross.abs();
    let radius = WINDOW_CELLS.min((WINDOW_AREA_PX / area_of_unit).sqrt());
    // Half-extent of the ellipse along each pixel axis, and its mean radius, in px.
    let (extent_u, extent_v) = (radius * a.hypot(c), radius * b.hypot(d));
    let mean_radius = radius * cross.abs().sqrt();
    let [left, right] = [(centre[0] - extent_u).floor(), (centre[0] + extent_u).ceil()];
    let [top, bottom] = [(centre[1] - extent_v).floor(), (centre[1] + extent_v).ceil()];
    let inside = left >= 0.0 && top >= 0.0 && right < image.width() as f64 && bottom < image.height() as f64;
    if !inside || !(mean_radius > 1.0) {
        return None;
    }
    let mut pixels = Vec::with_capacity((area_of_unit * radius * radius * 1.3) as usize + 16);
    for row in top as usize..=bottom as usize {
        let values = image.row(row);
        let v = row as f64 - centre[1];
        for (col, &value) in values.iter().enumerate().take(right as usize + 1).skip(left as usize) {
            let u = col as f64 - centre[0];
            let (x, y) = ((u * d - v * c) / cross, (v * a - u * b) / cross);
            // A rim one pixel wide fades out, so that pixels don't jump in and out while the window moves.
            let weight = ((1.0 - x.hypot(y) / radius) * mean_radius + 0.5).clamp(0.0, 1.0);
            if weight > 0.0 {
                pixels.push(Pixel { u: col as f64, v: row as f64, value: f64::from(value), weight });
            }
        }
    }
    Some(pixels)
}

/// The start of the fit: edges along the lattice, levels by linear least squares.
fn start<'a>(guess: &'a CornerGuess, cell: f64, pixels: &[Pixel]) -> Option<(Problem<'a>, Model)> {
    let ([a, b], [c, d]) = (guess.along_row, guess.along_col);
    let turn = (a * d - b * c).signum();
    let mut model = Model {
        at: guess.at,
        angles: [b.atan2(a), d.atan2(c)],
        // A wide start reaches corners that lie a pixel or two away.
        log_blur: (0.08 * cell).clamp(USUAL_BLUR_PX, 1.5).ln(),
        mean: 0.0,
        half: 1.0,
    };
    let mut problem = Problem {
        guess,
        polarity: if guess.first_dark { -1.0 } else { 1.0 },
        // The row's edge has its normal on the side of rising rows: (-sin, cos) turned by the lattice's handedness.
        sides: [turn, -turn],
        prior_variance: 1.0,
        prior: model,
    };
    problem.prior.log_blur = USUAL_BLUR_PX.ln();
    let [mut n, mut sum_x, mut sum_i, mut sum_xx, mut sum_xi] = [0.0; 5];
    for pixel in pixels {
        let x = problem.polarity * problem.shape(&model, pixel).value;
        n += pixel.weight;
        sum_x += pixel.weight * x;
        sum_i += pixel.weight * pixel.value;
        sum_xx += pixel.weight * x * x;
        sum_xi += pixel.weight * x * pixel.value;
    }
    model.half = (n * sum_xi - sum_x * sum_i) / (n * sum_xx - sum_x * sum_x);
    model.mean = (sum_i - model.half * sum_x) / n;
    if !(2.0 * model.half > 0.5 * MIN_CONTRAST) {
        return None;
    }
    let prior_noise = PRIOR_NOISE * 2.0 * model.half;
    problem.prior_variance = prior_noise * prior_noise;
    Some((problem, model))
}

impl Model {
    fn moved(&self, step: &Vector) -> Self {
        let limited = (self.log_blur + step[4].clamp(-0.7, 0.7)).max(MIN_BLUR_PX.ln());
        Self {
            at: [self.at[0] + step[0], self.at[1] + step[1]],
            angles: [self.angles[0] + step[2], self.angles[1] + step[3]],
            log_blur: limited,
            mean: self.mean + step[5],
            half: self.half + step[6],
        }
    }
}

/// The product of the two blurred steps at a pixel, and its derivatives by distance, angle and blur.
struct Shape {
    value: f64,
    by_position: [f64; 2],
    by_angles: [f64; 2],
    by_log_blur: f64,
}

impl Problem<'_> {
    #[inline]
    fn shape(&self, model: &Model, pixel: &Pixel) -> Shape {
        let [u, v] = [pixel.u - model.at[0], pixel.v - model.at[1]];
        let scale = std::f64::consts::FRAC_1_SQRT_2 * (-model.log_blur).exp();
        let edge = |i: usize| {
            let (sin, cos) = model.angles[i].sin_cos();
            let z = (cos * v - sin * u) * self.sides[i] * scale;
            let along = (cos * u + sin * v) * self.sides[i] * scale;
            let (value, slope) = erf_and_slope(z);
            // d z / d at = (sin, -cos) side scale; d z / d angle = -along; d z / d log blur = -z.
            (value, slope, [sin * self.sides[i] * scale, -cos * self.sides[i] * scale], -along, -z)
        };
        let (value0, slope0, at0, angle0, blur0) = edge(0);
        let (value1, slope1, at1, angle1, blur1) = edge(1);
        let (outer0, outer1) = (slope0 * value1, slope1 * value0);
        Shape {
            value: value0 * value1,
            by_position: [outer0 * at0[0] + outer1 * at1[0], outer0 * at0[1] + outer1 * at1[1]],
            by_angles: [outer0 * angle0, outer1 * angle1],
            by_log_blur: outer0 * blur0 + outer1 * blur1,
        }
    }

    fn normal(&self, model: &Model, pixels: &[Pixel]) -> Normal {
        let mut matrix = Matrix::zeros();
        let mut gradient = Vector::zeros();
        let mut cost = 0.0;
        let signed_half = self.polarity * model.half;
        for pixel in pixels {
            let shape = self.shape(model, pixel);
            let residual = pixel.value - model.mean - signed_half * shape.value;
            let row = Vector::from([
                signed_half * shape.by_position[0],
                signed_half * shape.by_position[1],
                signed_half * shape.by_angles[0],
                signed_half * shape.by_angles[1],
                signed_half * shape.by_log_blur,
                1.0,
                self.polarity * shape.value,
            ]);
            cost += pixel.weight * residual * residual;
            let weighted = row * pixel.weight;
            gradient += weighted * residual;
            for col in 0..N_PARAMETERS {
                for line in col..N_PARAMETERS {
                    matrix[(line, col)] += weighted[line] * row[col];
                }
            }
        }
        for col in 0..N_PARAMETERS {
            for line in 0..col {
                matrix[(line, col)] = matrix[(col, line)];
            }
        }
        let angle_pull = |i: usize| self.prior.angles[i] - model.angles[i];
        for (i, pull, sigma) in [
            (2, angle_pull(0), PRIOR_ANGLE),
            (3, angle_pull(1), PRIOR_ANGLE),
            (4, self.prior.log_blur - model.log_blur, PRIOR_LOG_BLUR),
        ] {
            let weight = self.prior_variance / (sigma * sigma);
            matrix[(i, i)] += weight;
            gradient[i] += weight * pull;
            cost += weight * pull * pull;
        }
        Normal { matrix, gradient, cost }
    }

    /// Whether what was fitted is an X-corner, and how well it is known.
    fn judge(&self, model: &Model, normal: &Normal, pixels: &[Pixel]) -> Option<CornerFit> {
        let contrast = 2.0 * model.half;
        let mut squares = 0.0;
        let mut n = 0.0;
        // Sum of residuals and of weights in each quadrant.
        let mut quadrants = [[0.0; 2]; 4];
        for pixel in pixels {
            let shape = self.shape(model, pixel);
            let residual = pixel.value - model.mean - self.polarity * model.half * shape.value;
            squares += pixel.weight * residual * residual;
            n += pixel.weight;
            let quadrant = &mut quadrants[self.quadrant(model, pixel)];
            quadrant[0] += pixel.weight * residual;
            quadrant[1] += pixel.weight;
        }
        // The priors stand for the parameters that the pixels can't tell, so at least the position and levels are counted.
        let freedom = (n - 4.0).max(1.0);
        let variance = squares / freedom;
        let residual = variance.sqrt() / contrast;
        let uneven = quadrants.iter().any(|[sum, weight]| sum.abs() > MAX_QUADRANT_RESIDUAL * contrast * weight.max(1.0));
        if !(contrast >= MIN_CONTRAST && residual <= MAX_RESIDUAL) || uneven {
            return None;
        }
        let floor = NOISE_FLOOR.max(NOISE_FLOOR_OF_CONTRAST * contrast);
        let inverse = normal.matrix.try_inverse()? * variance.max(floor * floor);
        let cov = [inverse[(0, 0)], inverse[(0, 1)], inverse[(1, 1)]];
        let _ = self.guess;
        Some(CornerFit { at: model.at, cov, blur: model.log_blur.exp(), contrast, residual })
    }

    fn quadrant(&self, model: &Model, pixel: &Pixel) -> usize {
        let [u, v] = [pixel.u - model.at[0], pixel.v - model.at[1]];
        let beyond = |i: usize| {
            let (sin, cos) = model.angles[i].sin_cos();
            usize::from((cos * v - sin * u) * self.sides[i] > 0.0)
        };
        2 * beyond(0) + beyond(1)
    }
}
