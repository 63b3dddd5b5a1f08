//! All corners of a pattern whose place is known: each is predicted from those around it and
//! fitted, across the lane and past whatever hides a part.

use std::collections::BTreeMap;

use crate::cards::Pattern;
use crate::math::robust::median;

use super::corner::{CornerFit, CornerGuess};
use super::corner_fit::fit_corner;
use super::plane_map::{Node, PlaneMap};
use super::plate::Plate;
use super::read_tab::is_flag;
use super::seen::CornerSighting;

/// How far (nodes) a corner may lie from the nearest known one, from one round of growth to the
/// next: neighbours first, then across the lane (4), then past an occlusion.
const REACHES: [i32; 6] = [1, 2, 4, 6, 10, 26];
/// Farthest that a fit may lie from its prediction: a part of the cell, or this many px, for each
/// node of reach up to three.
const MAX_MISS_CELLS: f64 = 0.08;
const MAX_MISS_PX: f64 = 0.6;
/// What may be added to that in grain, in the fit's own standard deviations.
const MISS_SIGMAS: f64 = 2.5;
/// Guesses closer than this, px, lead to the same fit or to none.
const SAME_GUESS_PX: f64 = 0.2;
/// Rounds after which growth ends; every reach needs a few (our choice).
const MAX_ROUNDS: usize = 200;
/// Corners farther than this from where their neighbours have them are dropped: px, and in robust
/// standard deviations of the pattern. Fits are good to 0.03-0.04 px; what a cord or tube shifted
/// lies tenths away.
const MAX_STRAY_PX: f64 = 0.25;
const MAX_STRAY_SIGMAS: f64 = 5.0;
/// On a flag, corners next to the hidden column must be this clean relative to the others.
const FLAG_STRAY_PX: f64 = 0.15;
const FLAG_RESIDUAL: f64 = 1.5;

/// Fitted corners of one print by node (r, c).
pub type Fits = BTreeMap<(i32, i32), CornerFit>;

/// Fits every corner of the pattern that can be seen, starting from where some of its nodes were
/// seen.
///
/// `seen` are places by node (r, c), good to a pixel or so; nodes that are no metric point help to
/// predict only.
pub fn fit_pattern(plate: &Plate, pattern: Pattern, seen: &BTreeMap<(i32, i32), [f64; 2]>) -> Fits {
    let mut fits = Fits::new();
    let places = nodes(seen.iter().map(|(&key, &at)| (key, at)));
    for (&(r, c), &at) in seen {
        if is_corner(pattern, r, c)
            && let Some(guess) = guess(pattern, &places, (r, c))
            && let Some(fit) = fit_corner(plate.raw, &plate.noise, &CornerGuess { at, ..guess })
        {
            fits.insert((r, c), fit);
        }
    }
    drop_strays(pattern, &mut fits);
    extend(plate, pattern, &mut fits);
    drop_strays(pattern, &mut fits);
    fits
}

/// Whether (r, c) is one of the pattern's metric points.
pub fn is_corner(pattern: Pattern, r: i32, c: i32) -> bool {
    r >= 1 && c >= 1 && pattern.is_corner(r as usize, c as usize)
}

/// Corners as nodes of a map from (c, r) to pixels.
pub fn nodes(corners: impl Iterator<Item = ((i32, i32), [f64; 2])>) -> Vec<Node> {
    corners.map(|((r, c), at)| Node { lattice: [f64::from(c), f64::from(r)], at }).collect()
}

/// Where the corners around say that node (r, c) lies.
pub fn guess(pattern: Pattern, places: &[Node], (r, c): (i32, i32)) -> Option<CornerGuess> {
    let lattice = [f64::from(c), f64::from(r)];
    let map = PlaneMap::near(places, lattice)?;
    let [along_row, along_col] = map.steps(lattice)?;
    let first_dark = pattern.is_dark((r - 1).max(0) as usize, (c - 1).max(0) as usize);
    Some(CornerGuess { at: map.at(lattice)?, along_row, along_col, first_dark })
}

/// Shorter side of a cell at a guess, px.
pub fn cell_px(guess: &CornerGuess) -> f64 {
    guess.along_row[0].hypot(guess.along_row[1]).min(guess.along_col[0].hypot(guess.along_col[1]))
}

/// Goes on from the fitted corners until nothing can be added.
fn extend(plate: &Plate, pattern: Pattern, fits: &mut Fits) {
    let mut reach_idx = 0;
    // Reach at which a corner last failed: it is tried again only from farther around.
    let mut tried: BTreeMap<(i32, i32), Tried> = BTreeMap::new();
    for _ in 0..MAX_ROUNDS {
        let places = nodes(fits.iter().map(|(&key, fit)| (key, fit.at)));
        let mut added = Vec::new();
        for (r, c) in pattern.corners().map(|(r, c)| (r as i32, c as i32)) {
            if fits.contains_key(&(r, c))
                || tried.get(&(r, c)).is_some_and(|tried| tried.reach_idx >= reach_idx)
            {
                continue;
            }
            let distance = |&(r1, c1): &(i32, i32)| (r1 - r).abs().max((c1 - c).abs());
            let Some(nearest) = fits.keys().map(distance).min() else { return };
            if nearest > REACHES[reach_idx] {
                continue;
            }
            let last = tried.entry((r, c)).or_insert(Tried { reach_idx, fit: None });
            last.reach_idx = reach_idx;
            if let Some(fit) = fit_near(plate, pattern, &places, (r, c), nearest, last) {
                added.push(((r, c), fit));
            }
        }
        if added.is_empty() {
            reach_idx += 1;
            if reach_idx == REACHES.len() {
                return;
            }
        } else {
            fits.extend(added);
            reach_idx = 0;
        }
    }
}

