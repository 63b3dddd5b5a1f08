//! What became of a plan: each step followed by the figures that it alone moves.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::difference::Difference;
use super::evening::Evening;
use super::outcome::PlanStep;
use super::outcome::{Direction, StepKind, Unit};
use super::tolerance::Reference;
use crate::figure::{Figure, Side};
use crate::job::SpacerKind;
use crate::measurement::{Measurement, Quality};
use crate::say;
use crate::text::{Amount, Sentence, listed};

/// How far a step got.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Progress {
    Done,
    Partly,
    NotDone,
    TooFar,
    WrongWay,
    /// The figures that would show it were not measured, or not well enough.
    NotShown,
}

/// A step of the earlier plan and what the figures show of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StepProgress {
    /// The step's number in the earlier plan.
    pub n: u32,
    pub step: StepKind,
    pub unit: Unit,
    /// What the step was to bring, signed: degrees of the wheel's turn, or mm of the part's move.
    pub planned: Option<f64>,
    /// What was found of it, with the same sign.
    pub found: Option<Measurement>,
    pub progress: Progress,
    /// Why the step can't be followed, where it can't.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why_not_shown: Option<String>,
    /// The same in a sentence.
    pub what: Sentence,
}

/// A step counts as done if what is missing is within U, or within this share of the step (common
/// practice, no source).
const CLOSE_ENOUGH: f64 = 0.1;

/// Follows each step of the earlier plan. What goes to somebody else is not followed.
pub fn follow_steps(
    before: &Evening,
    after: &Evening,
    differences: &[Difference],
) -> Vec<StepProgress> {
    let followed = before.plan.iter().filter(|step| step.step != StepKind::Refer);
    followed.map(|step| follow(step, before, after, differences)).collect()
}

fn follow(
    step: &PlanStep,
    before: &Evening,
    after: &Evening,
    differences: &[Difference],
) -> StepProgress {
    let (unit, planned, found) = match step.step {
        StepKind::Square => {
            (Unit::Deg, step.before.map(|yaw| -yaw.value), change(differences, &before.wheel_yaw()))
        }
        StepKind::Chain => {
            (Unit::Mm, signed(step), sprocket_move(step, before, after, differences))
        }
        StepKind::Centre => (Unit::Mm, signed(step), rim_move(before, after, differences)),
        StepKind::Rehang | StepKind::Refer => {
            let unit = step.because.unit();
            (unit, step.before.map(|figure| -figure.value), change(differences, &step.because))
        }
    };
    let progress = match (planned, found) {
        (Some(planned), Some(found)) if found.quality == Quality::Good => judge(planned, found),
        _ => Progress::NotShown,
    };
    let why_not_shown = (progress == Progress::NotShown)
        .then(|| why_not_shown(step, before, differences, planned, found));
    StepProgress {
        n: step.n,
        step: step.step,
        unit,
        planned,
        found,
        progress,
        what: in_words(step, unit, planned, found, progress, why_not_shown.as_deref()),
        why_not_shown,
    }
}

/// Why a step can't be followed: which figure is missing, or what its uncertainty hides.
fn why_not_shown(
    step: &PlanStep,
    before: &Evening,
    differences: &[Difference],
    planned: Option<f64>,
    found: Option<Measurement>,
) -> String {
    let Some(found) = found else {
        let missing: Vec<String> = rests_on(step, before)
            .iter()
            .filter(|figure| change(differences, figure).is_none())
            .map(Figure::name)
            .collect();
        return match missing.len() {
            0 => "what would show it was not measured both times".to_owned(),
            1 => format!("{} was not measured both times", missing[0]),
            _ => format!("{} were not measured both times", listed(&missing)),
        };
    };
    match planned {
        None => "the plan could not say how far to go".to_owned(),
        Some(_) if found.quality != Quality::Good => {
            let unsure: Vec<String> = rests_on(step, before)
                .iter()
                .filter(|figure| {
                    change(differences, figure).is_some_and(|c| c.quality != Quality::Good)
                })
                .map(Figure::name)
                .collect();
            let was = if unsure.len() == 1 { "was" } else { "were" };
            format!("{} {was} not seen well enough for a verdict", listed(&unsure))
        }
        Some(_) => "the ± is as large as the step".to_owned(),
    }
}

/// The figures whose change shows a step.
fn rests_on(step: &PlanStep, before: &Evening) -> Vec<Figure> {
    match step.step {
        StepKind::Square => vec![before.wheel_yaw()],
        StepKind::Chain => vec![Figure::ChainAtGearbox, before.wheel_yaw()],
        StepKind::Centre => vec![Reference::of(&before.figures.measured).offset],
        StepKind::Rehang | StepKind::Refer => vec![step.because.clone()],
    }
}

/// How what was found compares with what was planned. A change within its U of nothing is none;
/// where it is also within its U of the whole step, nothing is shown.
fn judge(planned: f64, found: Measurement) -> Progress {
    let missing = (planned - found.value).abs();
    let none_seen = found.value.abs() <= found.u;
    let close = missing <= found.u.max(CLOSE_ENOUGH * planned.abs());
    match (close, none_seen) {
        (true, true) => Progress::NotShown,
        (true, false) => Progress::Done,
        (false, true) => Progress::NotDone,
        (false, false) if found.value * planned < 0.0 => Progress::WrongWay,
        (false, false) if found.value.abs() < planned.abs() => Progress::Partly,
        (false, false) => Progress::TooFar,
    }
}

