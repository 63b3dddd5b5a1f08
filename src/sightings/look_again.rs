//! The second look: a solved scene says where each card and tab must be, so that far and small ones
//! can be found too.
//!
//! A prediction is never believed as such: corners are fitted there, and the cells must be those of
//! the pattern.

use std::collections::BTreeMap;

use crate::cards::Pattern;
use crate::math::robust::median;
use crate::photo::LinearImage;

use super::cells::{Cell, Ground, read_cells};
use super::corner::{CornerFit, CornerGuess};
use super::corner_fit::fit_corner;
use super::grow::{cell_px, guess, is_corner, nodes, stray_distances};
use super::plane_map::Node;
use super::plate::Plate;
use super::read_tab::{N_CELLS, is_flag};
use super::seen::{CornerSighting, PatternSighting, PhotoSightings};
use super::weak_dots::WeakDots;

/// Largest common error of a pattern's predicted corners, px, and as a part of the cell: a solved
/// scene predicts to a pixel or two, and beyond half a cell the chequer could be mistaken for its
/// neighbour.
const MAX_SHIFT_PX: f64 = 2.5;
const MAX_SHIFT_CELLS: f64 = 0.6;
/// Step of the search for that error, px: a third of the reach of a corner fit in cells of 5 px.
const SHIFT_STEP: f64 = 0.5;
/// Farthest that a corner may lie from its corrected prediction, px or cells (our choice).
const MAX_MISS_PX: f64 = 0.7;
const MAX_MISS_CELLS: f64 = 0.1;
/// Corners farther than this (px) from where the others have them are not added.
const MAX_STRAY_PX: f64 = 0.3;
/// What grain may add to a miss, and the least stray, in the fit's own standard deviations.
const MISS_SIGMAS: f64 = 2.5;
const STRAY_SIGMAS: f64 = 3.0;
/// Smallest cells that are looked at, px: the corner fit's window would hold a dozen pixels.
const MIN_CELL_PX: f64 = 3.5;
/// Cells from this size on have dots that must be read.
const READABLE_CELL_PX: f64 = 8.0;
/// Least readable cells, and wrong dots forgiven among them on a tab (none on a flag); on a card
/// one in this many.
const MIN_READABLE: usize = 16;
const MAX_WRONG_ON_TAB: usize = 1;
const ONE_WRONG_IN: usize = 12;
/// Least corners of a newly found pattern: of the 16 of a tab 6 where dots are read, 10 where only
/// the chequer can be.
const MIN_CORNERS: usize = 6;
const MIN_CORNERS_UNREAD: usize = 10;
/// The same where the cells of a tab spell its word together: a plane needs four, and one more to
/// check it.
const MIN_CORNERS_SPELT: usize = 5;

/// Where a solved scene expects the corners of one pattern, as (row, column, position in px).
#[derive(Clone, Debug, PartialEq)]
pub struct PredictedPattern {
    pub pattern: Pattern,
    pub corners: Vec<(u8, u8, [f64; 2])>,
}

/// Places of corners by node (r, c).
type Places = BTreeMap<(i32, i32), [f64; 2]>;

/// Looks again where patterns are predicted. Everything known is kept; patterns and corners are
/// added.
pub fn look_again(
    image: &LinearImage,
    known: &PhotoSightings,
    predicted: &[PredictedPattern],
) -> PhotoSightings {
    let plate = &Plate::new(image);
    let mut sightings = known.clone();
    let mut extended = vec![false; known.patterns.len()];
    for prediction in predicted {
        let places: Places = prediction
            .corners
            .iter()
            .map(|&(r, c, at)| ((i32::from(r), i32::from(c)), at))
            .collect();
        let same = (0..known.patterns.len())
            .find(|&i| !extended[i] && coincide(&known.patterns[i], prediction.pattern, &places));
        match same {
            Some(i) => {
                extended[i] = true;
                extend_known(plate, &mut sightings.patterns[i], &places);
            }
            None => sightings.patterns.extend(find_new(plate, prediction.pattern, &places)),
        }
    }
    sightings.patterns.sort_by_key(|sighting| sighting.pattern);
    sightings
}

