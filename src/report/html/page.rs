//! The page from top to bottom.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::drawing::{self, DRAWING_CSS};
use super::figures::verdict_badge;
use super::photos::PhotoPicture;
use super::{details, figures, photos, views};
use crate::figure::Figure;
use crate::measurement::Measurement;
use crate::plan::outcome::{Decision, PlanStep};
use crate::report::cautions::CAUTIONS;
use crate::report::expected::{Change, changes};
use crate::report::fields::InWords;
use crate::report::result::ResultDocument;
use crate::report::units::{Kind, Show, Shown, retold};

const PAGE_CSS: &str = include_str!("page.css");

/// What the page may load: pictures and styles that stand in it. Whatever a name in it may hold, no script runs, and nothing comes
/// from elsewhere or goes there.
const POLICY: &str = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; form-action 'none'; base-uri 'none'";

/// The whole page as one file: nothing in it is fetched from elsewhere, and nothing needs a script.
pub fn page(document: &ResultDocument, pictures: &[PhotoPicture], show: Show) -> String {
    let title = document.job.bike.as_deref().unwrap_or("Wheel and chain line");
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                title { (title) ", measured" }
                style { (PreEscaped(PAGE_CSS)) (PreEscaped(DRAWING_CSS)) }
            }
            body {
                (header(document, title, show))
                main {
                    (view_section(document, show))
                    (figures::section(document, show))
                    (plan(document, show))
                    (cautions())
                    @if !pictures.is_empty() { (photos::section(document, pictures)) }
                    (details::budget(document, show))
                    (details::findings(document, show))
                    (details::photo_table(document))
                    (details::settings(document))
                }
                footer { p { "A measurement, not a certificate of roadworthiness. Figures in full: result.json beside this page." } }
            }
        }
    };
    markup.into_string()
}

/// Which verdict stands over the whole: out if any figure is, open if any is undecided, in if all are.
fn overall(document: &ResultDocument) -> Option<Decision> {
    let decisions = document.verdicts.iter().map(|verdict| verdict.verdict);
    let rank = |decision: &Decision| match decision {
        Decision::In => 0,
        Decision::Undecided => 1,
        Decision::Out => 2,
    };
    decisions.max_by_key(rank)
}

fn header(document: &ResultDocument, title: &str, show: Show) -> Markup {
    let overall = overall(document);
    let class = match overall {
        Some(Decision::In) => "in",
        Some(Decision::Out) => "out",
        Some(Decision::Undecided) | None => "open",
    };
    let used = document.photos.iter().filter(|photo| photo.used).count();
    html! {
        header {
            p.kind { "Rear wheel, chain line and frame, measured from photos" }
            h1 { (title) }
            p.verdict.(class) {
                @if let Some(decision) = overall { (verdict_badge(decision)) " " }
                (retold(&document.summary, show))
            }
            p.kind { (used) " of " (document.photos.len()) " photos used" }
        }
    }
}

fn view_section(document: &ResultDocument, show: Show) -> Markup {
    let mut views = views(document, show).into_iter().map(|(_, view)| view);
    let (Some(above), Some(behind), Some(side)) = (views.next(), views.next(), views.next()) else { return html! {} };
    let factor = drawing::Bike::new(document).factor;
    html! {
        section #views {
            h2 { "How it stands" }
            p {
                "To scale, but what is out of true is drawn " strong { (factor) " times" } " as large as it is. Left is the bike's left."
            }
            div.views {
                figure { (PreEscaped(above.inline())) figcaption { "From above, front at the top" } }
                div.stack {
                    (legend(document))
                    figure { (PreEscaped(behind.inline())) figcaption { "From behind" } }
                }
            }
            figure.wide {
                (PreEscaped(side.inline()))
                figcaption {
                    "From the bike's left, front at the left, true to scale, with the places the photos were taken from: "
                    "filled triangles on the left side, hollow ones on the right"
                }
            }
        }
    }
}

