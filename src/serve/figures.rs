//! The figures on the page: each with its uncertainty, how that came down, its limit, and the photo
//! that would help most.

use maud::{Markup, html};

use super::said;
use super::state::{LastResult, State};
use crate::bench::advice::PLACE;
use crate::figure::Figure;
use crate::measurement::Measurement;
use crate::plan::outcome::Decision;
use crate::plan::which_photo::{BRINGS, WOULD_HELP};
use crate::report::fields::InWords;
use crate::text::units::{Show, Shown};
use crate::text::{Sentence, capital};

/// What is shown where no limit applies to anything yet.
const FIRST: [Figure; 4] =
    [Figure::WheelYaw, Figure::WheelOffset, Figure::ChainAtGearbox, Figure::ChainYaw];
/// Uncertainties shown one after the other, the newest last.
const SHRINKING: usize = 4;

/// A figure to show.
struct Row {
    figure: Figure,
    value: Measurement,
    limit: Option<(f64, Decision)>,
    /// What would decide it, where it is undecided.
    decide: Option<Sentence>,
}

/// All figures that matter for a verdict.
pub fn section(state: &State) -> Markup {
    let Some(result) = &state.last_result else { return html! {} };
    let rows = rows(result);
    let newer = !state.is_measured();
    html! {
        h2 { "How it is now" }
        p.kind { "From " (result.photos) " photos" (if newer { "; newer ones are not in it yet" } else { "" }) }
        @if rows.is_empty() { p { "No figure yet: " (said::without_folders(&result.document.summary)) } }
        @for row in &rows { (figure(row, state)) }
        (helpful(result))
    }
}

fn rows(result: &LastResult) -> Vec<Row> {
    let document = &result.document;
    let judged = document.verdicts.iter().filter_map(|verdict| {
        let limit = Some((verdict.tolerance, verdict.verdict));
        let decide = verdict.decide.clone().filter(|_| verdict.verdict == Decision::Undecided);
        Some(Row { figure: verdict.field.clone(), value: verdict.value?, limit, decide })
    });
    let rows: Vec<Row> = judged.collect();
    if !rows.is_empty() {
        return rows;
    }
    let first = FIRST.into_iter().filter_map(|figure| {
        let value = document.figure(&figure)?;
        Some(Row { figure, value, limit: None, decide: None })
    });
    first.collect()
}

fn figure(row: &Row, state: &State) -> Markup {
    let shown = Shown::of(&row.value, row.figure.kind(), Show::Mm);
    let earlier = shrinking(&row.figure, state);
    html! {
        div.figure {
            p.name { (capital(&row.figure.name())) }
            @if let Some((_, decision)) = row.limit { (badge(decision)) }
            p.value { (row.figure.in_words(&row.value, Show::Mm)) }
            p.u {
                "± "
                @for u in &earlier { span.was { (u) " → " } }
                b { (shown.u) } " " (shown.unit)
                @if let Some((limit, _)) = row.limit { ", limit " (row.figure.amount(limit, Show::Mm)) }
            }
            (said::undecided(row.decide.as_ref()))
        }
    }
}

fn badge(decision: Decision) -> Markup {
    let (class, word) = match decision {
        Decision::In => ("in", "fine"),
        Decision::Out => ("out", "to do"),
        Decision::Undecided => ("open", "undecided"),
    };
    html! { span class={ "badge " (class) } { (word) } }
}

/// The uncertainties that the figure had before, oldest first, where each was larger than the next.
fn shrinking(figure: &Figure, state: &State) -> Vec<String> {
    let mut earlier: Vec<String> = Vec::new();
    for remembered in &state.history {
        let Some(measured) = remembered.get(figure) else { continue };
        let u = Shown::of(measured, figure.kind(), Show::Mm).u;
        if earlier.last() != Some(&u) {
            earlier.push(u);
        }
    }
    // The last one is the present one, which is shown anyway.
    earlier.pop();
    let skipped = earlier.len().saturating_sub(SHRINKING - 1);
    earlier.split_off(skipped)
}

/// The one photo that would help most: for a verdict that it may decide, or else for any figure.
fn helpful(result: &LastResult) -> Markup {
    let document = &result.document;
    let open = document.verdicts.iter().filter(|verdict| verdict.verdict == Decision::Undecided);
    let decide = open
        .filter_map(|verdict| Some((verdict.field.name(), photo_in(verdict.decide.as_deref()?)?)))
        .next();
    let found = || document.findings.iter().find(|finding| finding.id == WOULD_HELP);
    html! {
        @if let Some((name, photo)) = decide {
            div.helpful { p { b { "The photo that helps most" } ", for " (name) ": " (photo) } }
        } @else if let Some(finding) = found() {
            div.helpful { p { b { "The photo that helps most: " } (finding.advice) " " (finding.what) } }
        }
    }
}

/// What of a verdict's words names a photo; None where none would help.
fn photo_in(decide: &str) -> Option<&str> {
    let at = BRINGS.iter().find_map(|begins| decide.find(begins))?;
    decide.get(at..).filter(|photo| photo.contains(PLACE))
}
