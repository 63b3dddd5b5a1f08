//! A photo's picture with what was found in it drawn on it.

use std::path::Path;

use crate::cards::Pattern;
use crate::glance::cord_on_card::CordReading;
use crate::job::Job;
use crate::measurement::Measurement;
use crate::report::html::{MAP_LETTERS, Overlay, flat_card, named_picture};
use crate::sightings::PhotoSightings;
use crate::text::units::{Kind, Show, Shown};

use super::seen::{Glance, Looked, line_name};

/// The photo with what was found in it, each thing by its full name; None for a photo that can't be
/// read.
pub fn drawn(path: &Path, looked: &Looked, job: &Job) -> Option<Vec<u8>> {
    let (photo, seen, cord) = looked.photo.as_ref()?;
    let mut overlay = overlay(seen, cord);
    for ((name, _), sighting) in overlay.outlines.iter_mut().zip(&seen.patterns) {
        if let Pattern::Tab(number) = sighting.pattern {
            *name = format!("tab {number}: {}", job.tab(number).words());
        } else if let Some(reading) = reading_of(&looked.glance, sighting.pattern.number()) {
            name.push_str(&reading);
        }
    }
    named_picture(path, &photo.luma, &photo.facts, overlay, MAP_LETTERS)
}

/// Each card of a photo as from straight above: how its picture is called after the photo's name,
/// and the picture.
pub fn flat_cards(looked: &Looked) -> Vec<(String, Vec<u8>)> {
    let Some((photo, seen, _)) = &looked.photo else { return Vec::new() };
    let cards =
        seen.patterns.iter().filter(|sighting| matches!(sighting.pattern, Pattern::Card(_)));
    cards
        .filter_map(|card| {
            Some((format!("card-{}", card.pattern.number()), flat_card(&photo.luma, card)?))
        })
        .collect()
}

/// Letters for a phone's screen, which is a quarter as wide as the picture: some 12 px there.
const PHONE_LETTERS: f32 = 0.034;

/// The same for a phone: numbers alone, in letters that are read without zooming.
pub fn drawn_for_phone(path: &Path, looked: &Looked) -> Option<Vec<u8>> {
    let (photo, seen, cord) = looked.photo.as_ref()?;
    named_picture(path, &photo.luma, &photo.facts, overlay(seen, cord), PHONE_LETTERS)
}

/// Cards, tabs and lines, and the cord where it is read.
fn overlay(seen: &PhotoSightings, cord: &CordReading) -> Overlay {
    let mut overlay = Overlay::of(seen, None, 0);
    for ((name, _), line) in overlay.lines.iter_mut().zip(&seen.lines) {
        *name = line_name(line.kind);
    }
    for lane in &cord.lanes {
        overlay.lines.extend(lane.cord.iter().map(|cord| ("cord".to_owned(), cord.path.clone())));
    }
    overlay
}

/// What follows a card's name: where the cord runs in its lane.
fn reading_of(glance: &Glance, card: u8) -> Option<String> {
    let offset = glance.cord.iter().find(|cord| cord.card == card)?.offset?;
    Some(format!(": cord {}", signed(&offset)))
}

/// "+2.1 ± 3.0 mm", for where there is little room.
fn signed(m: &Measurement) -> String {
    let shown = Shown::of(m, Kind::Length, Show::Mm);
    let sign = ["-", "", "+"][(shown.sign + 1) as usize];
    format!("{sign}{} ± {} {}", shown.amount, shown.u, shown.unit)
}
