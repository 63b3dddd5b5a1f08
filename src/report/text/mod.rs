//! The report for the terminal: what a mechanic reads at the bench, the verdict first.

mod paper;
mod plan;
mod short;
mod since;
mod tables;

pub use short::report;
pub use since::since;

use super::absent::{Absent, absent, reported};
use super::cautions::CAUTIONS;
use super::result::ResultDocument;
use crate::finding::{Finding, Severity};
use crate::text::units::Show;
use anstyle::Style;
use paper::{BAD, FAINT, HEADING, OPEN, Paper};

/// Everything at 80 columns, with styles as escape codes (print it through a stream that knows when
/// to drop them).
pub fn report_all(document: &ResultDocument, show: Show) -> String {
    let document = &*document.visible();
    let mut paper = Paper::default();
    head(&mut paper, document);
    plan::steps(&mut paper, document, show);
    tables::figures(&mut paper, document, show);
    plan::expected(&mut paper, document, show);
    tables::hand(&mut paper, document, show);
    findings(&mut paper, document, show);
    cautions(&mut paper);
    paper.into_text()
}

/// The plan alone, for other choices: what to do and what to expect afterwards.
pub fn plan_alone(document: &ResultDocument, show: Show) -> String {
    let document = &*document.visible();
    let mut paper = Paper::default();
    paper.paragraph(HEADING, "", "", &document.summary);
    plan::steps(&mut paper, document, show);
    plan::expected(&mut paper, document, show);
    cautions(&mut paper);
    paper.into_text()
}

/// The verdict, then what was measured with what.
fn head(paper: &mut Paper, document: &ResultDocument) {
    paper.paragraph(HEADING, "", "", &document.summary);
    let words =
        format!("{} Each ± covers the true value 95 times in 100 (k = 2).", document.taken_from());
    paper.paragraph(FAINT, "", "", &words);
}

/// Findings with what to do, the gravest first; what was simply not laid out or not stuck on comes
/// last, in short.
fn findings(paper: &mut Paper, document: &ResultDocument, show: Show) {
    let reported: Vec<&Finding> = reported(document).collect();
    if !reported.is_empty() {
        paper.heading("Findings", "");
        // The same advice on one thing after another is given once.
        let alike = |a: &&Finding, b: &&Finding| {
            (a.severity, &a.id, &a.advice) == (b.severity, &b.id, &b.advice)
        };
        reported.chunk_by(alike).for_each(|findings| alike_findings(paper, findings, show));
    }
    let absent = absent(document);
    if !absent.is_empty() {
        paper.heading("Not measured", "nothing that it needs was seen");
        for Absent { names, need } in absent {
            paper.paragraph(FAINT, "  - ", "    ", &format!("{names}. {need}"));
        }
    }
}

fn alike_findings(paper: &mut Paper, findings: &[&Finding], show: Show) {
    let Some(last) = findings.last() else { return };
    let (style, mark) = match last.severity {
        Severity::Refused => (BAD, "refused"),
        Severity::Warning => (OPEN, "warning"),
        Severity::Note => (Style::new(), "note"),
    };
    for finding in findings {
        // A sentence that names its photo need not be followed by it.
        let photo = finding.photo.as_deref().filter(|photo| !finding.what.contains(photo));
        let place = photo.map_or_else(String::new, |photo| format!(" [{photo}]"));
        paper.paragraph(
            style,
            &format!("  {mark}: "),
            "    ",
            &format!("{}{place}", finding.what.shown(show)),
        );
    }
    if !last.advice.is_empty() {
        paper.paragraph(Style::new(), "    -> ", "       ", &last.advice.shown(show));
    }
}

fn cautions(paper: &mut Paper) {
    paper.heading("Take care", "");
    for caution in CAUTIONS {
        paper.paragraph(Style::new(), "  - ", "    ", caution);
    }
}
