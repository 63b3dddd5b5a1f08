//! What photos together lack for a measurement, and what one more of them adds.
//!
//! The least that a measurement needs: three cards on the cord, the tabs of rim and sprockets, and
//! two set-ups of six photos with the wheel turned between them; two views of each tab; a plumb
//! line, or a card to each side of the cord, for what upright is.

use std::collections::{BTreeMap, BTreeSet};

use super::seen::Glance;
use crate::cards::codes::N_TABS;
use crate::figure::Side;
use crate::job::{Job, Role};
use crate::report::numbers::{named, plural, ranges};

/// Photos that a set-up needs, and set-ups.
pub const PHOTOS_PER_SETUP: usize = 6;
const SETUPS: usize = 2;
/// Cards that a datum needs.
const CARDS: usize = 3;
/// Views from which a tab's place can be told.
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

/// Riders on the cord that a datum needs.
const RIDERS: usize = 2;

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
    let told: Vec<String> =
        groups.iter().map(|(role, group)| format!("{} ({role})", ranges(group))).collect();
    told.join(", ")
}

/// The same with the word: "tab 2 (rear rim, right)", "tabs 5, 6 (gearbox sprocket)".
fn named_tabs(numbers: &[u8], job: &Job) -> String {
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
    // Photos that were named one by one belong to no folder: nobody can tell how many there will
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

/// What does not hang on a set-up.
fn lacks_of_all(usable: &[&Glance], job: &Job, is_job: bool, text: &mut Vec<String>) {
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
             riders on it, 600 mm apart or more (sheets --tabs 39-42): they show where it runs in any light."
                .to_owned(),
        );
    } else if cards.len() < CARDS && is_job {
        text.push(format!(
            "Only {} seen so far: lay {CARDS} or more along the cord.",
            named("card", &Vec::from_iter(cards.clone()))
        ));
    }
    let has_plumb =
        usable.iter().any(|glance| glance.lines.iter().any(|line| line.starts_with("plumb")));
    let off_cord = cards.iter().filter(|card| !on_cord.contains(card)).count();
    if !has_plumb && off_cord < 2 && is_job && !usable.is_empty() {
        text.push(
            "No plumb line is seen: hang one with its two flags (21, 22), or lay a card 300 mm to each side of the cord; else \
             upright is no better known than the bench is level."
                .to_owned(),
        );
    }
}

/// What one set-up's photos lack.
fn missing_in(photos: &[&Glance], setup: Option<&str>, job: &Job, text: &mut Vec<String>) {
    let count = |number: u8| photos.iter().filter(|glance| has_tab(glance, number)).count();
    let wanted = wanted(job);
    let with =
        |n: usize| wanted.iter().copied().filter(|number| count(*number) == n).collect::<Vec<u8>>();
    let whose =
        setup.map_or_else(|| "these photos".to_owned(), |setup| format!("the photos of {setup}"));
    let none = with(0);
    if !none.is_empty() {
        text.push(format!("In none of {whose}: {}.", named_tabs(&none, job)));
    }
    let mut once = with(1);
    let on_riders = riders(photos, job).into_values().flatten();
    once.extend(on_riders.filter(|number| count(*number) == 1));
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

/// What a new photo adds to those before it, in its own set-up: one phrase each.
pub fn adds(before: &[Glance], new: &Glance, job: &Job) -> Vec<String> {
    if new.error.is_some() {
        return Vec::new();
    }
    let same: Vec<&Glance> =
        before.iter().filter(|glance| is_usable(glance) && glance.setup == new.setup).collect();
    let mut phrases = Vec::new();
    let tabs: BTreeSet<u8> = new.tabs.iter().map(|tab| tab.number).collect();
    let seen = |number: u8| same.iter().filter(|glance| has_tab(glance, number)).count();
    let first: Vec<u8> = tabs.iter().copied().filter(|number| seen(*number) == 0).collect();
    let second: Vec<u8> = tabs.iter().copied().filter(|number| seen(*number) == 1).collect();
    let cards: BTreeSet<u8> = new.cards.iter().map(|card| card.number).collect();
    let new_cards: Vec<u8> = cards
        .into_iter()
        .filter(|number| {
            !before.iter().any(|glance| glance.cards.iter().any(|card| card.number == *number))
        })
        .collect();
    if !new_cards.is_empty() {
        phrases.push(format!("{} for the first time", named("card", &new_cards)));
    }
    if !first.is_empty() {
        phrases.push(format!("{} for the first time", named_tabs(&first, job)));
    }
    if !second.is_empty() {
        phrases.push(format!("the second view of {}", named_tabs(&second, job)));
    }
    for line in &new.lines {
        if !before.iter().any(|glance| glance.lines.contains(line)) {
            phrases.push(format!("the {line} for the first time"));
        }
    }
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
    let same: Vec<&Glance> =
        before.iter().filter(|glance| is_usable(glance) && glance.setup == new.setup).collect();
    let seen = |number: u8| same.iter().filter(|glance| has_tab(glance, number)).count();
    let tabs: BTreeSet<u8> = new.tabs.iter().map(|tab| tab.number).collect();
    let counts = |n: usize| {
        tabs.iter().copied().filter(|number| seen(*number) == n).collect::<BTreeSet<u8>>()
    };
    let has_card = |number: u8| {
        before.iter().any(|glance| glance.cards.iter().any(|card| card.number == number))
    };
    let cards: BTreeSet<u8> =
        new.cards.iter().map(|card| card.number).filter(|number| !has_card(*number)).collect();
    let lines: Vec<String> = new
        .lines
        .iter()
        .filter(|line| !before.iter().any(|glance| glance.lines.contains(line)))
        .cloned()
        .collect();
    let wanted = wanted(job);
    let again: BTreeSet<u8> =
        counts(1).into_iter().filter(|number| wanted.contains(number)).collect();
    let first = seen_in_short(&cards, &counts(0), &lines);
    let mut parts = Vec::new();
    if !first.is_empty() {
        parts.push(format!("new: {first}"));
    }
    if !again.is_empty() {
        parts.push(format!("{} a second time", seen_in_short(&BTreeSet::new(), &again, &[])));
    }
    parts.join("; ")
}

/// "cards 1 to 4, tabs 1, 5 to 11, plumb line A".
fn seen_in_short(cards: &BTreeSet<u8>, tabs: &BTreeSet<u8>, lines: &[String]) -> String {
    let mut parts = Vec::new();
    for (word, numbers) in [("card", cards), ("tab", tabs)] {
        if !numbers.is_empty() {
            parts.push(named(word, &numbers.iter().copied().collect::<Vec<u8>>()));
        }
    }
    parts.extend(lines.iter().cloned());
    parts.join(", ")
}

/// How far the photos are, set-up by set-up.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub setups: Vec<SetupTally>,
    /// What to do next, in a sentence.
    pub next: String,
    /// What all photos together lack, one sentence each.
    pub lacks: Vec<String>,
}

