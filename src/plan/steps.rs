//! What to adjust, in the order of the work, each step worked out with the ones before it taken as
//! done.
//!
//! A figure that is out asks for a step; one that is undecided asks for a better measurement. Only
//! where an earlier step disturbs the bike anyway, and an undecided figure is then expected beyond
//! its tolerance, it is put right as well.

use crate::bench::Figures;
use crate::figure::{Figure, Side};
use crate::finding::Finding;

use super::foreseen::Foreseen;
use super::moves::Places;
use super::outcome::{Decision, Expected, PlanStep, StepKind};
use super::planner::{Planner, blank, positive};
use super::refer;
use super::settings::PlanSettings;
use super::tolerance::{Reference, Tolerance, judge};

/// The steps, what to expect when all are done, and what to know about them.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    pub steps: Vec<PlanStep>,
    pub expected: Expected,
    pub findings: Vec<Finding>,
}

/// Works out the plan.
pub fn make_plan(input: &Figures, settings: &PlanSettings, tolerances: &[Tolerance]) -> Plan {
    let chain_side = input.measured.facts.chain_side.or(settings.chain_side);
    let mut planner = Planner {
        input,
        settings,
        tolerances,
        reference: Reference::of(&input.measured),
        chain_side,
        places: Places::of(input, chain_side.unwrap_or(Side::Left), positive(settings.spacing_mm)),
        foreseen: Foreseen::measured(input),
        steps: Vec::new(),
        waiting: Vec::new(),
        findings: Vec::new(),
    };
    planner.report_frame_reference();
    planner.rehang();
    planner.square();
    planner.chain();
    planner.centre();
    planner.refer();
    Plan { expected: planner.expected(), steps: planner.steps, findings: planner.findings }
}

impl Planner<'_> {
    /// What is still out when everything that can be adjusted is done.
    fn refer(&mut self) {
        for tolerance in self.tolerances {
            let field = &tolerance.field;
            let measured = self.input.get(field).filter(|_| !self.foreseen.is_lost(field));
            let figure = self.foreseen.figure(field).or(measured);
            let out = judge(tolerance, figure, self.per_percent(field)).verdict == Decision::Out;
            // A rim that the plan has just centred stays there: that step has said how far the
            // target is off.
            let centred = self.steps.iter().any(|step| step.step == StepKind::Centre)
                && *field == Figure::RimFromFace;
            // One tilt shows in both: the step for the lean names the ends, too.
            let with_lean = *field == Figure::SpindleHeights
                && self.steps.iter().any(|step| step.because == Figure::WheelLean);
            let waits = self.waiting.contains(field);
            if let (true, Some(figure)) = (out && !centred && !with_lean && !waits, figure) {
                let (part, action) =
                    refer::in_words(field, figure, tolerance, self.input, self.settings);
                self.push(PlanStep {
                    step: StepKind::Refer,
                    action,
                    part,
                    applied_to: field.pointer(),
                    because: field.clone(),
                    before: Some(figure),
                    ..blank()
                });
            }
        }
    }
}
