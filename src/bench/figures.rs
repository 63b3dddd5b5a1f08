//! The noun that leaves this stage: every figure of the bike and the bench, each with its
//! uncertainty, in one joint covariance.
//!
//! Definitions and signs: every signed figure is + to the left, each side's own offset is + on its
//! own side; yaw + = front to the left, lean + = top to the left. Lengths in millimetres, angles in
//! degrees. A figure that could not be measured is None in the table; a finding then names it by
//! its JSON pointer.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::figure::table::{BudgetEntry, Correlation, JointCovariance};
use crate::figure::{Figure, Measured};
use crate::finding::Finding;
use crate::measurement::Measurement;

pub use crate::figure::Side;

/// Places in the bench frame (mm; x forward, y left, z up) for drawings and for the plan. Never a
/// measured figure on its own.
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
    /// Bench frame from the scene's world: rotation (column-major) and the bench frame's origin in
    /// the world; not part of the result.
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
    pub measured: Measured,
    pub budget: Vec<BudgetEntry>,
    pub correlation: Correlation,
    pub joint: JointCovariance,
    /// Change of each figure per 1 % of print scale, in its own unit: what an unmeasured print can
    /// do to it.
    pub scale_sensitivity: BTreeMap<Figure, f64>,
    /// Odd photos against even photos: by how much their solutions differ, over what their
    /// uncertainties allow.
    pub crosscheck_ratio: Option<f64>,
    /// The same of photos from the left against those from the right, where they can be compared.
    pub crosscheck_left_right: Option<f64>,
    pub layout: Layout,
    pub findings: Vec<Finding>,
}

impl Figures {
    /// The figure, where it was measured and its numbers are numbers.
    pub fn get(&self, figure: &Figure) -> Option<Measurement> {
        self.measured.get(figure)
    }

    /// Puts a figure down.
    pub fn set(&mut self, figure: Figure, measured: Option<Measurement>) {
        self.measured.table.set(figure, measured);
    }
}
