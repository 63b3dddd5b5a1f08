//! The noun that leaves this stage: what the person said, with the defaults where nothing was said.
//!
//! All `u` of a job are expanded uncertainties (k = 2): 95 of 100 readings lie within.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::figure::{Figure, Unit};

use super::assumed::Assumed;
use super::other_words;
use super::{Side, TabRole};

/// Expanded uncertainty of a level reading that doesn't say its own: a digital angle gauge (common
/// practice, no source).
const LEVEL_U_DEG: f64 = 0.2;

/// Everything that `job.toml` says. A job without the file is `Job::default()`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Job {
    pub bike: Bike,
    /// All sheets but those in `cards`, tabs included.
    pub print: Sheet,
    /// Single cards that differ, by number.
    pub cards: BTreeMap<u8, Sheet>,
    pub bench: BenchLevel,
    pub adjusters: Adjusters,
    pub spacers: Spacers,
    pub sprockets: Sprockets,
    pub hub: Hub,
    pub rim: Rim,
    #[serde(default)]
    pub assumed: Assumed,
    /// Tabs that the job describes, by number. Ask [`Job::tab`] instead: it knows the
    /// others too.
    pub tabs: BTreeMap<u8, TabRole>,
    pub faces: Vec<Face>,
    pub tolerances: Vec<Tolerance>,
    pub hands: Vec<Hand>,
    /// Photos that the job puts into set-ups by name, whatever folder they lie in.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub setups: Vec<JobSetup>,
}

/// A set-up and the photos that belong to it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct JobSetup {
    pub name: String,
    /// As they lie in the job folder, with forward slashes.
    pub photos: Vec<String>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Bike {
    pub name: Option<String>,
    /// Checked against the tabs.
    pub chain_side: Option<Side>,
}

/// What a steel rule and the eye show of a printed sheet.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sheet {
    pub measured_along_mm: Option<f64>,
    pub measured_across_mm: Option<f64>,
    pub measured_u_mm: Option<f64>,
    pub paper_mm: Option<f64>,
    /// The check line on the tabs' pages; of a single card there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured_tabs_mm: Option<f64>,
}

/// What was done to level the bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Levelled {
    #[serde(rename = "no")]
    No,
    /// A spirit level was laid along and across, and the bench packed until it showed nothing.
    #[serde(rename = "spirit level")]
    SpiritLevel,
}

/// A level laid on the bench.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BenchLevel {
    #[serde(default)]
    pub levelled: Option<Levelled>,
    /// + = front high.
    pub level_along_deg: Option<f64>,
    /// + = left high.
    pub level_across_deg: Option<f64>,
    pub level_u_deg: Option<f64>,
}

impl BenchLevel {
    /// Standard uncertainty of the readings, degrees.
    pub fn sigma_deg(&self) -> f64 {
        self.level_u_deg.unwrap_or(LEVEL_U_DEG) / 2.0
    }
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Adjusters {
    /// Travel in one turn.
    pub thread_pitch_mm: Option<f64>,
    /// Distance between the two, across the bike.
    pub spacing_mm: Option<f64>,
    /// The spindle's end to move; by default the one away from the chain.
    pub draw: Option<Side>,
}

/// Where spacers can be changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum SpacerKind {
    /// Beside the hub: carries the rim along.
    Hub,
    /// Behind the rear sprocket: does not.
    Sprocket,
    /// At the gearbox: does not.
    Gearbox,
}

impl SpacerKind {
    pub const ALL: [Self; 3] = [Self::Hub, Self::Sprocket, Self::Gearbox];

    /// The kind meant by another word for it.
    pub fn called(word: &str) -> Option<Self> {
        let meant = other_words::meant(word)?;
        Self::ALL.into_iter().find(|kind| kind.word() == meant)
    }

    /// "hub", "sprocket" or "gearbox".
    pub fn word(self) -> &'static str {
        match self {
            Self::Hub => "hub",
            Self::Sprocket => "sprocket",
            Self::Gearbox => "gearbox",
        }
    }
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Spacers {
    pub kind: Option<SpacerKind>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sprockets {
    /// From the outside face inward.
    pub rear_face_to_tooth_centre_mm: Option<f64>,
    pub gearbox_face_to_tooth_centre_mm: Option<f64>,
    pub rear_teeth: Option<u16>,
    pub gearbox_teeth: Option<u16>,
    pub chain_pitch_mm: Option<f64>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Hub {
    pub face_side: Option<Side>,
    /// Decides for tabs 31 and 32 where no `[[tab]]` does.
    pub face_turns: Option<bool>,
    /// Rim from hub face to aim for, + = rim further outboard.
    pub target_mm: Option<f64>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Rim {
    /// Over the outside faces, by caliper.
    pub width_mm: Option<f64>,
    /// Peak to peak, by dial gauge.
    pub lateral_tir_mm: Option<f64>,
}

/// Three tabs or more on one flat face.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Face {
    pub name: String,
    /// Sorted numbers.
    pub tabs: Vec<u8>,
}

/// How far a figure may be off, to either side.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tolerance {
    /// JSON pointer of the figure.
    pub field: Figure,
    pub limit: f64,
    pub unit: Unit,
    pub source: String,
}

/// A value measured by hand, shown next to the photographed one and never merged with it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Hand {
    /// JSON pointer of the figure.
    pub field: Figure,
    pub value: f64,
    /// Expanded uncertainty.
    pub u: f64,
    pub unit: Unit,
    pub tool: String,
}
