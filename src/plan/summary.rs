//! The verdict in one sentence.

use super::outcome::{Decision, PlanStep, StepKind, Verdict};

/// What the plan and the verdicts come to: what to do, or to leave it alone, or that nothing is shown yet.
pub fn in_one_sentence(verdicts: &[Verdict], steps: &[PlanStep]) -> String {
    let undecided: Vec<String> =
        verdicts.iter().filter(|verdict| verdict.verdict == Decision::Undecided).map(|verdict| verdict.field.name()).collect();
    if !steps.is_empty() {
        let mut things: Vec<String> = Vec::new();
        for step in steps {
            let thing = match step.step {
                StepKind::Rehang => "hang the frame over the cord again".to_owned(),
                StepKind::Square => "square the wheel".to_owned(),
                StepKind::Chain => "bring the sprockets into line".to_owned(),
                StepKind::Centre => "centre the rim".to_owned(),
                StepKind::Refer => format!("have {} seen to", step.because.name()),
            };
            things.push(thing);
        }
        return format!("{} to put right: {}.", count(things.len()), listed(&things));
    }
    if undecided.is_empty() {
        return "Leave it alone: everything that was judged is in tolerance.".to_owned();
    }
    let stands = if undecided.len() == 1 { "is" } else { "are" };
    format!("Nothing is shown to be out of tolerance, but {} {stands} not decided: measure better.", listed(&undecided))
}

fn count(n: usize) -> String {
    match n {
        1 => "One thing".to_owned(),
        2 => "Two things".to_owned(),
        3 => "Three things".to_owned(),
        4 => "Four things".to_owned(),
        5 => "Five things".to_owned(),
        6 => "Six things".to_owned(),
        _ => format!("{n} things"),
    }
}

/// "a", "a and b", "a, b and c".
fn listed(things: &[String]) -> String {
    match things {
        [] => String::new(),
        [only] => only.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}
