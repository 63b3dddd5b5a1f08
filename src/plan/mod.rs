//! From figures to decisions: tolerances and verdicts, what to adjust and by how much, what to
//! expect afterwards, hand values next to the photographed ones, and before against after.
//!
//! It works from the figures alone, fresh or read back from a result file, and from what the job
//! says about adjusting: so a plan can be made again with other choices when the photos are no
//! longer at hand.

pub mod asked;
pub mod cautions;
pub mod centre_rim;
pub mod chain_drive;
pub mod chain_line;
pub mod choices;
pub mod difference;
pub mod evening;
pub mod foreseen;
pub mod hand;
pub mod hang_frame;
pub mod limits;
pub mod moves;
pub mod outcome;
pub mod planner;
pub mod progress;
pub mod refer;
pub mod settings;
pub mod since;
pub mod square_wheel;
pub mod steps;
pub mod summary;
pub mod tolerance;
pub mod which_photo;
pub mod words;

pub use outcome::Outcome;
pub use settings::{Choices, PlanSettings};
pub use which_photo::name_photos;

use foreseen::scale_answer;

use crate::bench::Figures;
use crate::figure::Figure;

/// Verdicts, plan, expected figures and hand values of one set of figures.
pub fn plan(input: &Figures, settings: &PlanSettings) -> Outcome {
    let (tolerances, mut findings) = tolerance::tolerances(input, settings);
    let answer =
        |field: &Figure| if settings.print_measured { 0.0 } else { scale_answer(input, field) };
    let mut verdicts: Vec<_> = tolerances
        .iter()
        .map(|tolerance| (tolerance, input.get(&tolerance.field)))
        .filter(|(tolerance, figure)| tolerance.needed || figure.is_some())
        .map(|(tolerance, figure)| tolerance::judge(tolerance, figure, answer(&tolerance.field)))
        .collect();
    verdicts.iter_mut().for_each(|verdict| which_photo::name_source(verdict, input));
    let plan = steps::make_plan(input, settings, &tolerances);
    let (hand, hand_findings) = hand::compare_by_hand(&input.measured.table, &settings.hands);
    findings.extend(plan.findings);
    findings.extend(hand_findings);
    let summary::Conclusion { state, headline, summary } =
        summary::conclude(input, &verdicts, &plan.steps);
    Outcome {
        state,
        headline,
        summary,
        plan: plan.steps,
        expected: plan.expected,
        verdicts,
        hand,
        findings,
    }
}

/// The plan again with other choices than the job's. The figures and their verdicts stay what they
/// are.
pub fn replan(input: &Figures, settings: &PlanSettings, choices: Choices) -> Outcome {
    plan(input, &settings.with(choices))
}
