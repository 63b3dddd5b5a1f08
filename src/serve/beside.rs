//! This evening as it is held beside the one before: with the wheel's axis carried over from then
//! where the photos show one position of the wheel alone.
//!
//! The page's figures stay those of the command measure; this serves only to say what became of
//! the steps.

use super::state::{Earlier, State};
use crate::bench::known_wheel::KnownWheel;
use crate::bench::{self, BenchSettings, Figures};
use crate::figure::Figure;
use crate::guarded::guarded;
use crate::job::SpacerKind;
use crate::pipeline::Measured;
use crate::plan::evening::Evening as PlanEvening;
use crate::plan::outcome::StepKind;
use crate::report::ResultDocument;

/// The wheel as the evening before found it; None without such an evening, or where it found no
/// axis.
pub fn wheel_before(state: &State) -> Option<KnownWheel> {
    let before = state.before()?;
    let wheel = KnownWheel::of(&before.evening.figures)?;
    Some(if sprocket_was_off(state, before) { wheel.with_sprocket_taken_off() } else { wheel })
}

/// Whether the rear sprocket may have been off the hub since: the plan asked for it, and nobody
/// ticked other steps alone.
fn sprocket_was_off(state: &State, before: &Earlier) -> bool {
    let plan = &before.evening.plan;
    let is_ticked = |step| state.was_ticked(before.number, step);
    let packs = plan.iter().find(|step| {
        step.step == StepKind::Chain && step.applied_to == SpacerKind::Sprocket.word()
    });
    // Ticks of an evening can't be set once the next one has begun.
    let is_long_ago = before.number + 1 < state.evening.number;
    packs.is_some_and(|step| is_long_ago || is_ticked(step) || !plan.iter().any(is_ticked))
}

/// The evening as a comparison reads it. Without an axis of its own it has that of `wheel`, if its
/// tabs are there.
pub fn evening_beside(
    measured: &Measured,
    document: &ResultDocument,
    wheel: Option<KnownWheel>,
) -> PlanEvening {
    let mut evening = document.evening();
    let has_axis = evening.figures.get(&Figure::WheelLean).is_some();
    let (Some(solution), Some(wheel), false) = (&measured.solution, wheel, has_axis) else {
        return evening;
    };
    let settings = BenchSettings { known_wheel: Some(wheel), ..measured.bench_settings.clone() };
    let carried =
        guarded("The steps are followed without the wheel's axis of the evening before.", || {
            bench::measure(solution, &settings)
        });
    if let Ok(carried) = carried
        && carried.get(&Figure::WheelLean).is_some()
    {
        take_over(&mut evening.figures, carried);
    }
    evening
}

/// Puts in the figures that the axis tells, and what goes with them.
fn take_over(figures: &mut Figures, carried: Figures) {
    for (figure, measured) in carried.measured.table.measured() {
        figures.set(figure.clone(), Some(measured));
    }
    figures.measured.facts.wheel_source = carried.measured.facts.wheel_source;
    figures.measured.facts.chain_reference = carried.measured.facts.chain_reference;
    figures.budget = carried.budget;
    figures.correlation = carried.correlation;
    figures.joint = carried.joint;
    figures.scale_sensitivity = carried.scale_sensitivity;
}
