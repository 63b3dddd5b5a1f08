//! Tabs that do not lie flat on what they mark: a half-peeled tab stands off its face, and its
//! centre with it.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::Vector3;

use crate::cards::codes::TAB_SIDE;
use crate::finding::Finding;
use crate::say;
use crate::scene::Solution;
use crate::scene::model::solution::LooseTab;
use crate::scene::model::state::TurningPart;
use crate::text::{Amount, listed};

use super::evaluate::Evaluation;
use super::settings::BenchSettings;

/// A tab tilted by less than this (degrees) against the wheel's axis is taken for flat:
/// rim walls and the reading of a small tab allow that much (our estimate; common practice, no
/// source).
const FLAT_ENOUGH: f64 = 2.0;
/// And it must exceed this many standard uncertainties of the tab's own direction.
const SURELY: f64 = 4.0;

/// For each tab that stands off: by how much its centre may stand off its face (standard
/// uncertainty, mm); with findings.
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
        let on_wheel = mark.part.turning() == Some(TurningPart::Wheel);
        if let Some(loose) = solution.loose_tabs.get(&tab.number) {
            lifts.insert(idx, loose.off_mm.max(settings.assumed.flat_u_mm / 2.0));
            continue;
        }
        // The axis goes through the body's frame unchanged: the body turns about it.
        let Some(axis) = axis.as_ref().filter(|_| on_wheel) else { continue };
        let tilt = normal.cross(&axis.direction).norm().clamp(0.0, 1.0).asin();
        let sigma = solution.covariance.as_ref().map_or(0.0, |covariance| {
            let slot = solution.slots.tabs[idx];
            (0..3).map(|i| covariance[(slot + i, slot + i)]).fold(0.0, f64::max).sqrt()
        });
        if tilt.to_degrees() > FLAT_ENOUGH && tilt > SURELY * sigma {
            let lift = tab.pitch * TAB_SIDE as f64 / 2.0 * tilt.sin();
            lifts.insert(idx, lift.max(settings.assumed.flat_u_mm / 2.0));
            findings.push(not_flat(tab.number, tilt, "perhaps ", lift));
        }
    }
    let among: BTreeSet<&Vec<u8>> =
        solution.loose_tabs.values().map(|loose| &loose.among).collect();
    findings.extend(among.into_iter().map(|among| among_not_flat(among, &solution.loose_tabs)));
    lifts
}

fn not_flat(number: u8, tilt: f64, how: &str, off_mm: f64) -> Finding {
    Finding::warning(
        "tab-not-flat",
        say![
            format!(
                "Tab {number} does not lie flat: it stands {:.1} degrees off its face, and its centre {how}",
                tilt.to_degrees()
            ),
            Amount::tenths(off_mm),
            ".",
        ],
        "Press it down or stick a new one on a clean, flat place, and take the photos again; until then its figures are less sure.",
    )
}

/// Tabs of one face, one of which came off it.
fn among_not_flat(among: &[u8], loose: &BTreeMap<u8, LooseTab>) -> Finding {
    if let [number] = among {
        return not_flat(*number, loose[number].tilt, "", loose[number].off_mm);
    }
    let off = among.iter().map(|number| loose[number].off_mm).fold(0.0, f64::max);
    let numbers: Vec<String> = among.iter().map(u8::to_string).collect();
    Finding::warning(
        "tab-not-flat",
        say![
            format!(
                "One of tabs {} does not lie flat on the face that they share, and the photos can't tell which: its centre may stand ",
                listed(&numbers)
            ),
            Amount::tenths(off),
            " off it.",
        ],
        "Press them all down or stick new ones on clean, flat places, and take the photos again; until then what rests on them is unsure, or not given.",
    )
}
