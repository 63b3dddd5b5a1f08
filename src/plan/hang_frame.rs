//! The step that hangs the frame over the cord again, and what takes the frame's place where it
//! was not measured.

use crate::figure::{Figure, Side};
use crate::finding::Finding;
use crate::measurement::Measurement;
use crate::say;
use crate::text::Amount;

use super::cautions;
use super::moves::Move;
use super::outcome::{Direction, PlanStep, StepKind, Unit};
use super::planner::{HANGING_HALF_WIDTH_MM, Planner, blank, evenly};
use super::words::by;

/// Length over which the frame's direction is set when it is hung, mm (common practice, no source).
const HANGING_BASE_MM: f64 = 500.0;

impl Planner<'_> {
    pub(super) fn report_frame_reference(&mut self) {
        if self.foreseen.get(&self.reference.offset).is_none() {
            return;
        }
        if self.reference.offset != Figure::WheelInFrameOffset {
            let what = "No plumb line or pair of stations shows the frame's centre, so the cord is taken for the frame.";
            let advice = "Hang a plumb line from the frame's centre, or two some way apart, if the frame itself is in question.";
            self.findings
                .push(Finding::note("frame-not-known", what, advice).about(&Figure::FrameOffset));
        } else if self.foreseen.get(&Figure::FrameYaw).is_none() {
            // The bench then gives the wheel's yaw in the frame as that over the cord, or none:
            // either way it leans on this.
            let what =
                "The frame's centre is known at one place only: it is taken to run along the cord.";
            let advice = say![
                "Hang a second plumb line, or stick a pair of stations, ",
                Amount::mm(200.0),
                " or more from the first along the bike.",
            ];
            self.findings.push(
                Finding::warning("frame-yaw-not-known", what, advice).about(&Figure::FrameYaw),
            );
        }
    }

    pub(super) fn rehang(&mut self) {
        let by_offset = self.asks(&Figure::FrameOffset);
        let by_yaw = self.asks(&Figure::FrameYaw);
        let Some((before, unsure)) = by_offset.clone().or(by_yaw.clone()) else { return };
        let offset = self.foreseen.figure(&Figure::FrameOffset);
        let yaw = self.foreseen.figure(&Figure::FrameYaw);
        let (off_mm, yaw_deg) =
            (offset.map_or(0.0, |figure| figure.value), yaw.map_or(0.0, |figure| figure.value));
        let fineness =
            [evenly(HANGING_HALF_WIDTH_MM), evenly(HANGING_HALF_WIDTH_MM / HANGING_BASE_MM)];
        self.carry(Move::Rehang { offset: off_mm, yaw: yaw_deg.to_radians() }, &fineness);
        let to = Side::of_sign(off_mm).other();
        let shift = offset.map(|offset| say![by(&offset), format!(" to the {}", to.word())]);
        let turn = yaw.map(|yaw| {
            let front = Side::of_sign(yaw_deg).other();
            say![
                Amount::measured(&yaw, Unit::Deg).size(),
                format!(" front to the {}", front.word())
            ]
        });
        let and = (shift.is_some() && turn.is_some()).then_some(" and ");
        self.push(PlanStep {
            step: StepKind::Rehang,
            action: say![
                "Hang the frame over the cord again: it has to go ",
                shift,
                and,
                turn,
                ". The wheel and the chain go with it."
            ],
            part: "frame".to_owned(),
            side: offset.map(|_| to),
            direction: offset
                .map(|_| if to == Side::Left { Direction::Left } else { Direction::Right }),
            distance: offset.map(|figure| Measurement { value: figure.value.abs(), ..figure }),
            applied_to: "frame".to_owned(),
            because: if by_offset.is_some() { Figure::FrameOffset } else { Figure::FrameYaw },
            before: Some(before),
            dangers: unsure.into_iter().collect(),
            cautions: vec![say![cautions::PROP], say![cautions::MEASURE_AFTER_HANGING]],
            ..blank()
        });
    }
}
