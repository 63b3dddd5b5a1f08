//! What the job says about adjusting: how the bike can be set, what is allowed, and what was
//! measured by hand.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::job::{Hand, Job, Side, SpacerKind, Tolerance};

/// Everything from the job that the plan depends on.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct PlanSettings {
    pub chain_side: Option<Side>,
    /// Pitch of the adjusters' thread, mm.
    pub thread_pitch_mm: Option<f64>,
    /// Distance between the two adjusters across the frame, mm.
    pub spacing_mm: Option<f64>,
    /// Which end of the spindle is drawn to square the wheel; the end away from the chain unless
    /// this says so.
    pub draw: Option<Side>,
    /// What is changed to bring the sprockets into line.
    pub pack: Option<SpacerKind>,
    /// Pitch of the chain, mm.
    pub chain_pitch_mm: Option<f64>,
    pub gearbox_teeth: Option<u16>,
    /// The rim's distance from the hub face that the wheel was, or is to be, built to, mm.
    pub hub_target_mm: Option<f64>,
    /// Whether the check lines of the print were measured with a rule, along and across.
    pub print_measured: bool,
    pub tolerances: Vec<Tolerance>,
    pub hands: Vec<Hand>,
}

impl From<&Job> for PlanSettings {
    /// The print counts as measured where the job measured the sheets in general. Who knows which
    /// sheets were used, and that each was measured on its own, may set `print_measured`.
    fn from(job: &Job) -> Self {
        let print = job.tab_print();
        Self {
            chain_side: job.bike.chain_side,
            thread_pitch_mm: job.adjusters.thread_pitch_mm,
            spacing_mm: job.adjusters.spacing_mm,
            draw: job.adjusters.draw,
            pack: job.spacers.kind,
            chain_pitch_mm: job.sprockets.chain_pitch_mm,
            gearbox_teeth: job.sprockets.gearbox_teeth,
            hub_target_mm: job.hub.target_mm,
            print_measured: print.along.measured && print.across.measured,
            tolerances: job.tolerances.clone(),
            hands: job.hands.clone(),
        }
    }
}

/// Other choices to plan with, in place of the job's.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Choices {
    pub draw: Option<Side>,
    pub pack: Option<SpacerKind>,
}

impl PlanSettings {
    /// The same settings with these choices put in place of the job's.
    pub fn with(&self, choices: Choices) -> Self {
        Self { draw: choices.draw.or(self.draw), pack: choices.pack.or(self.pack), ..self.clone() }
    }
}
