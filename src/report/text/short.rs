//! The report on one screen: the work first, then the figures that carry verdicts.

use anstyle::Style;

use super::paper::{BAD, FAINT, HEADING, OPEN, Paper, WIDTH, harmless};
use super::{plan, tables};
use crate::finding::{Finding, Severity};
use crate::measurement::Measurement;
use crate::plan::outcome::{Decision, PlanStep, State, Verdict};
use crate::report::absent::reported;
use crate::report::brief::brief;
use crate::report::cautions::{IN_ONE_LINE, NO_CERTIFICATE};
use crate::report::fields::InWords;
use crate::report::result::ResultDocument;
use crate::text::capital;
use crate::text::units::{Show, Shown};

const PLAIN: Style = Style::new();

/// Columns of the verdicts: name, value, uncertainty.
const NAME: usize = 30;
const VALUE: usize = 29;

/// An inch has a place more than a millimetre.
fn uncertainty(show: Show) -> usize {
    if show == Show::Inch { 6 } else { 5 }
}

/// Findings that are shown in full; the others are counted.
const MOST_FINDINGS: usize = 3;

/// Findings that decide which way, or how far, anything is moved: they stand before the steps.
const FIRST: [&str; 3] =
    ["setup-names-swapped", "print-scale-contradicts-caliper", "check-line-off"];

/// What there is to do, and what it is judged by, at 80 columns with styles as escape codes.
pub fn report(document: &ResultDocument, show: Show) -> String {
    let document = &*document.visible();
    let mut paper = Paper::default();
    paper.paragraph(HEADING, "", "", &document.summary);
    paper.paragraph(FAINT, "", "", &document.taken_from());
    first(&mut paper, document, show);
    if !document.plan.is_empty() {
        paper.paragraph(OPEN, "", "", IN_ONE_LINE);
        paper.blank();
    }
    for step in &document.plan {
        one_step(&mut paper, step, document.figure(&step.because), show);
    }
    verdicts(&mut paper, document, show);
    findings(&mut paper, document, show);
    foot(&mut paper, document);
    paper.into_text()
}

fn is_first(finding: &Finding) -> bool {
    FIRST.contains(&finding.id.as_str())
}

/// What is to be looked at before a hand is laid on anything.
fn first(paper: &mut Paper, document: &ResultDocument, show: Show) {
    let mut found: Vec<&Finding> = reported(document).filter(|f| is_first(f)).collect();
    found.sort_by_key(|finding| FIRST.iter().position(|id| *id == finding.id));
    for finding in &found {
        paper.paragraph(OPEN, "First: ", "  ", &finding.what.shown(show));
        paper.paragraph(PLAIN, "    -> ", "       ", &finding.advice.shown(show));
    }
    if !found.is_empty() {
        paper.blank();
    }
}

fn one_step(paper: &mut Paper, step: &PlanStep, now: Option<Measurement>, show: Show) {
    let brief = brief(step, now, show);
    let turns = if brief.turns.is_empty() { String::new() } else { format!(" = {}", brief.turns) };
    let words = match step.distance {
        Some(_) => format!("{}: {}{turns}", brief.what, brief.amount),
        // What has no short form is printed in full.
        None => step.action.shown(show).into_owned(),
    };
    paper.paragraph(HEADING, &format!("  {}  ", step.n), "     ", &words);
    if !brief.then.is_empty() {
        paper.paragraph(FAINT, "     ", "     ", &brief.then);
    }
    plan::choices(paper, step, show);
    for danger in &step.dangers {
        paper.paragraph(BAD, "     Take care: ", "     ", &danger.shown(show));
    }
}

/// The figures that carry a verdict, each on a line.
fn verdicts(paper: &mut Paper, document: &ResultDocument, show: Show) {
    if document.verdicts.is_empty() || document.state == Some(State::Refused) {
        return;
    }
    paper.blank();
    paper.row(&[
        (FAINT, " figure", NAME),
        (FAINT, "now", VALUE),
        (FAINT, "±", uncertainty(show)),
        (FAINT, "verdict (limit)", 0),
    ]);
    for verdict in &document.verdicts {
        match &verdict.value {
            Some(measured) => judged(paper, document, verdict, measured, show),
            None => paper.row(&[(PLAIN, &name(verdict), NAME), (OPEN, "not measured", 0)]),
        }
    }
    undecided(paper, document, show);
}

