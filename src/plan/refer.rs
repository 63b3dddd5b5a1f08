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
    match field {
        Figure::WheelLean => {
            let top = if figure.value > 0.0 { "left" } else { "right" };
            let heights = input.get(&Figure::SpindleHeights).map(|heights| {
                say![
                    " The spindle's left end stands ",
                    by(&heights),
                    format!(" {} than its right.", higher(heights.value))
                ]
            });
            let action = say![
                "The wheel leans ",
                size,
                format!(
                    " with its top to the {top}. No adjuster takes that out: have the fork ends, the swinging arm and the frame checked for \
                     twist."
                ),
                heights,
            ];
            ("fork ends, swinging arm or frame".to_owned(), action)
        }
        Figure::SpindleHeights => {
            let action = say![
                "The spindle's left end stands ",
                size,
                format!(
                    " {} than its right: have the fork ends and the swinging arm checked for twist.",
                    higher(figure.value)
                ),
            ];
            ("fork ends or swinging arm".to_owned(), action)
        }
        Figure::ChainYaw | Figure::ChainLean => {
            let (yaw, side) =
                (*field == Figure::ChainYaw, if figure.value > 0.0 { "left" } else { "right" });
            let edge = if yaw { "front" } else { "top" };
            let across = settings
                .chain_pitch_mm
                .zip(settings.gearbox_teeth)
                .and_then(|(pitch, teeth)| chain_drive::pitch_diameter(pitch, teeth))
                .map(|diameter| {
                    say![
                        ", ",
                        amount(diameter * figure.value.to_radians().tan().abs(), Unit::Mm),
                        " across its teeth"
                    ]
                });
            let action = say![
                "The gearbox sprocket stands askew to the rear one by ",
                size,
                across,
                format!(
                    ", its {edge} to the {side}: have the gearbox and engine mountings, plates and shims looked at."
                ),
            ];
            ("gearbox or engine mounting".to_owned(), action)
        }
        Figure::RunoutLateral => {
            let action = say![
                "The rim runs out sideways by ",
                size,
                ", peak to peak: have a wheel builder true it. An inspection allows a steel rim ",
                Amount::mm(RUNOUT_LIMIT_STEEL_MM),
                ".",
            ];
            ("rim".to_owned(), action)
        }
        _ => {
            let aim = match tolerance.nominal {
                0.0 => None,
                nominal => Some(say![" from ", Amount::stated(nominal, tolerance.unit)]),
            };
            let action = say![
                capital(&field.name()),
                " is ",
                Amount::measured(&figure, tolerance.unit),
                " and may be ",
                Amount::stated(tolerance.limit, tolerance.unit),
                aim,
                " at most: none of these steps puts that right.",
            ];
            ("what carries it".to_owned(), action)
        }
    }
}

fn higher(difference: f64) -> &'static str {
    if difference > 0.0 { "higher" } else { "lower" }
}
