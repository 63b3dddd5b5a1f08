//! Before and after as a page: what became of the work, then figure by figure.

use maud::{Markup, PreEscaped, html};

use super::figures::verdict_badge;
use super::page::{closed, sheet};
use super::{above, behind, bike_of};
use crate::plan::difference::{CANT_SAY, Difference, SAME};
use crate::plan::outcome::Decision;
use crate::plan::progress::{Progress, StepProgress};
use crate::plan::since::Since;
use crate::report::cautions::NO_CERTIFICATE;
use crate::report::fields::InWords;
use crate::report::groups::in_groups;
use crate::report::result::ResultDocument;
use crate::text::capital;
use crate::text::units::{Show, Shown};

/// The page of a comparison: the later bike's drawing next to what became of each step.
pub fn since_page(
    before: &ResultDocument,
    after: &ResultDocument,
    compared: &Since,
    show: Show,
) -> String {
    let title = after.job.bike.as_deref().unwrap_or("Wheel and chain line");
    let judged: Vec<&Difference> =
        compared.differences.iter().filter(|d| d.verdict_after.is_some()).collect();
    let days = [before, after]
        .map(|result| result.date_of_photos().unwrap_or_else(|| "undated".to_owned()));
    let all_right =
        !compared.other_bike && judged.iter().all(|d| d.verdict_after == Some(Decision::In));
    let class = if all_right { "in" } else { "todo" };
    let body = html! {
        header.(class) {
            p.kind { strong { (title) } " \u{b7} before and after: " (days[0]) ", " (days[1]) }
            h1 { (compared.headline()) }
            @for finding in &compared.findings {
                p.care { (finding.what.shown(show)) " " (finding.advice.shown(show)) }
            }
        }
        main {
            div.first {
                section #plan {
                    h2.unseen { "What became of each step" }
                    @if compared.steps.is_empty() { p.nothing { "There was no plan to follow." } }
                    @else { ol.steps { @for step in &compared.steps { (one_step(step, show)) } } }
                }
                (drawing(after, show))
            }
            section #judged {
                h2 { "What it is judged by" }
                (table(&judged, show))
            }
            (closed("figures", "Every figure, before and after", all(compared, show)))
        }
        footer { p { (NO_CERTIFICATE) } }
    };
    sheet(&format!("{title}, before and after"), body)
}

fn one_step(step: &StepProgress, show: Show) -> Markup {
    let (class, sign) = match step.progress {
        Progress::Done => ("in", "\u{2713}"),
        Progress::WrongWay | Progress::TooFar => ("out", "\u{25b2}"),
        Progress::Partly | Progress::NotDone | Progress::NotShown => ("open", "\u{25c7}"),
    };
    html! {
        li.step {
            p.became { span.badge.(class) aria-hidden="true" { (sign) } " " strong { (step.n) } " " (step.what.shown(show)) }
        }
    }
}

fn drawing(after: &ResultDocument, show: Show) -> Markup {
    let Some(bike) = bike_of(after) else { return html! {} };
    html! {
        section #views {
            h2.unseen { "How it is now" }
            div.views {
                figure.above { (PreEscaped(above(&bike, show).inline())) figcaption { "Now, from above" } }
                figure.behind { (PreEscaped(behind(&bike, show).inline())) figcaption { "Now, from behind" } }
            }
        }
    }
}

fn table(differences: &[&Difference], show: Show) -> Markup {
    html! {
        table.plain.since {
            thead { tr {
                th scope="col" { "Figure" }
                th scope="col" { "Before" }
                th scope="col" { "After" }
                th scope="col" { "Change" }
            } }
            tbody { @for difference in differences { (row(difference, show)) } }
        }
    }
}

fn row(difference: &Difference, show: Show) -> Markup {
    let figure = &difference.field;
    let cell = |measured: &Option<crate::measurement::Measurement>, verdict: Option<Decision>| {
        html! {
            @match measured {
                Some(measured) => { (figure.in_words(measured, show)) " ± " (Shown::of(measured, figure.kind(), show).u) }
                None => "not measured",
            }
            @if let Some(decision) = verdict { " " (verdict_badge(decision)) }
        }
    };
    html! {
        tr {
            th scope="row" { (capital(&figure.name())) }
            td { (cell(&difference.before, difference.verdict_before)) }
            td { (cell(&difference.after, difference.verdict_after)) }
            td {
                @if let Some(change) = &difference.change {
                    @let shown = Shown::of(change, figure.kind(), show);
                    (shown.signed()) " ± " (shown.u) " " (shown.unit)
                    @if let Some(seen) = difference.seen() { span.limit { (seen.word()) } }
                }
            }
        }
    }
}

fn all(compared: &Since, show: Show) -> Markup {
    html! {
        p {
            "Changes are after minus before; what both evenings share counts once in their ± (k = 2). "
            (capital(SAME)) ". " (capital(CANT_SAY)) "."
        }
        @for (heading, differences) in in_groups(&compared.differences, |difference| &difference.field) {
            h3 { (heading.title()) }
            (table(&differences, show))
        }
    }
}
