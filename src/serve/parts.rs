//! The page's sections as they stand now; the phone puts in those that have changed.

use std::collections::BTreeMap;

use maud::{Markup, html};
use serde::Serialize;

use super::answer::Grade;
use super::ring::ring;
use super::sorting::{folder_of, position_in_words};
use super::state::{FIRST_MEASURED, State, Status, Taken};
use super::tally::Tally;
use super::{figures, steps};
use crate::glance::missing::{PER_SIDE, PHOTOS_PER_SETUP, named_tabs};
use crate::glance::stand::Stand;
use crate::grouping::Mark;
use crate::report::numbers::named;
use crate::text::capital;

/// All that a phone is told at once.
#[derive(Debug, Serialize)]
pub struct Parts {
    pub version: u64,
    /// Sections by name, each as it stands in the page.
    pub sections: BTreeMap<&'static str, String>,
    /// The sections' names from top to bottom.
    pub order: &'static [&'static str],
    /// The line above the big button.
    pub next: String,
}

/// While photos are being taken: the last one stands at the top.
const TAKING: [&str; 6] = ["shot", "walk", "figures", "steps", "evenings", "finish"];
/// Once all are taken: what to do stands at the top.
const DOING: [&str; 6] = ["steps", "figures", "evenings", "finish", "walk", "shot"];
/// When a position is complete the screen says so before anything else.
const TURNING: [&str; 6] = ["walk", "shot", "figures", "steps", "evenings", "finish"];
/// On a later evening what became of the steps stands right below the photo.
const AFTER_STEPS: [&str; 6] = ["shot", "evenings", "walk", "figures", "steps", "finish"];
/// When all are taken, it comes first.
const FOLLOWING: [&str; 6] = ["evenings", "steps", "figures", "finish", "walk", "shot"];

/// The sections for a phone whose own last photo is `mine`.
pub fn parts(state: &State, version: u64, mine: &str) -> Parts {
    let tallies: Vec<Tally> =
        (0..state.positions.len()).map(|position| state.tally(position)).collect();
    let all_taken = !tallies.is_empty() && tallies.iter().all(Tally::is_complete);
    let own = state.photo(mine).or(state.photos.last());
    let sections = [
        ("head", head(state)),
        ("shot", own.map_or_else(|| html! {}, |photo| shot(state, photo))),
        ("walk", walk(state, &tallies)),
        ("figures", html! { (measuring(state)) (figures::section(state)) }),
        ("steps", steps::section(state)),
        ("evenings", steps::evenings(state)),
        ("finish", finish(state)),
    ];
    let is_doing = all_taken
        && state.last_result.as_ref().is_some_and(|result| result.generation == state.generation);
    Parts {
        version,
        sections: sections.into_iter().map(|(name, markup)| (name, markup.into_string())).collect(),
        order: match (is_doing, state.earlier.is_empty(), all_taken) {
            (true, true, _) => &DOING,
            (true, false, _) => &FOLLOWING,
            (false, _, false) if tallies.get(state.current).is_some_and(Tally::is_complete) => {
                &TURNING
            }
            (false, true, _) => &TAKING,
            (false, false, _) => &AFTER_STEPS,
        },
        next: tallies
            .get(state.current)
            .map_or_else(String::new, |tally| next_line(state, tally, all_taken)),
    }
}

/// The job's name, as it is told on the page.
pub fn title(state: &State) -> String {
    state.job.bike.name.as_deref().map_or_else(
        || "Wheel and chain line".to_owned(),
        |name| crate::visible::one_line(name).into_owned(),
    )
}

fn head(state: &State) -> Markup {
    let n = state.photos.len();
    html! {
        h1 { (title(state)) }
        p.kind { "Evening " (state.evening.number) ", " (n) " photo" (if n == 1 { "" } else { "s" }) }
    }
}

