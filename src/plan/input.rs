//! What the plan starts from: the figures, however they come: fresh from the bench, or read back from a result file.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::bench::Figures;
use crate::bench::figures::{
    BackboneFigures, BenchFigures, BudgetEntry, ChainFigures, Correlation, FaceFigure, HubFigures, JointCovariance, Layout,
    PlaneFigures, PlumbFigure, RimFigure, RunoutFigures, SpindleFigures, StationFigure, TrackFigures, UpFigures, WheelFigures,
};
use crate::measurement::Measurement;

/// The figures under the names that the result file gives them, so that a result file can be read as one of these: whatever
/// else it holds is passed over. Uncertainties are joint: `correlation` with each figure's own U gives the covariance.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct PlanInput {
    pub up: UpFigures,
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
    pub layout: Layout,
    /// Change of each figure, in its own unit, for a print 1 % larger in both directions.
    pub scale_sensitivity: BTreeMap<String, f64>,
}

impl From<&Figures> for PlanInput {
    fn from(figures: &Figures) -> Self {
        let correlation = match figures.correlation.fields.is_empty() {
            true => correlation_of(&figures.joint),
            false => figures.correlation.clone(),
        };
        Self {
            up: figures.up.clone(),
            rim: figures.rim.clone(),
            rim_width: figures.rim_width.clone(),
            wheel: figures.wheel.clone(),
            frame: figures.frame.clone(),
            wheel_in_frame: figures.wheel_in_frame.clone(),
            runout: figures.runout.clone(),
            hub: figures.hub.clone(),
            chain: figures.chain.clone(),
            spindle: figures.spindle.clone(),
            plumb: figures.plumb.clone(),
            stations: figures.stations.clone(),
            backbone: figures.backbone.clone(),
            faces: figures.faces.clone(),
            track: figures.track.clone(),
            bench: figures.bench.clone(),
            budget: figures.budget.clone(),
            correlation,
            layout: figures.layout.clone(),
            scale_sensitivity: figures.scale_sensitivity.clone(),
        }
    }
}

impl PlanInput {
    /// The figures in a parsed result file.
    pub fn from_result(result: &serde_json::Value) -> Result<Self, serde_json::Error> {
        Self::deserialize(result)
    }
}

/// Correlations of a joint covariance; a figure without spread is correlated with nothing.
fn correlation_of(joint: &JointCovariance) -> Correlation {
    let n_fields = joint.fields.len();
    let entry = |row: usize, col: usize| joint.matrix.get(row).and_then(|line| line.get(col)).copied().unwrap_or(0.0);
    let correlate = |row: usize, col: usize| {
        let spread = (entry(row, row) * entry(col, col)).sqrt();
        match (row == col, spread > 0.0) {
            (true, _) => 1.0,
            (false, true) => (entry(row, col) / spread).clamp(-1.0, 1.0),
            (false, false) => 0.0,
        }
    };
    let matrix = (0..n_fields).map(|row| (0..n_fields).map(|col| correlate(row, col)).collect()).collect();
    Correlation { fields: joint.fields.clone(), matrix }
}