/// Whether a sighting is the predicted print: the same pattern, less than half a cell off.
fn coincide(sighting: &PatternSighting, pattern: Pattern, places: &Places) -> bool {
    if sighting.pattern != pattern {
        return false;
    }
    let mut n_near = 0;
    for corner in &sighting.corners {
        let Some(at) = places.get(&(i32::from(corner.row), i32::from(corner.col))) else {
            continue;
        };
        n_near += usize::from(
            (at[0] - corner.at[0]).hypot(at[1] - corner.at[1]) < (0.5 * corner.cell_px).max(4.0),
        );
    }
    2 * n_near > sighting.corners.len()
}

/// Adds corners to a pattern that was read at the first look.
fn extend_known(plate: &Plate, sighting: &mut PatternSighting, predicted: &Places) {
    let seen: Places = sighting
        .corners
        .iter()
        .map(|corner| ((i32::from(corner.row), i32::from(corner.col)), corner.at))
        .collect();
    let corrected = corrected_by(predicted, &seen);
    let fits = fit_all(plate, sighting.pattern, &corrected, &seen);
    sighting.corners.extend(as_sightings(sighting.pattern, &corrected, &fits));
    sighting.corners.sort_by_key(|corner| (corner.row, corner.col));
}

/// Predictions moved by what nearby seen corners say they are wrong by.
fn corrected_by(predicted: &Places, seen: &Places) -> Places {
    let errors: Vec<((i32, i32), [f64; 2])> = seen
        .iter()
        .filter_map(|(key, at)| predicted.get(key).map(|p| (*key, [at[0] - p[0], at[1] - p[1]])))
        .collect();
    let correct = |(&(r, c), at): (&(i32, i32), &[f64; 2])| {
        let (mut sum, mut error) = (0.0, [0.0; 2]);
        for ((r1, c1), e) in &errors {
            // Nodes four cells away count half as much as the neighbour: the error varies slowly
            // over a pattern.
            let weight = 1.0 / (1.0 + f64::from((r1 - r).pow(2) + (c1 - c).pow(2)) / 16.0).powi(2);
            sum += weight;
            error = [error[0] + weight * e[0], error[1] + weight * e[1]];
        }
        let corrected =
            if sum > 0.0 { [at[0] + error[0] / sum, at[1] + error[1] / sum] } else { *at };
        ((r, c), corrected)
    };
    predicted.iter().map(correct).collect()
}

/// A pattern that the first look did not find, if its corners and cells are there.
fn find_new(plate: &Plate, pattern: Pattern, predicted: &Places) -> Option<PatternSighting> {
    let places = nodes(predicted.iter().map(|(&key, &at)| (key, at)));
    let guesses: Vec<CornerGuess> = predicted
        .keys()
        .filter(|(r, c)| is_corner(pattern, *r, *c))
        .filter_map(|&key| guess(pattern, &places, key))
        .collect();
    let cell = median(&guesses.iter().map(cell_px).collect::<Vec<f64>>())?;
    if cell < MIN_CELL_PX {
        return None;
    }
    let [du, dv] = best_shift(&plate.calm, &guesses, MAX_SHIFT_PX.min(MAX_SHIFT_CELLS * cell))?;
    let shifted: Places =
        predicted.iter().map(|(&key, at)| (key, [at[0] + du, at[1] + dv])).collect();
    let first = fit_all(plate, pattern, &shifted, &Places::new());
    if first.len() < MIN_CORNERS_SPELT {
        return None;
    }
    // The corners found correct the prediction of those that lay just too far off.
    let found: Places = first.iter().map(|(&key, fit)| (key, fit.at)).collect();
    let corrected = corrected_by(&shifted, &found);
    let fits = fit_all(plate, pattern, &corrected, &Places::new());
    let (wrong_dots, read_cells) = verify(plate, pattern, &corrected, &fits, cell)
        .or_else(|| spelt(plate, pattern, &corrected, &fits))?;
    let corners = as_sightings(pattern, &corrected, &fits);
    // A prediction has no rival, so there is no margin.
    Some(PatternSighting { pattern, corners, wrong_dots, read_cells, margin: 0 })
}

