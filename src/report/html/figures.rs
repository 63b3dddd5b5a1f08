//! The page's tables of figures, with bars, verdicts and limits.

use maud::{Markup, PreEscaped, html};

use super::bars::{Bar, is_worth_a_bar, plus_is_left};
use crate::figure::member::Group as Heading;
use crate::figure::part::Wheel;
use crate::figure::{Figure, Side};
use crate::measurement::{Measurement, Quality};
use crate::plan::outcome::{Decision, State, Verdict};
use crate::report::fields::InWords;
use crate::report::groups::{Group, groups, rim_rows};
use crate::report::result::ResultDocument;
use crate::text::capital;
use crate::text::units::{Kind, Show, Shown};

/// A sign and a word for a verdict: the shape shows it without the colour, the word without the
/// shape.
pub fn verdict_badge(decision: Decision) -> Markup {
    let (class, sign) = match decision {
        Decision::In => ("in", "\u{2713}"),
        Decision::Out => ("out", "\u{25b2}"),
        Decision::Undecided => ("open", "\u{25c7}"),
    };
    html! { span.badge.(class) { span aria-hidden="true" { (sign) " " } (decision.word()) } }
}

pub fn section(document: &ResultDocument, show: Show) -> Markup {
    html! {
        p {
            "Each ± is the expanded uncertainty (k = 2): it covers the true value 95 times in 100. The bar "
            "shows the figure as a dot with the reach of its ±, and the allowed range as a band; left is the bike's left. \"In\" "
            "and \"out\" are said only where the ± leaves no doubt."
        }
        @let groups = groups(document);
        @for group in groups.iter().filter(|group| group.heading == Heading::RearWheel) { (group_table(document, group, show)) }
        (rim_table(document, show))
        @for group in groups.iter().filter(|group| group.heading != Heading::RearWheel) { (group_table(document, group, show)) }
        (limits(document, show))
        (hand(document, show))
    }
}

/// What carries a verdict, each as one bar with its limit; of what is undecided, what would decide
/// it.
pub fn judged(document: &ResultDocument, show: Show) -> Markup {
    html! {
        @if !document.verdicts.is_empty() && document.state != Some(State::Refused) {
            section #judged {
                h2 { "What it is judged by" }
                ul.judged { @for verdict in &document.verdicts { (judgement(document, verdict, show)) } }
            }
        }
    }
}

fn judgement(document: &ResultDocument, verdict: &Verdict, show: Show) -> Markup {
    let field = &verdict.field;
    let chain_on_left = document.chain_side() != Some(Side::Right);
    html! {
        li {
            span.name { (capital(&field.name())) }
            @match &verdict.value {
                Some(measured) => {
                    @let bar = Bar {
                        measured,
                        limit: Some((verdict.nominal, verdict.tolerance)),
                        nought: 0.0,
                        plus_is_left: plus_is_left(field.sense(), chain_on_left),
                    };
                    span.value { (field.in_words(measured, show)) " ±\u{a0}" (Shown::of(measured, field.kind(), show).u) }
                    (PreEscaped(bar.svg()))
                    span.verdict { (verdict_badge(verdict.verdict)) span.limit { "limit " (field.amount(verdict.tolerance, show)) } }
                }
                None => { span.value { "not measured" } span.verdict { (verdict_badge(verdict.verdict)) } }
            }
            @if let Some(decide) = &verdict.decide { span.why { (decide.shown(show)) } }
        }
    }
}

fn group_table(document: &ResultDocument, group: &Group, show: Show) -> Markup {
    html! {
        table.figures {
            caption { strong { (group.heading.title()) } ", " (group.about) }
            thead { tr {
                th scope="col" { "Figure" }
                th scope="col" { "Value" }
                th scope="col" { "±" }
                th scope="col" { "Bar" }
                th scope="col" { "Verdict" }
            } }
            tbody {
                @for (figure, measured) in &group.figures { (row(document, figure, measured, show)) }
            }
        }
    }
}