fn change(differences: &[Difference], field: &Figure) -> Option<Measurement> {
    differences.iter().find(|difference| difference.field == *field)?.change
}

/// The stated move with a sign: + outboard, + left, + forward.
fn signed(step: &PlanStep) -> Option<f64> {
    let sign = match step.direction? {
        Direction::Outboard | Direction::Left | Direction::Forward => 1.0,
        Direction::Inboard | Direction::Right | Direction::Rearward => -1.0,
    };
    step.distance.map(|distance| sign * distance.value)
}

/// How far the step's sprocket went outboard: the chain line's change without what the wheel's turn
/// made of it.
///
/// Turning the wheel by d (front to the left) moves the chain line at the gearbox by -s D d; s is
/// +1 for a chain on the left, D the distance between centres. An error of the yaw enters both and
/// cancels as far as each evening's figures hang together; what the evenings share with each other
/// counts in full then. Taken as independent, which counts that once, the two changes give another
/// U; either is rather too large, and the smaller one holds.
fn sprocket_move(
    step: &PlanStep,
    before: &Evening,
    after: &Evening,
    differences: &[Difference],
) -> Option<Measurement> {
    let line = change(differences, &Figure::ChainAtGearbox)?;
    let turn = change(differences, &before.wheel_yaw())?;
    let lever = before.chain_side()?.sign() * before.centres()?.to_radians();
    let out = line.value + lever * turn.value;
    let sign = if step.applied_to == SpacerKind::Gearbox.word() { 1.0 } else { -1.0 };
    let quality = if line.quality == turn.quality { line.quality } else { Quality::Single };
    let of_each = [before, after].map(|evening| together_u(evening, &before.wheel_yaw(), lever));
    let together = match of_each {
        [Some(was), Some(is)] => was.hypot(is),
        _ => f64::INFINITY,
    };
    let u = line.u.hypot(lever * turn.u).min(together);
    Some(Measurement { value: sign * out, u, quality })
}

/// U of the chain line at the gearbox and the yaw, times the lever, taken together on one evening.
fn together_u(evening: &Evening, yaw: &Figure, lever: f64) -> Option<f64> {
    let figures = &evening.figures;
    let place =
        |figure: &Figure| figures.correlation.fields.iter().position(|known| known == figure);
    let (line, turn) = (place(&Figure::ChainAtGearbox)?, place(yaw)?);
    let rho = figures.correlation.matrix.get(line)?.get(turn)?.clamp(-1.0, 1.0);
    let of_line = figures.get(&Figure::ChainAtGearbox)?.u;
    let of_turn = lever * figures.get(yaw)?.u;
    let square = of_line * of_line + of_turn * of_turn + 2.0 * rho * of_line * of_turn;
    square.is_finite().then(|| square.max(0.0).sqrt())
}

/// How far the rim went to the left by its spokes: from the hub face where that was measured, else
/// what it went in the frame without what a slide of the whole wheel made of it.
fn rim_move(before: &Evening, after: &Evening, differences: &[Difference]) -> Option<Measurement> {
    if let (Some(side), Some(face)) =
        (before.figures.measured.facts.hub_side, change(differences, &Figure::RimFromFace))
    {
        return Some(Measurement { value: side.sign() * face.value, ..face });
    }
    let rim = change(differences, &Reference::of(&before.figures.measured).offset)?;
    let slide = before
        .plan
        .iter()
        .find(|step| step.step == StepKind::Chain && step.applied_to == SpacerKind::Hub.word());
    match slide {
        None => Some(rim),
        Some(step) => {
            let outboard = sprocket_move(step, before, after, differences)?;
            let left = before.chain_side()?.sign() * outboard.value;
            Some(Measurement { value: rim.value - left, u: rim.u.hypot(outboard.u), ..rim })
        }
    }
}

fn in_words(
    step: &PlanStep,
    unit: Unit,
    planned: Option<f64>,
    found: Option<Measurement>,
    progress: Progress,
    why_not_shown: Option<&str>,
) -> Sentence {
    let name = match step.step {
        StepKind::Rehang => "Hanging the frame over the cord",
        StepKind::Square => "Squaring the wheel",
        StepKind::Chain => "Bringing the sprockets into line",
        StepKind::Centre => "Centring the rim",
        StepKind::Refer => "The work of others",
    };
    let side = step.side.map_or(String::new(), |side: Side| format!(" ({})", side.word()));
    let numbers = planned.zip(found).map(|(planned, found)| {
        // The side says which way: what went that way is plus.
        let moved = Measurement { value: found.value * planned.signum(), ..found };
        let planned = Amount::measured(&Measurement { value: planned.abs(), ..found }, unit);
        let u = Amount::at_least(found.u, unit);
        say![": moved ", Amount::measured(&moved, unit), " of ", planned, ", ± ", u]
    });
    let verdict = match progress {
        Progress::Done => "is done",
        Progress::Partly => "is partly done",
        Progress::NotDone => "is not done",
        Progress::TooFar => "went too far",
        Progress::WrongWay => "went the wrong way",
        Progress::NotShown => {
            let why = why_not_shown.unwrap_or_default();
            return say![format!("{name}{side}: can't say, for {why}"), numbers, "."];
        }
    };
    say![format!("{name}{side} {verdict}"), numbers, "."]
}
