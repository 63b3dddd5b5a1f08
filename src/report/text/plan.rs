//! The plan for the terminal: numbered steps with their cautions, and what to expect afterwards.

use anstyle::Style;

use super::paper::{BAD, FAINT, OPEN, Paper};
use crate::measurement::Measurement;
use crate::plan::outcome::PlanStep;
use crate::report::brief;
use crate::report::expected::{Change, changes};
use crate::report::fields::InWords;
use crate::report::result::ResultDocument;
use crate::text::capital;
use crate::text::units::{Show, Shown};

const PLAIN: Style = Style::new();

/// What to do, in order.
pub fn steps(paper: &mut Paper, document: &ResultDocument, show: Show) {
    if document.plan.is_empty() {
        return;
    }
    paper.heading("Plan", "in this order; each step counts on the ones before it");
    for step in &document.plan {
        paper.paragraph(PLAIN, &format!("  {}. ", step.n), "     ", &step.action.shown(show));
        for danger in &step.dangers {
            paper.paragraph(BAD, "     take care: ", "           ", &danger.shown(show));
        }
        choices(paper, step, show);
        for caution in &step.cautions {
            paper.paragraph(OPEN, "     mind: ", "           ", &caution.shown(show));
        }
    }
}

/// Where the job leaves open how the sprockets are brought into line: every way side by side,
/// with what each costs the rim.
pub fn choices(paper: &mut Paper, step: &PlanStep, show: Show) {
    for choice in &step.choices {
        let [part, moves, rim] = brief::choice(choice, show);
        let mark = match (choice.taken, choice.tied) {
            (true, _) => "     plan",
            (false, true) => "     alike",
            (false, false) => "     or",
        };
        let style = if choice.taken { PLAIN } else { FAINT };
        paper.row(&[
            (FAINT, mark, 11),
            (style, &part, 24),
            (style, &moves, 20),
            (style, &format!("then {rim}"), 0),
        ]);
        // Those of the one that is taken follow in full below.
        for warning in choice.warnings.iter().filter(|_| !choice.taken) {
            paper.paragraph(BAD, "           ", "           ", &warning.shown(show));
        }
    }
}

/// The figures the plan changes: as they are, and as they should be afterwards.
pub fn expected(paper: &mut Paper, document: &ResultDocument, show: Show) {
    if document.plan.is_empty() {
        return;
    }
    let changes = changes(document);
    if changes.is_empty() {
        return;
    }
    paper.heading("After the plan", "expect these figures; measure again to be sure");
    for Change { figure, now, then } in &changes {
        let words = |measured: &Measurement| {
            format!(
                "{} ± {}",
                figure.in_words(measured, show),
                Shown::of(measured, figure.kind(), show).u
            )
        };
        let line = format!(
            "{}: {} (now {})",
            capital(&figure.name()),
            words(then),
            figure.in_words(now, show)
        );
        paper.paragraph(PLAIN, "  ", "      ", &line);
    }
}
