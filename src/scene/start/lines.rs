//! Plumb lines and the flags that hang on them, to start from.

use std::collections::BTreeMap;

use nalgebra::Vector3;

use crate::scene::model::input::{Hangs, ScenePhoto, SceneSettings};
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::state::{Flag, Line, State};
use crate::sightings::{LineSighting, StringKind};

use super::glimpses::seen_points;
use super::pose::{candidates, refine};
use super::tabs::{NOISE, TabView, glimpses};

/// Flags nearer to each other than this, mm, give no direction.
const LEAST_BETWEEN: f64 = 20.0;
/// Cosine of 3 degrees: two flags that stand farther from upright are poorly seen, and the cards
/// determine upright better.
const UPRIGHT: f64 = 0.9986;

/// Flags, and the lines on which they hang.
pub fn start_lines(
    state: &mut State,
    photos: &[ScenePhoto],
    view_of: &[Option<usize>],
    seen: &[TabView],
    settings: &SceneSettings,
    blocks: &mut Vec<Block>,
) {
    let mut hung: BTreeMap<StringKind, Vec<(u8, f64, Vector3<f64>)>> = BTreeMap::new();
    for setting in &settings.tabs {
        let Hangs::Flag(kind) = setting.hangs else { continue };
        let of_flag: Vec<&TabView> = seen.iter().filter(|s| s.number == setting.number).collect();
        if let Some(centre) = flag_centre(state, &of_flag, setting.pitch) {
            hung.entry(kind).or_default().push((setting.number, setting.pitch, centre));
        }
    }
    for (kind, flags) in hung {
        let (Some((_, _, a)), Some((_, _, b))) = (flags.first(), flags.last()) else { continue };
        let between = a - b;
        let direction = match kind {
            // One flag is enough: a plumb line hangs upright, as far as the cards' plane says, and
            // its images give the rest.
            StringKind::Plumb(_)
                if between.norm() < LEAST_BETWEEN || between.z < UPRIGHT * between.norm() =>
            {
                Vector3::z()
            }
            _ if between.norm() < LEAST_BETWEEN => continue,
            _ => between.normalize(),
        };
        let line = state.lines.len();
        state.lines.push(Line { kind, point: (a + b) / 2.0, direction });
        for (number, pitch, centre) in flags {
            let flag = state.flags.len();
            state.flags.push(Flag { number, line, centre, pitch, scale: 0.0 });
            for s in seen.iter().filter(|s| s.number == number) {
                let Some(turn) = flag_turn(state, s, pitch, &centre) else { continue };
                let turns = &mut state.views[s.view].flag_turns;
                turns.push(turn);
                let shown = Shown::Flag { flag, turn: turns.len() - 1 };
                blocks.push(Block {
                    view: s.view,
                    shown,
                    corners: s.corners.clone(),
                    points: Vec::new(),
                    noise: 1.0,
                });
            }
        }
        for (photo, view) in photos.iter().zip(view_of) {
            let (Some(view), false) = (view, photo.lens_only) else { continue };
            for sighting in photo
                .sightings
                .lines
                .iter()
                .filter(|l| l.kind == kind && !too_thick(state, *view, line, l))
            {
                blocks.push(points_block(*view, Shown::Line(line), sighting));
            }
        }
    }
}

/// No plumb line or cord is thicker than this, mm, nor looks thicker by more than this, px: what
/// does is a tube behind it.
const THICKEST: f64 = 4.0;
const BLURRED: f64 = 2.0;

/// Whether what was followed as a line's image is too broad for a line there.
pub fn too_thick(state: &State, view: usize, line: usize, sighting: &LineSighting) -> bool {
    let view = &state.views[view];
    let depth = view.camera_from_world.apply(&state.lines[line].point).z;
    let px_per_mm = state.lens_of(view).fx / depth.max(1.0);
    let widths: Vec<f64> = sighting.points.iter().map(|p| p.width).collect();
    crate::math::robust::median(&widths).is_some_and(|width| width > THICKEST * px_per_mm + BLURRED)
}

fn points_block(view: usize, shown: Shown, sighting: &LineSighting) -> Block {
    Block { view, shown, corners: Vec::new(), points: seen_points(sighting), noise: 1.0 }
}

/// Where a flag's centre is: nearest to the rays through it, or from its size when one photo alone
/// shows it.
fn flag_centre(state: &State, seen: &[&TabView], pitch: f64) -> Option<Vector3<f64>> {
    let glimpses = glimpses(state, seen, pitch);
    let mut near = nalgebra::Matrix3::zeros();
    let mut right = Vector3::zeros();
    let mut lone = None;
    for glimpse in &glimpses {
        let Some(camera_from_flag) = candidates(glimpse).first().copied() else { continue };
        let world_from_camera = glimpse.camera_from_world.inverse();
        let centre = world_from_camera.apply(&camera_from_flag.t);
        lone = lone.or(Some(centre));
        let ray = (centre - world_from_camera.t).normalize();
        let across = nalgebra::Matrix3::identity() - ray * ray.transpose();
        // Along the ray the size gives the place too, if only poorly: one part in ten thousand of
        // the weight across.
        let weight = across + ray * ray.transpose() * 1e-4;
        near += weight;
        right += weight * centre;
    }
    lone?;
    near.try_inverse().map(|inverse| inverse * right)
}

/// How a flag hangs in one photo.
fn flag_turn(
    state: &State,
    seen: &TabView,
    pitch: f64,
    centre: &Vector3<f64>,
) -> Option<nalgebra::Matrix3<f64>> {
    let glimpse = glimpses(state, &[seen], pitch).pop()?;
    let world_from_camera = glimpse.camera_from_world.inverse();
    let mut best: Option<(f64, nalgebra::Matrix3<f64>)> = None;
    for candidate in candidates(&glimpse) {
        let mut start = world_from_camera.then(&candidate);
        start.t = *centre;
        let (pose, cost) = refine(std::slice::from_ref(&glimpse), start, NOISE, 15);
        if best.is_none_or(|(least, _)| cost < least) {
            best = Some((cost, pose.r));
        }
    }
    best.map(|(_, r)| r)
}
