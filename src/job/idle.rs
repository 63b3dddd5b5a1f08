//! Settings that have no effect as they are.

use crate::finding::Finding;

use super::roles::{FIRST_RIDER, LAST_RIDER};
use super::settings::{Job, Sheet};

impl Job {
    /// Settings that have no effect as they stand.
    pub fn findings(&self) -> Vec<Finding> {
        let mut findings = Vec::new();
        let mut idle = |applies: bool, key: &str, missing: &str| {
            if applies {
                findings.push(Finding::note(
                    "job-setting-idle",
                    format!("{key} in job.toml has no effect, because {missing} is not given."),
                    format!("Add {missing}, or take {key} out."),
                ));
            }
        };
        let has_level =
            self.bench.level_along_deg.is_some() || self.bench.level_across_deg.is_some();
        idle(
            self.bench.level_u_deg.is_some() && !has_level,
            "level_u_deg",
            "level_along_deg or level_across_deg",
        );
        let is_measured =
            |sheet: &Sheet| sheet.measured_along_mm.is_some() || sheet.measured_across_mm.is_some();
        let any_measured = is_measured(&self.print) || self.cards.values().any(is_measured);
        idle(
            self.print.measured_u_mm.is_some() && !any_measured,
            "measured_u_mm",
            "measured_along_mm or measured_across_mm",
        );
        let cards_measured =
            self.print.measured_along_mm.is_some() || self.print.measured_across_mm.is_some();
        let tabs_alone = self.print.measured_tabs_mm.is_some() && !cards_measured;
        idle(tabs_alone, "measured_tabs_mm", "measured_along_mm or measured_across_mm");
        let (rear, gearbox) = (
            self.sprockets.rear_face_to_tooth_centre_mm,
            self.sprockets.gearbox_face_to_tooth_centre_mm,
        );
        idle(
            rear.is_some() && gearbox.is_none(),
            "rear_face_to_tooth_centre_mm",
            "gearbox_face_to_tooth_centre_mm",
        );
        idle(
            gearbox.is_some() && rear.is_none(),
            "gearbox_face_to_tooth_centre_mm",
            "rear_face_to_tooth_centre_mm",
        );
        idle(
            self.hub.target_mm.is_some() && self.hub.face_side.is_none(),
            "target_mm",
            "face_side",
        );
        findings.extend(self.off_check_lines());
        let free = self.riders_kept_free();
        if !free.is_empty() {
            let listed: Vec<String> = free.iter().map(u8::to_string).collect();
            findings.push(Finding::note(
                "rider-number-free",
                format!(
                    "Tabs {FIRST_RIDER} to {LAST_RIDER} now stand for riders on the cord; job.toml has {} as free tabs, and that counts.",
                    listed.join(", ")
                ),
                "Nothing to do. For new jobs use 45 to 64 as free tabs; for a rider write role = \"cord-rider\", with side and place.",
            ));
        }
        findings
    }
}
