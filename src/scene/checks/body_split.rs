//! A set-up taken apart: whether a turning body has another place in the photos after some moment
//! than in those before it.
//!
//! Photos from the left show one face of a wheel, photos from the right the other. Where it was
//! knocked in between, either side fits on its own and no mark is seen at two places: the
//! contradiction lies in how the faces stand to each other in another set-up, and spread over
//! all tabs it passes for noise. So the later photos get a place of the body of their own, first
//! from one step for each moment, then adjusted in full for the most suspicious one, and the two
//! places are compared by what their difference's covariance allows.

use std::collections::BTreeMap;

use nalgebra::DMatrix;
use rayon::prelude::*;

use crate::finding::Finding;
use crate::say;
use crate::scene::adjust::noise::weigh;
use crate::scene::adjust::prior::carried_middle;
use crate::scene::adjust::solve::{Problem, Trials, adjust, loose_covariance};
use crate::scene::model::input::{ScenePhoto, SceneSettings};
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::model::state::{Body, State};
use crate::scene::model::unknowns::Slots;
use crate::text::Amount;

use super::two_places::TwoPlaces;

/// Steps and rounds of weighing to judge a moment, from a solution.
const STEPS: usize = 4;
const ROUNDS: usize = 2;
/// Squared distance between the two places over its covariance, for each of six unknowns. Over two
/// dozen sets of photos in which nothing was touched it was 9 at most; over three in which the
/// wheel was knocked by 0.12 to 0.3 degrees, 100 to 320.
const SUSPICIOUS: f64 = 6.0;
const CERTAIN: f64 = 25.0;
/// What turned by less than this, radians, and went less far, mm, is left to the uncertainties.
const LEAST_TURN: f64 = 3e-4;
const LEAST_SHIFT_MM: f64 = 0.05;
/// A reading that explains this part of what the best one does is as good (our choice).
const AS_GOOD: f64 = 0.5;

/// A body at two places within a set-up.
struct Reading {
    body: usize,
    /// Views that show it, in the photos' order, and the first of them after it moved.
    views: Vec<usize>,
    from: usize,
    /// Squared distance between the two places over its covariance, for each of six unknowns.
    significance: f64,
    /// Turn between the two places, radians, and shift of the tabs' middle, mm.
    turned: f64,
    shifted: f64,
    state: State,
    slots: Slots,
    blocks: Vec<Block>,
}

impl Solution {
    /// Looks for a turning body that was moved in the middle of a set-up. Where only one set-up
    /// can be the one, its place in the larger part of the photos is taken. Where either of two
    /// may be, the solution stays, and both readings are kept next to it. Returns whether there is
    /// such a body.
    pub fn split_setups(&mut self, photos: &[ScenePhoto], settings: &SceneSettings) -> bool {
        let photo_of: BTreeMap<usize, usize> = self
            .view_of
            .iter()
            .enumerate()
            .filter_map(|(photo, view)| view.map(|view| (view, photo)))
            .collect();
        let bodies: Vec<usize> = (0..self.state.bodies.len()).collect();
        let mut readings: Vec<Reading> = bodies
            .par_iter()
            .map(|&body| best_split(self, body, &photo_of))
            .collect::<Vec<_>>()
            .into_iter()
            .flatten()
            .collect();
        readings.sort_by(|a, b| b.significance.total_cmp(&a.significance));
        let Some(best) = readings.first() else { return false };
        let (part, bound) = (self.state.bodies[best.body].part, AS_GOOD * best.significance);
        readings.retain(|reading| {
            reading.significance >= bound && self.state.bodies[reading.body].part == part
        });
        let finding = finding(&readings, &self.state, &photo_of, photos, settings);
        self.findings.extend(finding);
        if readings.len() > 1 {
            self.readings = readings.into_iter().map(|reading| self.read_so(reading)).collect();
        } else if let Some(only) = readings.pop() {
            (self.state, self.slots, self.blocks) = (only.state, only.slots, only.blocks);
        }
        true
    }

    fn read_so(&self, reading: Reading) -> Solution {
        let Reading { state, slots, blocks, .. } = reading;
        let mut solution = Solution { state, slots, blocks, readings: Vec::new(), ..self.clone() };
        solution.update_covariance();
        solution
    }
}

/// The moment at which a body's set-up comes apart most clearly, if it does.
fn best_split(
    solution: &Solution,
    body: usize,
    photo_of: &BTreeMap<usize, usize>,
) -> Option<Reading> {
    let shows =
        |block: &&Block| matches!(block.shown, Shown::Tab { body: Some(b), .. } if b == body);
    let mut views: Vec<usize> =
        solution.blocks.iter().filter(shows).map(|block| block.view).collect();
    views.sort_by_key(|view| photo_of.get(view));
    views.dedup();
    let from = most_suspicious(solution, body, &views)?;
    let reading = read(solution, body, &views, from)?;
    let moved = reading.turned > LEAST_TURN || reading.shifted > LEAST_SHIFT_MM;
    (moved && reading.significance > CERTAIN).then_some(reading)
}

/// The views, before or after one of them, that are fewer.
fn fewer(views: &[usize], from: usize) -> &[usize] {
    if from >= views.len() - from { &views[from..] } else { &views[..from] }
}