/// What the lines and dots of the drawings stand for.
fn legend(document: &ResultDocument) -> Markup {
    let line = |class: &str| html! { line class=(class) x1="0" y1="8" x2="48" y2="8" {} };
    let dot = |class: &str| html! { circle class=(class) cx="24" cy="8" r="5" {} };
    let box_of = |class: &str| html! { rect class=(class) x="1" y="2" width="46" height="12" {} };
    let entries = [
        (line("cord"), "the datum cord, from which everything is measured", true),
        (line("frame"), "the frame's middle", document.figure(&Figure::FrameOffset).is_some()),
        (html! { (box_of("wheel")) (line("midline")) }, "the rear wheel and its middle", document.layout.axle.is_some()),
        (line("sprocket"), "a sprocket's outside face", document.layout.rear_sprocket.is_some()),
        (line("reach"), "a plane or line carried on", true),
        (dot("tab"), "a tab", true),
        (dot("tab turned"), "a tab that turns, in each set-up", true),
        (dot("plumb"), "a plumb line", document.measured.table.figures().any(|figure| matches!(figure, Figure::PlumbOffset(_)))),
        (box_of("card"), "a card on the bench", true),
    ];
    html! {
        ul.legend {
            @for (sample, words, _) in entries.iter().filter(|(_, _, shown)| *shown) {
                li { svg.drawing viewBox="0 0 48 16" aria-hidden="true" { (sample) } span { (words) } }
            }
        }
    }
}

fn plan(document: &ResultDocument, show: Show) -> Markup {
    html! {
        section #plan {
            h2 { "What to do" }
            @if document.plan.is_empty() { p { (no_plan(document)) } }
            @else {
                p { "In this order: each step counts on the ones before it." }
                ol.steps { @for step in &document.plan { (one_step(document, step, show)) } }
                (expected(document, show))
            }
        }
    }
}

fn no_plan(document: &ResultDocument) -> &'static str {
    match overall(document) {
        Some(Decision::In) => "Nothing: leave it alone.",
        _ => "There is no step to tell: see the findings for what is missing.",
    }
}

fn one_step(document: &ResultDocument, step: &PlanStep, show: Show) -> Markup {
    let drawn = drawing::step(step, document.chain_side());
    html! {
        li.step {
            div.sketch { (PreEscaped(drawn.inline())) }
            div {
                p.action { strong { (step.n) ". " } (retold(&step.action, show)) }
                @if let Some(distance) = &step.distance {
                    @let shown = Shown::of(distance, Kind::Length, show);
                    p.move { (shown.with_unit()) " ± " (shown.u) @if let Some(direction) = step.direction { ", " (direction.word()) } }
                }
                @if !step.cautions.is_empty() {
                    ul.mind { @for caution in &step.cautions { li { (retold(caution, show)) } } }
                }
            }
        }
    }
}

fn expected(document: &ResultDocument, show: Show) -> Markup {
    let changes = changes(document);
    let words = |field: &Figure, measured: &Measurement| {
        format!("{} ± {}", field.in_words(measured, show), Shown::of(measured, field.kind(), show).u)
    };
    html! {
        @if !changes.is_empty() {
            table.plain {
                caption { strong { "After the plan" } ", expect these figures; measure again to be sure" }
                thead { tr { th scope="col" { "Figure" } th scope="col" { "Now" } th scope="col" { "Then" } } }
                tbody {
                    @for Change { figure, now, then } in &changes {
                        tr {
                            th scope="row" { (crate::report::result::capital(&figure.name())) }
                            td { (words(figure, now)) }
                            td { (words(figure, then)) }
                        }
                    }
                }
            }
        }
    }
}

fn cautions() -> Markup {
    html! {
        section #mind {
            h2 { "Take care" }
            ul.mind { @for caution in CAUTIONS { li { (caution) } } }
        }
    }
}
