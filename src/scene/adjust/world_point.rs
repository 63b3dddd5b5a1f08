//! Where a node of a pattern lies in the world as the unknowns have it, with its derivatives.

use nalgebra::{Matrix3, Vector3};

use crate::cards::Pattern;
use crate::math::rigid::skew;
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::state::{Body, State};
use crate::scene::model::unknowns::{FIXED, N_VIEW, Slots, line_axes};

/// Where a pattern's node lies in its own frame under the unknown print scale and bow, with
/// derivatives.
struct PatternPoint {
    at: Vector3<f64>,
    /// Columns and kept slots of the derivatives.
    by: Vec<(usize, Vector3<f64>)>,
}

fn card_point(
    state: &State,
    slots: &Slots,
    card: usize,
    cells: [f64; 2],
    with_derivatives: bool,
) -> PatternPoint {
    let sheet_idx = state.cards[card].sheet;
    let sheet = &state.sheets[sheet_idx];
    let pattern = Pattern::Card(sheet.number);
    let pitch = pattern.pitch_mm();
    let (x, y) = (cells[0] * pitch, cells[1] * pitch);
    let along = state.print[0] * (1.0 + sheet.scale[0]);
    let across = state.print[1] * (1.0 + sheet.scale[1]);
    // Bow z = kx (1 - x^2) + ky (1 - y^2), x and y from -1 to 1 over the pattern.
    let (sx, sy) = (2.0 * cells[0] / pattern.cols() as f64, 2.0 * cells[1] / pattern.rows() as f64);
    let (lift_x, lift_y) = (1.0 - sx * sx, 1.0 - sy * sy);
    let at = Vector3::new(x * along, y * across, sheet.bow[0] * lift_x + sheet.bow[1] * lift_y);
    let mut by = Vec::new();
    if with_derivatives {
        let slot = slots.sheets[sheet_idx];
        by.push((slots.print, Vector3::new(x * (1.0 + sheet.scale[0]), 0.0, 0.0)));
        by.push((slots.print + 1, Vector3::new(0.0, y * (1.0 + sheet.scale[1]), 0.0)));
        by.push((slot, Vector3::new(x * state.print[0], 0.0, 0.0)));
        by.push((slot + 1, Vector3::new(0.0, y * state.print[1], 0.0)));
        by.push((slot + 2, Vector3::new(0.0, 0.0, lift_x)));
        by.push((slot + 3, Vector3::new(0.0, 0.0, lift_y)));
    }
    PatternPoint { at, by }
}

/// Tabs come from the same printer: their size follows the mean of the common scales and a scale of
/// their own.
fn tab_point(
    state: &State,
    slots: &Slots,
    scale: f64,
    scale_slot: usize,
    pitch: f64,
    cells: [f64; 2],
) -> PatternPoint {
    let mean = (state.print[0] + state.print[1]) / 2.0;
    let plain = Vector3::new(cells[0] * pitch, cells[1] * pitch, 0.0);
    let half = plain * ((1.0 + scale) / 2.0);
    let by = vec![(slots.print, half), (slots.print + 1, half), (scale_slot, plain * mean)];
    PatternPoint { at: plain * (mean * (1.0 + scale)), by }
}

/// A point in the world, with derivatives by kept unknowns and by the view's flag turns.
pub struct WorldPoint {
    pub at: Vector3<f64>,
    pub kept: Vec<(usize, Vector3<f64>)>,
    pub local: Vec<(usize, Vector3<f64>)>,
}

fn push_pose(
    list: &mut Vec<(usize, Vector3<f64>)>,
    slot: usize,
    turned: &Vector3<f64>,
    outer: &Matrix3<f64>,
) {
    if slot == FIXED {
        return;
    }
    let by_turn = outer * -skew(turned);
    for i in 0..3 {
        list.push((slot + i, by_turn.column(i).into_owned()));
    }
    for i in 0..3 {
        list.push((slot + 3 + i, outer.column(i).into_owned()));
    }
}

pub fn world_point(
    state: &State,
    slots: &Slots,
    block: &Block,
    cells: [f64; 2],
    derivatives: bool,
) -> WorldPoint {
    let mut kept = Vec::new();
    let mut local = Vec::new();
    let at = match block.shown {
        Shown::Card(idx) => {
            let point = card_point(state, slots, idx, cells, derivatives);
            let pose = &state.cards[idx].world_from_card;
            let turned = pose.r * point.at;
            if derivatives {
                kept.extend(point.by.iter().map(|(slot, by)| (*slot, pose.r * by)));
                push_pose(&mut kept, slots.cards[idx], &turned, &Matrix3::identity());
            }
            turned + pose.t
        }
        Shown::Tab { tab: idx, body } => {
            let tab = &state.tabs[idx];
            let point = tab_point(state, slots, tab.scale, slots.tabs[idx] + 6, tab.pitch, cells);
            let pose = &tab.carrier_from_tab;
            let turned = pose.r * point.at;
            let in_carrier = turned + pose.t;
            let body: Option<&Body> = body.map(|b| &state.bodies[b]);
            let outer = body.map_or(Matrix3::identity(), |b| b.world_from_body.r);
            if derivatives {
                kept.extend(point.by.iter().map(|(slot, by)| (*slot, outer * (pose.r * by))));
                push_pose(&mut kept, slots.tabs[idx], &turned, &outer);
                if let Shown::Tab { body: Some(b), .. } = block.shown {
                    push_pose(
                        &mut kept,
                        slots.bodies[b],
                        &(outer * in_carrier),
                        &Matrix3::identity(),
                    );
                }
            }
            body.map_or(in_carrier, |b| b.world_from_body.apply(&in_carrier))
        }
        Shown::Flag { flag: idx, turn } => {
            let flag = &state.flags[idx];
            let point =
                tab_point(state, slots, flag.scale, slots.flags[idx] + 3, flag.pitch, cells);
            let r = state.views[block.view].flag_turns[turn];
            let turned = r * point.at;
            if derivatives {
                kept.extend(point.by.iter().map(|(slot, by)| (*slot, r * by)));
                for i in 0..3 {
                    kept.push((slots.flags[idx] + i, Matrix3::identity().column(i).into_owned()));
                }
                let by_turn = -skew(&turned);
                for i in 0..3 {
                    local.push((N_VIEW + 3 * turn + i, by_turn.column(i).into_owned()));
                }
            }
            turned + flag.centre
        }
        Shown::Cord(_) | Shown::Line(_) => Vector3::zeros(),
    };
    WorldPoint { at, kept, local }
}

/// A place on a line with its derivatives; along the line nothing is seen, so the place itself is
/// held.
pub fn line_point(state: &State, slots: &Slots, shown: Shown, place: Vector3<f64>) -> WorldPoint {
    let mut kept = Vec::new();
    match shown {
        Shown::Line(idx) => {
            let line = &state.lines[idx];
            let [a, b] = line_axes(&line.direction);
            let along = (place - line.point).dot(&line.direction);
            let slot = slots.lines[idx];
            kept.extend([(slot, a), (slot + 1, b), (slot + 2, a * along), (slot + 3, b * along)]);
        }
        Shown::Cord(idx) => {
            let basis = state.cords[idx].basis(place.x);
            for (i, value) in basis.into_iter().enumerate() {
                kept.push((slots.cords[idx] + i, Vector3::new(0.0, value, 0.0)));
            }
            for (i, value) in basis.into_iter().enumerate() {
                kept.push((slots.cords[idx] + 3 + i, Vector3::new(0.0, 0.0, value)));
            }
        }
        _ => {}
    }
    WorldPoint { at: place, kept, local: Vec::new() }
}
