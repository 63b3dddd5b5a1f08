//! Which contributions that no photo shows reach the figures of a scene, and how large they are.

use std::collections::BTreeMap;

use nalgebra::Vector3;

use crate::figure::Figure;
use crate::scene::model::state::Tab;
use crate::scene::{Solution, State};

use super::evaluate::{Choices, Evaluation};
use super::ground::plumb_lines;
use super::nuisance::{self, Nuisance};
use super::settings::{BenchSettings, Part};
use super::up::card_tilt_sigma;

/// Tabs on a sprocket whose middle is its centre and that tell its plane (three points
/// make a plane).
pub const SPROCKET_TABS: usize = 3;

/// How far a single tab may lie off the centre of a large gearbox sprocket and of a large rear one,
/// mm (our estimates: tabs inside the teeth of 25 and of 50 at a pitch of 15.9 mm).
const LONE_GEARBOX_TAB: f64 = 60.0;
const LONE_REAR_TAB: f64 = 110.0;

/// A line that was read askew is off its place as if turned about a point so far from its middle,
/// mm (our estimate: half of what is seen of it).
const TURNED_OVER_MM: f64 = 250.0;

/// How far the middle of a sprocket's tabs may lie off its centre (k = 2), mm, where tabs spread
/// round it by eye lie `spread` off: two that are a third of a turn apart lie 0.29 of their distance
/// off it, two that are a quarter apart half of it, and those that are close to each other as far as
/// a `lone` one. The circle through three shows where the centre is, about as well as they are
/// set.
fn centre_off(tabs: &[Vector3<f64>], spread: f64, lone: f64) -> f64 {
    match tabs {
        [] | [_] => spread.hypot(lone),
        [a, b] => {
            let apart = (a - b).norm();
            let close = (lone.powi(2) - 0.25 * apart.powi(2)).max(0.0).sqrt();
            spread.hypot(close.max(0.6 * apart))
        }
        [a, b, c, ..] => {
            let middle = tabs.iter().sum::<Vector3<f64>>() / tabs.len() as f64;
            let off = centre_through([a, b, c]).map_or(lone, |centre| (middle - centre).norm());
            spread.max(off.min(lone))
        }
    }
}

/// The centre of the circle through three points; None where they lie in one line.
fn centre_through([a, b, c]: [&Vector3<f64>; 3]) -> Option<Vector3<f64>> {
    let (to_a, to_b) = (a - c, b - c);
    let normal = to_a.cross(&to_b);
    let bent = (to_b * to_a.norm_squared() - to_a * to_b.norm_squared()).cross(&normal);
    let centre = c + bent / (2.0 * normal.norm_squared());
    centre.iter().all(|x| x.is_finite()).then_some(centre)
}

/// Every nuisance that can reach a figure, with its standard deviation.
pub fn nuisances(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    evaluation: &Evaluation,
    tilts: &BTreeMap<usize, f64>,
) -> Vec<(Nuisance, f64)> {
    let mut list = of_tabs(&solution.state, settings, tilts);
    list.extend(of_up(&solution.state, settings, choices));
    let light = settings.assumed.cord_light_u_mm / 2.0;
    list.extend([0, 1].map(|end| (Nuisance::CordLight(end), light)));
    list.extend(choices.datum.iter().flat_map(|datum| datum.nuisances(settings)));
    list.extend(of_turning_parts(settings, choices, evaluation));
    list.extend(of_named_faces(&solution.state, settings));
    list.extend(of_moved_spindle(evaluation));
    if evaluation.recorded_value(&Figure::FrameYaw).is_none() {
        list.push((Nuisance::FrameYaw, nuisance::FRAME_YAW));
    }
    list
}

/// How the tabs are stuck.
fn of_tabs(
    state: &State,
    settings: &BenchSettings,
    tilts: &BTreeMap<usize, f64>,
) -> Vec<(Nuisance, f64)> {
    let assumed = &settings.assumed;
    let mut list = Vec::new();
    let torn = torn_tabs(state, settings);
    for (idx, tab) in state.tabs.iter().enumerate() {
        let Some(mark) = settings.marks.iter().find(|m| m.number == tab.number) else { continue };
        if matches!(mark.part, Part::CordRider { .. }) {
            continue;
        }
        list.push((Nuisance::Paper(idx), assumed.paper_u_mm / 2.0));
        list.extend(torn.get(&idx).map(|apart| (Nuisance::Torn(idx), *apart)));
        if let Some(lift) = tilts.get(&idx) {
            list.push((Nuisance::Flat(idx), *lift));
            continue;
        }
        // The tie of a face already carries how far its tabs lie off it; a wheel's axis is compared
        // with the tabs themselves.
        let face = state.faces.iter().find(|face| face.tabs.contains(&idx) && face.tabs.len() > 1);
        if face.is_none() || mark.part == Part::RearSprocket {
            let roughness = face.map_or(1.0, |face| face.roughness);
            list.push((Nuisance::Flat(idx), roughness * assumed.flat_u_mm / 2.0));
        }
        let sideways = match mark.part {
            Part::Station(..) => assumed.place_u_mm / 2.0,
            Part::SpindleEnd(_) => assumed.spindle_place_u_mm / 2.0,
            _ => continue,
        };
        list.extend([
            (Nuisance::Sideways(idx, 0), sideways),
            (Nuisance::Sideways(idx, 1), sideways),
        ]);
    }
    list
}

