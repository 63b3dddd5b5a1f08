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

/// A tab on a turning body, as one set-up's photos show it in the world.
#[derive(Clone, Copy)]
pub struct TabPose {
    pub number: u8,
    pub setup: usize,
    pub world_from_tab: Rigid,
}

/// A body's motions by set-up, and its tabs in its own frame.
struct Joined {
    motions: BTreeMap<usize, Rigid>,
    in_body: BTreeMap<u8, Rigid>,
}

/// Puts a body's tabs into its frame, and the body where it went in each set-up. Returns whether it
/// stayed in place.
pub fn join_body(
    state: &mut State,
    part: TurningPart,
    placed: &[TabPose],
    settings: &SceneSettings,
) -> bool {
    let on_it = |number: u8| {
        settings
            .tabs
            .iter()
            .any(|t| t.number == number && t.hangs == Hangs::On(Carrier::Turning(part)))
    };
    let mine: Vec<TabPose> = placed.iter().copied().filter(|tab| on_it(tab.number)).collect();
    let Some(first) = mine.iter().map(|tab| tab.setup).min() else { return false };
    let Joined { mut motions, in_body } = joined(&mine, first, settings);
    let middle =
        in_body.values().map(|pose| pose.t).sum::<Vector3<f64>>() / in_body.len().max(1) as f64;
    let stayed = |motion: &Rigid| {
        log(&motion.r).norm() < STAYED_TURN
            && (motion.apply(&middle) - middle).norm() < STAYED_SHIFT_MM
    };
    let stayed = motions.len() > 1 && motions.values().all(stayed);
    if stayed {
        motions.values_mut().for_each(|motion| *motion = Rigid::identity());
    }
    for (setup, motion) in &motions {
        state.bodies.push(Body {
            part,
            setup: *setup,
            world_from_body: *motion,
            fixed: *setup == first,
        });
    }
    for (number, pose) in &in_body {
        let pitch = settings.pitch_of(*number);
        state.tabs.push(Tab::new(*number, Carrier::Turning(part), None, *pose, pitch));
    }
    // Tabs in set-ups that share none with the rest keep places of their own.
    for tab in mine.iter().filter(|tab| !motions.contains_key(&tab.setup)) {
        let pitch = settings.pitch_of(tab.number);
        let pose = tab.world_from_tab;
        state.tabs.push(Tab::new(tab.number, Carrier::Still, Some(tab.setup), pose, pitch));
    }
    stayed
}

/// Where a body went in each set-up that hangs together with the first one by tabs they share.
fn joined(tabs: &[TabPose], first: usize, settings: &SceneSettings) -> Joined {
    let setups: BTreeSet<usize> = tabs.iter().map(|tab| tab.setup).collect();
    let mut motions: BTreeMap<usize, Rigid> = BTreeMap::from([(first, Rigid::identity())]);
    let mut in_body: BTreeMap<u8, Rigid> = tabs
        .iter()
        .filter(|tab| tab.setup == first)
        .map(|tab| (tab.number, tab.world_from_tab))
        .collect();
    loop {
        // The set-up that shares most tabs with what is known comes next.
        let shared = |setup: usize| {
            tabs.iter()
                .filter(|tab| tab.setup == setup && in_body.contains_key(&tab.number))
                .count()
        };
        let next = setups
            .iter()
            .copied()
            .filter(|s| !motions.contains_key(s))
            .max_by_key(|s| (shared(*s), std::cmp::Reverse(*s)));
        let Some(setup) = next.filter(|s| shared(*s) > 0) else { break };
        let here: Vec<&TabPose> = tabs.iter().filter(|tab| tab.setup == setup).collect();
        let (mut world, mut body) = (Vec::new(), Vec::new());
        for tab in &here {
            if let Some(known) = in_body.get(&tab.number) {
                let pitch = settings.pitch_of(tab.number);
                world.extend(pose_points(&tab.world_from_tab, pitch));
                body.extend(pose_points(known, pitch));
            }
        }
        let Some(motion) = robust_motion(&world, &body) else { break };
        for tab in here {
            in_body.entry(tab.number).or_insert_with(|| motion.inverse().then(&tab.world_from_tab));
        }
        motions.insert(setup, motion);
    }
    Joined { motions, in_body }
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
