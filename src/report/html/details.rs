//! The page's later sections: where the uncertainty comes from, findings, lens and photos, settings
//! and checksums.

use maud::{Markup, html};

use super::photos::seen_in_words;
use crate::figure::Figure;
use crate::finding::{Finding, Severity};
use crate::plan::outcome::State;
use crate::report::absent::{Absent, absent, reported};
use crate::report::result::ResultDocument;
use crate::text::capital;
use crate::text::units::{Kind, Show, Shown};

/// Contributions of each figure, the figures with a verdict first, and of these the contributions
/// largest first.
pub fn budget(document: &ResultDocument, show: Show) -> Markup {
    let mut fields_in_order: Vec<&Figure> = Vec::new();
    let judged = document.verdicts.iter().map(|verdict| &verdict.field);
    for field in judged.chain(document.budget.iter().map(|entry| &entry.field)) {
        if !fields_in_order.contains(&field)
            && document.budget.iter().any(|entry| &entry.field == field)
        {
            fields_in_order.push(field);
        }
    }
    html! {
            @if fields_in_order.is_empty() { p { "Nothing was measured." } }
            @else {
                p {
                    "For each figure, what makes up its ±. Contributions add up by their squares, so the largest one rules: work on "
                    "that one first. The bars show each one's share of the sum of squares."
                }
                table.budget {
                    thead { tr { th scope="col" { "Figure and what it comes from" } th scope="col" { "±" } th scope="col" { "Share" } } }
                    @for field in &fields_in_order { (budget_rows(document, field, show)) }
                }
            }
            @if let Some(ratio) = document.crosscheck.ratio {
                p {
                    "As a check the photos were split into odd and even ones and solved separately: the two solutions differ by "
                    (format!("{ratio:.2}")) " times what their uncertainties allow"
                    @if ratio <= 1.0 { ", as they should." } @else { "; the uncertainties were raised for it." }
                }
            }
            (up(document))
    }
}

fn budget_rows(document: &ResultDocument, field: &Figure, show: Show) -> Markup {
    let mut entries: Vec<_> =
        document.budget.iter().filter(|entry| entry.field == *field).collect();
    entries.sort_by(|a, b| b.u.total_cmp(&a.u).then_with(|| a.from.cmp(&b.from)));
    let sum: f64 = entries.iter().map(|entry| entry.u * entry.u).sum();
    let amount = |u: f64| {
        let small = crate::measurement::Measurement {
            value: 0.0,
            u,
            quality: crate::measurement::Quality::Good,
        };
        Shown::of(&small, field.kind(), show)
    };
    html! {
        tbody {
            tr.head {
                th scope="rowgroup" { (capital(&field.name())) }
                td { @if let Some(measured) = document.figure(field) { @let shown = amount(measured.u); (shown.u) " " (shown.unit) } }
                td {}
            }
            @for entry in entries {
                @let share = if sum > 0.0 { 100.0 * entry.u * entry.u / sum } else { 0.0 };
                tr {
                    th scope="row" { (entry.from) }
                    td { (finer(entry.u, field.kind(), show)) }
                    td {
                        svg.share viewBox="0 0 100 8" aria-hidden="true" { rect width=(format!("{share:.0}")) height="8" {} }
                        " " (format!("{share:.0}")) " %"
                    }
                }
            }
        }
    }
}

/// A contribution may be smaller than the last place that is shown of a figure: one place more.
fn finer(u: f64, kind: Kind, show: Show) -> String {
    match (kind, show) {
        (Kind::Length, Show::Inch) => format!("{:.4}", u / crate::text::units::MM_PER_INCH),
        (Kind::Ratio, _) => format!("{:.3}", u * 100.0),
        _ => format!("{u:.3}"),
    }
}

fn up(document: &ResultDocument) -> Markup {
    html! {
        @if !document.measured.up.sources.is_empty() {
            h3 { "What was taken for upright" }
            ul {
                @for source in &document.measured.up.sources {
                    li {
                        (capital(&source.source)) ": ± " (format!("{:.3}", 2.0 * source.sigma_deg)) " deg; across the bike it differs from "
                        "the common estimate by " (format!("{:.3}", source.differs_across_deg.abs())) " deg"
                        @if source.differs_across_deg > 0.0005 { " to the left" } @else if source.differs_across_deg < -0.0005 { " to the right" }
                        "."
                    }
                }
            }
        }
    }
}