/// Why verdicts are open: in full where that is all that is left to do, else in a line, for the
/// work comes first.
fn undecided(paper: &mut Paper, document: &ResultDocument, show: Show) {
    let open =
        document.verdicts.iter().filter(|v| v.verdict == Decision::Undecided && v.value.is_some());
    let open: Vec<&Verdict> = open.collect();
    if document.state == Some(State::ToDo) {
        if !open.is_empty() {
            paper.paragraph(
                FAINT,
                "  ",
                "  ",
                "Undecided: can't be called in or out yet; --all says what would decide it.",
            );
        }
        return;
    }
    // What is not finished is first to be finished: that decides more than anything said here.
    if document.state == Some(State::NotFinished) {
        return;
    }
    for verdict in open {
        if let Some(decide) = &verdict.decide {
            let name = capital(&verdict.field.name());
            paper.paragraph(
                OPEN,
                "  ",
                "    ",
                &format!("{name} is undecided. {}", decide.shown(show)),
            );
        }
    }
}

fn judged(
    paper: &mut Paper,
    document: &ResultDocument,
    verdict: &Verdict,
    measured: &Measurement,
    show: Show,
) {
    let figure = &verdict.field;
    let (style, words) = tables::verdict_words(document.verdict(figure), measured, figure, show);
    // Where the limit has no room next to it, the verdict goes without: --all has both.
    let room = WIDTH - NAME - VALUE - uncertainty(show);
    let words = if words.len() > room {
        words.split(" (").next().unwrap_or_default().to_owned()
    } else {
        words
    };
    paper.row(&[
        (PLAIN, &name(verdict), NAME),
        (PLAIN, &figure.in_words(measured, show), VALUE),
        (PLAIN, &Shown::of(measured, figure.kind(), show).u, uncertainty(show)),
        (style, &words, 0),
    ]);
}

/// "wheel square (yaw)": the short name with the part it belongs to.
fn name(verdict: &Verdict) -> String {
    let part = verdict.field.line().map_or("", |line| line.group.word());
    format!(" {}{}", part, harmless(&verdict.field.short()))
}

/// What is in the way, with what to do; warnings in short; the rest is counted.
fn findings(paper: &mut Paper, document: &ResultDocument, show: Show) {
    let (mut grave, notes): (Vec<&Finding>, Vec<&Finding>) =
        reported(document).filter(|f| !is_first(f)).partition(|f| f.severity != Severity::Note);
    // The same finding about one figure after another is printed once.
    grave.dedup_by(|a, b| (&a.id, &a.what, &a.advice) == (&b.id, &b.what, &b.advice));
    if !grave.is_empty() {
        paper.blank();
    }
    for finding in grave.iter().take(MOST_FINDINGS) {
        let style = if finding.severity == Severity::Refused { BAD } else { OPEN };
        let photo = finding.photo.as_deref().filter(|photo| !finding.what.contains(photo));
        let place = photo.map_or_else(String::new, |photo| format!(" [{photo}]"));
        paper.paragraph(style, "  - ", "    ", &format!("{}{place}", finding.what.shown(show)));
        // What to do about a warning can wait until the work is done.
        let wait = finding.severity == Severity::Warning && document.state == Some(State::ToDo);
        if !finding.advice.is_empty() && !wait {
            paper.paragraph(PLAIN, "    -> ", "       ", &finding.advice.shown(show));
        }
    }
    let more = grave.len().saturating_sub(MOST_FINDINGS);
    let rest = [(more, "warning"), (notes.len(), "note")].into_iter().filter(|(n, _)| *n > 0);
    let rest: Vec<String> =
        rest.map(|(n, word)| format!("{n} more {word}{}", if n == 1 { "" } else { "s" })).collect();
    if !rest.is_empty() {
        paper.paragraph(
            FAINT,
            "  ",
            "  ",
            &format!("{} with --all and on the page.", rest.join(" and ")),
        );
    }
}

fn foot(paper: &mut Paper, document: &ResultDocument) {
    paper.blank();
    if document.state != Some(State::Refused) {
        paper.paragraph(
            FAINT,
            "",
            "",
            "Each ± covers the true value 95 times in 100. All figures and findings: --all, or the page.",
        );
    }
    paper.paragraph(FAINT, "", "", NO_CERTIFICATE);
}
