//! What the steps of a plan have in common: what is foreseen so far, and which figures still ask
//! for a step.

use crate::bench::Figures;
use crate::figure::{Figure, Side};
use crate::finding::Finding;
use crate::measurement::{Measurement, Quality};
use crate::say;
use crate::text::{Amount, Sentence};

use super::foreseen::{Foreseen, scale_answer};
use super::moves::{Move, Places};
use super::outcome::{Decision, Expected, PlanStep, StepKind};
use super::settings::PlanSettings;
use super::tolerance::{Reference, Tolerance, judge};
use super::{cautions, limits, refer};

/// Half the width of what a setting is good to, mm: an end set by a steel rule without counting
/// flats, a spacer turned to a tenth, a rim pulled by its spokes, a frame hung by plumb lines
/// (common practice, no source). Taken as evenly spread.
pub(super) const RULE_HALF_WIDTH_MM: f64 = 0.25;
pub(super) const SPACER_HALF_WIDTH_MM: f64 = 0.05;
pub(super) const RIM_HALF_WIDTH_MM: f64 = 0.25;
pub(super) const HANGING_HALF_WIDTH_MM: f64 = 0.5;

/// A move as large as this is more often a mistaken tab than a bent motorcycle, mm (common
/// practice, no source).
const UNUSUAL_MOVE_MM: f64 = 25.0;

/// Standard deviation of what is evenly spread over twice this half-width.
pub(super) fn evenly(half_width: f64) -> f64 {
    half_width / 3.0f64.sqrt()
}

pub(super) struct Planner<'a> {
    pub(super) input: &'a Figures,
    pub(super) settings: &'a PlanSettings,
    pub(super) tolerances: &'a [Tolerance],
    pub(super) reference: Reference,
    pub(super) chain_side: Option<Side>,
    pub(super) places: Places,
    pub(super) foreseen: Foreseen,
    pub(super) steps: Vec<PlanStep>,
    /// Figures that are out, whose step must wait for a verdict on another.
    pub(super) waiting: Vec<Figure>,
    pub(super) findings: Vec<Finding>,
}

impl Planner<'_> {
    /// The foreseen figure where it asks for a step, and a caution where it does so without being
    /// shown to be out.
    pub(super) fn asks(&mut self, field: &Figure) -> Option<(Measurement, Option<Sentence>)> {
        let tolerance = self.tolerances.iter().find(|tolerance| tolerance.field == *field)?;
        let figure = self.foreseen.figure(field)?;
        let per_percent = self.per_percent(field);
        let beyond = (figure.value - tolerance.nominal).abs() > tolerance.limit;
        let disturbed = !self.steps.is_empty() && figure.quality == Quality::Good;
        match judge(tolerance, Some(figure), per_percent).verdict {
            Decision::Out => Some((figure, None)),
            Decision::Undecided if disturbed && beyond => {
                Some((figure, Some(say![cautions::MEASURE_FIRST])))
            }
            Decision::Undecided if disturbed => {
                let what = say![
                    format!("When the steps before are done, {} is expected at ", field.name()),
                    Amount::with_u(&figure, tolerance.unit),
                    ": undecided, too close to its limit to say in or out.",
                ];
                self.findings.push(
                    Finding::note("plan-measure-again", what, "Measure again after those steps.")
                        .about(field),
                );
                None
            }
            Decision::In | Decision::Undecided => None,
        }
    }

    /// Takes a move as done.
    pub(super) fn carry(&mut self, step: Move, fineness: &[f64]) {
        let places = &self.places;
        self.foreseen =
            self.foreseen.after(fineness, |values, errors| step.carry(places, values, errors));
    }

    pub(super) fn push(&mut self, step: PlanStep) {
        let n = self.steps.len() as u32 + 1;
        let mut step = PlanStep { n, after: self.expected(), ..step };
        if limits::needs_engineer(&step) {
            step.dangers.push(say![limits::ENGINEER]);
        }
        if let Some(beyond) = limits::beyond(&step) {
            step.dangers.push(beyond);
        }
        if step.distance.is_some_and(|distance| distance.value > UNUSUAL_MOVE_MM) {
            step.dangers.push(say![cautions::UNUSUALLY_FAR]);
        }
        self.steps.push(step);
    }

    /// How the figure answers to 1 % of print scale, where no rule was laid on the print.
    pub(super) fn per_percent(&self, field: &Figure) -> f64 {
        match self.settings.print_measured {
            true => 0.0,
            false => {
                self.foreseen.per_percent(field).unwrap_or_else(|| scale_answer(self.input, field))
            }
        }
    }

    pub(super) fn foreseen_decision(&self, field: &Figure) -> Option<Decision> {
        refer::measured_decision(self.tolerances, self.foreseen.figure(field), field)
    }

    /// The figures with the steps so far taken as done.
    pub(super) fn expected(&self) -> Expected {
        self.foreseen.expected(&self.input.measured)
    }
}

/// A step with nothing in it, for the fields that a kind of step does not use.
pub fn blank() -> PlanStep {
    PlanStep {
        n: 0,
        step: StepKind::Refer,
        action: Sentence::default(),
        part: String::new(),
        side: None,
        direction: None,
        distance: None,
        turns: None,
        flats: None,
        applied_to: String::new(),
        because: Figure::Other(String::new()),
        before: None,
        dangers: Vec::new(),
        cautions: Vec::new(),
        after: Expected::default(),
        choices: Vec::new(),
    }
}

/// A setting that only means something above zero.
pub(super) fn positive(value: Option<f64>) -> Option<f64> {
    value.filter(|value| value.is_finite() && *value > 0.0)
}