/// The common shift of all guesses at which the chequer fits best, or None when it fits nowhere.
fn best_shift(image: &LinearImage, guesses: &[CornerGuess], reach: f64) -> Option<[f64; 2]> {
    let n = (reach / SHIFT_STEP).floor() as i32;
    let mut best = (0.0, None);
    for (i, j) in (-n..=n).flat_map(|i| (-n..=n).map(move |j| (i, j))) {
        let shift = [f64::from(i) * SHIFT_STEP, f64::from(j) * SHIFT_STEP];
        let contrast: f64 =
            guesses.iter().filter_map(|guess| chequer_contrast(image, guess, shift)).sum();
        if contrast > best.0 {
            best = (contrast, Some(shift));
        }
    }
    best.1
}

/// Bright less dark cells about a corner, 0.25 cells into each.
fn chequer_contrast(image: &LinearImage, guess: &CornerGuess, shift: [f64; 2]) -> Option<f64> {
    let value = |a: f64, b: f64| {
        let at =
            |i: usize| guess.at[i] + shift[i] + a * guess.along_row[i] + b * guess.along_col[i];
        image.sample(at(0), at(1)).map(f64::from)
    };
    let same = value(-0.25, -0.25)? + value(0.25, 0.25)?;
    let other = value(-0.25, 0.25)? + value(0.25, -0.25)?;
    Some(if guess.first_dark { other - same } else { same - other })
}

/// Fits all metric points of `places` but those already `seen`, and keeps those that agree with
/// their surroundings.
fn fit_all(
    plate: &Plate,
    pattern: Pattern,
    places: &Places,
    seen: &Places,
) -> BTreeMap<(i32, i32), CornerFit> {
    let around = nodes(places.iter().map(|(&key, &at)| (key, at)));
    let mut fits = BTreeMap::new();
    for (&(r, c), &at) in places {
        if seen.contains_key(&(r, c)) || !is_corner(pattern, r, c) {
            continue;
        }
        let Some(guess) =
            guess(pattern, &around, (r, c)).filter(|guess| cell_px(guess) >= MIN_CELL_PX)
        else {
            continue;
        };
        let Some(fit) = fit_corner(plate.raw, &plate.noise, &CornerGuess { at, ..guess }) else {
            continue;
        };
        let miss = (fit.at[0] - at[0]).hypot(fit.at[1] - at[1]);
        if miss <= MAX_MISS_PX.max(MAX_MISS_CELLS * cell_px(&guess)) + MISS_SIGMAS * fit.sigma() {
            fits.insert((r, c), fit);
        }
    }
    drop_new_strays(&mut fits, seen);
    fits
}

/// Drops fits that lie where neither the seen corners nor the other fits have them, one at a time,
/// the worst first.
fn drop_new_strays(fits: &mut BTreeMap<(i32, i32), CornerFit>, seen: &Places) {
    loop {
        let fitted = || fits.iter().map(|(&key, fit)| (key, fit.at));
        let places: Vec<Node> = nodes(seen.iter().map(|(&key, &at)| (key, at)).chain(fitted()));
        let strays = stray_distances(&places, fitted());
        let limit = |key: &(i32, i32)| {
            fits.get(key).map_or(MAX_STRAY_PX, |fit| MAX_STRAY_PX.max(STRAY_SIGMAS * fit.sigma()))
        };
        let Some((&worst, _)) = strays
            .iter()
            .filter(|(key, stray)| **stray > limit(key))
            .max_by(|a, b| a.1.total_cmp(b.1))
        else {
            return;
        };
        fits.remove(&worst);
    }
}

