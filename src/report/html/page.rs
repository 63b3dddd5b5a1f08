//! The page from top to bottom: the verdict and the work on the first screen and the first sheet,
//! the rest behind headings.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::drawing::DRAWING_CSS;
use super::photos::PhotoPicture;
use super::{above, behind, bike_of, details, figures, photos, plan, side};
use crate::figure::Figure;
use crate::plan::outcome::{Decision, State};
use crate::report::absent::reported;
use crate::report::cautions::{CAUTIONS, IN_ONE_LINE, NO_CERTIFICATE};
use crate::report::result::ResultDocument;
use crate::text::units::Show;

pub const PAGE_CSS: &str = concat!(include_str!("palette.css"), include_str!("page.css"));

/// What the page may load: pictures and styles that are in it. Whatever a name in it may hold, no
/// script runs, and nothing comes from another place or goes there.
const POLICY: &str = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; form-action 'none'; base-uri 'none'";

/// A whole page as one file: nothing in it is fetched from elsewhere, and nothing needs a script.
pub fn sheet(title: &str, body: Markup) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                title { (title) }
                style { (PreEscaped(PAGE_CSS)) (PreEscaped(DRAWING_CSS)) }
            }
            body { (body) }
        }
    };
    markup.into_string()
}

/// The page of a result.
pub fn page(document: &ResultDocument, pictures: &[PhotoPicture], show: Show) -> String {
    let title = document.job.bike.as_deref().unwrap_or("Wheel and chain line");
    let body = html! {
        (header(document, title, ""))
        main {
            div.first { (plan::section(document, show)) (view_section(document, show)) }
            (foot(document, title))
            (details::in_the_way(document, show))
            (plan::on_paper(document, show))
            (figures::judged(document, show))
            (closed("figures", "Every figure", figures::section(document, show)))
            (closed("uncertainty", "How sure, and why", details::budget(document, show)))
            @if !pictures.is_empty() || !document.layout.cameras.is_empty() {
                (closed("photos", "Photos", html! { (photos::section(document, pictures)) (side_view(document)) }))
            }
            (closed("findings", &findings_title(document), details::findings(document, show)))
            (closed("mind", "Take care", cautions()))
            (closed("lens", "Lens and photos in numbers", details::photo_table(document)))
            (closed("settings", "Settings and checksums", details::settings(document)))
        }
        (footer(document))
    };
    sheet(&format!("{title}, measured"), body)
}

/// The page of a plan with other choices: nothing in it but the work, the drawing and what it is
/// judged by.
pub fn plan_page(document: &ResultDocument, show: Show) -> String {
    let title = document.job.bike.as_deref().unwrap_or("Wheel and chain line");
    let body = html! {
        (header(document, title, "What if: planned with other choices than the job's. The figures are as they were measured."))
        main {
            div.first { (plan::section(document, show)) (view_section(document, show)) }
            (plan::on_paper(document, show))
            (figures::judged(document, show))
            (closed("mind", "Take care", cautions()))
        }
        (footer(document))
    };
    sheet(&format!("{title}, what if"), body)
}

/// A part that opens on a tap.
pub fn closed(id: &str, title: &str, body: Markup) -> Markup {
    html! { section id=(id) { details { summary { h2 { (title) } } div.inside { (body) } } } }
}

fn findings_title(document: &ResultDocument) -> String {
    match reported(document).count() {
        0 => "Findings: none".to_owned(),
        1 => "Findings: one".to_owned(),
        n => format!("Findings: {n}"),
    }
}

/// How far the bike is from being finished; of a result that does not say, by its verdicts.
fn state(document: &ResultDocument) -> State {
    let any =
        |decision: Decision| document.verdicts.iter().any(|verdict| verdict.verdict == decision);
    document.state.unwrap_or(match () {
        () if any(Decision::Out) => State::ToDo,
        () if any(Decision::Undecided) => State::Undecided,
        () if any(Decision::In) => State::Done,
        () => State::Refused,
    })
}

