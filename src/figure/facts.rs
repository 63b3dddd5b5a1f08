//! What the result holds besides the figures: what they are measured from, and on which side.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::catalogue::Figure;
use super::part::{RiderId, RimPlace};
use super::side::Side;

/// Where a marked place stood, by 45-degree sectors about the axle.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Station {
    Front,
    Rear,
    Top,
    Bottom,
}

impl Station {
    pub fn word(self) -> &'static str {
        match self {
            Self::Front => "front",
            Self::Rear => "rear",
            Self::Top => "top",
            Self::Bottom => "bottom",
        }
    }
}

/// What the wheel's yaw and lean come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum WheelSource {
    Axis,
    Offsets,
}

/// What the chain's offsets are measured between.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ChainReference {
    Faces,
    ToothCentres,
}

impl ChainReference {
    /// As the result writes it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Faces => "faces",
            Self::ToothCentres => "tooth_centres",
        }
    }
}

/// What is known of a place on a rim besides its figures.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RimFacts {
    pub station: Option<Station>,
    /// Where the place stood along the cord, mm, + forward of the axle; only to foresee what
    /// turning the wheel does to its offset.
    pub x: Option<f64>,
}

/// What is known of a rider besides its figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RiderFacts {
    /// Where it stands along the cord, mm, + forward of the axle.
    pub at_x: f64,
    /// How many of its faces tell it: 1 or 2.
    pub faces: u8,
}

/// Everything of the kind in one result.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    /// Version of the printed pattern; empty before the result is put together.
    pub pattern_version: String,
    pub wheel_source: Option<WheelSource>,
    /// Places of the rim that were seen.
    pub runout_places: u8,
    pub hub_side: Option<Side>,
    pub chain_side: Option<Side>,
    pub chain_reference: Option<ChainReference>,
    pub rim: BTreeMap<RimPlace, RimFacts>,
    pub riders: BTreeMap<RiderId, RiderFacts>,
}

/// What upright was estimated from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UpSource {
    /// "plumb line A", "cards' plane", "level reading", ...
    pub source: String,
    /// Standard uncertainty of this source alone across the bike, degrees.
    pub sigma_deg: f64,
    /// By how much this source's up leans to the left of the weighted estimate, degrees.
    pub differs_across_deg: f64,
    pub differs_along_deg: f64,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UpFigures {
    pub sources: Vec<UpSource>,
    /// Standard uncertainty of up across the bike (about the cord), degrees.
    pub sigma_deg: Option<f64>,
    /// What shows upright.
    #[serde(default)]
    pub from: UpFrom,
    /// JSON pointers of figures that depend on up where the bench alone shows it: they hold
    /// relative to the bench.
    #[serde(default)]
    pub relative_to_bench: Vec<Figure>,
}

/// What shows upright: the best source there is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum UpFrom {
    #[default]
    #[serde(rename = "plumb line")]
    PlumbLine,
    /// A level's reading, written in the job.
    #[serde(rename = "level reading")]
    Reading,
    /// A bench that the job says was levelled.
    #[serde(rename = "spirit level")]
    SpiritLevel,
    /// A bench whose level the job does not give.
    #[serde(rename = "bench")]
    Bench,
}