pub fn findings(document: &ResultDocument, show: Show) -> Markup {
    html! {
            @if reported(document).next().is_none() { p { "None." } }
            @else {
                ul.findings { @for finding in reported(document) { (one_finding(finding, show)) } }
            }
            @let absent = absent(document);
            @if !absent.is_empty() {
                h3 { "Not measured: nothing that it needs was seen" }
                ul { @for Absent { names, need } in &absent { li { (names) ". " span.advice { (need) } } } }
            }
    }
}

/// What was refused or is in the way, on the first page: a person who is not finished needs it at
/// once.
pub fn in_the_way(document: &ResultDocument, show: Show) -> Markup {
    let is_stuck = matches!(document.state, Some(State::NotFinished | State::Refused));
    let found: Vec<&Finding> = reported(document)
        .filter(|finding| is_stuck && finding.severity != Severity::Note)
        .collect();
    html! {
        @if !found.is_empty() {
            section #missing {
                h2 { "What is missing, and what to do" }
                ul.findings { @for finding in found { (one_finding(finding, show)) } }
            }
        }
    }
}

fn one_finding(finding: &Finding, show: Show) -> Markup {
    let (class, word) = match finding.severity {
        Severity::Refused => ("out", "\u{25b2} refused"),
        Severity::Warning => ("open", "\u{25c7} warning"),
        Severity::Note => ("note", "note"),
    };
    html! {
        li {
            span.badge.(class) { (word) } " " (finding.what.shown(show))
            @if let Some(photo) = &finding.photo { " [" (photo) "]" }
            @if !finding.advice.is_empty() { br; span.advice { "What to do: " (finding.advice.shown(show)) } }
        }
    }
}

pub fn photo_table(document: &ResultDocument) -> Markup {
    html! {
            @for camera in &document.camera {
                @let value = |measured: Option<crate::measurement::Measurement>| measured.map_or_else(
                    || "\u{2013}".to_owned(), |m| format!("{:.1} ± {:.1}", m.value, m.u));
                table.plain {
                    caption {
                        strong { "Lens" } " of " (camera.photos.len()) " photos of " (camera.width) " × " (camera.height) " px"
                        @if let Some(rms) = camera.rms_px { ", corners off by " (format!("{rms:.3}")) " px (rms)" }
                    }
                    tbody {
                        tr { th scope="row" { "Focal lengths, px" } td { (value(camera.fx)) "; " (value(camera.fy)) } }
                        tr { th scope="row" { "Principal point, px" } td { (value(camera.cx)) "; " (value(camera.cy)) } }
                        tr {
                            th scope="row" { "Lens coefficients k1, k2, p1, p2, k3" }
                            td { (camera.k1) "; " (camera.k2) "; " (camera.p1) "; " (camera.p2) "; " (camera.k3) }
                        }
                    }
                }
            }
            table.plain.photos-seen {
                caption { strong { "Photos" } ", with the SHA-256 of each file" }
                thead { tr {
                    th scope="col" { "Photo" }
                    th scope="col" { "Seen in it" }
                    th scope="col" { "Corners" }
                    th scope="col" { "Off by, px" }
                } }
                tbody {
                    @for photo in &document.photos {
                        tr {
                            th scope="row" { (photo.file) @if !photo.used { " (not used)" } }
                            td { (seen_in_words(&photo.cards, &photo.tabs)) code.sum { (photo.sha256) } }
                            td { (photo.corners) }
                            td { @if let Some(rms) = photo.rms_px { (format!("{rms:.3}")) } @else { "\u{2013}" } }
                        }
                    }
                }
            }
    }
}

pub fn settings(document: &ResultDocument) -> Markup {
    let none = document.settings.as_object().is_none_or(serde_json::Map::is_empty);
    html! {
            @if none { p { "None: everything was taken at its usual value." } }
            @else { pre { (serde_json::to_string_pretty(&document.settings).unwrap_or_default()) } }
            h3 { "Checksum of the inputs" }
            p {
                "SHA-256 over the photos and the settings: " code.sum { (document.job.id) }
                "The same inputs give the same figures. Measured with " (document.program.name) " " (document.program.version)
                ", pattern version " (document.measured.facts.pattern_version) "."
            }
    }
}
