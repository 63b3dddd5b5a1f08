//! Ways to bring the sprockets into line, compared by what each leaves to do.

use super::outcome::{Choice, Direction, PlanStep, StepKind};
use crate::job::SpacerKind;
use crate::measurement::Measurement;

/// In the order in which they are tried: what leaves wheel and rim alone first.
pub const KINDS: [SpacerKind; 3] = [SpacerKind::Gearbox, SpacerKind::Sprocket, SpacerKind::Hub];

/// Packing and shims can be put in; they can only be taken out where there are some, else a seat
/// must be faced. That counts as much as so many mm of rim by the spokes (common practice, no
/// source).
const INBOARD_COSTS_MM: f64 = 2.0;

/// What is changed, in words.
pub fn part(kind: SpacerKind) -> &'static str {
    match kind {
        SpacerKind::Hub => "hub spacers",
        SpacerKind::Sprocket => "packing behind the rear sprocket",
        SpacerKind::Gearbox => "shim behind the gearbox sprocket",
    }
}

/// The kind that leaves the least work, and all kinds beside each other. `plan_with` makes the
/// whole plan with a kind.
pub fn compare(plan_with: impl Fn(SpacerKind) -> Vec<PlanStep>) -> (SpacerKind, Vec<Choice>) {
    let mut choices: Vec<(SpacerKind, Choice)> = KINDS
        .into_iter()
        .filter_map(|kind| Some((kind, choice(kind, &plan_with(kind))?)))
        .collect();
    let cost = |choice: &Choice| {
        let is_hub = choice.applied_to == SpacerKind::Hub.word();
        let inboard = choice.direction == Direction::Inboard && !is_hub;
        choice.rim.map_or(0.0, |rim| rim.value) + if inboard { INBOARD_COSTS_MM } else { 0.0 }
    };
    let least =
        choices.iter().enumerate().min_by(|(_, (_, a)), (_, (_, b))| cost(a).total_cmp(&cost(b)));
    let Some((taken, kind)) = least.map(|(place, (kind, _))| (place, *kind)) else {
        return (SpacerKind::Hub, Vec::new());
    };
    choices[taken].1.taken = true;
    // The one that is taken stands first.
    choices.sort_by_key(|(_, choice)| !choice.taken);
    (kind, choices.into_iter().map(|(_, choice)| choice).collect())
}

fn choice(kind: SpacerKind, steps: &[PlanStep]) -> Option<Choice> {
    let of = |wanted: StepKind| steps.iter().find(|step| step.step == wanted);
    let chain = of(StepKind::Chain)?;
    let rim: Option<Measurement> = of(StepKind::Centre).and_then(|step| step.distance);
    Some(Choice {
        applied_to: kind.word().to_owned(),
        distance: chain.distance?,
        direction: chain.direction?,
        rim,
        taken: false,
    })
}