fn header(document: &ResultDocument, title: &str, about: &str) -> Markup {
    let (class, sign) = match state(document) {
        State::Done => ("in", "\u{2713}"),
        State::ToDo => ("todo", ""),
        State::NotFinished | State::Undecided => ("open", "\u{25c7}"),
        State::Refused => ("out", "\u{25b2}"),
    };
    let headline =
        if document.headline.is_empty() { &document.summary } else { &document.headline };
    // The steps themselves follow: only where there are none the sentence says more than the
    // headline.
    let more = document
        .summary
        .strip_prefix(headline.as_str())
        .filter(|_| class != "todo")
        .unwrap_or_default();
    html! {
        header.(class) {
            p.kind { strong { (title) } " \u{b7} " (taken(document)) }
            h1 { @if !sign.is_empty() { span.sign aria-hidden="true" { (sign) } " " } (headline) }
            @let more = more.trim_start_matches([':', '.', ' ']);
            @if !more.is_empty() { p.lead { (crate::text::capital(more)) } }
            @if !about.is_empty() { p.lead { (about) } }
            @if !document.plan.is_empty() { p.care { (IN_ONE_LINE) } }
        }
    }
}

/// "16 May 2026, 20 of 21 photos".
fn taken(document: &ResultDocument) -> String {
    let used = document.photos.iter().filter(|photo| photo.used).count();
    let photos = format!("{used} of {} photos", document.photos.len());
    match document.date_of_photos() {
        Some(date) => format!("{date}, {photos}"),
        None => photos,
    }
}

fn view_section(document: &ResultDocument, show: Show) -> Markup {
    let Some(bike) = bike_of(document) else { return html! {} };
    html! {
        section #views {
            h2.unseen { "How it is now" }
            div.views {
                figure.above { (PreEscaped(above(&bike, show).inline())) figcaption { "From above, front at the top" } }
                figure.behind { (PreEscaped(behind(&bike, show).inline())) figcaption { "From behind" } }
                div.said {
                    p.caption {
                        "To scale; what is out of true is drawn " strong { (bike.factor) " times" }
                        " as large as it is. Pale: where the wheel belongs."
                    }
                    details.what { summary { "What the lines are" } (legend(document)) }
                }
            }
        }
    }
}

fn side_view(document: &ResultDocument) -> Markup {
    let Some(bike) = bike_of(document) else { return html! {} };
    html! {
        figure.wide {
            (PreEscaped(side(&bike).inline()))
            figcaption {
                "From the bike's left, front at the left, true to scale, with the places the photos were taken from: "
                "filled triangles on the left side, hollow ones on the right"
            }
        }
    }
}

/// What the lines and dots of the drawings stand for.
fn legend(document: &ResultDocument) -> Markup {
    let line = |class: &str| html! { line class=(class) x1="0" y1="8" x2="48" y2="8" {} };
    let dot = |class: &str| html! { circle class=(class) cx="24" cy="8" r="5" {} };
    let entries = [
        (line("cord"), "the datum cord, from which everything is measured", true),
        (line("frame"), "the frame's middle", document.figure(&Figure::FrameOffset).is_some()),
        (line("midline"), "the rear wheel's middle", document.layout.axle.is_some()),
        (line("sprocket"), "a sprocket's outside face", document.layout.rear_sprocket.is_some()),
        (line("reach"), "a plane or line carried on", true),
        (dot("tab"), "a tab", true),
        (dot("tab turned"), "a tab that turns, in each set-up", true),
        (
            dot("plumb"),
            "a plumb line",
            document
                .measured
                .table
                .figures()
                .any(|figure| matches!(figure, Figure::PlumbOffset(_))),
        ),
    ];
    html! {
        ul.legend {
            @for (sample, words, _) in entries.iter().filter(|(_, _, shown)| *shown) {
                li { svg.drawing viewBox="0 0 48 16" aria-hidden="true" { (sample) } span { (words) } }
            }
        }
    }
}

fn cautions() -> Markup {
    html! { ul.mind { @for caution in CAUTIONS { li { (caution) } } } }
}

/// What is below the first sheet on paper.
fn foot(document: &ResultDocument, title: &str) -> Markup {
    html! { p.foot { (title) ", " (taken(document)) ". " (NO_CERTIFICATE) " Seal: " (document.job.id) } }
}

fn footer(document: &ResultDocument) -> Markup {
    html! {
        footer {
            p { (NO_CERTIFICATE) }
            p.seal { "Seal of photos and settings: " code.sum { (document.job.id) } }
        }
    }
}
