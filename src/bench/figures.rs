//! The noun that leaves this stage: every figure of the bike and the bench, each with its uncertainty, in one joint covariance.
//!
//! Definitions and signs: every signed figure is + to the left, each side's own offset is + on its own side; yaw + = front to
//! the left, lean + = top to the left. Lengths in millimetres, angles in degrees. `None` (null) where a figure could not be
//! measured; a finding then names it by its JSON pointer.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::finding::Finding;
use crate::measurement::Measurement;

pub use crate::job::Side;

/// Where the marked place stood, by 45-degree sectors about the axle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Station {
    Front,
    Rear,
    Top,
    Bottom,
}

/// A rim's outside face at one place in one set-up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RimFigure {
    /// `set-up/side`, and `/place` behind it for places other than the marked one.
    pub id: String,
    /// "rear" or "front".
    pub wheel: String,
    pub setup: String,
    pub side: Side,
    /// 0 is the marked place; 1 and up are further places round the rim (tabs 33 and up), for run-out.
    pub place: u8,
    pub station: Option<Station>,
    /// Where the place stood along the cord, + forward of the axle; only to foresee what turning the wheel does to `offset`.
    #[serde(default)]
    pub x: Option<f64>,
    /// Horizontal distance from the datum plane, + on its own side.
    pub offset: Option<Measurement>,
    /// Height above the bench at the axle's foot.
    pub height: Option<Measurement>,
}

/// The rear wheel over the datum cord.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WheelFigures {
    pub offset: Option<Measurement>,
    pub offset_at_mark: Option<Measurement>,
    pub yaw: Option<Measurement>,
    pub lean: Option<Measurement>,
    pub yaw_from_offsets: Option<Measurement>,
    /// "axis" or "offsets": what yaw and lean come from.
    pub source: Option<String>,
}

