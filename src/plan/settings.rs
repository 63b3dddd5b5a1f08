//! What the job says about adjusting: how the bike can be set, what is allowed, and what was measured by hand.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::outcome::Unit;
use crate::bench::figures::Side;

/// What is changed to bring the sprockets into line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Pack {
    /// Spacers beside the hub: wheel, rim and rear sprocket move together along the spindle.
    Hub,
    /// Packing behind the rear sprocket: only the sprocket moves.
    Sprocket,
    /// A shim behind the gearbox sprocket: only that sprocket moves.
    Gearbox,
}

impl Pack {
    pub fn word(self) -> &'static str {
        match self {
            Self::Hub => "hub",
            Self::Sprocket => "sprocket",
            Self::Gearbox => "gearbox",
        }
    }
}

/// A tolerance that the job sets in place of the default.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ToleranceSetting {
    /// JSON pointer of the figure.
    pub field: String,
    /// Greatest allowed distance from the aim, in `unit`.
    pub limit: f64,
    pub unit: Unit,
    pub source: Option<String>,
}

/// A value that somebody took by hand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HandSetting {
    /// JSON pointer of the figure.
    pub field: String,
    pub value: f64,
    /// Expanded uncertainty, k = 2.
    pub u: f64,
    pub unit: Unit,
    pub tool: Option<String>,
}

/// Everything from the job that the plan depends on.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct PlanSettings {
    pub chain_side: Option<Side>,
    /// Pitch of the adjusters' thread, mm.
    pub thread_pitch_mm: Option<f64>,
    /// Distance between the two adjusters across the frame, mm.
    pub spacing_mm: Option<f64>,
    /// Which end of the spindle is drawn to square the wheel; the end away from the chain unless told.
    pub draw: Option<Side>,
    pub pack: Option<Pack>,
    /// Pitch of the chain, mm.
    pub chain_pitch_mm: Option<f64>,
    pub gearbox_teeth: Option<u32>,
    /// The rim's distance from the hub face that the wheel was, or is to be, built to, mm.
    pub hub_target_mm: Option<f64>,
    /// Whether the check lines of the print were measured with a rule.
    pub print_measured: bool,
    pub tolerances: Vec<ToleranceSetting>,
    pub hand: Vec<HandSetting>,
}

/// Other choices to plan with, in place of the job's.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Choices {
    pub draw: Option<Side>,
    pub pack: Option<Pack>,
}

impl PlanSettings {
    /// The same settings with these choices put in place of the job's.
    pub fn with(&self, choices: Choices) -> Self {
        Self { draw: choices.draw.or(self.draw), pack: choices.pack.or(self.pack), ..self.clone() }
    }
}
