//! Puts measured figures, which come by JSON pointer, into the noun that leaves this stage.

use std::collections::BTreeMap;

use crate::measurement::Measurement;
use crate::scene::Solution;

use super::evaluate::{Evaluation, line_letter, rim_id};
use super::figures::{FaceFigure, Figures, PlumbFigure, RiderFigure, RimFigure, Side, StationFigure, TrackFigures};
use super::settings::{BenchSettings, Part};

/// Fills `figures` from measurements by pointer.
pub fn fill(
    figures: &mut Figures,
    evaluation: &Evaluation,
    measured: &BTreeMap<String, Measurement>,
    settings: &BenchSettings,
    solution: &Solution,
) {
    let get = |pointer: &str| measured.get(pointer).copied();
    rims(figures, evaluation, settings, solution, &get);
    figures.wheel.offset = get("/wheel/offset");
    figures.wheel.offset_at_mark = get("/wheel/offset_at_mark");
    figures.wheel.yaw = get("/wheel/yaw");
    figures.wheel.lean = get("/wheel/lean");
    figures.wheel.yaw_from_offsets = get("/wheel/yaw_from_offsets");
    figures.wheel.source = figures.wheel.yaw.map(|_| if evaluation.choices.wheel_axis { "axis" } else { "offsets" }.to_owned());
    figures.frame.offset = get("/frame/offset");
    figures.frame.yaw = get("/frame/yaw");
    figures.wheel_in_frame.offset = get("/wheel_in_frame/offset");
    figures.wheel_in_frame.yaw = get("/wheel_in_frame/yaw");
    figures.runout.lateral = get("/runout/lateral");
    figures.runout.places = rim_places(settings, solution);
    figures.hub.side = evaluation.choices.hub_side;
    figures.hub.rim_from_face = get("/hub/rim_from_face");
    let chain = &mut figures.chain;
    chain.side = evaluation.choices.chain_side;
    chain.centres = get("/chain/centres");
    chain.offset_at_gearbox = get("/chain/offset_at_gearbox");
    chain.offset_at_rear = get("/chain/offset_at_rear");
    chain.yaw = get("/chain/yaw");
    chain.lean = get("/chain/lean");
    chain.gearbox_lean = get("/chain/gearbox_lean");
    chain.rear_lean = get("/chain/rear_lean");
    chain.reference =
        chain.offset_at_gearbox.map(|_| if settings.tooth_centres.is_some() { "tooth_centres" } else { "faces" }.to_owned());
    figures.spindle.height_difference = get("/spindle/height_difference");
    figures.spindle.left = get("/spindle/left");
    figures.spindle.right = get("/spindle/right");
    for letter in (0..4).map(line_letter) {
        if let Some(offset) = get(&format!("/plumb/{letter}/offset")) {
            figures.plumb.push(PlumbFigure { line: letter.to_string(), offset: Some(offset) });
        }
        let offset = get(&format!("/stations/{letter}/offset"));
        let height_difference = get(&format!("/stations/{letter}/height_difference"));
        if offset.is_some() || height_difference.is_some() {
            figures.stations.push(StationFigure { station: letter.to_string(), offset, height_difference });
        }
    }
    figures.backbone.front = get("/backbone/front");
    figures.backbone.rear = get("/backbone/rear");
    figures.backbone.yaw = get("/backbone/yaw");
    for name in &settings.faces {
        let part = |what: &str| get(&format!("/faces/{name}/{what}"));
        figures.faces.push(FaceFigure { name: name.clone(), offset: part("offset"), yaw: part("yaw"), lean: part("lean") });
    }
    if let (offset, lean) = (get("/track/offset"), get("/track/lean"))
        && (offset.is_some() || lean.is_some())
    {
        figures.track = Some(TrackFigures { offset, lean });
    }
    figures.bench.level_along = get("/bench/level_along");
    figures.bench.level_across = get("/bench/level_across");
    figures.bench.cord_straightness = get("/bench/cord_straightness");
    figures.bench.cord_moved = get("/bench/cord_moved");
    figures.bench.flatness = get("/bench/flatness");
    for (id, at_x, faces) in &evaluation.riders {
        // Two riders that alone tell the datum lie in it by its definition.
        let offset = get(&format!("/bench/riders/{id}/offset")).filter(|offset| offset.u > LEAST_RIDER_U);
        figures.bench.riders.push(RiderFigure { id: id.clone(), at_x: *at_x, offset, faces: *faces });
    }
}

/// A rider's offset with a smaller uncertainty than this, mm, is no measurement.
const LEAST_RIDER_U: f64 = 0.02;

/// Different places round the left rim face that were seen.
fn rim_places(settings: &BenchSettings, solution: &Solution) -> u8 {
    let seen = |number: u8| solution.state.tabs.iter().any(|tab| tab.number == number);
    let on_left = settings
        .marks
        .iter()
        .filter(|m| matches!(m.part, Part::Rim { front_wheel: false, side: Side::Left, .. }) && seen(m.number));
    on_left.count() as u8
}

/// One entry for each rim tab that is marked and was seen anywhere, and for both marked places, in each set-up; null where it was not.
fn rims(
    figures: &mut Figures,
    evaluation: &Evaluation,
    settings: &BenchSettings,
    solution: &Solution,
    get: &dyn Fn(&str) -> Option<Measurement>,
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
            let wheel = if front_wheel { "front" } else { "rear" };
            let id = rim_id(name, side, place, wheel);
            let offset = get(&format!("/rim/{id}/offset"));
            let height = get(&format!("/rim/{id}/height"));
            if expected && offset.is_none() {
                both = None;
            }
            let known = evaluation.stations.iter().find(|(known, ..)| *known == id);
            let (station, x) = (known.map(|(_, station, _)| *station), known.map(|(.., x)| *x));
            let wheel = wheel.to_owned();
            figures.rim.push(RimFigure { id, wheel, setup: name.clone(), side, place, station, x, offset, height });
        }
        let width = both.and_then(|()| get(&format!("/rim_width/{name}")));
        figures.rim_width.insert(name.clone(), width);
    }
    figures.rim.sort_by(|a, b| (&a.setup, &a.wheel, a.place, a.side).cmp(&(&b.setup, &b.wheel, b.place, b.side)));
}
