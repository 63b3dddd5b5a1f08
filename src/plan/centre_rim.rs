//! The step that brings the rim's centre to where it should be.

use crate::figure::{Figure, Side};
use crate::measurement::Measurement;

use super::moves::Move;
use super::outcome::{Decision, Direction, PlanStep, StepKind};
use super::planner::{Planner, RIM_HALF_WIDTH_MM, blank, evenly};
use super::words::centre_in_words;
use super::{cautions, refer};

impl Planner<'_> {
    pub(super) fn centre(&mut self) {
        let Some((before, unsure)) = self.asks(&self.reference.offset.clone()) else { return };
        // Half the difference between the two sides is the mid-plane's offset, measured along the
        // wheel's axis.
        let yaw = self.foreseen.get(&Figure::WheelYaw).unwrap_or(0.0).to_radians();
        let left = -before.value / yaw.cos().max(0.5);
        let old_face = self.foreseen.figure(&Figure::RimFromFace);
        self.carry(Move::ShiftRim { left }, &[evenly(RIM_HALF_WIDTH_MM)]);
        let new_face = self.foreseen.figure(&Figure::RimFromFace);
        let to = Side::of_sign(left);
        let face = self.input.measured.facts.hub_side.zip(old_face).zip(new_face);
        let runs_out = refer::measured_decision(
            self.tolerances,
            self.input.get(&Figure::RunoutLateral),
            &Figure::RunoutLateral,
        ) == Some(Decision::Out);
        self.push(PlanStep {
            step: StepKind::Centre,
            action: centre_in_words(to, &Measurement { value: left, ..before }, face),
            part: "rim".to_owned(),
            side: Some(to),
            direction: Some(if to == Side::Left { Direction::Left } else { Direction::Right }),
            distance: Some(Measurement { value: left.abs(), ..before }),
            applied_to: "rim".to_owned(),
            because: self.reference.offset.clone(),
            before: Some(before),
            dangers: unsure.into_iter().collect(),
            cautions: cautions::of_centring(runs_out, self.settings.hub_target_mm, new_face),
            ..blank()
        });
    }
}