/// Gives a body another place in some of the views: the body's number there.
fn let_stand_elsewhere(
    state: &mut State,
    blocks: &mut [Block],
    body: usize,
    others: &[usize],
) -> usize {
    let apart = state.bodies.len();
    state.bodies.push(Body { fixed: false, ..state.bodies[body].clone() });
    for block in blocks.iter_mut().filter(|block| others.contains(&block.view)) {
        if let Shown::Tab { body: Some(on), .. } = &mut block.shown
            && *on == body
        {
            *on = apart;
        }
    }
    apart
}

/// The moment that parts a body's two places most clearly, to first order, if any is worth a closer
/// look.
fn most_suspicious(solution: &Solution, body: usize, views: &[usize]) -> Option<usize> {
    let mut state = solution.state.clone();
    let mut blocks = solution.blocks.clone();
    let apart = let_stand_elsewhere(&mut state, &mut blocks, body, views);
    let slots = Slots::of(&state);
    let problem = |blocks| Problem { blocks, priors: &solution.priors, slots: &slots };
    let trials = Trials::of(&state, &problem(&solution.blocks), &problem(&blocks), views)?;
    let significance = |from: usize| {
        let (step, covariance) = trials.step(fewer(views, from))?;
        let mut state = state.clone();
        state.nudge_kept(&slots, step.as_slice());
        Some((from, two_places(&state, &slots, &covariance, body, apart).significance()?))
    };
    let (from, significance) =
        (1..views.len()).filter_map(significance).max_by(|a, b| a.1.total_cmp(&b.1))?;
    (significance > SUSPICIOUS).then_some(from)
}

fn two_places(
    state: &State,
    slots: &Slots,
    covariance: &DMatrix<f64>,
    body: usize,
    apart: usize,
) -> TwoPlaces {
    let poses = [body, apart].map(|idx| state.bodies[idx].world_from_body);
    TwoPlaces::of(poses, [slots.bodies[body], slots.bodies[apart]], covariance)
}

/// Adjusts with a place of the body of its own in the smaller part of the photos, those before
/// `from` or from it on.
fn read(solution: &Solution, body: usize, views: &[usize], from: usize) -> Option<Reading> {
    let mut state = solution.state.clone();
    let mut blocks = solution.blocks.clone();
    let apart = let_stand_elsewhere(&mut state, &mut blocks, body, fewer(views, from));
    let slots = Slots::of(&state);
    let priors = &solution.priors;
    adjust(&mut state, &Problem { blocks: &blocks, priors, slots: &slots }, STEPS);
    for _ in 0..ROUNDS {
        weigh(&state, &slots, &mut blocks);
        adjust(&mut state, &Problem { blocks: &blocks, priors, slots: &slots }, STEPS);
    }
    let covariance = loose_covariance(&state, &Problem { blocks: &blocks, priors, slots: &slots })?;
    let moved = two_places(&state, &slots, &covariance, body, apart);
    let significance = moved.significance()?;
    let middle = carried_middle(&state, state.bodies[body].part);
    let [a, b] = [body, apart].map(|idx| state.bodies[idx].world_from_body);
    let shifted = (b.apply(&middle) - a.apply(&middle)).norm();
    let views = views.to_vec();
    Some(Reading {
        body,
        views,
        from,
        significance,
        turned: moved.turn.norm(),
        shifted,
        state,
        slots,
        blocks,
    })
}

fn finding(
    readings: &[Reading],
    state: &State,
    photo_of: &BTreeMap<usize, usize>,
    photos: &[ScenePhoto],
    settings: &SceneSettings,
) -> Option<Finding> {
    let first = readings.first()?;
    let photo = |reading: &Reading| photos.get(*photo_of.get(&reading.views[reading.from])?);
    let place = |reading: &Reading| {
        let photo = photo(reading)?;
        Some(format!("set-up {} from photo {}", settings.setups[photo.setup], photo.file))
    };
    let part = state.bodies[first.body].part.word();
    let by = say![
        "by ",
        Amount::tenths(first.shifted),
        format!(" and {:.2} degrees", first.turned.to_degrees())
    ];
    let (what, advice) = if readings.len() == 1 {
        let used =
            if first.from >= first.views.len() - first.from { "before it" } else { "from it on" };
        (
            say![
                format!("The {part} was turned or moved in {} on, ", place(first)?),
                by,
                format!("; the place that the photos {used} show was taken."),
            ],
            "Within a set-up nothing may be touched: take the photos of that set-up again, or put those from there on into a folder of \
             their own.",
        )
    } else {
        let places: Vec<String> = readings.iter().filter_map(place).collect();
        (
            say![
                format!("The {part} was turned or moved "),
                by,
                format!(
                    " in {} on; the photos can't tell in which. Its figures allow for either, and don't count for a verdict.",
                    places.join(", or in ")
                ),
            ],
            "Within a set-up nothing may be touched: take the photos of both set-ups again, without turning or leaning on the wheel while \
             you walk round.",
        )
    };
    let finding = Finding::warning("moved-within-setup", what, advice);
    Some(finding.in_photo(photo(first)?.file.clone()))
}