/// Offset at the axle and yaw of a plane that stands along the bike.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlaneFigures {
    pub offset: Option<Measurement>,
    pub yaw: Option<Measurement>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunoutFigures {
    /// Peak to peak along the axis, as a dial gauge shows it.
    pub lateral: Option<Measurement>,
    /// Not measured by this method; always null.
    pub radial: Option<Measurement>,
    /// Places of the rim that were seen.
    pub places: u8,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HubFigures {
    pub side: Option<Side>,
    /// Along the axis, from the hub's reference face to the rim's outside face on the same side; + = rim further outboard.
    pub rim_from_face: Option<Measurement>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChainFigures {
    pub side: Option<Side>,
    /// "faces" or "tooth_centres": what the offsets are told between.
    pub reference: Option<String>,
    pub centres: Option<Measurement>,
    pub offset_at_gearbox: Option<Measurement>,
    pub offset_at_rear: Option<Measurement>,
    pub yaw: Option<Measurement>,
    pub lean: Option<Measurement>,
    pub gearbox_lean: Option<Measurement>,
    pub rear_lean: Option<Measurement>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpindleFigures {
    /// Left end's height minus the right's.
    pub height_difference: Option<Measurement>,
    pub left: Option<Measurement>,
    pub right: Option<Measurement>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlumbFigure {
    /// "A" to "D".
    pub line: String,
    pub offset: Option<Measurement>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StationFigure {
    /// "A" to "D".
    pub station: String,
    pub offset: Option<Measurement>,
    pub height_difference: Option<Measurement>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BackboneFigures {
    pub front: Option<Measurement>,
    pub rear: Option<Measurement>,
    pub yaw: Option<Measurement>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FaceFigure {
    pub name: String,
    pub offset: Option<Measurement>,
    pub yaw: Option<Measurement>,
    pub lean: Option<Measurement>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrackFigures {
    pub offset: Option<Measurement>,
    pub lean: Option<Measurement>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BenchFigures {
    pub level_along: Option<Measurement>,
    pub level_across: Option<Measurement>,
    pub cord_straightness: Option<Measurement>,
    pub cord_moved: Option<Measurement>,
    pub flatness: Option<Measurement>,
    /// Riders on the datum cord that the datum is told from, or was held against.
    #[serde(default)]
    pub riders: Vec<RiderFigure>,
}

/// One rider on the datum cord.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RiderFigure {
    /// Numbers of its faces that tell it, such as "39-40".
    pub id: String,
    /// Where it stands along the cord, + forward of the axle.
    pub at_x: f64,
    /// Where it has the cord, from the datum plane, + to the left: what it disagrees by. Null where it tells the plane itself.
    pub offset: Option<Measurement>,
    /// How many of its faces tell it: 1 or 2.
    pub faces: u8,
}

/// One contribution to one figure's uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BudgetEntry {
    /// JSON pointer of the figure.
    pub field: String,
    /// What it comes from, such as "photos", "print scale", "up".
    pub from: String,
    /// Expanded (k = 2) contribution, same unit as the figure.
    pub u: f64,
}

/// Correlation of the figures that were measured.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Correlation {
    /// JSON pointers, in the order of the matrix.
    pub fields: Vec<String>,
    pub matrix: Vec<Vec<f64>>,
}

/// A joint first-order model of the figures: what the plan needs to foresee figures after an adjustment, and what a
/// comparison of two measurements needs to count shared terms once.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JointCovariance {
    /// JSON pointers, in the order of the matrix.
    pub fields: Vec<String>,
    /// Standard covariance (k = 1), row-major n x n; units are products of the figures' own units.
    pub matrix: Vec<Vec<f64>>,
}

/// What up was estimated from.
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
    /// What tells upright.
    #[serde(default)]
    pub from: UpFrom,
    /// JSON pointers of figures that hang on up where the bench alone tells it: they hold relative to the bench.
    #[serde(default)]
    pub relative_to_bench: Vec<String>,
}

/// What tells upright, the best there is.
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
    /// A bench of which nobody said anything.
    #[serde(rename = "bench")]
    Bench,
}

/// Places in the bench frame (mm; x forward, y left, z up) for drawings and for the plan. Never a measured figure by itself.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Layout {
    /// Wheel axis (unit vector pointing left) and a point on it in the wheel's mid-plane.
    pub wheel_axis: Option<[f64; 3]>,
    pub axle: Option<[f64; 3]>,
    pub rear_sprocket: Option<[f64; 3]>,
    pub gearbox_sprocket: Option<[f64; 3]>,
    /// Pattern, number, set-up and centre of each card and tab, and its outward normal.
    pub marks: Vec<Mark>,
    /// Two ends of the cord and of each plumb line: name, first and second end.
    pub lines: Vec<(String, [f64; 3], [f64; 3])>,
    /// Camera position of each photo: file, position.
    pub cameras: Vec<(String, [f64; 3])>,
    /// Bench frame from the scene's world: rotation (column-major) and the bench frame's origin in the world; not part of the result.
    #[serde(skip)]
    pub bench_from_world: Option<([[f64; 3]; 3], [f64; 3])>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mark {
    /// "card" or "tab".
    pub kind: String,
    pub number: u8,
    /// The set-up it stands for; empty where it is the same in all.
    pub setup: String,
    pub at: [f64; 3],
    pub normal: [f64; 3],
}

/// All figures of one job.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figures {
    pub up: UpFigures,
    /// Ratio of printed to designed size, along and across.
    pub scale_along: Option<Measurement>,
    pub scale_across: Option<Measurement>,
    pub rim: Vec<RimFigure>,
    pub rim_width: BTreeMap<String, Option<Measurement>>,
    pub wheel: WheelFigures,
    pub frame: PlaneFigures,
    pub wheel_in_frame: PlaneFigures,
    pub runout: RunoutFigures,
    pub hub: HubFigures,
    pub chain: ChainFigures,
    pub spindle: SpindleFigures,
    pub plumb: Vec<PlumbFigure>,
    pub stations: Vec<StationFigure>,
    pub backbone: BackboneFigures,
    pub faces: Vec<FaceFigure>,
    pub track: Option<TrackFigures>,
    pub bench: BenchFigures,
    pub budget: Vec<BudgetEntry>,
    pub correlation: Correlation,
    pub joint: JointCovariance,
    /// Change of each figure per 1 % of print scale (JSON pointer, figure's own unit): what an unmeasured print can do to it.
    pub scale_sensitivity: BTreeMap<String, f64>,
    /// Odd photos against even photos: by how much their solutions differ, over what their uncertainties allow.
    pub crosscheck_ratio: Option<f64>,
    /// The same of photos from the left against those from the right, where they can be compared.
    pub crosscheck_left_right: Option<f64>,
    pub layout: Layout,
    pub findings: Vec<Finding>,
}
