//! Ways to bring the sprockets into line, compared by what each leaves to do.

use super::limits::{self, Engineer};
use super::outcome::{Choice, Direction, PlanStep, StepKind};
use super::tolerance::Tolerance;
use crate::job::SpacerKind;
use crate::measurement::Measurement;

/// In the order in which they are tried: what leaves wheel and rim alone first.
pub const KINDS: [SpacerKind; 3] = [SpacerKind::Gearbox, SpacerKind::Sprocket, SpacerKind::Hub];

/// What needs an engineer counts as much as this many mm of rim by the spokes (common practice, no
/// source).
const ENGINEER_COSTS_MM: f64 = 2.0;
/// Ways whose rim work differs by less, mm, leave as little work: no spoke is turned so finely.
const TIE_MM: f64 = 0.1;

/// What is changed, in words.
pub fn part(kind: SpacerKind) -> &'static str {
    match kind {
        SpacerKind::Hub => "hub spacers",
        SpacerKind::Sprocket => "packing behind the rear sprocket",
        SpacerKind::Gearbox => "shim behind the gearbox sprocket",
    }
}

/// A way with what speaks for and against it.
struct Tried {
    kind: SpacerKind,
    choice: Choice,
    engineer: Engineer,
}

impl Tried {
    fn rim(&self) -> f64 {
        self.choice.rim.or(self.choice.rim_undecided).map_or(0.0, |rim| rim.value.abs())
    }

    fn cost(&self) -> f64 {
        self.rim() + if self.engineer == Engineer::No { 0.0 } else { ENGINEER_COSTS_MM }
    }

    fn is_tied_with(&self, other: &Self) -> bool {
        (self.rim() - other.rim()).abs() < TIE_MM
    }
}

/// The kind that leaves the least work, and all kinds side by side. Where two leave the rim
/// alike, the one that needs an engineer least. `plan_with` makes the whole plan with a kind.
/// `rim` is what the rim is judged by.
pub fn compare(
    rim: Option<&Tolerance>,
    plan_with: impl Fn(SpacerKind) -> Vec<PlanStep>,
) -> (SpacerKind, Vec<Choice>) {
    let mut tried: Vec<Tried> =
        KINDS.into_iter().filter_map(|kind| choice(kind, &plan_with(kind), rim)).collect();
    let least = tried.iter().min_by(|a, b| a.cost().total_cmp(&b.cost()));
    let Some(least) = least else { return (SpacerKind::Hub, Vec::new()) };
    let alike: Vec<usize> = (0..tried.len()).filter(|&i| tried[i].is_tied_with(least)).collect();
    // Packing can always be put in, and taken out only where there is some.
    let inboard = |i: usize| tried[i].choice.direction == Direction::Inboard;
    let taken = alike.iter().copied().min_by_key(|&i| (tried[i].engineer, inboard(i)));
    let taken = taken.unwrap_or(0);
    let kind = tried[taken].kind;
    for &i in alike.iter().filter(|_| alike.len() > 1) {
        tried[i].choice.tied = true;
    }
    tried[taken].choice.taken = true;
    // The one that is taken comes first, and what is as good next to it.
    let mut choices: Vec<Choice> = tried.into_iter().map(|tried| tried.choice).collect();
    choices.sort_by_key(|choice| (!choice.taken, !choice.tied));
    (kind, choices)
}

/// Why the plan takes the way that it takes.
pub fn why(choices: &[Choice]) -> &'static str {
    let Some(taken) = choices.iter().find(|choice| choice.taken) else { return "" };
    let fewer = choices
        .iter()
        .any(|other| !other.taken && other.tied && other.warnings.len() > taken.warnings.len());
    match (taken.tied, fewer) {
        (false, _) => "least work",
        (true, false) => "as little work as the next",
        (true, true) => "as little work as the next, and fewer warnings",
    }
}

fn choice(kind: SpacerKind, steps: &[PlanStep], judged: Option<&Tolerance>) -> Option<Tried> {
    let of = |wanted: StepKind| steps.iter().find(|step| step.step == wanted);
    let chain = of(StepKind::Chain)?;
    let rim = of(StepKind::Centre);
    let left_off = judged.zip(steps.last()).and_then(|(tolerance, last)| {
        let figure = last.after.get(&tolerance.field)?;
        let away = figure.value - tolerance.nominal;
        (away.abs() > tolerance.limit).then_some(Measurement { value: away, ..figure })
    });
    let choice = Choice {
        applied_to: kind.word().to_owned(),
        distance: chain.distance?,
        direction: chain.direction?,
        rim: rim.and_then(|step| step.distance),
        rim_undecided: left_off.filter(|_| rim.is_none()),
        taken: false,
        tied: false,
        warnings: [Some(chain), rim].into_iter().flatten().filter_map(limits::in_short).collect(),
    };
    Some(Tried { kind, choice, engineer: limits::engineer(chain) })
}
