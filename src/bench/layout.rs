//! Where cards, tabs, lines and the parts of the bike are in the bench frame, for drawings and
//! for the plan.

use nalgebra::{Matrix3, Vector3};

use crate::figure::part::Letter;
use crate::scene::model::state::{Carrier, Ground};
use crate::scene::{Solution, State};
use crate::sightings::StringKind;

use super::evaluate::Evaluation;
use super::figures::{Layout, Mark};
use super::settings::BenchSettings;

/// How much of a plumb line with one flag is drawn, mm (our choice).
const DRAWN_ABOVE: f64 = 300.0;

/// Places for drawings, in the bench frame.
pub fn layout(solution: &Solution, settings: &BenchSettings, evaluation: &Evaluation) -> Layout {
    let state = &solution.state;
    let Some(datum) = evaluation.datum else { return Layout::default() };
    let foot = evaluation.wheel_axis().map_or(Vector3::zeros(), |axis| axis.point);
    let origin = evaluation.origin(&datum, &foot);
    let rotation: Matrix3<f64> = datum.rotation();
    let place = |p: &Vector3<f64>| -> [f64; 3] { (rotation * (p - origin)).into() };
    let turn = |v: &Vector3<f64>| -> [f64; 3] { (rotation * v).into() };
    let marks = marks(state, settings, &place, &turn);
    let lines = lines(state, evaluation, &place);
    let array = |v: Option<Vector3<f64>>| v.map(|v| -> [f64; 3] { v.into() });
    Layout {
        wheel_axis: array(evaluation.places.wheel_axis),
        axle: array(evaluation.places.axle),
        rear_sprocket: array(evaluation.places.rear_sprocket),
        gearbox_sprocket: array(evaluation.places.gearbox_sprocket),
        marks,
        lines,
        cameras: Vec::new(),
        bench_from_world: Some((rotation.into(), origin.into())),
    }
}

/// Takes a place or a direction of the world to the bench.
type ToBench<'a> = &'a dyn Fn(&Vector3<f64>) -> [f64; 3];

fn marks(state: &State, settings: &BenchSettings, place: ToBench, turn: ToBench) -> Vec<Mark> {
    let mut marks = Vec::new();
    for card in state.cards.iter().filter(|card| card.ground == Ground::Bench) {
        marks.push(Mark {
            kind: "card".to_owned(),
            number: state.sheets[card.sheet].number,
            setup: String::new(),
            at: place(&card.world_from_card.t),
            normal: turn(&card.world_from_card.r.column(2).into_owned()),
        });
    }
    for tab in &state.tabs {
        for (setup, name) in
            settings.setups.iter().enumerate().filter(|(s, _)| !settings.lens_only[*s])
        {
            if tab.only_setup.is_some_and(|only| only != setup)
                || (tab.carrier == Carrier::Still && setup_is_later(settings, setup))
            {
                continue;
            }
            let Some(pose) = state.world_from_tab(tab, setup) else { continue };
            let name = if tab.carrier == Carrier::Still { String::new() } else { name.clone() };
            let normal = turn(&pose.r.column(2).into_owned());
            marks.push(Mark {
                kind: "tab".to_owned(),
                number: tab.number,
                setup: name,
                at: place(&pose.t),
                normal,
            });
        }
    }
    for flag in &state.flags {
        let normal = [0.0; 3];
        marks.push(Mark {
            kind: "tab".to_owned(),
            number: flag.number,
            setup: String::new(),
            at: place(&flag.centre),
            normal,
        });
    }
    marks.sort_by(|a, b| (&a.kind, a.number, &a.setup).cmp(&(&b.kind, b.number, &b.setup)));
    marks
}

/// Cord, plumb lines and backbone: names and ends.
fn lines(
    state: &State,
    evaluation: &Evaluation,
    place: ToBench,
) -> Vec<(String, [f64; 3], [f64; 3])> {
    let mut lines = Vec::new();
    if let (None, Some(ends)) =
        (state.cords.first(), evaluation.choices.datum.as_ref().and_then(|datum| datum.ends(state)))
    {
        lines.push(("cord".to_owned(), place(&ends[0]), place(&ends[1])));
    }
    if let Some(cord) = state.cords.first() {
        let ends = [cord.at(cord.middle - cord.half), cord.at(cord.middle + cord.half)];
        lines.push(("cord".to_owned(), place(&ends[0]), place(&ends[1])));
    }
    for (idx, line) in state.lines.iter().enumerate() {
        let feet: Vec<_> =
            state.flags.iter().filter(|f| f.line == idx).map(|f| line.foot(&f.centre)).collect();
        let name = match line.kind {
            StringKind::Plumb(letter) => format!("plumb line {}", Letter::of(letter)),
            _ => "backbone".to_owned(),
        };
        match feet[..] {
            [a, .., b] => lines.push((name, place(&a), place(&b))),
            [a] => lines.push((name, place(&(a + line.direction * DRAWN_ABOVE)), place(&a))),
            [] => {}
        }
    }
    lines
}

/// Whether an earlier set-up of the bench exists.
fn setup_is_later(settings: &BenchSettings, setup: usize) -> bool {
    (0..setup).any(|s| !settings.lens_only[s])
}
