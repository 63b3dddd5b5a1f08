//! The page's sections as they stand now; the phone puts in those that have changed.

use std::collections::BTreeMap;

use maud::{Markup, html};
use serde::Serialize;

use super::answer::Grade;
use super::doing::{are_all_ticked, finish, what_to_do};
use super::ring::ring;
use super::state::{FIRST_MEASURED, State, Status, Taken};
use super::tally::Tally;
use super::{figures, past, photos, said, steps};
use crate::glance::missing::{PER_SIDE, PHOTOS_PER_SETUP, named_tabs};
use crate::glance::stand::Stand;
use crate::grouping::Mark;
use crate::report::numbers::named;

/// All that the page shows at once.
#[derive(Debug, Serialize)]
pub struct Parts {
    pub version: u64,
    /// Sections by name, each as the page has it.
    pub sections: BTreeMap<&'static str, String>,
    /// The sections' names from top to bottom.
    pub order: &'static [&'static str],
    /// The line above the big button.
    pub next: String,
}

/// While photos are being taken: the last one is at the top.
const TAKING: [&str; 7] = ["shot", "walk", "photos", "figures", "steps", "evenings", "finish"];
/// Once all are taken: what to do is at the top.
const DOING: [&str; 7] = ["steps", "figures", "evenings", "finish", "walk", "shot", "photos"];
/// When a position is complete the screen says so before anything else.
const TURNING: [&str; 7] = ["walk", "shot", "photos", "figures", "steps", "evenings", "finish"];
/// On a later evening what became of the steps comes right below the photo.
const AFTER_STEPS: [&str; 7] = ["shot", "evenings", "walk", "photos", "figures", "steps", "finish"];
/// When all are taken, it comes first.
const FOLLOWING: [&str; 7] = ["evenings", "steps", "figures", "finish", "walk", "shot", "photos"];
/// What a phone sends for its own last photo when that was refused: no older one's answer is shown.
const REFUSED: &str = "none";

/// The sections for a phone whose own last photo is `mine`.
pub fn parts(state: &State, version: u64, mine: &str) -> Parts {
    if let Status::Loading(n, of) = state.status {
        return reading(state, version, n, of);
    }
    let tallies: Vec<Tally> =
        (0..state.positions.len()).map(|position| state.tally(position)).collect();
    let all_taken = !tallies.is_empty() && tallies.iter().all(Tally::is_complete);
    let last = state.photos.last().filter(|_| mine != REFUSED);
    let own = state.photo(mine).or(last);
    let sections = [
        ("head", head(state, state.photos.len())),
        ("shot", own.map_or_else(|| html! {}, |photo| shot(state, photo))),
        ("walk", walk(state, &tallies)),
        ("photos", photos::list(state)),
        ("figures", html! { (measuring(state)) (figures::section(state)) (said::print(state)) }),
        ("steps", what_to_do(state, all_taken)),
        ("evenings", steps::evenings(state)),
        ("finish", html! { (finish(state, all_taken)) (past::section(state)) }),
    ];
    let is_doing = all_taken && state.is_measured();
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
        next: match state.photo(mine) {
            // The answer above asks for it: nobody is sent elsewhere at the same time.
            Some(photo)
                if photo.answer.grade.wants_another() && photo.position == Some(state.current) =>
            {
                "Once more from here.".to_owned()
            }
            _ => tallies
                .get(state.current)
                .map_or_else(String::new, |tally| next_line(state, tally, all_taken)),
        },
    }
}

/// The job's name, as the page gives it.
pub fn title(state: &State) -> String {
    state.job.bike.name.as_deref().map_or_else(
        || folder_name(state).unwrap_or_else(|| "Wheel and chain line".to_owned()),
        |name| crate::visible::one_line(name).into_owned(),
    )
}

/// The job folder's own name: what people call the bike.
fn folder_name(state: &State) -> Option<String> {
    let evening = &state.evening;
    let home = if evening.number > 1 { evening.folder.parent()? } else { &evening.folder };
    let name = home.file_name()?.to_string_lossy().into_owned();
    Some(crate::visible::one_line(&name).into_owned())
}

/// While the photos that lie in the folder are being read nothing else is said: what is counted so
/// far would not be true a moment later.
fn reading(state: &State, version: u64, n: usize, of: usize) -> Parts {
    let words = match of {
        0 => "Reading the folder: nothing to do.".to_owned(),
        1 => "Reading the photo that is here: nothing to do.".to_owned(),
        _ => format!("Reading the {of} photos that are here: {n} of {of}, nothing to do."),
    };
    let mut sections: BTreeMap<&'static str, String> =
        TAKING.iter().map(|name| (*name, String::new())).collect();
    sections.insert("head", head(state, of.max(state.photos.len())).into_string());
    sections.insert("walk", html! { p.status { (words) } }.into_string());
    Parts { version, sections, order: &TAKING, next: words }
}