/// A corner that failed.
struct Tried {
    /// The reach at which that was.
    reach_idx: usize,
    /// Where it was thought to be, and what the fit from there gave.
    fit: Option<([f64; 2], Option<CornerFit>)>,
}

/// The corner at node (r, c), if it lies where its surroundings predict it. What was tried from the
/// same place before is not tried again.
fn fit_near(
    plate: &Plate,
    pattern: Pattern,
    places: &[Node],
    node: (i32, i32),
    nearest: i32,
    tried: &mut Tried,
) -> Option<CornerFit> {
    let guess = guess(pattern, places, node)?;
    let inside = guess.at[0] > 0.0
        && guess.at[1] > 0.0
        && guess.at[0] < plate.raw.width() as f64
        && guess.at[1] < plate.raw.height() as f64;
    let cell = cell_px(&guess);
    if !inside || cell < 2.5 {
        return None;
    }
    let fit = match tried.fit {
        Some((at, fit)) if (at[0] - guess.at[0]).hypot(at[1] - guess.at[1]) < SAME_GUESS_PX => fit,
        _ => {
            let fit = fit_corner(plate.raw, &plate.noise, &guess);
            tried.fit = Some((guess.at, fit));
            fit
        }
    }?;
    let miss = (fit.at[0] - guess.at[0]).hypot(fit.at[1] - guess.at[1]);
    let reach = f64::from(nearest.min(3));
    (miss <= (MAX_MISS_CELLS * cell).max(MAX_MISS_PX) * reach + MISS_SIGMAS * fit.sigma())
        .then_some(fit)
}

/// Takes out corners that don't lie where their neighbours have them, the worst of each
/// neighbourhood first.
pub fn drop_strays(pattern: Pattern, fits: &mut Fits) {
    // Each pass takes out the worst of every neighbourhood; more than this many lie in none.
    const MAX_PASSES: usize = 12;
    for _ in 0..MAX_PASSES {
        let places = nodes(fits.iter().map(|(&key, fit)| (key, fit.at)));
        let strays = stray_distances(&places, fits.iter().map(|(&key, fit)| (key, fit.at)));
        let Some(usual) = median(&strays.values().copied().collect::<Vec<f64>>()) else { return };
        // 0.85 is the median of the distance of a two-dimensional normal error (1.18) over 1.39,
        // its usual range to one axis.
        let limit = MAX_STRAY_PX.max(MAX_STRAY_SIGMAS * 0.85 * usual);
        let residual =
            median(&fits.values().map(|fit| fit.residual).collect::<Vec<f64>>()).unwrap_or(0.0);
        let limit_of = |key: &(i32, i32)| {
            if beside_line(pattern, key) { limit.min(FLAG_STRAY_PX) } else { limit }
        };
        let dirty = |key: &(i32, i32)| {
            beside_line(pattern, key) && fits[key].residual > FLAG_RESIDUAL * residual.max(0.03)
        };
        let is_worst = |key: &(i32, i32), stray: f64| {
            let near =
                |other: &(i32, i32)| (other.0 - key.0).abs().max((other.1 - key.1).abs()) <= 2;
            strays.iter().all(|(other, &theirs)| !near(other) || theirs <= stray)
        };
        let out: Vec<(i32, i32)> = strays
            .iter()
            .filter(|&(key, &stray)| dirty(key) || (stray > limit_of(key) && is_worst(key, stray)))
            .map(|(key, _)| *key)
            .collect();
        if out.is_empty() {
            return;
        }
        for key in out {
            fits.remove(&key);
        }
    }
}

/// Whether a flag's line may run close by this corner.
fn beside_line(pattern: Pattern, &(_, c): &(i32, i32)) -> bool {
    is_flag(pattern) && (c == 2 || c == 3)
}

/// Distance of each of some corners from where the others among `places` predict it, px.
pub fn stray_distances(
    places: &[Node],
    corners: impl Iterator<Item = ((i32, i32), [f64; 2])>,
) -> BTreeMap<(i32, i32), f64> {
    corners
        .filter_map(|((r, c), seen)| {
            let lattice = [f64::from(c), f64::from(r)];
            let at = PlaneMap::near_others(places, lattice)?.at(lattice)?;
            Some(((r, c), (at[0] - seen[0]).hypot(at[1] - seen[1])))
        })
        .collect()
}

/// The fits as the corners of a sighting, sorted by node.
pub fn corner_sightings(pattern: Pattern, fits: &Fits) -> Vec<CornerSighting> {
    let places = nodes(fits.iter().map(|(&key, fit)| (key, fit.at)));
    let sighting = |(&(r, c), fit): (&(i32, i32), &CornerFit)| {
        let cell_px = cell_px(&guess(pattern, &places, (r, c))?);
        Some(CornerSighting { row: r as u8, col: c as u8, at: fit.at, cov: fit.cov, cell_px })
    };
    fits.iter().filter_map(sighting).collect()
}