fn row(document: &ResultDocument, field: &Figure, measured: &Measurement, show: Show) -> Markup {
    let meaning = document.meaning(field);
    let verdict = document.verdict(field);
    let limit = verdict.map(|verdict| (verdict.nominal, verdict.tolerance));
    let chain_on_left = document.chain_side() != Some(Side::Right);
    let shown = Shown::of(measured, field.kind(), show);
    let nought = if field.kind() == Kind::Ratio { 1.0 } else { 0.0 };
    let bar =
        Bar { measured, limit, nought, plus_is_left: plus_is_left(field.sense(), chain_on_left) };
    html! {
        tr data-field=(field) data-value=(measured.value) data-u=(measured.u) {
            th scope="row" { (field.short()) @if !meaning.is_empty() { span.meaning { (meaning) } } }
            td.value { (field.in_words(measured, show)) }
            td.u { "± " (shown.u) }
            td.graph {
                @if is_worth_a_bar(field.sense(), limit) {
                    (PreEscaped(bar.svg()))
                }
            }
            td.verdict {
                @if let Some(verdict) = verdict {
                    (verdict_badge(verdict.verdict))
                    span.limit { " limit " (field.amount(verdict.tolerance, show)) }
                }
                @if measured.quality == Quality::Single {
                    span.limit { " single: seen in one photo or from one direction only, or counted from a cord seen so" }
                }
            }
        }
    }
}

fn plain(measured: Option<Measurement>, show: Show) -> String {
    measured.map_or_else(
        || "\u{2013}".to_owned(),
        |measured| {
            let shown = Shown::of(&measured, Kind::Length, show);
            let minus = if shown.sign < 0 { "-" } else { "" };
            format!("{minus}{} ± {}", shown.amount, shown.u)
        },
    )
}

fn rim_table(document: &ResultDocument, show: Show) -> Markup {
    let rows = rim_rows(document);
    let unit = Shown::exact(0.0, Kind::Length, show).unit;
    html! {
        @if !rows.is_empty() {
            table.plain {
                caption { strong { "Rim offsets" } ", from the cord to the rim's outside face on each side, " (unit) }
                thead { tr {
                    th scope="col" { "Set-up" }
                    th scope="col" { "Mark" }
                    th scope="col" { "Left" }
                    th scope="col" { "Right" }
                    th scope="col" { "Width" }
                } }
                tbody {
                    @for row in &rows {
                        tr {
                            th scope="row" { (row.setup) @if row.wheel == Wheel::Front { ", front wheel" } }
                            td { @if row.place == 0 { (row.station) } @else { "place " (row.place) } }
                            td { (plain(row.left, show)) }
                            td { (plain(row.right, show)) }
                            td { @if row.width.is_some() { (plain(row.width, show)) } }
                        }
                    }
                }
            }
        }
    }
}

fn limits(document: &ResultDocument, show: Show) -> Markup {
    html! {
        @if !document.verdicts.is_empty() {
            h3 { "Where the limits come from" }
            ul {
                @for verdict in &document.verdicts {
                    @let field = &verdict.field;
                    li {
                        (capital(&field.name())) ": " (field.amount(verdict.tolerance, show))
                        @if verdict.nominal != 0.0 { " about " (field.amount(verdict.nominal, show)) }
                        ", from " (verdict.source) "."
                        @if let Some(decide) = &verdict.decide { " " strong { "Undecided: " } (decide.shown(show)) }
                    }
                }
            }
        }
    }
}

fn hand(document: &ResultDocument, show: Show) -> Markup {
    html! {
        @if !document.hand.is_empty() {
            table.plain {
                caption { strong { "Measured by hand" } ", next to the photographed figure and never merged with it" }
                thead { tr {
                    th scope="col" { "Figure" }
                    th scope="col" { "By hand" }
                    th scope="col" { "Photographed" }
                    th scope="col" { "Agree?" }
                } }
                tbody {
                    @for entry in &document.hand {
                        @let field = &entry.field;
                        tr {
                            th scope="row" { (capital(&field.name())) }
                            td {
                                (field.in_words(&entry.hand, show)) " ± " (Shown::of(&entry.hand, field.kind(), show).u)
                                @if !entry.tool.is_empty() { " (" (entry.tool) ")" }
                            }
                            td {
                                @if let Some(photo) = &entry.photo {
                                    (field.in_words(photo, show)) " ± " (Shown::of(photo, field.kind(), show).u)
                                } @else { "not measured" }
                            }
                            td {
                                @match entry.agree {
                                    Some(true) => { span.badge.in { "\u{2713} yes" } }
                                    Some(false) => { span.badge.out { "\u{25b2} no" } }
                                    None => "\u{2013}",
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
