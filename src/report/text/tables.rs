//! Tables of figures for the terminal: value with its sign in words, uncertainty, verdict, meaning.

use anstyle::Style;

use super::paper::{BAD, FAINT, GOOD, OPEN, Paper, WIDTH, harmless};
use crate::figure::Figure;
use crate::figure::member::Group as Heading;
use crate::figure::part::Wheel;
use crate::measurement::{Measurement, Quality};
use crate::plan::outcome::{Decision, Verdict};
use crate::report::fields::InWords;
use crate::report::groups::{Group, groups, rim_rows};
use crate::report::result::ResultDocument;
use crate::text::capital;
use crate::text::units::{Kind, Show, Shown};

/// Columns of a table of figures: name, value, uncertainty, verdict.
const NAME: usize = 25;
const VALUE: usize = 29;
const UNCERTAINTY: usize = 9;
/// Columns of the rim's table: set-up, place, left, right, width.
const SETUP: usize = 22;
const PLACE: usize = 10;
const OFFSET: usize = 17;

const PLAIN: Style = Style::new();

/// All measured figures in their groups, the rim's offsets, and where the limits come from.
pub fn figures(paper: &mut Paper, document: &ResultDocument, show: Show) {
    let groups = groups(document);
    let (wheel, others): (Vec<&Group>, Vec<&Group>) =
        groups.iter().partition(|group| group.heading == Heading::RearWheel);
    wheel.iter().for_each(|group| table(paper, document, group, show));
    rim(paper, document, show);
    others.iter().for_each(|group| table(paper, document, group, show));
    let is_single = |(_, measured): &(Figure, Measurement)| measured.quality == Quality::Single;
    if groups.iter().any(|group| group.figures.iter().any(is_single)) {
        paper.blank();
        paper.paragraph(
            FAINT,
            "",
            "",
            "single: seen in one photo or from one direction only, or counted from a cord seen so; shown, but never used for a verdict.",
        );
    }
    limits(paper, document, show);
}

fn table(paper: &mut Paper, document: &ResultDocument, group: &Group, show: Show) {
    paper.heading(group.heading.title(), &group.about);
    for (figure, measured) in &group.figures {
        figure_row(paper, document, figure, measured, show);
    }
}

pub fn figure_row(
    paper: &mut Paper,
    document: &ResultDocument,
    figure: &Figure,
    measured: &Measurement,
    show: Show,
) {
    let shown = Shown::of(measured, figure.kind(), show);
    let (style, verdict) = verdict_words(document.verdict(figure), measured, figure, show);
    paper.row(&[
        (PLAIN, &format!("  {}", harmless(&figure.short())), NAME),
        (PLAIN, &figure.in_words(measured, show), VALUE),
        (PLAIN, &format!("± {}", shown.u), UNCERTAINTY),
        (style, &verdict, WIDTH - NAME - VALUE - UNCERTAINTY),
    ]);
    let meaning = document.meaning(figure);
    if !meaning.is_empty() {
        paper.line(FAINT, &format!("    {meaning}"));
    }
}

pub fn verdict_words(
    verdict: Option<&Verdict>,
    measured: &Measurement,
    field: &Figure,
    show: Show,
) -> (Style, String) {
    let single = if measured.quality == Quality::Single { "single" } else { "" };
    let Some(verdict) = verdict else { return (PLAIN, single.to_owned()) };
    let (style, word) = match verdict.verdict {
        Decision::In => (GOOD, "in"),
        Decision::Out => (BAD, "OUT"),
        Decision::Undecided => (OPEN, "undecided"),
    };
    let limit = Shown::exact(verdict.tolerance, field.kind(), show);
    let amount = limit.amount.trim_end_matches('0').trim_end_matches('.');
    (style, format!("{word} ({amount})"))
}

