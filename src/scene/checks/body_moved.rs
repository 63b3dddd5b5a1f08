//! A turning body that was knocked or turned in the middle of a set-up: its photos before and after
//! show it at two places.
//!
//! One place for all photos of the set-up then fits none of them, and a noise factor swallows the
//! difference. So the set-up is split between any two photos, in their order, and the body's place
//! is estimated for either part on its own: where that fits far better than one place does, the
//! body moved there.

use std::collections::BTreeMap;

use nalgebra::{Matrix6, Vector3, Vector6};

use crate::cards::Pattern;
use crate::math::robust::median;
use crate::scene::adjust::residual::lengths;
use crate::scene::model::input::ScenePhoto;
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::model::state::{Carrier, State, Tab, TurningPart};

/// One place of a body fits this many times worse than its tabs' usual noise before anything is
/// split, and two places at least this many times better (our choice: a knock of a tenth of a
/// degree makes tens, a blurred photo two or three).
const FITS_ILL: f64 = 3.0;
const FITS_BETTER: f64 = 2.0;
/// Photos that show the body on the part that is used, and on the other (our choice).
const LEAST_USED: usize = 2;
const LEAST_OTHER: usize = 1;
/// From here on a residual counts linearly, in standard deviations.
const HUBER: f64 = 3.0;
const STEPS: usize = 8;

/// A body that moved.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    pub setup: usize,
    /// Kind of the body.
    pub part: TurningPart,
    /// The first photo after it moved.
    pub from: usize,
    /// Photos whose sightings of the body are left out.
    pub left_out: Vec<usize>,
    /// Whether the photos before it moved are used, not those after.
    pub before_used: bool,
    /// Tabs next to the body that went with it: a spindle's ends, say.
    pub went_along: Vec<u8>,
}

/// One photo's blocks that show a body.
struct Shot<'a> {
    photo: usize,
    blocks: Vec<&'a Block>,
}

/// Bodies that moved within a set-up, one for each body and set-up at the most.
pub fn moved_within(solution: &Solution, photo_of: &BTreeMap<usize, usize>) -> Vec<Moved> {
    let state = &solution.state;
    let Some(usual) = usual_noise(solution) else { return Vec::new() };
    let mut found = Vec::new();
    for (body_idx, body) in state.bodies.iter().enumerate() {
        let mut shots: Vec<Shot> = Vec::new();
        for block in &solution.blocks {
            let on_it = matches!(block.shown, Shown::Tab { body: Some(b), .. } if b == body_idx);
            let (true, Some(&photo)) = (on_it, photo_of.get(&block.view)) else { continue };
            match shots.iter_mut().find(|shot| shot.photo == photo) {
                Some(shot) => shot.blocks.push(block),
                None => shots.push(Shot { photo, blocks: vec![block] }),
            }
        }
        shots.sort_by_key(|shot| shot.photo);
        if shots.len() < LEAST_USED + LEAST_OTHER
            || misfit(solution, &shots, state) < FITS_ILL * usual
        {
            continue;
        }
        let together = fitted(solution, body_idx, &shots);
        let splits = (1..shots.len()).filter(|&k| k.max(shots.len() - k) >= LEAST_USED);
        let split = splits
            .map(|k| {
                let (before, after) = shots.split_at(k);
                let (a, b) =
                    (fitted(solution, body_idx, before), fitted(solution, body_idx, after));
                let n = [before, after].map(n_residuals);
                (((a * a * n[0] + b * b * n[1]) / (n[0] + n[1])).sqrt(), k)
            })
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let clear = |apart: f64| together > FITS_ILL * usual && apart * FITS_BETTER < together;
        let Some((_, k)) = split.filter(|(apart, _)| clear(*apart)) else { continue };
        let before_used = k >= shots.len() - k;
        let left_out = if before_used { &shots[k..] } else { &shots[..k] };
        found.push(Moved {
            setup: body.setup,
            part: body.part,
            from: shots[k].photo,
            left_out: left_out.iter().map(|shot| shot.photo).collect(),
            before_used,
            went_along: restless_tabs(solution, photo_of, usual),
        });
    }
    found
}

/// Tabs that should stay where they are and that one place does not fit.
fn restless_tabs(solution: &Solution, photo_of: &BTreeMap<usize, usize>, usual: f64) -> Vec<u8> {
    let state = &solution.state;
    let is_restless = |tab_idx: usize| {
        let blocks: Vec<&Block> = solution
            .blocks
            .iter()
            .filter(|b| matches!(b.shown, Shown::Tab { tab, .. } if tab == tab_idx))
            .collect();
        let Some(&photo) = blocks.first().and_then(|block| photo_of.get(&block.view)) else {
            return false;
        };
        misfit(solution, &[Shot { photo, blocks }], state) > FITS_ILL * usual
    };
    let still = (0..state.tabs.len()).filter(|&t| state.tabs[t].carrier == Carrier::Still);
    still.filter(|&t| is_restless(t)).map(|t| state.tabs[t].number).collect()
}

