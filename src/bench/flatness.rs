//! Tabs that do not lie flat on what they mark: a half-peeled tab stands off its face, and its
//! centre with it.

use std::collections::BTreeMap;

use nalgebra::Vector3;

use crate::cards::codes::TAB_SIDE;
use crate::finding::Finding;
use crate::say;
use crate::scene::Solution;
use crate::text::Amount;

use super::evaluate::Evaluation;
use super::settings::{BenchSettings, Part};

/// A tab tilted by less than this (degrees) against the wheel's axis or its face is taken for flat:
/// rim walls and the reading of a small tab allow that much (our estimate; common practice, no
/// source).
const FLAT_ENOUGH: f64 = 2.0;
/// And it must exceed this many standard uncertainties of the tab's own direction.
const SURELY: f64 = 4.0;

/// For each tab that stands off: by how much its centre may stand off its face (standard
/// uncertainty, mm); with a finding for each.
pub fn tilted_tabs(
    solution: &Solution,
    settings: &BenchSettings,
    evaluation: &Evaluation,
    findings: &mut Vec<Finding>,
) -> BTreeMap<usize, f64> {
    let state = &solution.state;
    let axis = evaluation.wheel_axis();
    let mut lifts = BTreeMap::new();
    for (idx, tab) in state.tabs.iter().enumerate() {
        let Some(mark) = settings.marks.iter().find(|mark| mark.number == tab.number) else {
            continue;
        };
        let normal: Vector3<f64> = tab.carrier_from_tab.r.column(2).into_owned();
        let on_wheel = matches!(
            mark.part,
            Part::Rim { front_wheel: false, .. } | Part::RearSprocket | Part::HubFace
        );
        // The axis goes through the body's frame unchanged: the body turns about it.
        let expected = match (&axis, on_wheel) {
            (Some(axis), true) => Some(axis.direction),
            _ => None,
        };
        let loose = evaluation.choices.loose.contains(&tab.number);
        let Some(expected) = expected
            .or_else(|| loose.then(|| face_normal(solution, settings, mark.part)).flatten())
        else {
            continue;
        };
        let tilt = normal.cross(&expected).norm().clamp(0.0, 1.0).asin();
        let sigma = solution.covariance.as_ref().map_or(0.0, |covariance| {
            let slot = solution.slots.tabs[idx];
            (0..3).map(|i| covariance[(slot + i, slot + i)]).fold(0.0, f64::max).sqrt()
        });
        if tilt.to_degrees() > FLAT_ENOUGH && tilt > SURELY * sigma || loose {
            let side = tab.pitch * TAB_SIDE as f64;
            lifts.insert(idx, (side / 2.0 * tilt.sin()).max(settings.assumed.flat_u_mm / 2.0));
            findings.push(Finding::warning(
                "tab-not-flat",
                say![
                    format!(
                        "Tab {} does not lie flat: it stands {:.1} degrees off its face, and its centre perhaps ",
                        tab.number,
                        tilt.to_degrees()
                    ),
                    Amount::tenths(side / 2.0 * tilt.sin()),
                    ".",
                ],
                "Press it down or stick a new one on a clean, flat place, and take the photos again; until then its figures are less sure.",
            ));
        }
    }
    lifts
}

/// Normal of the face that other tabs of the same part lie in, in the carrier's frame.
fn face_normal(solution: &Solution, settings: &BenchSettings, part: Part) -> Option<Vector3<f64>> {
    let of_part =
        |number: u8| settings.marks.iter().any(|mark| mark.number == number && mark.part == part);
    solution
        .state
        .faces
        .iter()
        .find(|face| face.tabs.iter().any(|&tab| of_part(solution.state.tabs[tab].number)))
        .map(|face| face.normal)
}