/// One set-up.
#[derive(Clone, Debug)]
pub struct SetupTally {
    pub name: String,
    pub complete: bool,
    /// "6 of 6: complete", "4 of 6: two more from the right; tab 2 in one more".
    pub what: String,
}

/// Photos wanted from each side.
const PER_SIDE: usize = 3;

/// Counts what there is.
pub fn tally(glances: &[Glance], job: &Job) -> Tally {
    let usable: Vec<&Glance> = glances.iter().filter(|glance| is_usable(glance)).collect();
    let mut names: Vec<&str> = Vec::new();
    for name in usable.iter().filter_map(|glance| glance.setup.as_deref()) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names.sort_by_key(|name| {
        name.split('-').next().and_then(|number| number.parse::<u32>().ok()).unwrap_or(u32::MAX)
    });
    let mut setups: Vec<SetupTally> = names
        .iter()
        .map(|name| {
            let photos: Vec<&Glance> = usable
                .iter()
                .filter(|glance| glance.setup.as_deref() == Some(*name))
                .copied()
                .collect();
            setup_tally(name, &photos, job)
        })
        .collect();
    let of_cards =
        glances.iter().filter(|glance| glance.for_the_lens && glance.error.is_none()).count();
    let complete = setups.iter().filter(|setup| setup.complete).count();
    let mut lacks = shared_lacks(&usable, job);
    let next = match (complete, setups.len()) {
        (_, 0) => {
            lacks.clear();
            "No photo of the bench yet: three from the left and three from the right, with two cards and tabs in each.".to_owned()
        }
        (n, all) if n == all && all < SETUPS => {
            "Next: turn the wheel half round, and take six photos more: three from the left, three from the right.".to_owned()
        }
        (n, all) if n == all && lacks.is_empty() => "All is there that a measurement needs.".to_owned(),
        (n, all) if n == all => String::new(),
        (_, all) if all < SETUPS => "Then turn the wheel half round, and take as many photos again.".to_owned(),
        _ => String::new(),
    };
    if of_cards > 0 {
        setups.push(SetupTally {
            name: "cards only".to_owned(),
            complete: true,
            what: format!("{of_cards}, for the lens"),
        });
    }
    Tally { setups, next, lacks }
}

fn setup_tally(name: &str, photos: &[&Glance], job: &Job) -> SetupTally {
    let count = |number: u8| photos.iter().filter(|glance| has_tab(glance, number)).count();
    let wanted = wanted(job);
    let with =
        |n: usize| wanted.iter().copied().filter(|number| count(*number) == n).collect::<Vec<u8>>();
    let from = |side: Side| photos.iter().filter(|glance| glance.from == Some(side)).count();
    let mut lacks = Vec::new();
    let short = PHOTOS_PER_SETUP.saturating_sub(photos.len());
    let sides: Vec<String> = [Side::Left, Side::Right]
        .into_iter()
        .filter_map(|side| {
            let more = PER_SIDE.saturating_sub(from(side));
            (more > 0 && photos.iter().all(|glance| glance.from.is_some()))
                .then(|| format!("{more} more from the {}", side.word()))
        })
        .collect();
    // With photos enough it is no matter if one side has one fewer.
    if short > 0 || sides.iter().any(|side| side.starts_with(&PER_SIDE.to_string())) {
        lacks.push(if sides.is_empty() {
            format!("{} more", short.max(1))
        } else {
            sides.join(" and ")
        });
    }
    let (none, once) = (with(0), with(1));
    if !none.is_empty() {
        lacks.push(format!("none shows {}", named_tabs(&none, job)));
    }
    if !once.is_empty() {
        lacks.push(format!("one more with {}", named_tabs(&once, job)));
    }
    let what = if lacks.is_empty() { "complete".to_owned() } else { lacks.join("; ") };
    SetupTally {
        name: crate::grouping::plain_name(name),
        complete: lacks.is_empty(),
        what: match photos.len() {
            n if n > PHOTOS_PER_SETUP => format!("{n} photos: {what}"),
            n => format!("{n} of {PHOTOS_PER_SETUP}: {what}"),
        },
    }
}

/// What does not hang on a set-up: the cord, the cards, and what tells upright.
fn shared_lacks(usable: &[&Glance], job: &Job) -> Vec<String> {
    let mut text = Vec::new();
    lacks_of_all(usable, job, true, &mut text);
    text
}
