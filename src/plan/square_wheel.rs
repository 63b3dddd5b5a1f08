//! The step that draws one end of the spindle until the wheel is square.

use crate::figure::{Figure, Side};
use crate::finding::Finding;
use crate::measurement::{Measurement, Quality};
use crate::say;
use crate::text::Amount;

use super::cautions;
use super::moves::Move;
use super::outcome::{Direction, PlanStep, StepKind, Unit};
use super::planner::{Planner, RULE_HALF_WIDTH_MM, blank, evenly, positive};
use super::tolerance::between_ends;
use super::words::square_in_words;

/// Adjusters sit inboard of the spindle's ends by a nut and some thread on either side: where only
/// the ends were measured, this is the U of their distance as the adjusters' (mm; common practice,
/// no source).
const SPACING_FROM_ENDS_U_MM: f64 = 20.0;

/// How far apart adjusters are where nothing is known, mm; only for how finely the wheel can be set
/// (common practice, no source).
const USUAL_SPACING_MM: f64 = 200.0;

impl Planner<'_> {
    pub(super) fn square(&mut self) {
        let Some((before, unsure)) = self.asks(&self.reference.yaw.clone()) else { return };
        let angle = -before.value.to_radians();
        let drawn =
            self.settings.draw.unwrap_or_else(|| self.chain_side.unwrap_or(Side::Right).other());
        let spacing = self.spacing();
        let distance = spacing.map(|spacing| {
            let from_yaw = spacing.value / angle.cos().powi(2) * before.u.to_radians();
            let from_spacing = angle.tan() * spacing.u;
            Measurement {
                value: spacing.value * angle.tan().abs(),
                u: from_yaw.hypot(from_spacing),
                quality: before.quality,
            }
        });
        let pitch = positive(self.settings.thread_pitch_mm);
        let flats = distance
            .zip(pitch)
            .map(|(distance, pitch)| (6.0 * distance.value / pitch).round().min(6e4) as u32);
        // The stated move is exact; what the hands make of it is evenly spread over half a flat (or
        // what a rule shows) either way.
        let half_width = pitch.map_or(RULE_HALF_WIDTH_MM, |pitch| pitch / 12.0);
        let setting =
            evenly(half_width) / spacing.map_or(USUAL_SPACING_MM, |spacing| spacing.value);
        let by_spacing = spacing.map_or(0.0, |spacing| angle * spacing.u / 2.0 / spacing.value);
        self.forget_what_turning_loses();
        let centres_before = self.foreseen.get(&Figure::ChainCentres);
        self.carry(Move::Turn { angle, about: drawn.other() }, &[setting.hypot(by_spacing)]);
        // Front to the left means that the left end stands too far back.
        let direction = if (angle < 0.0) == (drawn == Side::Left) {
            Direction::Forward
        } else {
            Direction::Rearward
        };
        let slack = centres_before
            .zip(self.foreseen.get(&Figure::ChainCentres))
            .map(|(before, after)| after - before);
        self.push(PlanStep {
            step: StepKind::Square,
            action: square_in_words(drawn, direction, angle, distance, flats),
            part: format!("{} end of the spindle", drawn.word()),
            side: Some(drawn),
            direction: Some(direction),
            distance,
            turns: flats.map(|flats| f64::from(flats) / 6.0),
            flats,
            applied_to: "spindle".to_owned(),
            because: self.reference.yaw.clone(),
            before: Some(before),
            dangers: unsure.into_iter().collect(),
            cautions: cautions::of_squaring(slack, flats),
            ..blank()
        });
    }

    /// The distance between the adjusters: as the job says, else the spindle's ends', else unknown.
    fn spacing(&mut self) -> Option<Measurement> {
        if let Some(value) = positive(self.settings.spacing_mm) {
            return Some(Measurement { value, u: 0.0, quality: Quality::Good });
        }
        let advice = "Measure from adjuster to adjuster across the frame and enter it as spacing_mm under [adjusters].";
        let (spacing, what) = match between_ends(self.input) {
            Some(value) => (
                Some(Measurement { value, u: SPACING_FROM_ENDS_U_MM, quality: Quality::Good }),
                say![
                    "The adjusters are taken to be as far apart as the spindle's ends, ",
                    Amount::to_places(value, 0, Unit::Mm),
                    ", give or take ",
                    Amount::mm(SPACING_FROM_ENDS_U_MM),
                    ".",
                ],
            ),
            None => (
                None,
                say![
                    "How far the spindle has to be drawn depends on how far apart the adjusters are, which the job does not give."
                ],
            ),
        };
        self.findings.push(
            Finding::warning("adjuster-spacing-not-known", what, advice).about(&self.reference.yaw),
        );
        spacing
    }

    /// Figures that a turn moves by an amount that can't be worked out.
    fn forget_what_turning_loses(&mut self) {
        let rims: Vec<Figure> = self.places.rims_without_place().cloned().collect();
        for rim in rims {
            self.foreseen = self.foreseen.without(&rim);
        }
        if self.foreseen.get(&Figure::ChainCentres).is_none()
            && self.foreseen.get(&Figure::ChainAtGearbox).is_some()
        {
            self.foreseen = self.foreseen.without(&Figure::ChainAtGearbox);
            let what = "Squaring moves the chain line, by how much depends on the distance between the sprockets, which is not known.";
            let advice = "Square the wheel first, then measure again for the chain line.";
            self.findings.push(
                Finding::warning("plan-chain-not-foreseen", what, advice)
                    .about(&Figure::ChainAtGearbox),
            );
        }
    }
}
