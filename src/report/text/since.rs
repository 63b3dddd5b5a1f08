//! Before and after for the terminal.

use anstyle::Style;

use super::paper::{BAD, FAINT, OPEN, Paper, harmless};
use crate::figure::Figure;
use crate::plan::difference::{CANT_SAY, Difference, SAME, Seen};
use crate::plan::outcome::{Decision, Unit};
use crate::plan::progress::{Progress, StepProgress};
use crate::plan::since::Since;
use crate::report::fields::InWords;
use crate::report::groups::in_groups;
use crate::text::Amount;
use crate::text::units::{Kind, Show, Shown};

const PLAIN: Style = Style::new();

/// Columns of the table: name, before and after.
const NAME: usize = 26;
const VALUES: usize = 24;

const SIGNS: &str = "Before -> after, and after minus before, with what both share counted once (k = 2). + is to the left, front \
    or top to the left, left or front high; for a sprocket, and for the rim from the hub, + is outboard; a rim's face and a spindle's \
    end count + on their own side.";

/// The comparison at 80 columns.
pub fn since(compared: &Since, show: Show) -> String {
    let mut paper = Paper::default();
    for (idx, sentence) in answer(compared, show).iter().enumerate() {
        let style = if idx == 0 { super::paper::HEADING } else { PLAIN };
        paper.paragraph(style, "", "", sentence);
    }
    for finding in &compared.findings {
        paper.paragraph(
            OPEN,
            "  - ",
            "    ",
            &format!("{} {}", finding.what.shown(show), finding.advice.shown(show)),
        );
    }
    paper.blank();
    paper.paragraph(PLAIN, "", "", SIGNS);
    words_used(&mut paper, compared);
    for (heading, differences) in in_groups(&compared.differences, |difference| &difference.field) {
        group(&mut paper, heading.title(), &differences, show);
    }
    unmatched(&mut paper, compared);
    if !compared.steps.is_empty() {
        paper.heading("The earlier plan", "what became of each step");
        for step in &compared.steps {
            let style = match step.progress {
                Progress::Done => PLAIN,
                Progress::WrongWay | Progress::TooFar => BAD,
                _ => OPEN,
            };
            paper.paragraph(style, &format!("  {}. ", step.n), "     ", &step.what.shown(show));
        }
    }
    paper.into_text()
}

/// What the words behind the changes mean, for those that are used.
fn words_used(paper: &mut Paper, compared: &Since) {
    for (seen, meaning) in [(Seen::Alike, SAME), (Seen::CantSay, CANT_SAY)] {
        if compared.differences.iter().any(|d| d.seen() == Some(seen) && !is_height(d)) {
            paper.paragraph(FAINT, "", "  ", &format!("{meaning}."));
        }
    }
}

/// The answer in a few sentences: better or worse, what is still out, and what each step brought.
fn answer(compared: &Since, show: Show) -> Vec<String> {
    let mut sentences = vec![compared.headline()];
    if compared.other_bike {
        return sentences;
    }
    let of_after = |decision: Decision| {
        compared.differences.iter().filter(move |d| d.verdict_after == Some(decision))
    };
    let said = |difference: &Difference| {
        let value = difference.after.as_ref().map_or_else(String::new, |after| {
            format!(", {}", difference.field.in_words(after, show))
        });
        format!("{}{value}", harmless(&difference.field.name()))
    };
    let out: Vec<String> = of_after(Decision::Out).map(said).collect();
    if !out.is_empty() {
        sentences.push(format!("Still out: {}.", out.join("; ")));
    }
    let open: Vec<String> =
        of_after(Decision::Undecided).map(|d| harmless(&d.field.name())).collect();
    if !open.is_empty() {
        sentences.push(format!("Undecided: {}.", open.join("; ")));
    }
    let steps: Vec<String> = compared.steps.iter().map(|step| step_in_short(step, show)).collect();
    if !steps.is_empty() {
        sentences.push(steps.join(" "));
    }
    sentences
}

