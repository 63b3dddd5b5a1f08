//! What is assumed of workmanship and equipment, since no photo shows it: the standard
//! values, each open to the job.
//!
//! All are expanded uncertainties (k = 2): 95 of 100 lie within. They are our estimates (common
//! practice, no source), and the result lists all of them, changed or not.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::section::Section;

/// The section `[assumed]` of a job.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Assumed {
    /// Paper and glue under a tab, along its normal.
    pub paper_u_mm: f64,
    /// A tab's middle off its face where it does not lie flat, along its normal.
    pub flat_u_mm: f64,
    /// A tab set sideways on a place that counts as a point (stations).
    pub place_u_mm: f64,
    /// The same on a spindle end.
    pub spindle_place_u_mm: f64,
    /// A flag's middle off its line.
    pub flag_u_mm: f64,
    /// Printed size where no check line was measured, percent in each direction.
    pub print_u_percent: f64,
    /// Height of a card's middle over its edges.
    pub card_bow_u_mm: f64,
    /// The bench off level where the job does not give its level.
    pub level_u_deg: f64,
    /// The bench off level where a spirit level was laid along and across and showed nothing.
    #[serde(default = "levelled_u_deg")]
    pub levelled_u_deg: f64,
    /// A plumb line off plumb, still air and its reading in the photos included.
    pub plumb_u_deg: f64,
    /// Each end of the cord between set-ups.
    pub cord_moved_u_mm: f64,
    /// The cord's axis as a rider shows it, across: from both its faces, and from one.
    pub rider_u_mm: f64,
    pub rider_one_face_u_mm: f64,
    /// The same along the rider's height: how well its bridge fits the cord. It counts as far as
    /// the rider leans.
    pub rider_height_u_mm: f64,
    /// The cord's mid-line as light and shadow let it be seen, at each end.
    pub cord_light_u_mm: f64,
    /// A plumb line's middle as light from one side lets it be seen.
    #[serde(default = "line_light_u_mm")]
    pub line_light_u_mm: f64,
    /// The middle of the gearbox sprocket's tabs off its centre, each way.
    pub gearbox_centre_u_mm: f64,
    /// A rim's lateral run-out, peak to peak, that was not measured. Unlike the others this is no
    /// expanded uncertainty.
    #[serde(default = "rim_tir_mm")]
    pub rim_tir_mm: f64,
    /// Focal length from photo to photo, percent: a camera that refocuses.
    pub focus_u_percent: f64,
    /// The principal point from photo to photo: a stabiliser.
    pub lens_centre_u_px: f64,
}

/// Of results that were written before the value existed, too.
fn levelled_u_deg() -> f64 {
    0.1
}

/// An eighth of the thickness of a usual line, 1.2 mm: what was seen on pictures with known truth.
fn line_light_u_mm() -> f64 {
    0.15
}

fn rim_tir_mm() -> f64 {
    0.5
}

impl Default for Assumed {
    fn default() -> Self {
        Self {
            paper_u_mm: 0.06,
            flat_u_mm: 0.10,
            place_u_mm: 0.6,
            spindle_place_u_mm: 1.4,
            flag_u_mm: 0.6,
            print_u_percent: 0.6,
            card_bow_u_mm: 1.0,
            level_u_deg: 0.3,
            levelled_u_deg: levelled_u_deg(),
            // 0.08 mm from end to end of 400 mm: what a line's image is off on pictures with known
            // truth.
            plumb_u_deg: 0.012,
            cord_moved_u_mm: 0.2,
            rider_u_mm: 0.2,
            rider_one_face_u_mm: 0.3,
            rider_height_u_mm: 1.0,
            cord_light_u_mm: 0.06,
            line_light_u_mm: line_light_u_mm(),
            gearbox_centre_u_mm: 10.0,
            rim_tir_mm: rim_tir_mm(),
            focus_u_percent: 0.2,
            lens_centre_u_px: 6.0,
        }
    }
}

impl Assumed {
    /// The standard values, and what the section says instead.
    pub(super) fn read(section: &Section<'_>) -> Self {
        let mut assumed = Self::default();
        let values = [
            ("paper_u_mm", &mut assumed.paper_u_mm),
            ("flat_u_mm", &mut assumed.flat_u_mm),
            ("place_u_mm", &mut assumed.place_u_mm),
            ("spindle_place_u_mm", &mut assumed.spindle_place_u_mm),
            ("flag_u_mm", &mut assumed.flag_u_mm),
            ("print_u_percent", &mut assumed.print_u_percent),
            ("card_bow_u_mm", &mut assumed.card_bow_u_mm),
            ("level_u_deg", &mut assumed.level_u_deg),
            ("levelled_u_deg", &mut assumed.levelled_u_deg),
            ("plumb_u_deg", &mut assumed.plumb_u_deg),
            ("cord_moved_u_mm", &mut assumed.cord_moved_u_mm),
            ("rider_u_mm", &mut assumed.rider_u_mm),
            ("rider_one_face_u_mm", &mut assumed.rider_one_face_u_mm),
            ("rider_height_u_mm", &mut assumed.rider_height_u_mm),
            ("cord_light_u_mm", &mut assumed.cord_light_u_mm),
            ("line_light_u_mm", &mut assumed.line_light_u_mm),
            ("gearbox_centre_u_mm", &mut assumed.gearbox_centre_u_mm),
            ("rim_tir_mm", &mut assumed.rim_tir_mm),
            ("focus_u_percent", &mut assumed.focus_u_percent),
            ("lens_centre_u_px", &mut assumed.lens_centre_u_px),
        ];
        for (key, value) in values {
            *value = section.number(key).unwrap_or(*value);
        }
        assumed
    }
}
