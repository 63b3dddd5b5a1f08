//! What photos together lack for a measurement.
//!
//! The least that a measurement needs: three cards on the cord, the tabs of rim and sprockets, and
//! two set-ups of six photos with the wheel turned between them; two views of each tab; a plumb
//! line with a flag, or a card to each side of the cord, for what upright is.

use std::collections::{BTreeMap, BTreeSet};

use crate::bench::upright::{LEAST_IMAGES, is_line_confirmed};
use crate::cards::codes::N_TABS;
use crate::job::{Job, Letter, Role};
use crate::report::numbers::{named, plural, ranges};

use super::seen::Glance;

/// Photos that a set-up needs, and set-ups (our choice: three from each side).
pub const PHOTOS_PER_SETUP: usize = 6;
pub const SETUPS: usize = 2;
/// Photos wanted from each side.
pub const PER_SIDE: usize = PHOTOS_PER_SETUP / 2;
/// Cards that a datum needs (our choice).
pub(super) const CARDS: usize = 3;
/// Views that a tab's place needs (two rays make a place).
pub const VIEWS: usize = 2;

/// The tabs that wheel and chain need, as the job has them.
pub fn wanted(job: &Job) -> Vec<u8> {
    let needed = |n: &u8| {
        matches!(
            job.tab(*n).role,
            Role::RearRim { .. } | Role::GearboxSprocket | Role::RearSprocket
        )
    };
    (1..=N_TABS as u8).filter(needed).collect()
}

/// Riders on the cord that a datum needs (two make a line).
pub(super) const RIDERS: usize = 2;

/// The riders on the cord that some photos show, and the tabs by which each shows.
pub fn riders(glances: &[&Glance], job: &Job) -> BTreeMap<u8, BTreeSet<u8>> {
    let mut riders: BTreeMap<u8, BTreeSet<u8>> = BTreeMap::new();
    for tab in glances.iter().flat_map(|glance| &glance.tabs) {
        if let Role::CordRider { rider, .. } = job.tab(tab.number).role {
            riders.entry(rider).or_default().insert(tab.number);
        }
    }
    riders
}

pub fn has_tab(glance: &Glance, number: u8) -> bool {
    glance.tabs.iter().any(|tab| tab.number == number)
}

/// How many of these photos show a tab.
pub fn n_views(photos: &[&Glance], number: u8) -> usize {
    photos.iter().filter(|glance| has_tab(glance, number)).count()
}

/// The tabs that wheel and chain need and that so many of these photos show.
pub(super) fn wanted_with(photos: &[&Glance], job: &Job, views: usize) -> Vec<u8> {
    wanted(job).into_iter().filter(|number| n_views(photos, *number) == views).collect()
}

pub fn is_usable(glance: &Glance) -> bool {
    glance.error.is_none() && !glance.cards.is_empty() && !glance.for_the_lens
}

/// Tabs with what they stand for: "2 (rear rim, right), 5, 6 (gearbox sprocket)".
pub fn tabs_in_words(numbers: &[u8], job: &Job) -> String {
    let mut groups: Vec<(String, Vec<u8>)> = Vec::new();
    for &number in numbers {
        let role = job.tab(number).words();
        match groups.last_mut() {
            Some((last, group)) if *last == role => group.push(number),
            _ => groups.push((role, vec![number])),
        }
    }
    let words: Vec<String> =
        groups.iter().map(|(role, group)| format!("{} ({role})", ranges(group))).collect();
    words.join(", ")
}

/// The same with the word: "tab 2 (rear rim, right)", "tabs 5, 6 (gearbox sprocket)".
pub fn named_tabs(numbers: &[u8], job: &Job) -> String {
    format!("{} {}", plural("tab", numbers), tabs_in_words(numbers, job))
}

/// What is missing, one sentence each; empty when all that a measurement needs is there.
pub fn missing(glances: &[Glance], job: &Job) -> Vec<String> {
    let mut text = Vec::new();
    let usable: Vec<&Glance> = glances.iter().filter(|glance| is_usable(glance)).collect();
    let mut setups: Vec<Option<&str>> = Vec::new();
    for glance in &usable {
        if !setups.contains(&glance.setup.as_deref()) {
            setups.push(glance.setup.as_deref());
        }
    }
    // Photos that were named one by one belong to no folder: it can't be known how many there will
    // be.
    let is_job = glances.iter().any(|glance| glance.setup.is_some());
    for setup in &setups {
        let photos: Vec<&Glance> =
            usable.iter().filter(|glance| glance.setup.as_deref() == *setup).copied().collect();
        missing_in(&photos, *setup, job, &mut text);
    }
    lacks_of_all(&usable, job, is_job, &mut text);
    if is_job && setups.len() < SETUPS {
        text.push(format!(
            "One more set-up ({} of {SETUPS} so far): turn the wheel half round, and take as many photos again.",
            setups.len()
        ));
    }
    text
}