/// Tabs (indices into `State::tabs`) of turning parts that stood elsewhere on them in another set-up:
/// half of how far apart along their normal, mm. Nothing shows in which set-up the part, seen from
/// their side, stood as its other tabs have it.
fn torn_tabs(state: &State, settings: &BenchSettings) -> BTreeMap<usize, f64> {
    // Where each set-up's copy of such a tab lies along its normal, in the frame of its part.
    let depth = |tab: &Tab| {
        let mark = settings.marks.iter().find(|mark| mark.number == tab.number)?;
        let (setup, part) = (tab.only_setup?, mark.part.turning()?);
        let from_world = state.bodies[state.body(part, setup)?].world_from_body.inverse();
        let pose = from_world.then(&tab.carrier_from_tab);
        Some(pose.r.column(2).dot(&pose.t))
    };
    let mut depths: BTreeMap<u8, Vec<(usize, f64)>> = BTreeMap::new();
    for (idx, tab) in state.tabs.iter().enumerate() {
        if let Some(depth) = depth(tab) {
            depths.entry(tab.number).or_default().push((idx, depth));
        }
    }
    depths
        .into_values()
        .flat_map(|copies| {
            let low = copies.iter().map(|(_, depth)| *depth).fold(f64::MAX, f64::min);
            let high = copies.iter().map(|(_, depth)| *depth).fold(f64::MIN, f64::max);
            copies.into_iter().map(move |(idx, _)| (idx, (high - low) / 2.0))
        })
        .collect()
}

/// What up is determined from: how lines hang and are lit, how cards lie, how level the bench is.
fn of_up(state: &State, settings: &BenchSettings, choices: &Choices) -> Vec<(Nuisance, f64)> {
    let assumed = &settings.assumed;
    let mut list = Vec::new();
    let hang = (assumed.plumb_u_deg / 2.0).hypot(choices.up.apart.to_degrees());
    for (line, _) in &choices.up.lines {
        list.extend([(Nuisance::Hang(*line, 0), hang), (Nuisance::Hang(*line, 1), hang)]);
    }
    let light = (assumed.line_light_u_mm / 2.0).hypot(choices.up.apart * TURNED_OVER_MM);
    list.extend(plumb_lines(state).into_iter().map(|line| (Nuisance::LineLight(line), light)));
    let tilt = card_tilt_sigma(state, &choices.cards);
    for way in 0..2 {
        list.push((Nuisance::CardTilt(way), tilt[usize::from(way)]));
        if choices.up.cards.is_some() {
            list.push((Nuisance::Level(way), settings.level_sigma));
        }
    }
    list
}

/// A spindle that stood elsewhere in another set-up has no one place: it is as unsure as its places
/// differ.
fn of_moved_spindle(evaluation: &Evaluation) -> Vec<(Nuisance, f64)> {
    let ends = (0..2u8).zip(&evaluation.spindle_apart);
    let all = ends.flat_map(|(end, apart)| {
        (0..3u8).map(move |way| (Nuisance::SpindleApart(end, way), apart[usize::from(way)]))
    });
    all.filter(|(_, apart)| *apart > 0.0).collect()
}

/// Tilts of faces that the job names and too few tabs show.
fn of_named_faces(state: &State, settings: &BenchSettings) -> Vec<(Nuisance, f64)> {
    let has_few = |name: &String| {
        state.faces.iter().any(|face| face.name == *name && face.tabs.len() < SPROCKET_TABS)
    };
    let few = settings.faces.iter().enumerate().filter(|(_, name)| has_few(name));
    few.flat_map(|(idx, _)| {
        [0, 1].map(|way| (Nuisance::FaceTilt(idx, way), nuisance::LONE_TAB_TILT))
    })
    .collect()
}

/// What the turning parts' axes and centres leave open.
fn of_turning_parts(
    settings: &BenchSettings,
    choices: &Choices,
    evaluation: &Evaluation,
) -> Vec<(Nuisance, f64)> {
    let assumed = &settings.assumed;
    let mut list = Vec::new();
    if !choices.gearbox_axis {
        let tabs = evaluation.gearbox_tabs();
        let u = centre_off(&tabs, assumed.gearbox_centre_u_mm, LONE_GEARBOX_TAB);
        list.extend([0, 1].map(|way| (Nuisance::GearboxCentre(way), u / 2.0)));
        if tabs.len() < SPROCKET_TABS {
            list.extend([0, 1].map(|way| (Nuisance::GearboxTilt(way), nuisance::LONE_TAB_TILT)));
        }
    }
    match &choices.carried {
        Some(carried) => list.extend(carried.nuisances(settings)),
        None if choices.wheel_axis => {}
        None => {
            // How well tabs are set round a centre is the same on both sprockets.
            let tabs = evaluation.rear_tabs();
            let u = centre_off(&tabs, assumed.gearbox_centre_u_mm, LONE_REAR_TAB);
            let few = if tabs.len() < SPROCKET_TABS { nuisance::LONE_TAB_TILT } else { 0.0 };
            list.extend([0, 1].map(|way| (Nuisance::RearCentre(way), u / 2.0)));
            list.extend([0, 1].map(|way| (Nuisance::Wobble(way), nuisance::WOBBLE.hypot(few))));
        }
    }
    if let Some(unsteady) = choices.unsteady {
        for way in 0..2 {
            list.push((Nuisance::AxisTilt(way), unsteady.tilt_deg));
            list.push((Nuisance::AxisPlace(way), unsteady.shift_mm));
        }
    }
    if !evaluation.choices.run_out {
        let tir = settings.lateral_tir.unwrap_or(assumed.rim_tir_mm);
        list.push((Nuisance::RunOut, tir / (2.0 * std::f64::consts::SQRT_2)));
    }
    list
}