fn head(state: &State, n: usize) -> Markup {
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
        Grade::Fair => "enough",
        Grade::Another => "fair",
        Grade::Poor => "poor",
    };
    let (place, seen) = (photos::place(state, photo), photos::seen(photo));
    html! {
        figure class={ "shot " (class) } {
            figcaption {
                @if photo.lay_here { p.filed { "The last photo, which lay here already:" } }
                p.word { (answer.word()) }
                @for advice in &answer.advice { p.todo { (advice) } }
                @if let Some(filed) = &photo.filed { p.filed { (filed) } }
            }
            a href={ "seen/" (photo.key) ".jpg" } {
                img src={ "seen/" (photo.key) ".jpg" } alt={ "The last photo with what was seen in it, to be opened larger: " (seen) };
            }
            p.kind { (place) ". Seen: " (seen) "." }
            @for note in &answer.notes { p.kind { (note) } }
            details { summary { "Not right?" } (photos::choices(state, photo)) }
        }
    }
}

/// Where to stand next, and what the positions have.
fn walk(state: &State, tallies: &[Tally]) -> Markup {
    let Some(tally) = tallies.get(state.current) else { return html! {} };
    let position = &state.positions[state.current];
    let here = || state.photos.iter().filter(|photo| photo.position == Some(state.current));
    let smeared = here().filter(|photo| !photo.counts()).count();
    let mut stands: Vec<Stand> =
        here().filter(|photo| photo.counts()).filter_map(|photo| photo.stand).collect();
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
            (count("Photos", tally.photos, PHOTOS_PER_SETUP, tally))
            (count("Left", tally.left, PER_SIDE, tally))
            (count("Right", tally.right, PER_SIDE, tally))
            @if smeared > 0 { li { "Smeared, not counted: " (smeared) } }
            @if !tally.unseen.is_empty() && tally.photos > 0 { li { "Not seen yet: " (named_tabs(&tally.unseen, &state.job)) } }
            @if !tally.once.is_empty() && tally.photos > 1 { li { "Once more: " (named_tabs(&tally.once, &state.job)) } }
        }
        @for (idx, other) in state.positions.iter().enumerate().filter(|(idx, _)| *idx != state.current) {
            div.other {
                p { "Position " (idx + 1) ", " (other.title()) ": " (tallies[idx].photos) " photos" (if tallies[idx].is_complete() { ", complete" } else { "" }) }
                @if Some(idx) != open || !tally.is_complete() {
                    button type="button" data-act="turned" data-body=(idx) data-ask=[ask(tally, state.current, idx)] { (switch_words(tally, &tallies[idx])) (idx + 1) }
                }
            }
        }
    }
}

/// What leads from this position to the other one.
pub fn switch_words(tally: &Tally, other: &Tally) -> &'static str {
    let is_full = other.photos >= PHOTOS_PER_SETUP;
    match (tally.is_complete() || is_full, tally.is_good_enough()) {
        (true, _) => "Show position ",
        (false, true) => "Good enough: on to position ",
        (false, false) => "The wheel stands in position ",
    }
}

/// What is asked before a position is left that lacks something.
pub fn ask(tally: &Tally, current: usize, other: usize) -> Option<String> {
    if tally.photos == 0 || tally.is_good_enough() {
        return None;
    }
    let lacks = match (tally.lacks_side(), tally.unseen.is_empty()) {
        (Some(side), _) => format!("has no photo from the {}", side.word()),
        (None, false) => format!("does not show {}", named("tab", &tally.unseen)),
        (None, true) => format!("has {} of {PHOTOS_PER_SETUP} photos", tally.photos),
    };
    Some(format!(
        "Position {} {lacks}. Does the wheel stand in position {}? Press again.",
        current + 1,
        other + 1
    ))
}

/// The line above the button: where to stand next, always in sight.
fn next_line(state: &State, tally: &Tally, all_taken: bool) -> String {
    match (all_taken, tally.is_complete()) {
        (true, _) if are_all_ticked(state) => {
            format!(
                "All steps are ticked: photograph again as evening {}.",
                state.evening.number + 1
            )
        }
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

/// "Photos: 4 of 6". More than are needed, and fewer where the position is complete all the same,
/// are said so.
pub fn count(what: &str, n: usize, of: usize, tally: &Tally) -> Markup {
    let enough = n < of && tally.is_complete();
    html! {
        li class=[(n >= of || enough).then_some("done")] {
            (what) ": " b { (n) }
            @if n > of { " (" (of) " needed)" } @else if enough { ", enough" } @else { " of " (of) }
        }
    }
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
                    @if state.is_measured() { p { "They are measured: figures and steps are on this page." } }
                    @else if !state.is_tried() { p { "They are being measured: about half a minute." } }
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
        Status::Measuring(words) => format!("Measuring: {words} ..."),
        Status::Failed(why) => {
            format!("Nothing could be measured yet. {}", crate::visible::one_line(why))
        }
        Status::Idle if state.last_result.is_none() && usable < FIRST_MEASURED => {
            format!("First figures come after {FIRST_MEASURED} photos.")
        }
        Status::Idle if !state.is_tried() => "New photos: measured in a moment.".to_owned(),
        Status::Idle | Status::Loading(..) => return html! {},
    };
    html! { p.status { (text) } }
}
