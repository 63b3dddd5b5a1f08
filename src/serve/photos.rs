//! The photos of the evening with the word on each, and what can be done about one that is not
//! right.

use maud::{Markup, html};

use super::sorting::{folder_of, position_in_words};
use super::state::{State, Taken};
use crate::glance::seen::SeenPattern;
use crate::report::numbers::named;
use crate::visible::one_line;

/// All photos, the newest first, and the one that was left out last.
pub fn list(state: &State) -> Markup {
    let n = state.photos.len();
    let again = state.photos.iter().filter(|photo| photo.answer.grade.wants_another()).count();
    html! {
        @if n > 0 {
            details data-key="photos" {
                summary {
                    @if n == 1 { "The one photo so far" } @else { "All " (n) " photos" }
                    @if again > 0 { ", " (again) " to take again" }
                }
                ul.photos {
                    @for photo in state.photos.iter().rev() { li { (row(state, photo)) } }
                }
            }
        }
        @if let Some((photo, _)) = &state.left_out {
            p { "Left out: " (file_name(photo)) "." }
            button type="button" data-act="back" { "Put it back" }
        }
    }
}

fn row(state: &State, photo: &Taken) -> Markup {
    let place = photo
        .position
        .map_or_else(|| "cards alone".to_owned(), |position| format!("position {}", position + 1));
    html! {
        details data-key=(photo.key) {
            summary { (file_name(photo)) ", " (place) ": " b { (photo.answer.word()) } }
            @for advice in &photo.answer.advice { p { (advice) } }
            a href={ "seen/" (photo.key) ".jpg" } {
                img loading="lazy" src={ "seen/" (photo.key) ".jpg" } alt={ "The photo with what was seen in it: " (seen(photo)) };
            }
            (choices(state, photo))
        }
    }
}

fn file_name(photo: &Taken) -> String {
    one_line(&photo.path.file_name().unwrap_or_default().to_string_lossy()).into_owned()
}

/// Another position for a photo, or none.
pub fn choices(state: &State, photo: &Taken) -> Markup {
    let is_loose = folder_of(&photo.path, &state.evening.folder).is_none();
    let others = state.positions.iter().enumerate();
    html! {
        div.choices {
            @if is_loose { p { "It is in no position's folder and was sorted by what it shows." } }
            @for (idx, other) in others.filter(|(idx, _)| !is_loose && Some(*idx) != photo.position) {
                button type="button" data-act="move" data-body={ (photo.key) " " (idx) } {
                    "It is position " (idx + 1) ", " (other.title())
                }
            }
            button type="button" data-act="move" data-body={ (photo.key) " aside" } data-ask="Leave it out? Press again." { "Leave it out" }
        }
    }
}

/// "cards 1 to 3, tabs 1, 5".
pub fn seen(photo: &Taken) -> String {
    let cards = named("card", &numbers(&photo.glance.cards));
    let tabs = numbers(&photo.glance.tabs);
    if tabs.is_empty() { cards } else { format!("{cards}, {}", named("tab", &tabs)) }
}

/// "Position 1, mark forward", or what it serves for.
pub fn place(state: &State, photo: &Taken) -> String {
    photo.position.map_or_else(
        || "Cards alone: used for the lens".to_owned(),
        |position| crate::text::capital(&position_in_words(&state.positions, position)),
    )
}

fn numbers(patterns: &[SeenPattern]) -> Vec<u8> {
    let mut numbers: Vec<u8> = patterns.iter().map(|pattern| pattern.number).collect();
    numbers.dedup();
    numbers
}
