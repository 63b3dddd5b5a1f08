//! The plan as cards with tick boxes, and what became of an earlier evening's plan.

use maud::{Markup, html};

use super::state::{Earlier, State};
use super::trend::trend;
use crate::plan::outcome::PlanStep;
use crate::plan::progress::Progress;
use crate::plan::since::since;
use crate::report::result::capital;
use crate::report::units::{Kind, Show, Shown};

/// What can hurt, in one line.
const CARE: &str = "Bike propped on its own? Chain off? Turn by hand, never by the engine.";

/// The steps of the plan.
pub fn section(state: &State) -> Markup {
    let Some(told) = &state.told else { return html! {} };
    let plan = &told.document.plan;
    html! {
        h2 { (told.document.summary) }
        @if !plan.is_empty() {
            p.care { (CARE) }
            ol.steps { @for step in plan { (card(step, state.is_ticked(step))) } }
        }
    }
}

fn card(step: &PlanStep, ticked: bool) -> Markup {
    let amount = step.distance.as_ref().map(|distance| Shown::of(distance, Kind::Length, Show::Mm));
    let id = format!("step-{}", step.n);
    html! {
        li class=[ticked.then_some("ticked")] {
            label for=(id) {
                input type="checkbox" id=(id) data-tick=(step.n) checked[ticked];
                span { (step.n) ". " (step.action) }
            }
            @if let Some(amount) = amount {
                p.amount {
                    (amount.with_unit())
                    @if let Some(direction) = step.direction { " " (direction.word()) }
                    @if let Some(flats) = step.flats { " = " (turns(flats)) }
                    small { "± " (amount.u) " " (amount.unit) }
                }
            }
            @if !step.cautions.is_empty() {
                ul.mind { @for caution in &step.cautions { li { (caution) } } }
            }
        }
    }
}

/// Turns of a six-sided nut: "1 1/6 turns" for seven flats.
fn turns(flats: u32) -> String {
    let part = ["", "1/6", "1/3", "1/2", "2/3", "5/6"][(flats % 6) as usize];
    let word = if flats <= 6 { "turn" } else { "turns" };
    match (flats / 6, part) {
        (0, "") => format!("0 {word}s"),
        (whole, "") => format!("{whole} {word}"),
        (0, part) => format!("{part} {word}"),
        (whole, part) => format!("{whole} {part} {word}"),
    }
}

/// What earlier evenings said, beside this one.
pub fn evenings(state: &State) -> Markup {
    let Some(before) = state.earlier.last() else { return html! {} };
    html! {
        h2 { "Since evening " (before.number) }
        @match &state.told {
            None => p { "When this evening's photos are there, it says here what became of each step." },
            Some(told) => {
                @match since(&before.evening, &told.document.evening()) {
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
        (lines(state))
    }
}

/// One line a figure over the evenings.
fn lines(state: &State) -> Markup {
    let Some(told) = &state.told else { return html! {} };
    html! {
        @for verdict in &told.document.verdicts {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flats_are_told_in_turns() {
        let told = [0, 1, 3, 6, 7, 12, 14].map(turns);
        assert_eq!(told, ["0 turns", "1/6 turn", "1/2 turn", "1 turn", "1 1/6 turns", "2 turns", "2 1/3 turns"]);
    }
}
