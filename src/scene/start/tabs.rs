//! Start poses of tabs, set-up by set-up.

use std::collections::BTreeSet;

use crate::scene::model::input::{Hangs, SceneSettings};
use crate::scene::model::observe::{Block, SeenCorner, Shown};
use crate::scene::model::state::{Carrier, State, Tab, TurningPart};

use super::bodies::{TabPose, join_body};
use super::glimpses::glimpse;
use super::pose::{Glimpse, locate};

/// Start poses of tabs are found with this noise factor: the lens is known to a fraction of a pixel
/// by now.
pub const NOISE: f64 = 8.0;

/// A tab seen in a photo.
pub struct TabView {
    pub view: usize,
    pub setup: usize,
    pub number: u8,
    pub corners: Vec<SeenCorner>,
}

pub fn glimpses(state: &State, seen: &[&TabView], pitch: f64) -> Vec<Glimpse> {
    let mean = (state.print[0] + state.print[1]) / 2.0 * pitch;
    seen.iter()
        .map(|s| {
            let view = &state.views[s.view];
            glimpse(&s.corners, [mean, mean], state.lens_of(view), view.camera_from_world)
        })
        .collect()
}

/// Start poses of tabs on carriers, set-up by set-up, then brought together body by body, and their
/// corners as observations. Returns the parts that stayed in place.
pub fn start_tabs(
    state: &mut State,
    seen: &[TabView],
    settings: &SceneSettings,
    split: &BTreeSet<u8>,
    blocks: &mut Vec<Block>,
) -> Vec<TurningPart> {
    let mut parts: BTreeSet<TurningPart> = BTreeSet::new();
    let mut moving: Vec<TabPose> = Vec::new();
    for setting in &settings.tabs {
        let each_setup = split.contains(&setting.number);
        let carrier = match setting.hangs {
            Hangs::On(carrier) => carrier,
            // Until it is seen to have been pushed along the cord while the wheel was turned.
            Hangs::Cord => Carrier::Still,
            Hangs::Flag(_) => continue,
        };
        let of_tab: Vec<&TabView> = seen.iter().filter(|s| s.number == setting.number).collect();
        if of_tab.is_empty() {
            continue;
        }
        if carrier == Carrier::Still && !each_setup {
            if let Some((pose, _)) = locate(&glimpses(state, &of_tab, setting.pitch), NOISE) {
                state.tabs.push(Tab::new(setting.number, carrier, None, pose, setting.pitch));
            }
            continue;
        }
        let setups: BTreeSet<usize> = of_tab.iter().map(|s| s.setup).collect();
        for setup in setups {
            let here: Vec<&TabView> = of_tab.iter().copied().filter(|s| s.setup == setup).collect();
            let Some((pose, _)) = locate(&glimpses(state, &here, setting.pitch), NOISE) else {
                continue;
            };
            match carrier {
                Carrier::Turning(part) if !each_setup => {
                    parts.insert(part);
                    moving.push(TabPose { number: setting.number, setup, world_from_tab: pose });
                }
                _ => state.tabs.push(Tab::new(
                    setting.number,
                    Carrier::Still,
                    Some(setup),
                    pose,
                    setting.pitch,
                )),
            }
        }
    }
    moving.sort_by_key(|tab| (tab.number, tab.setup));
    let mut still_bodies = Vec::new();
    for part in parts {
        if join_body(state, part, &moving, settings) {
            still_bodies.push(part);
        }
    }
    blocks.extend(tab_blocks(state, seen));
    still_bodies
}

/// The tabs' corners as observations, tied to their places.
fn tab_blocks(state: &State, seen: &[TabView]) -> Vec<Block> {
    let mut blocks = Vec::new();
    for s in seen {
        let tab = state
            .tabs
            .iter()
            .position(|t| t.number == s.number && t.only_setup.is_none_or(|only| only == s.setup));
        let Some(tab) = tab else { continue };
        let body = match state.tabs[tab].carrier {
            Carrier::Still => None,
            Carrier::Turning(part) => match state.body(part, s.setup) {
                Some(body) => Some(body),
                None => continue,
            },
        };
        let shown = Shown::Tab { tab, body };
        blocks.push(Block {
            view: s.view,
            shown,
            corners: s.corners.clone(),
            points: Vec::new(),
            noise: 1.0,
        });
    }
    blocks
}
