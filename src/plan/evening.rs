//! What a comparison reads of a result: one measurement of a bike, on one evening.

use std::collections::BTreeSet;

use super::outcome::{Decision, PlanStep, Verdict};
use super::tolerance::Reference;
use crate::bench::Figures;
use crate::figure::{Figure, Side};

/// A result, as far as it is compared with another.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Evening {
    /// Name and version of the result's form.
    pub schema: String,
    /// SHA-256 of the inputs.
    pub job_id: String,
    pub bike: Option<String>,
    /// What the job says about the print.
    pub print: String,
    /// What the job gives for the sprockets' faces and teeth, where the chain line is measured
    /// between tooth centres.
    pub tooth_centres: Option<String>,
    /// Numbers of the cards and tabs that were read.
    pub cards: BTreeSet<u8>,
    pub tabs: BTreeSet<u8>,
    pub figures: Figures,
    pub plan: Vec<PlanStep>,
    pub verdicts: Vec<Verdict>,
    /// The chain's side as the job gives it.
    pub job_chain_side: Option<Side>,
}

impl Evening {
    pub fn chain_side(&self) -> Option<Side> {
        self.figures.measured.facts.chain_side.or(self.job_chain_side)
    }

    pub fn verdict(&self, field: &Figure) -> Option<Decision> {
        self.verdicts.iter().find(|verdict| verdict.field == *field).map(|verdict| verdict.verdict)
    }

    /// +1 or -1: the way in which the figure answers to the print's scale.
    pub fn scale_sign(&self, field: &Figure) -> f64 {
        let answer = self.figures.scale_sensitivity.get(field).copied();
        answer.or(self.figures.get(field).map(|figure| figure.value)).unwrap_or(0.0).signum()
    }

    /// The wheel's yaw as the earlier plan used it: in the frame as far as that is known.
    pub fn wheel_yaw(&self) -> Figure {
        Reference::of(&self.figures.measured).yaw
    }

    /// Ground-plan distance between the sprockets' centres, mm.
    pub fn centres(&self) -> Option<f64> {
        self.figures.get(&Figure::ChainCentres).map(|centres| centres.value)
    }
}
