//! The plan for the terminal: numbered steps with their cautions, and what to expect afterwards.

use anstyle::Style;

use super::paper::{OPEN, Paper};
use crate::measurement::Measurement;
use crate::report::expected::{Change, changes};
use crate::report::fields;
use crate::report::result::{ResultDocument, capital};
use crate::report::units::{Show, Shown, retold};

const PLAIN: Style = Style::new();

/// What to do, in order.
pub fn steps(paper: &mut Paper, document: &ResultDocument, show: Show) {
    if document.plan.is_empty() {
        return;
    }
    paper.heading("Plan", "in this order; each step counts on the ones before it");
    for step in &document.plan {
        paper.paragraph(PLAIN, &format!("  {}. ", step.n), "     ", &retold(&step.action, show));
        for caution in &step.cautions {
            paper.paragraph(OPEN, "     mind: ", "           ", &retold(caution, show));
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
    for Change { pointer, now, then } in &changes {
        let field = fields::describe(pointer);
        let words =
            |measured: &Measurement| format!("{} ± {}", field.in_words(measured, show), Shown::of(measured, field.kind, show).u);
        let line = format!("{}: {} (now {})", capital(&field.name), words(then), field.in_words(now, show));
        paper.paragraph(PLAIN, "  ", "      ", &line);
    }
}