/// "Step 2 moved 1.3 mm of 1.4 mm."
fn step_in_short(step: &StepProgress, show: Show) -> String {
    let n = step.n;
    let short = |value: f64| match step.unit {
        Unit::Mm => Amount::tenths(value.abs()).shown(show),
        Unit::Deg => Amount::to_places(value.abs(), 2, Kind::Angle).shown(show),
    };
    let numbers = step.planned.zip(step.found.map(|found| found.value));
    match (step.progress, numbers) {
        (Progress::Done, Some((planned, found))) => {
            format!("Step {n} is done: {} of {}.", short(found), short(planned))
        }
        (Progress::Done, None) => format!("Step {n} is done."),
        (Progress::Partly, Some((planned, found))) => {
            format!("Step {n} moved {} of {}.", short(found), short(planned))
        }
        (Progress::Partly, None) => format!("Step {n} is partly done."),
        (Progress::NotDone, _) => format!("Step {n} is not done yet."),
        (Progress::TooFar, Some((planned, found))) => {
            format!(
                "Step {n} went too far: {} of {}; go back {}.",
                short(found),
                short(planned),
                short(found - planned)
            )
        }
        (Progress::TooFar, None) => format!("Step {n} went too far."),
        (Progress::WrongWay, Some((_, found))) => {
            format!("Step {n} went the wrong way, by {}.", short(found))
        }
        (Progress::WrongWay, None) => format!("Step {n} went the wrong way."),
        (Progress::NotShown, _) => match step.found.filter(|found| found.value.abs() > found.u) {
            // A figure that moved must not sound as if it had not.
            Some(found) => format!(
                "Step {n}: {} of it is seen, but can't be vouched for: {}.",
                short(found.value),
                step.why_not_shown.as_deref().unwrap_or_default()
            ),
            None => {
                format!(
                    "Step {n}: can't say, for {}.",
                    step.why_not_shown.as_deref().unwrap_or("it was not measured both times")
                )
            }
        },
    }
}

/// The rim's heights only show where its offsets hold: they are not adjusted, and not shown.
fn is_height(difference: &Difference) -> bool {
    matches!(difference.field, Figure::RimHeight(_))
}

/// Figures of one group that both results have.
fn group(paper: &mut Paper, title: &str, differences: &[&Difference], show: Show) {
    let mut is_first = true;
    for difference in differences.iter().filter(|difference| !is_height(difference)) {
        let (Some(before), Some(after), Some(change)) =
            (&difference.before, &difference.after, &difference.change)
        else {
            continue;
        };
        if is_first {
            paper.heading(title, "");
            is_first = false;
        }
        let signed = |m| Shown::of(m, difference.field.kind(), show).signed();
        let shown = Shown::of(change, difference.field.kind(), show);
        let Some(seen) = difference.seen() else { continue };
        let style = if seen == Seen::Alike { FAINT } else { OPEN };
        paper.row(&[
            (PLAIN, &format!("  {}", harmless(&difference.field.short())), NAME),
            (PLAIN, &format!("{} -> {}", signed(before), signed(after)), VALUES),
            (style, &format!("{} ± {} {} {}", shown.signed(), shown.u, shown.unit, seen.word()), 0),
        ]);
    }
}

/// Figures that only one of the two results has, by name.
fn unmatched(paper: &mut Paper, compared: &Since) {
    let names = |wanted: fn(&Difference) -> bool| -> Vec<String> {
        let found = compared.differences.iter().filter(|d| wanted(d) && !is_height(d));
        found.map(|difference| difference.field.name()).collect()
    };
    let only_after = names(|d| d.before.is_none() && d.after.is_some());
    let only_before = names(|d| d.before.is_some() && d.after.is_none());
    for (title, names) in [("Not measured before", only_after), ("Not measured after", only_before)]
    {
        if !names.is_empty() {
            paper.heading(title, "");
            paper.paragraph(FAINT, "  ", "  ", &format!("{}.", names.join("; ")));
        }
    }
}
