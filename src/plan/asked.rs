//! A step that was asked for beside what was done of it, in the fewest words.

use super::outcome::{PlanStep, StepKind};
use super::progress::{Progress, StepProgress};
use crate::measurement::{Measurement, Quality};
use crate::say;
use crate::text::units::Kind;
use crate::text::{Amount, Sentence};

/// A change whose U is larger than this part of what was asked for says too little of a step: done
/// and not done would look alike (our choice).
const SHARP_ENOUGH: f64 = 0.5;

/// What is missing of a step that is called done is at most this part of it, even where the ± would
/// allow more (our choice).
const NEARLY_ALL: f64 = 0.25;

/// From this part of what was asked for on, the ± is named as what limits "fine" (our choice).
const VAGUE: f64 = 0.2;

/// Whether what was found of a step is sharp enough to call it done or to say what is left.
pub fn says_enough(told: &StepProgress) -> bool {
    let sharp = told.planned.zip(told.found).is_some_and(|(planned, found)| {
        let missing = (planned - found.value).abs();
        found.quality == Quality::Good
            && found.u <= SHARP_ENOUGH * planned.abs()
            && (told.progress != Progress::Done || missing <= NEARLY_ALL * planned.abs())
    });
    sharp && told.progress != Progress::NotShown
}

/// "asked 1.4 mm, done 1.3 mm, ± 0.2 mm: fine"; None where nothing was found of it. The spindle's
/// end is told in the millimetres that it was to be drawn, where the plan could say them.
pub fn asked_and_done(step: &PlanStep, told: &StepProgress) -> Option<Sentence> {
    let (planned, found) = told.planned.zip(told.found)?;
    let (kind, size) = match step.distance.filter(|_| step.step == StepKind::Square) {
        Some(distance) => (Kind::Length, distance.value.abs()),
        None => (Kind::from(told.unit), planned.abs()),
    };
    // What was found, in the unit of what was asked; what went the way that was asked is plus.
    let factor = size / planned;
    if !factor.is_finite() {
        return None;
    }
    let done = Measurement { value: found.value * factor, u: (found.u * factor).abs(), ..found };
    let left = Measurement { value: (size - done.value).abs(), ..done };
    let amount = |value: f64| Amount::measured(&Measurement { value, ..done }, kind);
    let asked = say![
        "asked ",
        amount(size),
        ", done ",
        amount(done.value),
        ", ± ",
        Amount::at_least(done.u, kind)
    ];
    let left_over = Amount::measured(&left, kind);
    Some(match told.progress {
        _ if !says_enough(told) => say![asked, ": the photos tell too little"],
        Progress::Done if done.u > VAGUE * size => {
            say![asked, ": fine, as far as these photos tell"]
        }
        Progress::Done => say![asked, ": fine"],
        Progress::Partly | Progress::NotDone => say![asked, ": ", left_over, " left"],
        Progress::TooFar => say![asked, ": ", left_over, " too far, take it back"],
        Progress::WrongWay => say![asked, ": the wrong way, ", left_over, " left"],
        // Nothing that is not shown says enough.
        Progress::NotShown => return None,
    })
}
