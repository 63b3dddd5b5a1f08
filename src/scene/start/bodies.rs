//! Where turning bodies went between set-ups, from tabs seen in several.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::Vector3;

use crate::math::Rigid;
use crate::math::rigid::{fit_rigid, log};
use crate::scene::model::input::{Hangs, SceneSettings};
use crate::scene::model::state::{Body, Carrier, State, Tab, TurningPart};

/// A body that turned by less (radians) and went less far (mm) than this between set-ups did not
/// turn: start poses are good to a fraction of it, and nobody turns a wheel by half a degree to see
/// its other side.
const STAYED_TURN: f64 = 0.01;
const STAYED_SHIFT_MM: f64 = 1.0;

/// Points that stand for a tab's pose: corners of its pattern.
fn pose_points(pose: &Rigid, pitch: f64) -> [Vector3<f64>; 4] {
    let r = 2.5 * pitch;
    [[r, r], [-r, r], [-r, -r], [r, -r]].map(|[x, y]| pose.apply(&Vector3::new(x, y, 0.0)))
}

/// Finds where a body went in each set-up from tabs seen in several, and puts its tabs into the
/// body's frame. Returns whether it stayed in place.
pub fn join_body(
    state: &mut State,
    part: TurningPart,
    moving: &BTreeMap<(u8, usize), Rigid>,
    settings: &SceneSettings,
) -> bool {
    let on_it = |number: u8| {
        settings
            .tabs
            .iter()
            .any(|t| t.number == number && t.hangs == Hangs::On(Carrier::Turning(part)))
    };
    let mine: Vec<(u8, usize, Rigid)> = moving
        .iter()
        .filter(|((number, _), _)| on_it(*number))
        .map(|((n, s), pose)| (*n, *s, *pose))
        .collect();
    let setups: BTreeSet<usize> = mine.iter().map(|(_, setup, _)| *setup).collect();
    let Some(&first) = setups.first() else { return false };
    let mut bodies: BTreeMap<usize, Rigid> = BTreeMap::from([(first, Rigid::identity())]);
    let mut in_body: BTreeMap<u8, Rigid> = mine
        .iter()
        .filter(|(_, setup, _)| *setup == first)
        .map(|(n, _, pose)| (*n, *pose))
        .collect();
    loop {
        // The set-up that shares most tabs with what is known comes next.
        let shared = |setup: usize| {
            mine.iter().filter(|(n, s, _)| *s == setup && in_body.contains_key(n)).count()
        };
        let next = setups
            .iter()
            .copied()
            .filter(|s| !bodies.contains_key(s))
            .max_by_key(|s| (shared(*s), std::cmp::Reverse(*s)));
        let Some(setup) = next.filter(|s| shared(*s) > 0) else { break };
        let here: Vec<&(u8, usize, Rigid)> = mine.iter().filter(|(_, s, _)| *s == setup).collect();
        let (mut world, mut body) = (Vec::new(), Vec::new());
        for (number, _, pose) in &here {
            if let Some(known) = in_body.get(number) {
                world.extend(pose_points(pose, settings.pitch_of(*number)));
                body.extend(pose_points(known, settings.pitch_of(*number)));
            }
        }
        let Some(motion) = robust_motion(&world, &body) else { break };
        for (number, _, pose) in here {
            in_body.entry(*number).or_insert_with(|| motion.inverse().then(pose));
        }
        bodies.insert(setup, motion);
    }
    let middle =
        in_body.values().map(|pose| pose.t).sum::<Vector3<f64>>() / in_body.len().max(1) as f64;
    let stayed = |motion: &Rigid| {
        log(&motion.r).norm() < STAYED_TURN
            && (motion.apply(&middle) - middle).norm() < STAYED_SHIFT_MM
    };
    let stayed = bodies.len() > 1 && bodies.values().all(stayed);
    if stayed {
        bodies.values_mut().for_each(|motion| *motion = Rigid::identity());
    }
    for (setup, motion) in &bodies {
        state.bodies.push(Body {
            part,
            setup: *setup,
            world_from_body: *motion,
            fixed: *setup == first,
        });
    }
    for (number, pose) in &in_body {
        state.tabs.push(Tab::new(
            *number,
            Carrier::Turning(part),
            None,
            *pose,
            settings.pitch_of(*number),
        ));
    }
    // Tabs in set-ups that share none with the rest stand for themselves.
    for (number, setup, pose) in mine.iter().filter(|(_, setup, _)| !bodies.contains_key(setup)) {
        state.tabs.push(Tab::new(
            *number,
            Carrier::Still,
            Some(*setup),
            *pose,
            settings.pitch_of(*number),
        ));
    }
    stayed
}

/// Kabsch's motion, without the tab that fits worst when there are enough to tell.
fn robust_motion(world: &[Vector3<f64>], body: &[Vector3<f64>]) -> Option<Rigid> {
    let all = fit_rigid(world, body)?;
    if world.len() <= 12 {
        return Some(all);
    }
    let miss: Vec<f64> = world.iter().zip(body).map(|(w, b)| (all.apply(b) - w).norm()).collect();
    let typical = crate::math::robust::median(&miss)?;
    let keep: Vec<usize> = (0..world.len()).filter(|&i| miss[i] <= 3.0 * typical + 0.2).collect();
    let pick = |list: &[Vector3<f64>]| keep.iter().map(|&i| list[i]).collect::<Vec<_>>();
    fit_rigid(&pick(world), &pick(body)).or(Some(all))
}