/// The last photo with what was seen drawn on it, and the word on it.
fn shot(state: &State, photo: &Taken) -> Markup {
    let answer = &photo.answer;
    let class = match answer.grade {
        Grade::Good => "good",
        Grade::Fair => "fair",
        Grade::Poor => "poor",
    };
    let place = photo.position.map_or_else(
        || "Cards alone: it serves the lens".to_owned(),
        |position| capital(&position_in_words(&state.positions, position)),
    );
    let is_loose = folder_of(&photo.path, &state.evening.folder).is_none();
    let cards = named("card", &numbers(&photo.glance.cards));
    let tabs = numbers(&photo.glance.tabs);
    let seen = if tabs.is_empty() { cards } else { format!("{cards}, {}", named("tab", &tabs)) };
    html! {
        figure class={ "shot " (class) } {
            figcaption {
                p.word { (answer.word()) }
                @for advice in &answer.advice { p.todo { (advice) } }
                @if let Some(filed) = &photo.filed { p.filed { (filed) } }
            }
            a href={ "seen/" (photo.key) ".jpg" } {
                img src={ "seen/" (photo.key) ".jpg" } alt={ "The last photo with what was seen in it, to be opened larger: " (seen) };
            }
            p.kind { (place) ". Seen: " (seen) "." }
            @for note in &answer.notes { p.kind { (note) } }
            details {
                summary { "Not right?" }
                div.choices {
                    @if is_loose { p { "It lies in no position's folder and was sorted by what it shows." } }
                    @for (idx, other) in state.positions.iter().enumerate().filter(|(idx, _)| !is_loose && Some(*idx) != photo.position) {
                        button type="button" data-act="move" data-body={ (photo.key) " " (idx) } {
                            "It is position " (idx + 1) ", " (other.title())
                        }
                    }
                    button type="button" data-act="move" data-body={ (photo.key) " aside" } { "Leave it out" }
                }
            }
        }
    }
}

fn numbers(patterns: &[crate::glance::seen::SeenPattern]) -> Vec<u8> {
    let mut numbers: Vec<u8> = patterns.iter().map(|pattern| pattern.number).collect();
    numbers.dedup();
    numbers
}

/// Where to stand next, and what the positions have.
fn walk(state: &State, tallies: &[Tally]) -> Markup {
    let Some(tally) = tallies.get(state.current) else { return html! {} };
    let position = &state.positions[state.current];
    let here = state.photos.iter().filter(|photo| photo.position == Some(state.current));
    let mut stands: Vec<Stand> = here.filter_map(|photo| photo.stand).collect();
    // The same drawing in whatever order the photos came.
    stands.sort_by(|a, b| {
        a.bearing_deg.total_cmp(&b.bearing_deg).then(a.elevation_deg.total_cmp(&b.elevation_deg))
    });
    let open: Option<usize> =
        (0..tallies.len()).find(|idx| *idx != state.current && !tallies[*idx].is_complete());
    let words = next_words(tally);
    html! {
        @if tally.is_complete() { (complete(state, open)) }
        @else {
            h2 { "Position " (state.current + 1) ": " (position.title()) }
        }
        (ring(&stands, tally.next.filter(|_| !tally.is_complete()), &format!("Seen from above: {} photos taken. {words}", tally.photos)))
        ul.tally {
            (count("Photos", tally.photos, PHOTOS_PER_SETUP))
            (count("Left", tally.left, PER_SIDE))
            (count("Right", tally.right, PER_SIDE))
            @if !tally.unseen.is_empty() && tally.photos > 0 { li { "Not seen yet: " (named_tabs(&tally.unseen, &state.job)) } }
            @if !tally.once.is_empty() && tally.photos > 1 { li { "Once more: " (named_tabs(&tally.once, &state.job)) } }
        }
        @for (idx, other) in state.positions.iter().enumerate().filter(|(idx, _)| *idx != state.current) {
            div.other {
                p { "Position " (idx + 1) ", " (other.title()) ": " (tallies[idx].photos) " photos" (if tallies[idx].is_complete() { ", complete" } else { "" }) }
                @if Some(idx) != open || !tally.is_complete() {
                    button type="button" data-act="turned" data-body=(idx) { (switch_words(tally, &tallies[idx])) (idx + 1) }
                }
            }
        }
    }
}

/// What leads from this position to the other one.
fn switch_words(tally: &Tally, other: &Tally) -> &'static str {
    let is_full = other.photos >= PHOTOS_PER_SETUP;
    match (tally.is_complete() || is_full, tally.photos >= PHOTOS_PER_SETUP) {
        (true, _) => "Show position ",
        (false, true) => "Good enough: on to position ",
        (false, false) => "The wheel stands in position ",
    }
}

