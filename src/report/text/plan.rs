//! The plan for the terminal: numbered steps with their cautions, and what to expect afterwards.

use anstyle::Style;

use super::paper::{OPEN, Paper};
use crate::measurement::Measurement;
use crate::report::expected::{Change, changes};
use crate::report::fields::InWords;
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
    for Change { figure, now, then } in &changes {
        let words = |measured: &Measurement| {
            format!("{} ± {}", figure.in_words(measured, show), Shown::of(measured, figure.kind(), show).u)
        };
        let line = format!("{}: {} (now {})", capital(&figure.name()), words(then), figure.in_words(now, show));
        paper.paragraph(PLAIN, "  ", "      ", &line);
    }
}
