//! Start values of all that is not a card, once cameras and lens are known: tabs, turning bodies,
//! lines, the cord and faces.

use std::collections::{BTreeMap, BTreeSet};

use crate::cards::Pattern;
use crate::finding::Finding;
use crate::scene::model::input::{ScenePhoto, SceneSettings};
use crate::scene::model::observe::Block;
use crate::scene::model::solution::{CordReading, LooseTab};
use crate::scene::model::state::{State, TurningPart};
use crate::scene::strings::riders::riders_line;

use super::cords::start_cords;
use super::faces::start_faces;
use super::glimpses::seen_corners;
use super::lines::start_lines;
use super::tab_size::{self, sized, unlike_sizes};
use super::tabs::{TabView, start_tabs};

/// A tab needs this many corners in a photo for the photo to count.
pub const LEAST_TAB_CORNERS: usize = 5;

/// What was added to the state.
pub struct StartMarks {
    pub blocks: Vec<Block>,
    /// Turning parts that stayed in place.
    pub still_bodies: Vec<TurningPart>,
    pub cord_reading: CordReading,
    /// Tabs that are not as large as the job says.
    pub unlike_tabs: BTreeSet<u8>,
    pub findings: Vec<Finding>,
}

/// Adds all that is not a card. `split_tabs` are not tied between set-ups, `loose_tabs` do not lie
/// in their face.
pub fn start_marks(
    state: &mut State,
    photos: &[ScenePhoto],
    view_of: &[Option<usize>],
    settings: &SceneSettings,
    split_tabs: &BTreeSet<u8>,
    loose_tabs: &BTreeMap<u8, LooseTab>,
) -> StartMarks {
    let mut seen: Vec<TabView> = Vec::new();
    for (photo, view) in photos.iter().zip(view_of) {
        let (Some(view), false) = (view, photo.lens_only) else { continue };
        for sighting in &photo.sightings.patterns {
            if let Pattern::Tab(number) = sighting.pattern {
                let corners = seen_corners(sighting);
                // A tab's number seen twice in one photo is no use for either: it is left out here
                // and found in other photos.
                let twice = photo
                    .sightings
                    .patterns
                    .iter()
                    .filter(|p| p.pattern == sighting.pattern)
                    .count()
                    > 1;
                if corners.len() >= LEAST_TAB_CORNERS && !twice {
                    seen.push(TabView { view: *view, setup: photo.setup, number, corners });
                }
            }
        }
    }
    let sizes = unlike_sizes(state, &seen, settings);
    let findings = tab_size::findings(settings, &sizes).collect();
    let settings = &*sized(settings, &sizes);
    let mut blocks = Vec::new();
    let still_bodies = start_tabs(state, &seen, settings, split_tabs, &mut blocks);
    start_lines(state, photos, view_of, &seen, settings, &mut blocks);
    let riders = riders_line(state, settings);
    let cord_reading = start_cords(state, photos, view_of, riders.as_ref(), &mut blocks);
    start_faces(state, settings, loose_tabs);
    let unlike_tabs = sizes.into_keys().collect();
    StartMarks { blocks, still_bodies, cord_reading, unlike_tabs, findings }
}
