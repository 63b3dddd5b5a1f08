//! What the scene is solved from.

use crate::sightings::{PhotoSightings, StringKind};

use super::priors::MeasuredSheet;
use super::state::Carrier;

/// One photo as the scene sees it.
#[derive(Clone, Debug)]
pub struct ScenePhoto {
    /// `set-up/file`, for findings.
    pub file: String,
    /// Index of the set-up, in order.
    pub setup: usize,
    /// Taken for the lens alone: cards lie somewhere else, and nothing but cards counts.
    pub lens_only: bool,
    pub width: usize,
    pub height: usize,
    /// Photos with the same text here share a lens.
    pub camera: String,
    /// Focal length to start from, px, where EXIF gives one.
    pub start_focal: Option<f64>,
    pub sightings: PhotoSightings,
}

/// How a tab moves and how large it was printed.
#[derive(Clone, Debug, PartialEq)]
pub struct TabSetting {
    pub number: u8,
    pub hangs: Hangs,
    /// Side of a cell, mm.
    pub pitch: f64,
    /// Thickness of what it is glued to, beyond paper and glue, mm.
    pub backing_mm: f64,
}

/// A face on which several tabs are stuck.
#[derive(Clone, Debug, PartialEq)]
pub struct FaceSetting {
    pub name: String,
    /// Numbers.
    pub tabs: Vec<u8>,
}

/// What a tab is fixed to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hangs {
    On(Carrier),
    /// A flag on this line.
    Flag(StringKind),
    /// Stands on the datum cord, and may be pushed along it between set-ups.
    Cord,
}

/// What the job says about prints and marks.
#[derive(Clone, Debug)]
pub struct SceneSettings {
    pub setups: Vec<String>,
    /// One for each tab number that may be seen; other tabs are ignored.
    pub tabs: Vec<TabSetting>,
    /// Faces on which several tabs are stuck.
    pub faces: Vec<FaceSetting>,
    /// Still tabs on one rigid part each: where one of them was moved between set-ups, so were the
    /// others.
    pub moving_as_one: Vec<Vec<u8>>,
    /// Printed over designed size along and across, and standard uncertainty.
    pub print: [f64; 2],
    pub print_sigma: [f64; 2],
    /// Sheets measured on their own.
    pub measured_sheets: Vec<MeasuredSheet>,
    /// Standard uncertainties, mm: flag off its line, cord between set-ups, a tab off its face,
    /// a card's middle over its edges.
    pub flag_sigma: f64,
    pub cord_moved_sigma: f64,
    pub flat_sigma: f64,
    pub bow_sigma: f64,
    /// The same from photo to photo: focal length (relative) and principal point (px).
    pub zoom_sigma: f64,
    pub shift_sigma: f64,
}

/// Side of a cell of most tabs, mm: a fifth of 20.
const USUAL_PITCH_MM: f64 = 4.0;

impl SceneSettings {
    /// Side of a cell of a tab, mm.
    pub fn pitch_of(&self, tab: u8) -> f64 {
        self.tab(tab).map_or(USUAL_PITCH_MM, |tab| tab.pitch)
    }

    /// Thickness of what a tab is glued to, mm.
    pub fn backing_of(&self, tab: u8) -> f64 {
        self.tab(tab).map_or(0.0, |tab| tab.backing_mm)
    }

    fn tab(&self, number: u8) -> Option<&TabSetting> {
        self.tabs.iter().find(|known| known.number == number)
    }
}
