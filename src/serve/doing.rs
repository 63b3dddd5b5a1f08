//! What is to be done once photos are measured: the steps as far as they may be acted upon, the
//! report, and the next evening.

use maud::{Markup, html};

use super::state::State;
use super::steps;
use crate::plan::outcome::State as PlanState;

/// Whether there are steps, and each of them is ticked.
pub fn are_all_ticked(state: &State) -> bool {
    let plan = state.last_result.as_ref().map(|result| &result.document.plan);
    plan.is_some_and(|plan| !plan.is_empty() && plan.iter().all(|step| state.is_ticked(step)))
}

/// The steps, as far as they may be acted upon: while a position lacks photos they would change
/// with the next ones.
pub fn what_to_do(state: &State, all_taken: bool) -> Markup {
    let Some(result) = &state.last_result else { return html! {} };
    let is_stale = !state.is_measured();
    let is_open =
        matches!(result.document.state, None | Some(PlanState::NotFinished | PlanState::Refused));
    html! {
        @match (all_taken, is_stale, is_open) {
            (false, _, true) | (false, true, _) => p { "The steps come when each position of the wheel is photographed." },
            (false, false, false) => details data-key="early" {
                summary { "Steps so far: the photos are not complete" }
                (steps::section(state))
            },
            (true, true, true) => p {
                "The steps need all photos: " (result.photos) " are measured"
                @if state.is_tried() { "." } @else { ", the newer ones in a moment." }
            },
            (true, _, _) => {
                @if is_stale { p.status { "From " (result.photos) " photos" @if !state.is_tried() { "; newer ones are being measured" } "." } }
                (steps::section(state))
            }
        }
    }
}

pub fn finish(state: &State, all_taken: bool) -> Markup {
    let is_measured = state.is_measured();
    let report = html! {
        @if state.report.is_some() {
            a.big href="report/index.html" { "Open the report" }
        } @else if is_measured {
            button.big type="button" data-act="report" data-then="report/index.html" { "Make the report" }
        }
    };
    let next = state.evening.number + 1;
    let evening = html! {
        p { "A few photos more, and the page says what became of each step: done, or what is left. The photos so far stay as they are, the new ones go to a folder of their own. Steps and report of this evening can be opened at any time." }
        button type="button" data-act="evening" data-ask={ "Evening " (next - 1) " takes no more photos then. Press again to begin evening " (next) "." } { "Begin evening " (next) }
    };
    html! {
        @if state.evening.number > 1 && state.photos.is_empty() && state.left_out.is_none() {
            p { "Begun too early? As long as this evening has no photo:" }
            button type="button" data-act="evening-before" { "Go on with the evening before" }
        }
        @match (all_taken, is_measured) {
            (true, true) => {
                (report)
                // A key of its own, so that ticking the last step opens it.
                details data-key=(if are_all_ticked(state) { "next-now" } else { "next" }) open[are_all_ticked(state)] {
                    summary { "A step is done?" }
                    (evening)
                }
            }
            (false, true) => details data-key="end" {
                summary { "End here, although photos are missing?" }
                (report)
                (evening)
            },
            (_, false) => (report),
        }
    }
}
