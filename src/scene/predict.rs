//! Where a solved scene expects what a photo did not yet show: the second look starts there.

use nalgebra::{Vector2, Vector3};

use crate::sightings::StringKind;
use crate::sightings::look_again::PredictedPattern;

use super::observe::{Block, Shown};
use super::residual::foreseen;
use super::solution::Solution;
use super::state::{Carrier, View};

/// A line expected in a photo, as a row of pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct ExpectedLine {
    pub kind: StringKind,
    pub path: Vec<[f64; 2]>,
}

/// Patterns and lines that photo `photo` should show. Flags are not among the patterns: nobody knows how they hang.
pub fn expected(solution: &Solution, photo: usize, size: (usize, usize)) -> (Vec<PredictedPattern>, Vec<ExpectedLine>) {
    let Some(view_idx) = solution.view_of.get(photo).copied().flatten() else { return (Vec::new(), Vec::new()) };
    let state = &solution.state;
    let view = &state.views[view_idx];
    let inside = |p: &Vector2<f64>| p.x > 2.0 && p.y > 2.0 && p.x < size.0 as f64 - 3.0 && p.y < size.1 as f64 - 3.0;
    let mut patterns = Vec::new();
    for shown in shown_in(solution, view) {
        let block = Block { view: view_idx, shown, corners: Vec::new(), points: Vec::new(), noise: 1.0 };
        let Some(pattern) = solution.pattern(&block) else { continue };
        if !faces_camera(solution, view, shown) {
            continue;
        }
        let corners: Vec<(u8, u8, [f64; 2])> = pattern
            .corners()
            .filter_map(|(r, c)| {
                let pixel = foreseen(state, &solution.slots, &block, pattern.node(r as f64, c as f64))?;
                inside(&pixel).then_some((r as u8, c as u8, [pixel.x, pixel.y]))
            })
            .collect();
        if corners.len() >= 8 {
            patterns.push(PredictedPattern { pattern, corners });
        }
    }
    patterns.sort_by_key(|p| p.pattern);
    (patterns, lines(solution, view, &inside))
}

/// Cards and tabs that are there in the view's set-up.
fn shown_in(solution: &Solution, view: &View) -> Vec<Shown> {
    let state = &solution.state;
    // Cards of this view's own ground: those that any view of its set-up saw.
    let mut cards: Vec<usize> = solution
        .blocks
        .iter()
        .filter(|block| state.views[block.view].setup == view.setup)
        .filter_map(|block| match block.shown {
            Shown::Card(card) => Some(card),
            _ => None,
        })
        .collect();
    cards.sort_unstable();
    cards.dedup();
    let on_bench = cards.iter().any(|&card| state.cards[card].ground == 0);
    let mut shown: Vec<Shown> = cards.into_iter().map(Shown::Card).collect();
    if on_bench {
        for (tab, entry) in state.tabs.iter().enumerate() {
            if entry.only_setup.is_some_and(|only| only != view.setup) {
                continue;
            }
            match entry.carrier {
                Carrier::Still => shown.push(Shown::Tab { tab, body: None }),
                Carrier::Turning(kind) => {
                    if let Some(body) = state.body(kind, view.setup) {
                        shown.push(Shown::Tab { tab, body: Some(body) });
                    }
                }
            }
        }
    }
    shown
}

/// Whether a pattern turns its printed side to the camera, by at least 12 degrees.
fn faces_camera(solution: &Solution, view: &View, shown: Shown) -> bool {
    let state = &solution.state;
    let pose = match shown {
        Shown::Card(card) => state.cards[card].world_from_card,
        Shown::Tab { tab, body } => match body {
            Some(body) => state.bodies[body].world_from_body.then(&state.tabs[tab].carrier_from_tab),
            None => state.tabs[tab].carrier_from_tab,
        },
        _ => return false,
    };
    let eye = view.camera_from_world.inverse().t;
    let normal: Vector3<f64> = pose.r.column(2).into_owned();
    (eye - pose.t).normalize().dot(&normal) > 0.2
}

fn lines(solution: &Solution, view: &View, inside: &dyn Fn(&Vector2<f64>) -> bool) -> Vec<ExpectedLine> {
    let state = &solution.state;
    let lens = state.lens_of(view);
    let project = |points: Vec<Vector3<f64>>| -> Vec<[f64; 2]> {
        let pixels = points.iter().filter_map(|p| lens.project(&view.camera_from_world.apply(p)));
        pixels.filter(|p| inside(p)).map(|p| [p.x, p.y]).collect()
    };
    let mut lines = Vec::new();
    for (idx, line) in state.lines.iter().enumerate() {
        let feet: Vec<Vector3<f64>> = state.flags.iter().filter(|f| f.line == idx).map(|f| line.foot(&f.centre)).collect();
        let [a, .., b] = feet[..] else { continue };
        let path = project((0..=40).map(|i| a + (b - a) * (f64::from(i) / 40.0)).collect());
        if path.len() >= 4 {
            lines.push(ExpectedLine { kind: line.kind, path });
        }
    }
    for cord in state.cords.iter().filter(|cord| cord.setup == view.setup) {
        let path = project((0..=80).map(|i| cord.at(cord.middle + cord.half * (f64::from(i) / 40.0 - 1.0))).collect());
        if path.len() >= 4 {
            lines.push(ExpectedLine { kind: StringKind::Cord, path });
        }
    }
    lines
}