/// The tabs in a photo that moved with a body, for leaving them out.
pub fn tabs_of(
    solution: &Solution,
    photos: &[ScenePhoto],
    photo: usize,
    moved: &Moved,
) -> Vec<Pattern> {
    let on_it = |number: u8| {
        let carried =
            |tab: &Tab| tab.number == number && tab.carrier == Carrier::Turning(moved.part);
        moved.went_along.contains(&number) || solution.state.tabs.iter().any(carried)
    };
    let patterns = photos[photo].sightings.patterns.iter().map(|sighting| sighting.pattern);
    patterns.filter(|pattern| matches!(pattern, Pattern::Tab(number) if on_it(*number))).collect()
}

/// The middle misfit of tabs and cards, block by block: what this job's photos are good for.
fn usual_noise(solution: &Solution) -> Option<f64> {
    let of_block = |block: &Block| {
        let r = residuals(solution, &solution.state, block);
        median(&r).map(|middle| middle / 1.18)
    };
    let patterns = solution
        .blocks
        .iter()
        .filter(|block| matches!(block.shown, Shown::Card(_) | Shown::Tab { .. }));
    median(&patterns.filter_map(of_block).collect::<Vec<f64>>()).map(|usual| usual.max(0.5))
}

/// Lengths of a block's residuals as stated, without a noise factor.
fn residuals(solution: &Solution, state: &State, block: &Block) -> Vec<f64> {
    lengths(state, &solution.slots, block).iter().map(|r| r.abs() * block.noise).collect()
}

fn n_residuals(shots: &[Shot]) -> f64 {
    shots.iter().flat_map(|shot| &shot.blocks).map(|block| 2.0 * block.corners.len() as f64).sum()
}

/// Robust root mean square of each residual component, in standard deviations.
fn misfit(solution: &Solution, shots: &[Shot], state: &State) -> f64 {
    let rho = |r: f64| if r <= HUBER { r * r } else { HUBER * (2.0 * r - HUBER) };
    let blocks = shots.iter().flat_map(|shot| &shot.blocks);
    let sum: f64 = blocks.flat_map(|block| residuals(solution, state, block)).map(rho).sum();
    (sum / n_residuals(shots).max(1.0)).sqrt()
}

/// The misfit of these photos when the body alone is moved to where they have it: Gauss and Newton
/// by differences.
fn fitted(solution: &Solution, body: usize, shots: &[Shot]) -> f64 {
    // mm or radians: far below what photos determine, far above rounding.
    const STEP: f64 = 1e-5;
    let mut state = solution.state.clone();
    let middle = crate::scene::adjust::prior::carried_middle(&state, state.bodies[body].part);
    let values = |state: &State| -> Vec<f64> {
        let blocks = shots.iter().flat_map(|shot| &shot.blocks);
        blocks
            .flat_map(|block| {
                crate::scene::adjust::residual::all_components(state, &solution.slots, block)
            })
            .collect()
    };
    for _ in 0..STEPS {
        let here = values(&state);
        let weights: Vec<f64> =
            here.iter().map(|r| if r.abs() <= HUBER { 1.0 } else { HUBER / r.abs() }).collect();
        let columns: Vec<Vec<f64>> = (0..6)
            .map(|i| {
                let mut stepped = state.clone();
                nudge(&mut stepped, body, &middle, i, STEP);
                values(&stepped).iter().zip(&here).map(|(b, a)| (b - a) / STEP).collect()
            })
            .collect();
        let (mut normal, mut right) = (Matrix6::zeros(), Vector6::zeros());
        for (k, (r, weight)) in here.iter().zip(&weights).enumerate() {
            let row = Vector6::from_fn(|i, _| columns[i][k]);
            normal += row * row.transpose() * *weight;
            right -= row * (r * weight);
        }
        let Some(factor) = (normal + Matrix6::identity() * 1e-9).cholesky() else { break };
        let step = factor.solve(&right);
        let mut trial = state.clone();
        (0..6).for_each(|i| nudge(&mut trial, body, &middle, i, step[i]));
        if misfit(solution, shots, &trial) >= misfit(solution, shots, &state) {
            break;
        }
        state = trial;
    }
    misfit(solution, shots, &state)
}

/// Turns the body about its tabs' middle (0 to 2, radians) or shifts it (3 to 5, mm).
fn nudge(state: &mut State, body: usize, middle: &Vector3<f64>, way: usize, by: f64) {
    let pose = state.bodies[body].world_from_body;
    let unit = Vector3::from_fn(|i, _| if i == way % 3 { by } else { 0.0 });
    let mut moved = pose;
    if way < 3 {
        moved = pose.nudged(&unit, &Vector3::zeros());
        moved.t += pose.apply(middle) - moved.apply(middle);
    } else {
        moved.t += unit;
    }
    state.bodies[body].world_from_body = moved;
}
