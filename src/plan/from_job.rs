//! What the job means for the plan.

use crate::job::{Job, SpacerKind};

use super::outcome::Unit;
use super::settings::{HandSetting, Pack, PlanSettings, ToleranceSetting};

impl From<&Job> for PlanSettings {
    fn from(job: &Job) -> Self {
        let print = job.tab_print();
        let unit = |unit: crate::job::Unit| match unit {
            crate::job::Unit::Mm => Unit::Mm,
            crate::job::Unit::Deg => Unit::Deg,
        };
        Self {
            chain_side: job.bike.chain_side,
            thread_pitch_mm: job.adjusters.thread_pitch_mm,
            spacing_mm: job.adjusters.spacing_mm,
            draw: job.adjusters.draw,
            pack: job.spacers.kind.map(|kind| match kind {
                SpacerKind::Hub => Pack::Hub,
                SpacerKind::Sprocket => Pack::Sprocket,
                SpacerKind::Gearbox => Pack::Gearbox,
            }),
            chain_pitch_mm: job.sprockets.chain_pitch_mm,
            gearbox_teeth: job.sprockets.gearbox_teeth.map(u32::from),
            hub_target_mm: job.hub.target_mm,
            print_measured: print.along.measured && print.across.measured,
            tolerances: job
                .tolerances
                .iter()
                .map(|t| ToleranceSetting {
                    field: t.field.clone(),
                    limit: t.limit,
                    unit: unit(t.unit),
                    source: Some(t.source.clone()),
                })
                .collect(),
            hand: job
                .hands
                .iter()
                .map(|h| HandSetting {
                    field: h.field.clone(),
                    value: h.value,
                    u: h.u,
                    unit: unit(h.unit),
                    tool: Some(h.tool.clone()),
                })
                .collect(),
        }
    }
}
