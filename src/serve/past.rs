//! Earlier evenings on the phone: their steps with the ticks they got, and their reports.

use std::fs::File;
use std::io::Read;

use maud::{Markup, html};

use super::folders::evenings;
use super::report::{Ticks, on_the_phone};
use super::state::{Bench, Earlier, State};
use crate::photo::job_photos::REPORT_FOLDER;
use crate::plan::outcome::PlanStep;
use crate::report::brief::brief;
use crate::report::html::in_capitals;
use crate::text::units::Show;

/// The page of a report. A report is one file; with its pictures it has some megabytes.
const PAGE: &str = "index.html";
const MOST_BYTES: u64 = 60_000_000;

/// Each earlier evening behind a tap.
pub fn section(state: &State) -> Markup {
    html! {
        @for earlier in state.earlier.iter().rev() {
            details data-key={ "evening-" (earlier.number) } {
                summary { "Back to evening " (earlier.number) ": its steps and report" }
                @if earlier.evening.plan.is_empty() { p { "There was no step to do." } }
                ul.past { @for step in &earlier.evening.plan { li { (done(state, earlier, step)) } } }
                a.link href={ "evening/" (earlier.number) "/" (PAGE) } { "Open the report of evening " (earlier.number) }
            }
        }
    }
}

fn done(state: &State, earlier: &Earlier, step: &PlanStep) -> Markup {
    let words = brief(step, earlier.evening.figures.get(&step.because), Show::Mm);
    html! {
        (step.n) ". " (in_capitals(&words.what))
        @if !words.amount.is_empty() { " " b { (words.amount) } }
        @if state.was_ticked(earlier.number, step) { ": ticked" } @else { ": not ticked" }
    }
}

/// The page of an earlier evening's report as it lies in its folder; None where there is none, or
/// one larger than any report is.
/// `asked` is what follows "evening/" in the address: nothing of it becomes a path.
pub fn report(bench: &Bench, asked: &str) -> Option<Vec<u8>> {
    let number: u32 = asked.strip_suffix(PAGE)?.strip_suffix('/')?.parse().ok()?;
    let ticks: Ticks = {
        let state = bench.read();
        let earlier = state.earlier.iter().find(|earlier| earlier.number == number)?;
        earlier.evening.plan.iter().map(|step| state.was_ticked(number, step)).collect()
    };
    let evening = evenings(&bench.home).into_iter().find(|evening| evening.number == number)?;
    let mut page = String::new();
    let file = File::open(evening.folder.join(REPORT_FOLDER).join(PAGE)).ok()?;
    file.take(MOST_BYTES + 1).read_to_string(&mut page).ok()?;
    if page.len() as u64 > MOST_BYTES {
        return None;
    }
    Some(on_the_phone(&page, "../../", &ticks).into_bytes())
}
