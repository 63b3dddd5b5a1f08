//! The plan as cards with tick boxes, and what became of an earlier evening's plan.

use maud::{Markup, html};

use super::state::{Earlier, State, Taken};
use super::still_missing::SoFar;
use super::trend::trend;
use super::{said, ways};
use crate::bench::known_wheel::KnownWheel;
use crate::figure::Figure;
use crate::figure::member::Section;
use crate::glance::missing::is_usable;
use crate::measurement::Measurement;
use crate::plan::asked::{asked_and_done, says_enough};
use crate::plan::outcome::{PlanStep, StepKind};
use crate::plan::progress::{Progress, StepProgress};
use crate::plan::since::since;
use crate::plan::tolerance::Reference;
use crate::report::brief::brief;
use crate::report::cautions::IN_ONE_LINE;
use crate::report::html::in_capitals;
use crate::text::capital;
use crate::text::units::{Kind, Show, Shown};

/// The steps of the plan.
pub fn section(state: &State) -> Markup {
    let Some(result) = &state.last_result else { return html! {} };
    let plan = &result.document.plan;
    html! {
        (said::headline(&result.document))
        @if !plan.is_empty() {
            p.care { (IN_ONE_LINE) }
            ol.steps {
                @for step in plan {
                    (card(step, result.document.figure(&step.because), state.is_ticked(step)))
                }
            }
        }
    }
}

/// A step in the report's own words. `now` is what the figure that asked for it was measured to be.
fn card(step: &PlanStep, now: Option<Measurement>, ticked: bool) -> Markup {
    let words = brief(step, now, Show::Mm);
    let id = format!("step-{}", step.n);
    html! {
        li class=[ticked.then_some("ticked")] {
            label for=(id) {
                input type="checkbox" id=(id) data-tick=(step.n) checked[ticked];
                span { (step.n) ". " (in_capitals(&words.what)) }
            }
            @if !words.amount.is_empty() {
                p.amount {
                    (words.amount)
                    @if !words.turns.is_empty() { " = " (words.turns) }
                    @if let Some(distance) = &step.distance {
                        @let shown = Shown::of(distance, Kind::Length, Show::Mm);
                        small { "± " (shown.u) " " (shown.unit) }
                    }
                }
            }
            @if !words.then.is_empty() { p.then { (words.then) } }
            @for danger in &step.dangers { p.care { strong { "Take care. " } (danger) } }
            (ways::ways(step))
            @if step.step == StepKind::Refer { p.then { (step.action) } }
            @else {
                details {
                    summary { "How, and what to mind" }
                    p { (step.action) }
                    @if !step.cautions.is_empty() {
                        ul.mind { @for caution in &step.cautions { li { (caution) } } }
                    }
                }
            }
        }
    }
}

/// What became of each step of the evening before, or which photos still tell it.
pub fn evenings(state: &State) -> Markup {
    let Some(before) = state.before() else { return html! {} };
    let compared = state.last_result.as_ref().map(|now| since(&before.evening, &now.evening));
    html! {
        h2 { "Since evening " (before.number) }
        @match &compared {
            Some(Err(why)) => p { (why) },
            Some(Ok(compared)) if compared.other_bike => p { (compared.headline()) },
            Some(Ok(compared)) => (followed(state, before, &compared.steps)),
            None => (followed(state, before, &[])),
        }
        details data-key="lines" { summary { "Each figure over the evenings, drawn" } (lines(state)) }
    }
}

/// A line a step. `told` is what the photos so far say of them.
fn followed(state: &State, before: &Earlier, told: &[StepProgress]) -> Markup {
    let steps: Vec<&PlanStep> =
        before.evening.plan.iter().filter(|step| step.step != StepKind::Refer).collect();
    html! {
        @if steps.is_empty() { p { "There was no step to do." } }
        ul.followed {
            @for step in steps {
                @let told = told.iter().find(|told| told.n == step.n);
                @let (is_done, words) = what_became(state, before, step, told);
                li class=(if is_done { "done" } else { "open" }) {
                    (step.n) ". " (in_capitals(&brief(step, None, Show::Mm).what)) ": " (words)
                }
            }
        }
    }
}

/// Whether a step is shown to be done, and what became of it; where the photos so far don't tell,
/// which ones are missing.
fn what_became(
    state: &State,
    before: &Earlier,
    step: &PlanStep,
    told: Option<&StepProgress>,
) -> (bool, String) {
    let is_done = told.is_some_and(|told| told.progress == Progress::Done);
    let asked = told.and_then(|told| asked_and_done(step, told));
    if let (true, Some(asked)) = (told.is_some_and(says_enough), &asked) {
        return (is_done, format!("{asked}."));
    }
    let is_new = !state.is_tried();
    if let Some(missing) = so_far(state, before, step).still_missing(step, !is_new) {
        return (false, missing);
    }
    // What all photos that are wanted tell is all that can be told.
    match (is_new, asked, told) {
        (true, ..) => (false, "being worked out.".to_owned()),
        (false, Some(asked), Some(told)) if told.progress != Progress::NotShown => {
            (false, format!("{asked}."))
        }
        (false, _, Some(told)) => (false, told.what.to_string()),
        (false, _, None) => (false, "the photos don't tell.".to_owned()),
    }
}

/// What was photographed this evening, for [`SoFar::still_missing`].
fn so_far<'a>(state: &'a State, before: &Earlier, step: &PlanStep) -> SoFar<'a> {
    let of_position = |at: usize| {
        let counts = move |photo: &&Taken| photo.position == Some(at) && photo.counts();
        let photos = state.photos.iter().filter(counts);
        photos.map(|photo| &photo.glance).filter(|glance| is_usable(glance)).collect()
    };
    SoFar {
        positions: (0..state.positions.len()).map(of_position).collect(),
        job: &state.job,
        chain_side: before.evening.chain_side().or_else(|| state.chain_side()),
        wheel_is_known: KnownWheel::of(&before.evening.figures).is_some(),
        in_frame: lacks_the_frame(state, before, step),
    }
}

/// The figure that tells the step, where the photos tell it over the cord and not in the frame.
fn lacks_the_frame(state: &State, before: &Earlier, step: &PlanStep) -> Option<Figure> {
    let now = &state.last_result.as_ref()?.evening.figures;
    let (wanted, over_cord) = match step.step {
        StepKind::Square | StepKind::Chain => (before.evening.wheel_yaw(), Figure::WheelYaw),
        StepKind::Centre => {
            (Reference::of(&before.evening.figures.measured).offset, Figure::WheelOffset)
        }
        StepKind::Rehang | StepKind::Refer => return None,
    };
    let is_lacking = wanted.section() == Some(Section::WheelInFrame)
        && now.get(&wanted).is_none()
        && now.get(&over_cord).is_some();
    is_lacking.then_some(wanted)
}

/// One line a figure over the evenings.
fn lines(state: &State) -> Markup {
    let Some(result) = &state.last_result else { return html! {} };
    html! {
        @for verdict in &result.document.verdicts {
            @let past = state.earlier.iter().filter_map(|earlier: &Earlier| Some((earlier.number, earlier.evening.figures.get(&verdict.field)?)));
            @let now = verdict.value.map(|value| (state.evening.number, value));
            @let points: Vec<_> = past.chain(now).collect();
            @if points.len() > 1 {
                h3 { (capital(&verdict.field.name())) }
                (trend(&points, verdict.nominal, verdict.tolerance, verdict.field.kind()))
            }
        }
    }
}
