//! The step that brings the sprockets into line.

use crate::figure::{Figure, Side};
use crate::finding::Finding;
use crate::job::SpacerKind;
use crate::measurement::{Measurement, Quality};
use crate::say;

use super::foreseen::Foreseen;
use super::moves::Move;
use super::outcome::{Decision, Direction, PlanStep, StepKind};
use super::planner::{Planner, SPACER_HALF_WIDTH_MM, blank, evenly};
use super::settings::PlanSettings;
use super::steps::make_plan;
use super::tolerance::decide;
use super::words::chain_in_words;
use super::{cautions, choices};
use crate::text::{Amount, listed};

impl Planner<'_> {
    pub(super) fn chain(&mut self) {
        let Some((before, unsure)) = self.asks(&Figure::ChainAtGearbox) else { return };
        let Some(side) = self.chain_side else { return };
        if let Some(finding) = self.waits_for_squareness() {
            self.waiting.push(Figure::ChainAtGearbox);
            self.findings.push(finding);
            return;
        }
        let rim = self.tolerances.iter().find(|t| t.field == self.reference.offset);
        let (pack, choices) = match self.settings.pack {
            Some(pack) => (pack, Vec::new()),
            None => choices::compare(rim, |kind| {
                let settings = PlanSettings { pack: Some(kind), ..self.settings.clone() };
                make_plan(self.input, &settings, self.tolerances).steps
            }),
        };
        if !choices.is_empty() {
            let others: Vec<&str> = choices
                .iter()
                .filter(|way| way.tied && !way.taken)
                .filter_map(|way| SpacerKind::ALL.into_iter().find(|k| k.word() == way.applied_to))
                .map(choices::part)
                .collect();
            let what = match others.as_slice() {
                [] => format!(
                    "The job does not say what brings the sprockets into line. The plan takes what leaves the least work: {}.",
                    choices::part(pack)
                ),
                others => format!(
                    "The job does not say what brings the sprockets into line. The plan takes {}; {} would leave the rim as little work.",
                    choices::part(pack),
                    listed(others)
                ),
            };
            let advice =
                "Enter kind under [spacers] in job.toml: \"hub\", \"sprocket\" or \"gearbox\".";
            self.findings.push(
                Finding::note("spacer-kind-assumed", what, advice).about(&Figure::ChainAtGearbox),
            );
        }
        // How far the moved sprocket goes outboard: the rear one to where the gearbox's is, or the
        // other way round.
        let outboard = match pack {
            SpacerKind::Hub | SpacerKind::Sprocket => before.value,
            SpacerKind::Gearbox => {
                -before.value
                    / self
                        .foreseen
                        .get(&Figure::ChainYaw)
                        .unwrap_or(0.0)
                        .to_radians()
                        .cos()
                        .max(0.5)
            }
        };
        let step = match pack {
            SpacerKind::Hub => Move::SlideWheel { outboard },
            SpacerKind::Sprocket => Move::PackSprocket { outboard },
            SpacerKind::Gearbox => Move::ShimGearbox { outboard },
        };
        self.carry(step, &[evenly(SPACER_HALF_WIDTH_MM)]);
        let askew = self.foreseen_decision(&Figure::ChainYaw) == Some(Decision::Out);
        self.push(PlanStep {
            step: StepKind::Chain,
            action: chain_in_words(pack, side, &Measurement { value: outboard, ..before }),
            part: choices::part(pack).to_owned(),
            side: Some(side),
            direction: Some(if outboard > 0.0 { Direction::Outboard } else { Direction::Inboard }),
            distance: Some(Measurement { value: outboard.abs(), ..before }),
            applied_to: pack.word().to_owned(),
            because: Figure::ChainAtGearbox,
            before: Some(before),
            dangers: unsure.into_iter().collect(),
            cautions: cautions::of_chain(pack, askew, self.input, self.settings),
            choices,
            ..blank()
        });
    }

    /// Squaring the wheel moves the chain line. Where the wheel would be out of square, were the
    /// measurement good enough for a verdict, a packing that is turned now is the wrong one
    /// afterwards.
    fn waits_for_squareness(&self) -> Option<Finding> {
        let yaw = &self.reference.yaw;
        let tolerance = self.tolerances.iter().find(|tolerance| tolerance.field == *yaw)?;
        let figure =
            self.foreseen.figure(yaw).filter(|figure| figure.quality == Quality::Single)?;
        let away = figure.value - tolerance.nominal;
        if decide(away, figure.u, tolerance.limit) != Decision::Out {
            return None;
        }
        let line = |foreseen: &Foreseen| foreseen.get(&Figure::ChainAtGearbox);
        let square = Move::Turn { angle: -away.to_radians(), about: Side::Right };
        let squared = self
            .foreseen
            .after(&[0.0], |values, errors| square.carry(&self.places, values, errors));
        let moved = (line(&squared)? - line(&self.foreseen)?).abs();
        let what = say![
            format!(
                "The sprockets are out of line, but don't pack them yet: {} is undecided at ",
                yaw.name()
            ),
            Amount::with_u(&figure, tolerance.unit).size(),
            ", and squaring the wheel alone would move the chain line by ",
            Amount::tenths(moved),
            ".",
        ];
        let advice =
            "Settle the squareness first: what is missing for a verdict is listed with it.";
        Some(Finding::warning("plan-chain-waits", what, advice).about(&Figure::ChainAtGearbox))
    }
}