/// What does not depend on a set-up.
pub(super) fn lacks_of_all(usable: &[&Glance], job: &Job, is_job: bool, text: &mut Vec<String>) {
    let cards: BTreeSet<u8> =
        usable.iter().flat_map(|glance| glance.cards.iter().map(|card| card.number)).collect();
    let on_cord: BTreeSet<u8> = usable
        .iter()
        .flat_map(|glance| glance.cord.iter().filter(|c| c.offset.is_some()).map(|c| c.card))
        .collect();
    if usable.is_empty() {
        text.push("No photo shows a card yet.".to_owned());
    } else if on_cord.is_empty() && riders(usable, job).len() < RIDERS {
        text.push(
            "The cord is read in no card's lane: see that it runs through the lanes, clearly brighter or darker than the paper; or put two \
             riders on it, 600 mm apart or more (sightcord sheets print --cards none --tabs 39-42): they show where it runs in any light."
                .to_owned(),
        );
    } else if cards.len() < CARDS && is_job {
        text.push(format!(
            "Only {} seen so far: lay {CARDS} or more along the cord.",
            named("card", &Vec::from_iter(cards.clone()))
        ));
    }
    let off_cord = cards.iter().filter(|card| !on_cord.contains(card)).count();
    if off_cord < 2 && is_job && !usable.is_empty() {
        text.extend(lacks_a_plumb_line(usable, job));
    }
}

/// What is missing of a plumb line, by the rule that the measurement uses: one flag is enough
/// where three photos show it with the line at it, or two flags that two photos each show.
fn lacks_a_plumb_line(usable: &[&Glance], job: &Job) -> Option<String> {
    let mut flags: BTreeMap<Letter, BTreeMap<u8, BTreeSet<usize>>> = BTreeMap::new();
    for (photo, glance) in usable.iter().enumerate() {
        for tab in &glance.tabs {
            if let Role::PlumbFlag { line, .. } = job.tab(tab.number).role {
                flags.entry(line).or_default().entry(tab.number).or_default().insert(photo);
            }
        }
    }
    let is_seen = |flags: &BTreeMap<u8, BTreeSet<usize>>| {
        let photos: BTreeSet<&usize> = flags.values().flatten().collect();
        let of_each: Vec<usize> = flags.values().map(BTreeSet::len).collect();
        is_line_confirmed(photos.len(), &of_each)
    };
    if flags.values().any(is_seen) {
        return None;
    }
    let Some((line, of_line)) = flags.first_key_value() else {
        return Some(
            "No plumb line is seen: hang one with a flag on it (21 or 22), or lay a card 300 mm to each side of the cord; else upright is \
             no better known than the bench is level."
                .to_owned(),
        );
    };
    let photos: BTreeSet<&usize> = of_line.values().flatten().collect();
    Some(format!(
        "Plumb line {line} shows in {} of {LEAST_IMAGES} photos that it takes: have a flag of it and a stretch of the line sharp in {} more.",
        photos.len(),
        LEAST_IMAGES.saturating_sub(photos.len()),
    ))
}

/// What one set-up's photos lack.
fn missing_in(photos: &[&Glance], setup: Option<&str>, job: &Job, text: &mut Vec<String>) {
    let whose =
        setup.map_or_else(|| "these photos".to_owned(), |setup| format!("the photos of {setup}"));
    let none = wanted_with(photos, job, 0);
    if let ([_], None, false) = (photos, setup, none.is_empty()) {
        text.push(format!("Not in this photo: {}.", named_tabs(&none, job)));
    } else if !none.is_empty() {
        text.push(format!("In none of {whose}: {}.", named_tabs(&none, job)));
    }
    let mut once = wanted_with(photos, job, 1);
    let on_riders = riders(photos, job).into_values().flatten();
    once.extend(on_riders.filter(|number| n_views(photos, *number) == 1));
    if !once.is_empty() && setup.is_some() {
        text.push(format!(
            "In only one of {whose}: {}. It takes {VIEWS} or more, a pace apart.",
            named_tabs(&once, job)
        ));
    }
    if let Some(setup) = setup
        && photos.len() < PHOTOS_PER_SETUP
    {
        text.push(format!(
            "More photos in {setup} ({} of {PHOTOS_PER_SETUP} so far): three a side, 25 degrees or more apart, one of them low.",
            photos.len()
        ));
    }
}
