//! How far each part can be moved before a specialist has to look at it.
//!
//! None of these has a published source: they are what the trade does (common practice, no source),
//! and they only add a warning.

use super::outcome::{Direction, PlanStep, StepKind};
use crate::job::SpacerKind;
use crate::say;
use crate::text::{Amount, Sentence};

/// A rim pulled further by its spokes makes the two sides' tensions too unlike, mm.
const SPOKES_MM: f64 = 4.0;
/// An adjuster drawn further than this on one side has used up its slot, or squares a bent swinging
/// arm, mm.
const ADJUSTER_MM: f64 = 6.0;
/// Spacers at the hub changed by more leave the nuts too little thread, mm.
const SPACERS_MM: f64 = 6.0;
/// Packing behind the rear sprocket: its bolts must keep their thread and its register, mm.
const PACKING_MM: f64 = 4.0;
/// A shim behind the gearbox sprocket: its nut must keep its thread and its lock, mm.
const SHIM_MM: f64 = 2.0;
/// A frame hung again by more was clamped by the wrong part, or is bent, mm.
const FRAME_MM: f64 = 15.0;

/// How far the part of a step can be moved, mm.
fn limit(step: &PlanStep) -> Option<f64> {
    let applied = |kind: SpacerKind| step.applied_to == kind.word();
    match step.step {
        StepKind::Rehang => Some(FRAME_MM),
        StepKind::Square => Some(ADJUSTER_MM),
        StepKind::Centre => Some(SPOKES_MM),
        StepKind::Chain if applied(SpacerKind::Hub) => Some(SPACERS_MM),
        StepKind::Chain if applied(SpacerKind::Sprocket) => Some(PACKING_MM),
        StepKind::Chain => Some(SHIM_MM),
        StepKind::Refer => None,
    }
}

fn is_beyond(step: &PlanStep) -> Option<f64> {
    let distance = step.distance?.value;
    limit(step).filter(|limit| distance > *limit)
}

/// A warning in words by part, where a step asks for more than the part can take.
pub fn beyond(step: &PlanStep) -> Option<Sentence> {
    let limit = is_beyond(step)?;
    let is_inboard = step.direction == Some(Direction::Inboard);
    let words = match (step.step, step.applied_to.as_str()) {
        (StepKind::Rehang, _) => {
            "a frame is rarely hung so far out. See first which part the clamp holds"
        }
        (StepKind::Square, _) => {
            "one adjuster is rarely so far ahead of the other. Have the fork ends and the swinging arm checked first"
        }
        (StepKind::Centre, _) => {
            "spokes that were built for another place can't take it: one side goes slack, the other pulls its nipples through. Take the \
             wheel to a wheel builder"
        }
        (StepKind::Chain, applied) if applied == SpacerKind::Hub.word() => {
            "see that the spindle's nuts keep their full thread and that the rim and tyre clear the frame"
        }
        (StepKind::Chain, _) if is_inboard => {
            "there is rarely so much packing to take out. Ask an engineer"
        }
        (StepKind::Chain, applied) if applied == SpacerKind::Sprocket.word() => {
            "the bolts or studs lose too much thread and the sprocket its register. Ask an engineer for a spacer ring"
        }
        (StepKind::Chain, _) => {
            "the nut loses too much of its thread and its lock. Ask an engineer"
        }
        (StepKind::Refer, _) => return None,
    };
    Some(say!["More than ", Amount::mm(limit), format!(" (common practice, no source): {words}.")])
}

/// How far bringing the sprockets into line needs an engineer, the least first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Engineer {
    No,
    /// Only where there is no packing to take out.
    Perhaps,
    Yes,
}

/// How far a step that brings the sprockets into line needs an engineer.
pub fn engineer(step: &PlanStep) -> Engineer {
    let is_hub = step.applied_to == SpacerKind::Hub.word();
    match (needs_engineer(step), is_beyond(step).is_some() && !is_hub) {
        (_, true) => Engineer::Yes,
        (true, false) => Engineer::Perhaps,
        (false, false) => Engineer::No,
    }
}

/// Whose work a step is, or what it must be looked at for, in the fewest words.
pub fn in_short(step: &PlanStep) -> Option<Sentence> {
    let beyond = is_beyond(step).map(Amount::mm);
    Some(match (step.step, engineer(step), beyond) {
        (StepKind::Chain, Engineer::Perhaps, _) => {
            say!["an engineer's work, unless there is packing to take out"]
        }
        (StepKind::Chain, Engineer::Yes, Some(limit)) => {
            say!["an engineer's work: more than ", limit, " there"]
        }
        (StepKind::Chain, _, Some(_)) => {
            say!["see that nuts keep their thread and the tyre clears"]
        }
        (StepKind::Centre, _, Some(limit)) => {
            say!["a wheel builder's work: more than ", limit, " by the spokes"]
        }
        _ => return None,
    })
}

/// Facing a seat takes metal off a part that carries load: not a job for the bench.
pub fn needs_engineer(step: &PlanStep) -> bool {
    let is_seat = [SpacerKind::Sprocket, SpacerKind::Gearbox]
        .iter()
        .any(|kind| step.applied_to == kind.word());
    step.step == StepKind::Chain && is_seat && step.direction == Some(Direction::Inboard)
}

pub const ENGINEER: &str = "If there is no packing to take out, don't file or grind the seat: facing it is an engineer's work.";
