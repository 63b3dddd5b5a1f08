//! The step that brings the sprockets into line.

use crate::figure::Figure;
use crate::finding::Finding;
use crate::job::SpacerKind;
use crate::measurement::Measurement;

use super::moves::Move;
use super::outcome::{Decision, Direction, PlanStep, StepKind};
use super::planner::{Planner, SPACER_HALF_WIDTH_MM, blank, evenly};
use super::settings::PlanSettings;
use super::steps::make_plan;
use super::words::chain_in_words;
use super::{cautions, choices};
use crate::text::listed;

impl Planner<'_> {
    pub(super) fn chain(&mut self) {
        let Some((before, unsure)) = self.asks(&Figure::ChainAtGearbox) else { return };
        let Some(side) = self.chain_side else { return };
        let (pack, choices) = match self.settings.pack {
            Some(pack) => (pack, Vec::new()),
            None => choices::compare(|kind| {
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
}