/// The rim from the cord to each outside face, a row for each set-up and place.
fn rim(paper: &mut Paper, document: &ResultDocument, show: Show) {
    let rows = rim_rows(document);
    if rows.is_empty() {
        return;
    }
    let unit = Shown::exact(0.0, Kind::Length, show).unit;
    paper.heading(
        "Rim offsets",
        &format!("from the cord to the rim's outside face on each side, {unit}"),
    );
    let cell = |figure: &Option<Measurement>| match figure {
        Some(measured) => {
            let shown = Shown::of(measured, Kind::Length, show);
            let minus = if shown.sign < 0 { "-" } else { "" };
            let single = if measured.quality == Quality::Single { "*" } else { "" };
            format!("{minus}{} ± {}{single}", shown.amount, shown.u)
        }
        None => "-".to_owned(),
    };
    paper.row(&[
        (FAINT, "  set-up", SETUP),
        (FAINT, "mark", PLACE),
        (FAINT, "left", OFFSET),
        (FAINT, "right", OFFSET),
        (FAINT, "width", 0),
    ]);
    for row in &rows {
        let wheel = if row.wheel == Wheel::Front { ", front wheel" } else { "" };
        let place =
            if row.place == 0 { row.station.to_owned() } else { format!("place {}", row.place) };
        let width = row.width.as_ref().map_or_else(String::new, |width| cell(&Some(*width)));
        paper.row(&[
            (PLAIN, &format!("  {}{wheel}", harmless(&row.setup)), SETUP),
            (PLAIN, &place, PLACE),
            (PLAIN, &cell(&row.left), OFFSET),
            (PLAIN, &cell(&row.right), OFFSET),
            (PLAIN, &width, 0),
        ]);
    }
    if rows
        .iter()
        .any(|row| [row.left, row.right].iter().flatten().any(|m| m.quality == Quality::Single))
    {
        paper.line(FAINT, "  * single");
    }
}

/// Every limit once, with the figures it is used for, where it comes from, and what would decide
/// what is undecided.
fn limits(paper: &mut Paper, document: &ResultDocument, show: Show) {
    if document.verdicts.is_empty() {
        return;
    }
    paper.heading(
        "Limits",
        "in brackets above; \"in\" and \"OUT\" only where the ± leaves no doubt",
    );
    let mut by_source: Vec<(&str, Vec<String>)> = Vec::new();
    for verdict in &document.verdicts {
        let field = &verdict.field;
        let aim = if verdict.nominal == 0.0 {
            String::new()
        } else {
            format!(" about {}", field.amount(verdict.nominal, show))
        };
        let named = format!("{} {}{aim}", field.name(), field.amount(verdict.tolerance, show));
        match by_source.iter_mut().find(|(source, _)| *source == verdict.source) {
            Some((_, names)) => names.push(named),
            None => by_source.push((&verdict.source, vec![named])),
        }
    }
    for (source, names) in by_source {
        paper.paragraph(
            PLAIN,
            "  ",
            "    ",
            &format!("{}. From: {}.", capital(&names.join("; ")), source.trim_end_matches('.')),
        );
    }
    for verdict in &document.verdicts {
        if let Some(decide) = &verdict.decide {
            let name = capital(&verdict.field.name());
            paper.paragraph(
                OPEN,
                "  undecided: ",
                "    ",
                &format!("{name}. {}", decide.shown(show)),
            );
        }
    }
}

/// Values taken by hand, next to the photographed ones.
pub fn hand(paper: &mut Paper, document: &ResultDocument, show: Show) {
    if document.hand.is_empty() {
        return;
    }
    paper.heading("By hand", "next to the photographed figure, never merged with it");
    for entry in &document.hand {
        let field = &entry.field;
        let with_u = |measured: &Measurement| {
            format!(
                "{} ± {}",
                field.in_words(measured, show),
                Shown::of(measured, field.kind(), show).u
            )
        };
        let (style, agree) = match entry.agree {
            Some(true) => (GOOD, "They agree."),
            Some(false) => (BAD, "They do NOT agree: one of the two is wrong."),
            None => (PLAIN, "There is nothing to compare it with."),
        };
        let tool = if entry.tool.is_empty() { String::new() } else { format!(" ({})", entry.tool) };
        let photo = entry.photo.as_ref().map_or_else(|| "not measured".to_owned(), with_u);
        let name = capital(&field.name());
        paper.paragraph(
            PLAIN,
            "  ",
            "    ",
            &format!("{name}: by hand{tool} {}; photographed {photo}.", with_u(&entry.hand)),
        );
        paper.line(style, &format!("    {agree}"));
    }
}
