//! Before and after for the terminal.

use anstyle::Style;

use super::paper::{BAD, FAINT, OPEN, Paper};
use crate::plan::progress::Progress;
use crate::plan::since::Since;
use crate::report::fields;
use crate::report::units::{Show, Shown, retold};

const PLAIN: Style = Style::new();

/// The comparison at 80 columns.
pub fn since(compared: &Since, show: Show) -> String {
    let mut paper = Paper::default();
    let changed = compared.differences.iter().filter(|d| d.changed == Some(true)).count();
    let told = match changed {
        0 => "No figure changed by more than its uncertainty.".to_owned(),
        1 => "One figure changed by more than its uncertainty.".to_owned(),
        n => format!("{n} figures changed by more than their uncertainty."),
    };
    paper.paragraph(super::paper::HEADING, "", "", &told);
    paper.heading("Differences", "after minus before; shared terms count once (k = 2)");
    for difference in &compared.differences {
        let field = fields::describe(&difference.field);
        match (&difference.before, &difference.after, &difference.change) {
            (Some(before), Some(after), Some(change)) => {
                let signed = |m| Shown::of(m, field.kind, show).signed();
                let shown = Shown::of(change, field.kind, show);
                let (style, mark) = if difference.changed == Some(true) { (OPEN, "changed") } else { (FAINT, "same") };
                paper.row(&[
                    (PLAIN, &format!("  {}", field.short), 28),
                    (PLAIN, &format!("{} -> {}", signed(before), signed(after)), 24),
                    (style, &format!("{} ± {} {mark}", shown.signed(), shown.u), 0),
                ]);
            }
            (before, after, _) => {
                let words = if before.is_none() { "was not measured before" } else { "was not measured after" };
                if before.is_some() || after.is_some() {
                    paper.row(&[(PLAIN, &format!("  {}", field.short), 28), (FAINT, words, 0)]);
                }
            }
        }
    }
    if !compared.steps.is_empty() {
        paper.heading("The earlier plan", "what became of each step");
        for step in &compared.steps {
            let style = match step.progress {
                Progress::Done => PLAIN,
                Progress::WrongWay | Progress::TooFar => BAD,
                _ => OPEN,
            };
            paper.paragraph(style, &format!("  {}. ", step.n), "     ", &retold(&step.what, show));
        }
    }
    for finding in &compared.findings {
        paper.paragraph(OPEN, "  - ", "    ", &retold(&format!("{} {}", finding.what, finding.advice), show));
    }
    paper.into_text()
}
