//! What no adjuster reaches: whom to take it to, in words.

use super::chain_drive;
use super::outcome::{Decision, Unit};
use super::settings::PlanSettings;
use super::tolerance::{RUNOUT_LIMIT_STEEL_MM, Tolerance, judge};
use super::words::{amount, by};
use crate::bench::Figures;
use crate::figure::Figure;
use crate::measurement::Measurement;
use crate::say;
use crate::text::{Amount, Sentence, capital};

/// The verdict on a figure by the tolerance for this field, where there are both.
pub fn measured_decision(
    tolerances: &[Tolerance],
    figure: Option<Measurement>,
    field: &Figure,
) -> Option<Decision> {
    let tolerance = tolerances.iter().find(|tolerance| tolerance.field == *field)?;
    figure.map(|figure| judge(tolerance, Some(figure), 0.0).verdict)
}

/// The part concerned, and what to do about it.
pub fn in_words(
    field: &Figure,
    figure: Measurement,
    tolerance: &Tolerance,
    input: &Figures,
    settings: &PlanSettings,
) -> (String, Sentence) {
    let size = Amount::measured(&figure, tolerance.unit).size();
    let (part, action) = match field {
        Figure::WheelLean => {
            let heights = input.get(&Figure::SpindleHeights);
            ("fork ends, swinging arm or frame", wheel_leans(figure.value, size, heights))
        }
        Figure::SpindleHeights => (
            "fork ends or swinging arm",
            say![
                "The spindle's left end is ",
                size,
                format!(
                    " {} than its right: have the fork ends and the swinging arm checked for twist.",
                    higher(figure.value)
                ),
            ],
        ),
        Figure::ChainYaw => {
            ("gearbox or engine mounting", not_parallel("front", figure.value, size, settings))
        }
        Figure::ChainLean => {
            ("gearbox or engine mounting", not_parallel("top", figure.value, size, settings))
        }
        Figure::RunoutLateral => (
            "rim",
            say![
                "The rim runs out sideways by ",
                size,
                ", peak to peak: have a wheel builder true it. An inspection allows a steel rim ",
                Amount::mm(RUNOUT_LIMIT_STEEL_MM),
                ".",
            ],
        ),
        _ => ("what carries it", beyond_its_limit(field, figure, tolerance)),
    };
    (part.to_owned(), action)
}

/// A wheel whose top stands to one side by `lean` degrees, and how high the spindle's ends lie.
fn wheel_leans(lean: f64, size: Amount, heights: Option<Measurement>) -> Sentence {
    let heights = heights.map(|heights| {
        say![
            " The spindle's left end is ",
            by(&heights),
            format!(" {} than its right.", higher(heights.value))
        ]
    });
    say![
        "The wheel leans ",
        size,
        format!(
            " with its top to the {}. No adjuster takes that out: have the fork ends, the swinging \
             arm and the frame checked for twist.",
            left_or_right(lean)
        ),
        heights,
    ]
}

/// A gearbox sprocket whose `edge` points to one side by `angle` degrees.
fn not_parallel(edge: &str, angle: f64, size: Amount, settings: &PlanSettings) -> Sentence {
    let across = settings
        .chain_pitch_mm
        .zip(settings.gearbox_teeth)
        .and_then(|(pitch, teeth)| chain_drive::pitch_diameter(pitch, teeth))
        .map(|diameter| {
            let across = diameter * angle.to_radians().tan().abs();
            say![", ", amount(across, Unit::Mm), " across its teeth"]
        });
    say![
        "The gearbox sprocket is out of parallel with the rear one by ",
        size,
        across,
        format!(
            ", its {edge} to the {}: have the gearbox and engine mountings, plates and shims looked \
             at.",
            left_or_right(angle)
        ),
    ]
}

fn beyond_its_limit(field: &Figure, figure: Measurement, tolerance: &Tolerance) -> Sentence {
    let aim = match tolerance.nominal {
        0.0 => None,
        nominal => Some(say![" from ", Amount::stated(nominal, tolerance.unit)]),
    };
    say![
        capital(&field.name()),
        " is ",
        Amount::measured(&figure, tolerance.unit),
        " and may be ",
        Amount::stated(tolerance.limit, tolerance.unit),
        aim,
        " at most: none of these steps puts that right.",
    ]
}

fn left_or_right(value: f64) -> &'static str {
    if value > 0.0 { "left" } else { "right" }
}

fn higher(difference: f64) -> &'static str {
    if difference > 0.0 { "higher" } else { "lower" }
}