/// The line above the button: where to stand next, always in sight.
fn next_line(state: &State, tally: &Tally, all_taken: bool) -> String {
    match (all_taken, tally.is_complete()) {
        (true, _) => "All photos are there.".to_owned(),
        (false, true) => format!("Position {} is complete: turn the wheel.", state.current + 1),
        (false, false) => format!("Position {}. {}", state.current + 1, next_words(tally)),
    }
}

fn next_words(tally: &Tally) -> String {
    match (&tally.next, tally.wanting().first()) {
        (Some(next), _) => format!("Next: {}.", next.words()),
        (None, Some(_)) if tally.photos > 0 => {
            format!("Next: where you see {}.", named("tab", &tally.wanting()))
        }
        _ => "Next: another one, a pace on.".to_owned(),
    }
}

fn count(what: &str, n: usize, of: usize) -> Markup {
    html! { li class=[(n >= of).then_some("done")] { (what) ": " b { (n) } " of " (of) } }
}

/// The whole screen says that this position is done, and what to do next.
fn complete(state: &State, open: Option<usize>) -> Markup {
    html! {
        div.complete role="status" {
            @match open {
                Some(next) => {
                    h2 { "Position " (state.current + 1) " is complete" }
                    p { "Turn the wheel half round by hand" (mark_words(state, next)) ". Fingers clear of chain and sprockets. Nothing else may move." }
                    button.big type="button" data-act="turned" data-body=(next) { "The wheel is turned" }
                }
                None => {
                    h2 { "All photos are there" }
                    p { "More are welcome wherever the figures below ask for one." }
                }
            }
        }
    }
}

fn mark_words(state: &State, next: usize) -> &'static str {
    // Half a turn lies between the two; where no photo tells, the folder's name may.
    let mark = |at: usize| state.marks.get(at).copied().flatten();
    let is_named = |mark: Mark| state.positions[next].folder.contains(mark.word());
    match mark(state.current) {
        Some(Mark::Rearward) => ", the mark to the front",
        Some(Mark::Forward) => ", the mark to the rear",
        Some(Mark::Up) => ", the mark down",
        Some(Mark::Down) => ", the mark up",
        None if is_named(Mark::Forward) => ", the mark to the front",
        None if is_named(Mark::Rearward) => ", the mark to the rear",
        None => "",
    }
}

/// What is being done about figures.
fn measuring(state: &State) -> Markup {
    let usable = state.photos.len();
    let text = match &state.status {
        Status::Loading(n, of) => {
            format!("Looking at the photos that are here already: {n} of {of}.")
        }
        Status::Measuring(words) => format!("Measuring: {words} ..."),
        Status::Failed(why) => {
            format!("Nothing could be measured yet. {}", crate::visible::one_line(why))
        }
        Status::Idle if state.last_result.is_none() && usable < FIRST_MEASURED => {
            format!("First figures come after {FIRST_MEASURED} photos.")
        }
        Status::Idle if state.tried != Some(state.generation) => {
            "New photos: measured in a moment.".to_owned()
        }
        Status::Idle => return html! {},
    };
    html! { p.status { (text) } }
}

fn finish(state: &State) -> Markup {
    let is_measured =
        state.last_result.as_ref().is_some_and(|result| result.generation == state.generation);
    html! {
        @if state.report.is_some() {
            a.big href="report/index.html" { "Open the report" }
        } @else if is_measured {
            button.big type="button" data-act="report" data-then="report/index.html" { "Make the report" }
        }
        @if is_measured {
            details {
                summary { "A step is done?" }
                p { "A few photos more, and the page says what became of it: done, or what is left. The photos so far stay as they are, the new ones go to a folder of their own." }
                button type="button" data-act="evening" { "Begin evening " (state.evening.number + 1) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_sent_on_to_a_position_that_is_full() {
        let full = Tally { photos: 6, left: 3, right: 3, ..Tally::default() };
        let enough = Tally { once: vec![1], ..full.clone() };
        assert_eq!(switch_words(&enough, &enough), "Show position ");
        let few = Tally { photos: 2, left: 2, ..Tally::default() };
        assert_eq!(switch_words(&enough, &few), "Good enough: on to position ");
        assert_eq!(switch_words(&enough, &full), "Show position ");
        assert_eq!(switch_words(&few, &few), "The wheel stands in position ");
        assert_eq!(switch_words(&few, &full), "Show position ");
        assert_eq!(switch_words(&full, &few), "Show position ");
    }
}
