//! A photo's picture with what was found in it drawn on it.

use std::path::Path;

use super::seen::{Glance, Looked, line_name};
use crate::job::Job;
use crate::measurement::Measurement;
use crate::report::html::{Overlay, named_picture};
use crate::report::units::{Kind, Show, Shown};

/// The photo with what was found in it; None for a photo that can't be read.
pub fn drawn(path: &Path, looked: &Looked, job: &Job) -> Option<Vec<u8>> {
    let (photo, seen, cord) = looked.photo.as_ref()?;
    let mut overlay = Overlay::of(seen, None, 0);
    for ((name, _), sighting) in overlay.outlines.iter_mut().zip(&seen.patterns) {
        if let crate::cards::Pattern::Tab(number) = sighting.pattern {
            *name = format!("tab {number}: {}", job.tab(number).words());
        } else if let Some(reading) = reading_of(&looked.glance, sighting.pattern.number()) {
            name.push_str(&reading);
        }
    }
    for ((name, _), line) in overlay.lines.iter_mut().zip(&seen.lines) {
        *name = line_name(line.kind);
    }
    for lane in &cord.lanes {
        overlay.lines.extend(lane.cord.iter().map(|cord| ("cord".to_owned(), cord.path.clone())));
    }
    named_picture(path, &photo.luma, &photo.facts, overlay)
}

/// What stands behind a card's name: where the cord runs in its lane.
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
