//! What one more photo adds to those before it.

use std::collections::BTreeSet;

use crate::job::Job;
use crate::report::numbers::named;

use super::missing::{is_usable, n_views, named_tabs, wanted};
use super::seen::Glance;

/// What a photo shows that those before it did not.
struct Novelty {
    /// That no photo shows yet.
    cards: Vec<u8>,
    /// That no photo of its set-up shows yet, and that one does.
    first: Vec<u8>,
    second: Vec<u8>,
    /// That no photo shows yet.
    lines: Vec<String>,
}

impl Novelty {
    /// `same` are the usable photos of its set-up among those before it.
    fn of(before: &[Glance], same: &[&Glance], new: &Glance) -> Self {
        let has_card = |number: u8| {
            before.iter().any(|glance| glance.cards.iter().any(|card| card.number == number))
        };
        let cards: BTreeSet<u8> = new.cards.iter().map(|card| card.number).collect();
        let tabs: BTreeSet<u8> = new.tabs.iter().map(|tab| tab.number).collect();
        let with = |views: usize| {
            tabs.iter().copied().filter(|number| n_views(same, *number) == views).collect()
        };
        let lines = new
            .lines
            .iter()
            .filter(|line| !before.iter().any(|glance| glance.lines.contains(line)));
        Self {
            cards: cards.into_iter().filter(|number| !has_card(*number)).collect(),
            first: with(0),
            second: with(1),
            lines: lines.cloned().collect(),
        }
    }
}

/// The usable photos of a photo's set-up among those before it.
fn same_setup<'a>(before: &'a [Glance], new: &Glance) -> Vec<&'a Glance> {
    before.iter().filter(|glance| is_usable(glance) && glance.setup == new.setup).collect()
}

/// What a new photo adds to those before it, in its own set-up: one phrase each.
pub fn adds(before: &[Glance], new: &Glance, job: &Job) -> Vec<String> {
    if new.error.is_some() {
        return Vec::new();
    }
    let same = same_setup(before, new);
    let Novelty { cards, first, second, lines } = Novelty::of(before, &same, new);
    let mut phrases = Vec::new();
    if !cards.is_empty() {
        phrases.push(format!("{} for the first time", named("card", &cards)));
    }
    if !first.is_empty() {
        phrases.push(format!("{} for the first time", named_tabs(&first, job)));
    }
    if !second.is_empty() {
        phrases.push(format!("the second view of {}", named_tabs(&second, job)));
    }
    phrases.extend(lines.iter().map(|line| format!("the {line} for the first time")));
    let reads_cord = |glance: &Glance| glance.cord.iter().any(|cord| cord.offset.is_some());
    if reads_cord(new) && !same.iter().any(|glance| reads_cord(glance)) {
        phrases.push("the cord for the first time".to_owned());
    }
    if phrases.is_empty() {
        phrases.push(
            if new.cards.is_empty() { "nothing" } else { "one more view of what was seen before" }
                .to_owned(),
        );
    }
    phrases
}

/// What a new photo adds, in short: "new: cards 1 to 4, tab 1; tab 2 a second time".
pub fn adds_in_short(before: &[Glance], new: &Glance, job: &Job) -> String {
    if new.error.is_some() || new.cards.is_empty() {
        return String::new();
    }
    let Novelty { cards, first, mut second, lines } =
        Novelty::of(before, &same_setup(before, new), new);
    let wanted = wanted(job);
    second.retain(|number| wanted.contains(number));
    let mut parts = Vec::new();
    let first = seen_in_short(&cards, &first, &lines);
    if !first.is_empty() {
        parts.push(format!("new: {first}"));
    }
    if !second.is_empty() {
        parts.push(format!("{} a second time", seen_in_short(&[], &second, &[])));
    }
    parts.join("; ")
}

/// "cards 1 to 4, tabs 1, 5 to 11, plumb line A".
fn seen_in_short(cards: &[u8], tabs: &[u8], lines: &[String]) -> String {
    let mut parts = Vec::new();
    for (word, numbers) in [("card", cards), ("tab", tabs)] {
        if !numbers.is_empty() {
            parts.push(named(word, numbers));
        }
    }
    parts.extend(lines.iter().cloned());
    parts.join(", ")
}