/// Wrong and read cells if the cells are the pattern's, else None.
fn verify(
    plate: &Plate,
    pattern: Pattern,
    places: &Places,
    fits: &BTreeMap<(i32, i32), CornerFit>,
    cell: f64,
) -> Option<(u32, u32)> {
    let mut best = places.clone();
    best.extend(fits.iter().map(|(&key, fit)| (key, fit.at)));
    let (rows, cols) = (pattern.rows() as i32, pattern.cols() as i32);
    // Cells about the fitted corners only: others may be hidden.
    let cells: std::collections::BTreeSet<(i32, i32)> = fits
        .keys()
        .flat_map(|&(r, c)| [(r - 1, c - 1), (r - 1, c), (r, c - 1), (r, c)])
        .filter(|&(r, c)| {
            (0..rows).contains(&r) && (0..cols).contains(&c) && !pattern.is_lane(r as usize)
        })
        .filter(|&(_, c)| !(is_flag(pattern) && c == 2))
        .collect();
    let is_dark = |r: i32, c: i32| (r + c) % 2 == 0;
    let readings = read_cells(plate, &best, cells.into_iter(), is_dark);
    let (mut n_wrong_ground, mut n_read, mut n_wrong) = (0, 0, 0);
    for (&(r, c), Cell { ground, dot }) in &readings {
        if *ground == Ground::Unclear {
            continue;
        }
        if (*ground == Ground::Dark) != is_dark(r, c) {
            n_wrong_ground += 1;
        } else if let Some(dot) = dot {
            n_read += 1;
            n_wrong += usize::from(*dot != pattern.has_dot(r as usize, c as usize));
        }
    }
    let max_wrong = match pattern {
        Pattern::Tab(_) if is_flag(pattern) => 0,
        Pattern::Tab(_) => MAX_WRONG_ON_TAB,
        Pattern::Card(_) => n_read / ONE_WRONG_IN,
    };
    let few_wrong = n_wrong <= max_wrong;
    let read = n_read >= MIN_READABLE && few_wrong && fits.len() >= MIN_CORNERS;
    // Without readable dots the chequer itself must be right throughout.
    let chequer = cell < READABLE_CELL_PX
        && n_wrong_ground == 0
        && fits.len() >= MIN_CORNERS_UNREAD
        && few_wrong;
    (read || chequer).then_some((n_wrong as u32, n_read as u32))
}

/// Wrong and read cells if the cells of a tab spell its word together, however weakly each.
fn spelt(
    plate: &Plate,
    pattern: Pattern,
    places: &Places,
    fits: &BTreeMap<(i32, i32), CornerFit>,
) -> Option<(u32, u32)> {
    let Pattern::Tab(number) = pattern else { return None };
    if fits.len() < MIN_CORNERS_SPELT {
        return None;
    }
    let mut best = places.clone();
    best.extend(fits.iter().map(|(&key, fit)| (key, fit.at)));
    let dots = WeakDots::measure(plate, &nodes(best.into_iter()))?;
    dots.is_tab(number).map(|reading| (reading.wrong_dots, N_CELLS as u32))
}

/// Fits as sightings, in order of their nodes.
fn as_sightings(
    pattern: Pattern,
    places: &Places,
    fits: &BTreeMap<(i32, i32), CornerFit>,
) -> Vec<CornerSighting> {
    let around = nodes(places.iter().map(|(&key, &at)| (key, at)));
    let sighting = |(&(r, c), fit): (&(i32, i32), &CornerFit)| {
        let cell_px = cell_px(&guess(pattern, &around, (r, c))?);
        Some(CornerSighting { row: r as u8, col: c as u8, at: fit.at, cov: fit.cov, cell_px })
    };
    fits.iter().filter_map(sighting).collect()
}
