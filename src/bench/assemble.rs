//! Puts measured figures into the noun that leaves this stage, along with what is known of
//! their parts.

use std::collections::BTreeMap;

use crate::figure::facts::{ChainReference, RiderFacts, RimFacts, WheelSource};
use crate::figure::part::{RimPlace, Wheel};
use crate::figure::{Figure, Measured};
use crate::measurement::Measurement;
use crate::scene::Solution;

use super::evaluate::Evaluation;
use super::figures::Side;
use super::settings::{BenchSettings, Part};

/// Fills the table and the facts from what was measured.
pub fn fill(
    out: &mut Measured,
    evaluation: &Evaluation,
    measured: &BTreeMap<Figure, Measurement>,
    settings: &BenchSettings,
    solution: &Solution,
) {
    for (figure, measurement) in measured {
        out.table.set(figure.clone(), Some(*measurement));
    }
    rims(out, evaluation, settings, solution);
    for name in &settings.faces {
        let offset = Figure::FaceOffset(name.clone());
        let found = out.table.stored(&offset);
        out.table.set(offset, found);
    }
    let choices = evaluation.choices;
    let has_axis = choices.wheel_axis || choices.carried.is_some();
    let source = if has_axis { WheelSource::Axis } else { WheelSource::Offsets };
    out.facts.wheel_source = out.table.stored(&Figure::WheelYaw).map(|_| source);
    out.facts.runout_places = rim_places(settings, solution);
    out.facts.hub_side = choices.hub_side;
    out.facts.chain_side = choices.chain_side;
    let reference = match settings.tooth_centres {
        Some(_) => ChainReference::ToothCentres,
        None => ChainReference::Faces,
    };
    out.facts.chain_reference = out.table.stored(&Figure::ChainAtGearbox).map(|_| reference);
    for (id, at_x, faces) in &evaluation.riders {
        // Two riders that alone tell the datum lie in it by its definition.
        let figure = Figure::RiderOffset(id.clone());
        let offset = out.table.stored(&figure).filter(|offset| offset.u > LEAST_RIDER_U);
        out.table.set(figure, offset);
        out.facts.riders.insert(id.clone(), RiderFacts { at_x: *at_x, faces: *faces });
    }
}

/// A rider's offset with a smaller uncertainty than this, mm, is no measurement.
const LEAST_RIDER_U: f64 = 0.02;

/// Different places round the left rim face that were seen.
fn rim_places(settings: &BenchSettings, solution: &Solution) -> u8 {
    let seen = |number: u8| solution.state.tabs.iter().any(|tab| tab.number == number);
    let on_left = settings.marks.iter().filter(|m| {
        matches!(m.part, Part::Rim { front_wheel: false, side: Side::Left, .. }) && seen(m.number)
    });
    on_left.count() as u8
}

/// One entry for each rim tab that is marked and was seen anywhere, and for both marked places, in
/// each set-up; unmeasured where it was not seen in that set-up. A width needs both marked places.
fn rims(
    out: &mut Measured,
    evaluation: &Evaluation,
    settings: &BenchSettings,
    solution: &Solution,
) {
    let seen = |number: u8| solution.state.tabs.iter().any(|tab| tab.number == number);
    for (setup, name) in settings.setups.iter().enumerate() {
        if settings.lens_only[setup] {
            continue;
        }
        let mut both = Some(());
        for mark in &settings.marks {
            let Part::Rim { front_wheel, side, place } = mark.part else { continue };
            let expected = !front_wheel && place == 0;
            if !(seen(mark.number) || expected) {
                continue;
            }
            let wheel = if front_wheel { Wheel::Front } else { Wheel::Rear };
            let at = RimPlace { setup: name.clone(), wheel, place, side };
            let figure = Figure::RimOffset(at.clone());
            let offset = out.table.stored(&figure);
            out.table.set(figure, offset);
            if expected && offset.is_none() {
                both = None;
            }
            let known = evaluation.stations.iter().find(|(known, ..)| *known == at);
            let (station, x) = (known.map(|(_, station, _)| *station), known.map(|(.., x)| *x));
            out.facts.rim.insert(at, RimFacts { station, x });
        }
        let figure = Figure::RimWidth(name.clone());
        let width = both.and_then(|()| out.table.stored(&figure));
        out.table.set(figure, width);
    }
}
