//! How far the bike is from being finished, in a few words and in a sentence.

use std::collections::BTreeSet;

use super::outcome::{Decision, PlanStep, State, StepKind, Verdict};
use crate::bench::Figures;
use crate::figure::Figure;
use crate::text::listed;

/// What only matters where photos are copied by hand.
pub const INTO_A_FOLDER: &str = ", into a folder of their own";

/// What the plan and the verdicts come to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Conclusion {
    pub state: State,
    /// A few words.
    pub headline: String,
    /// The same with what to do.
    pub summary: String,
}

/// Nothing may sound like success that is none: a figure that the bike can't do without comes
/// before steps, and steps come before what is undecided.
pub fn conclude(input: &Figures, verdicts: &[Verdict], steps: &[PlanStep]) -> Conclusion {
    let missing: Vec<&Figure> = verdicts
        .iter()
        .filter(|verdict| verdict.value.is_none())
        .map(|verdict| &verdict.field)
        .collect();
    let open =
        |verdict: &&Verdict| verdict.value.is_some() && verdict.verdict == Decision::Undecided;
    let open: Vec<&Figure> = verdicts.iter().filter(open).map(|verdict| &verdict.field).collect();
    let measured_any = verdicts.iter().any(|verdict| verdict.value.is_some());
    if !measured_any && steps.is_empty() {
        return refused(input);
    }
    if !missing.is_empty() {
        return not_finished(input, &missing, steps);
    }
    if !steps.is_empty() {
        let summary = format!("{} to do: {}.", count(steps.len()), listed(&things(steps)));
        return Conclusion {
            state: State::ToDo,
            headline: format!("{} to do", count(steps.len())),
            summary,
        };
    }
    if open.is_empty() {
        return Conclusion {
            state: State::Done,
            headline: "All well".to_owned(),
            summary: "All well: leave it alone. Everything that was judged is inside its limits."
                .to_owned(),
        };
    }
    let names: Vec<String> = open.iter().map(|figure| figure.name()).collect();
    let out: Vec<String> = verdicts
        .iter()
        .filter(|verdict| verdict.verdict == Decision::Out)
        .map(|verdict| verdict.field.name())
        .collect();
    if !out.is_empty() {
        let is = if out.len() == 1 { "is" } else { "are" };
        return Conclusion {
            state: State::Undecided,
            headline: "Undecided".to_owned(),
            summary: format!(
                "Undecided: {} {is} out, but no step can be named yet: {} can't be called in or out.",
                listed(&out),
                listed(&names)
            ),
        };
    }
    Conclusion {
        state: State::Undecided,
        headline: "Undecided".to_owned(),
        summary: format!(
            "Undecided: nothing is shown to be out, but {} can't be called in or out yet.",
            listed(&names)
        ),
    }
}

fn refused(input: &Figures) -> Conclusion {
    let rims = input.measured.rims().iter().any(|rim| rim.offset.is_some());
    let (state, headline, summary) = match rims {
        true => (
            State::NotFinished,
            "Not finished",
            "Not finished: the rim was measured, but neither the wheel nor the chain line. What is missing is listed below.",
        ),
        false => (
            State::Refused,
            "Nothing could be measured",
            "Nothing could be measured. What is missing, and what to do about it, is listed below.",
        ),
    };
    Conclusion { state, headline: headline.to_owned(), summary: summary.to_owned() }
}

fn not_finished(input: &Figures, missing: &[&Figure], steps: &[PlanStep]) -> Conclusion {
    let rims = input.measured.rims();
    let at_mark = rims.iter().filter(|rim| rim.at.is_rear_mark() && rim.offset.is_some());
    let setups: BTreeSet<&str> = at_mark.map(|rim| rim.at.setup.as_str()).collect();
    let needs_turn =
        missing.iter().any(|figure| matches!(figure, Figure::WheelYaw | Figure::WheelOffset));
    let why = if setups.len() == 1 && needs_turn {
        format!(
            "only one position of the wheel was photographed. Turn the wheel half round by hand and take six more photos: three from the \
             left, three from the right{INTO_A_FOLDER}."
        )
    } else {
        let names: Vec<String> = missing.iter().map(|figure| figure.name()).collect();
        let was = if names.len() == 1 { "was" } else { "were" };
        format!("{} {was} not measured. What is missing is listed below.", listed(&names))
    };
    let sure = match steps {
        [] => String::new(),
        steps => format!(" So far: {}.", listed(&things(steps))),
    };
    Conclusion {
        state: State::NotFinished,
        headline: "Not finished".to_owned(),
        summary: format!("Not finished: {why}{sure}"),
    }
}

fn things(steps: &[PlanStep]) -> Vec<String> {
    let thing = |step: &PlanStep| match step.step {
        StepKind::Rehang => "hang the frame over the cord again".to_owned(),
        StepKind::Square => "square the wheel".to_owned(),
        StepKind::Chain => "bring the sprockets into line".to_owned(),
        StepKind::Centre => "centre the rim".to_owned(),
        StepKind::Refer => format!("have {} seen to", step.because.name()),
    };
    steps.iter().map(thing).collect()
}

/// "One step", "Three steps".
pub fn count(n: usize) -> String {
    match n {
        1 => "One step".to_owned(),
        2 => "Two steps".to_owned(),
        3 => "Three steps".to_owned(),
        4 => "Four steps".to_owned(),
        5 => "Five steps".to_owned(),
        6 => "Six steps".to_owned(),
        _ => format!("{n} steps"),
    }
}
