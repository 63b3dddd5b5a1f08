//! The result's own words, as short as a phone has room for, with the rest behind a tap.

use maud::{Markup, html};

use super::state::State;
use crate::plan::summary::INTO_A_FOLDER;
use crate::report::ResultDocument;
use crate::text::units::Show;
use crate::text::{Sentence, capital};

/// The finding that says what nobody has measured of the print.
const PRINT: &str = "print-not-measured";
/// A sentence of the result without what only matters where photos are copied by hand: on the phone
/// each finds its folder.
pub fn without_folders(text: &str) -> String {
    text.replace(INTO_A_FOLDER, "")
}

/// How far the bike is from being finished: large in a few words, and what it comes from below.
pub fn headline(document: &ResultDocument) -> Markup {
    let (headline, summary) = (&document.headline, without_folders(&document.summary));
    let rest = summary
        .strip_prefix(headline.as_str())
        .map(|rest| rest.trim_start_matches([':', '.', ' ']));
    html! {
        @match rest {
            Some(rest) if !headline.is_empty() => {
                h2 { (headline) }
                @if !rest.is_empty() { p { (capital(rest)) } }
            }
            _ => h2 { (summary) },
        }
    }
}

/// Why a figure can't be called in or out, if it can't: the first words, and what would decide it
/// behind a tap.
pub fn undecided(decide: Option<&Sentence>) -> Markup {
    html! {
        @if let Some(decide) = decide.map(|decide| decide.shown(Show::Mm)) {
            p.why { "Undecided: " (first_words(&decide)) "." }
            details.why { summary { "What would decide it" } p { (decide) } }
        }
    }
}

/// Up to the first colon or full stop, the first letter small: it goes on after a colon.
pub fn first_words(text: &str) -> String {
    let end = [". ", ": "].into_iter().filter_map(|mark| text.find(mark)).min();
    let words = &text[..end.unwrap_or(text.len())];
    let mut letters = words.trim_end_matches('.').chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// What nobody has measured of the print, where that is so.
pub fn print(state: &State) -> Markup {
    let mut findings = state.last_result.iter().flat_map(|result| &result.document.findings);
    let print = findings.find(|finding| finding.id == PRINT);
    html! {
        @if let Some(print) = print {
            @let what = print.what.to_string();
            @let (first, rest) = what.split_once(". ").unwrap_or((&what, ""));
            details { summary { (first) } p { (rest) } p { (print.advice) } }
        }
    }
}
