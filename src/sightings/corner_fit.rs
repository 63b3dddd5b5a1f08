//! One X-corner, fitted to a fraction of a pixel by damped least squares: the model is that of
//! `corner_model`, the window of pixels an ellipse in lattice coordinates (see `corner_window`),
//! and what is accepted is decided in `corner_verdict`.

use nalgebra::{SMatrix, SVector};

use crate::math::solve::Cholesky;
use crate::photo::LinearImage;
use crate::sightings::corner_window::Window;
use crate::sightings::noise::Noise;

use super::corner::{CornerFit, CornerGuess};
use super::corner_model::{Model, Problem};

/// Smallest cell whose corner can be told from its neighbours, px (our choice).
const MIN_CELL_PX: f64 = 3.0;
/// How far the corner may lie from the guess, in sides of the shorter cell: beyond half a cell it
/// is another corner.
const MAX_MOVE_CELLS: f64 = 0.35;
/// Step (px) below which the fit has converged: a quarter of the noise of the best corners, and the
/// next step would be far smaller.
const CONVERGED_PX: f64 = 3e-3;
/// Step (px) below which the residuals tell the noise (our choice).
const NOISE_PX: f64 = 0.05;

/// More steps than any fit of a corner takes (our choice).
const MAX_ITERATIONS: usize = 25;
/// A step that raises the cost by less than this part can't be told from rounding.
const COST_PRECISION: f64 = 1e-5;
/// Damping beyond which no step lowers the cost any more.
const MAX_DAMPING: f64 = 1e6;
/// The window is cut out again when the corner has left its centre by this much, px; and until the
/// noise is known, which asks for a rough place only (our choice).
const RECENTRE_PX: f64 = 0.05;
const ROUGH_RECENTRE_PX: f64 = 0.3;

/// Blur of a sharp photo, px: the pixel's own box (0.29) and half a pixel of lens and demosaicing
/// (common practice, no source).
const USUAL_BLUR_PX: f64 = 0.55;
/// Blur of the first step, in cells and at most in px: it reaches corners that lie a pixel or two
/// from the guess.
const START_BLUR_CELLS: f64 = 0.08;
const MAX_START_BLUR_PX: f64 = 2.0;

/// Noise of dark and bright pixels as a part of the contrast, to begin with: measured on the
/// sharpened photos of the shared sets.
const USUAL_NOISE_OF_CONTRAST: [f64; 2] = [0.03, 0.15];

/// Least contrast, in linear light and as a part of the mean level: on print it is about the mean,
/// whatever the light, and under glare a small part of it; below this shadows and texture look like
/// corners (our choice).
const MIN_CONTRAST: f64 = 0.003;
const MIN_RELATIVE_CONTRAST: f64 = 0.05;

/// Whether bright and dark cells differ as on print.
pub(super) fn is_contrasty(contrast: f64, mean: f64) -> bool {
    contrast >= MIN_CONTRAST.max(MIN_RELATIVE_CONTRAST * mean)
}

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
        // out again.
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
    if !is_contrasty(4.0 * model.half, model.mean) {
        return None;
    }
    let [du, dv] = [solution[0] / model.half, solution[1] / model.half];
    let limited = (MAX_MOVE_CELLS * cell / du.hypot(dv)).min(1.0);
    model.at = [model.at[0] + limited * du, model.at[1] + limited * dv];
    model.log_blur = USUAL_BLUR_PX.ln();
    problem.noise = USUAL_NOISE_OF_CONTRAST.map(|noise| noise * 2.0 * model.half);
    Some((problem, model))
}
