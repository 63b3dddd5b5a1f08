//! The plan as cards with tick boxes, and what became of an earlier evening's plan.

use maud::{Markup, html};

use super::state::{Earlier, State};
use super::trend::trend;
use super::{said, ways};
use crate::measurement::Measurement;
use crate::plan::outcome::{PlanStep, StepKind};
use crate::plan::progress::Progress;
use crate::plan::since::since;
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

/// What earlier evenings said, beside this one.
pub fn evenings(state: &State) -> Markup {
    let Some(before) = state.earlier.last() else { return html! {} };
    html! {
        h2 { "Since evening " (before.number) }
        @match &state.last_result {
            None => p { "When this evening's photos are there, it says here what became of each step." },
            Some(result) => {
                @match since(&before.evening, &result.document.evening()) {
                    Err(why) => p { (why) },
                    Ok(compared) => {
                        @if compared.steps.is_empty() { p { "There was no step to do." } }
                        ul.followed {
                            @for step in &compared.steps {
                                li class=(if step.progress == Progress::Done { "done" } else { "open" }) { (step.what) }
                            }
                        }
                    }
                }
            }
        }
        details data-key="lines" { summary { "Each figure over the evenings, drawn" } (lines(state)) }
    }
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
