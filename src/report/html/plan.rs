//! The steps of the plan with tick boxes, each with its reasons behind a tap.

use maud::{Markup, PreEscaped, html};

use super::drawing;
use crate::figure::Figure;
use crate::measurement::Measurement;
use crate::plan::choices;
use crate::plan::outcome::{PlanStep, State, StepKind};
use crate::report::brief::{self, brief};
use crate::report::expected::{Change, changes};
use crate::report::fields::InWords;
use crate::report::result::ResultDocument;
use crate::text::capital;
use crate::text::units::{Show, Shown};

pub fn section(document: &ResultDocument, show: Show) -> Markup {
    html! {
        section #plan {
            h2.unseen { "What to do" }
            @if document.plan.is_empty() { p.nothing { (no_plan(document)) } }
            @else {
                ol.steps { @for step in &document.plan { (one_step(document, step, show)) } }
                p.caption { "In this order: each step counts on the ones before it. Measure again afterwards." }
                (expected(document, show))
            }
        }
    }
}

fn no_plan(document: &ResultDocument) -> &'static str {
    match document.state {
        Some(State::Done) => "Nothing to do.",
        _ => "No step can be named yet: what is missing is listed below.",
    }
}

fn one_step(document: &ResultDocument, step: &PlanStep, show: Show) -> Markup {
    let words = brief(step, document.figure(&step.because), show);
    let drawn = drawing::step(step, document.chain_side());
    html! {
        li.step {
            label {
                input type="checkbox";
                span.n { (step.n) }
                span.do {
                    span.what { (in_capitals(&words.what)) }
                    @if !words.amount.is_empty() {
                        span.amount { (words.amount) }
                        @if !words.turns.is_empty() { span.turns { "= " (words.turns) } }
                    }
                }
            }
            @if !words.then.is_empty() { p.then { (words.then) } }
            @if !step.choices.is_empty() { (ways(step, show)) }
            @for danger in &step.dangers { p.danger { strong { "Take care. " } (danger.shown(show)) } }
            @if step.step == StepKind::Refer { p.then { (step.action.shown(show)) } }
            @else { p.own { "Done, by hand: " span.line {} } }
            details.how {
                summary { "How, and what to mind" }
                div.sketched {
                    div.sketch { (PreEscaped(drawn.inline())) }
                    div { (in_full(step, show)) }
                }
            }
        }
    }
}

fn in_full(step: &PlanStep, show: Show) -> Markup {
    html! {
        p.action { (step.action.shown(show)) }
        @if !step.cautions.is_empty() {
            ul.mind { @for caution in &step.cautions { li { (caution.shown(show)) } } }
        }
    }
}

/// What lies behind a tap on the screen, for the paper that goes to the bench: how each step is
/// done, what to mind, and what to expect. It goes on a sheet of its own, so that the first keeps
/// room for all steps and the drawing.
pub fn on_paper(document: &ResultDocument, show: Show) -> Markup {
    let changes = changes(document);
    html! {
        @if !document.plan.is_empty() {
            section.on-paper {
                h2 { "How to do each step, and what to mind" }
                ol.in-full { @for step in &document.plan { li value=(step.n) { (in_full(step, show)) } } }
                @if !changes.is_empty() {
                    h3 { "What to expect afterwards" }
                    (expected_table(&changes, show))
                }
            }
        }
    }
}

/// Sides and directions are in capitals in the words; here they stand out as well.
pub fn in_capitals(words: &str) -> Markup {
    html! {
        @for (i, word) in words.split(' ').enumerate() {
            @if i > 0 { " " }
            @if word.len() > 1 && word.chars().all(char::is_uppercase) { b { (word) } } @else { (word) }
        }
    }
}

fn ways(step: &PlanStep, show: Show) -> Markup {
    html! {
        table.choices {
            caption { "The job does not say how. Ways, and what each leaves to do:" }
            thead { tr { th scope="col" { "Part" } th scope="col" { "Goes" } th scope="col" { "Then" } } }
            tbody {
                @for way in &step.choices {
                    @let [part, moves, rim] = brief::choice(way, show);
                    tr.taken[way.taken] {
                        th scope="row" {
                            (capital(&part))
                            @if way.taken { span.limit { "the plan's way: " (choices::why(&step.choices)) } }
                            @else if way.tied { span.limit { "as little work" } }
                        }
                        td { (moves) }
                        td { (rim) }
                    }
                    @for warning in &way.warnings {
                        tr.warned { td colspan="3" { (capital(&warning.shown(show))) } }
                    }
                }
            }
        }
    }
}

fn expected(document: &ResultDocument, show: Show) -> Markup {
    let changes = changes(document);
    html! {
        @if !changes.is_empty() {
            details.after {
                summary { "What to expect afterwards" }
                (expected_table(&changes, show))
            }
        }
    }
}

fn expected_table(changes: &[Change], show: Show) -> Markup {
    let words = |field: &Figure, measured: &Measurement| {
        format!(
            "{} ± {}",
            field.in_words(measured, show),
            Shown::of(measured, field.kind(), show).u
        )
    };
    html! {
        table.plain {
            thead { tr { th scope="col" { "Figure" } th scope="col" { "Now" } th scope="col" { "Then" } } }
            tbody {
                @for Change { figure, now, then } in changes {
                    tr {
                        th scope="row" { (capital(&figure.name())) }
                        td { (words(figure, now)) }
                        td { (words(figure, then)) }
                    }
                }
            }
        }
    }
}
