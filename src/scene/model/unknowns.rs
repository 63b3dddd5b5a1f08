//! How the unknowns are numbered, and how a step of the adjustment changes them.
//!
//! They come in two kinds: those of one view (camera pose, lens drift, how flags hang), which are
//! eliminated one view at a time, and the kept ones, numbered by [`Slots`].

use nalgebra::Vector3;

use crate::camera::Lens;
use crate::camera::lens::N_LENS;
use crate::math::Rigid;
use crate::math::rigid::{any_normal, exp, orthonormal};

use super::state::State;

/// Unknowns of one view before its flags: turn (3), shift (3), log zoom, principal point (2), sweep
/// (6).
pub const N_VIEW: usize = 15;
/// Where the sweep's turn and shift stand among them.
pub const SWEEP: usize = 9;

/// The place of each kept unknown in the vector of kept unknowns. `usize::MAX` marks what is held
/// fixed.
#[derive(Clone, Debug, Default)]
pub struct Slots {
    pub lenses: Vec<usize>,
    pub print: usize,
    pub sheets: Vec<usize>,
    pub cards: Vec<usize>,
    pub bodies: Vec<usize>,
    pub tabs: Vec<usize>,
    pub flags: Vec<usize>,
    pub lines: Vec<usize>,
    pub cords: Vec<usize>,
    pub faces: Vec<usize>,
    pub n: usize,
}

/// Marks an unknown that is held fixed.
pub const FIXED: usize = usize::MAX;

impl Slots {
    pub fn of(state: &State) -> Self {
        let mut n = 0;
        let mut take = |free: bool, size: usize| {
            if !free {
                return FIXED;
            }
            n += size;
            n - size
        };
        let lenses = state.lenses.iter().map(|_| take(true, N_LENS)).collect();
        let print = take(true, 2);
        let sheets = state.sheets.iter().map(|_| take(true, 4)).collect();
        let cards = state.cards.iter().map(|card| take(!card.fixed, 6)).collect();
        let bodies = state.bodies.iter().map(|body| take(!body.fixed, 6)).collect();
        let tabs = state.tabs.iter().map(|_| take(true, 7)).collect();
        let flags = state.flags.iter().map(|_| take(true, 4)).collect();
        let lines = state.lines.iter().map(|_| take(true, 4)).collect();
        let cords = state.cords.iter().map(|_| take(true, 6)).collect();
        let faces = state.faces.iter().map(|_| take(true, 3)).collect();
        Self { lenses, print, sheets, cards, bodies, tabs, flags, lines, cords, faces, n }
    }
}

impl State {
    /// Unknowns of one view.
    pub fn view_size(&self, view: usize) -> usize {
        N_VIEW + 3 * self.views[view].flag_turns.len()
    }

    /// Adds a step to one view's unknowns, in the order of [`N_VIEW`] and then its flags' turns.
    pub fn nudge_view(&mut self, view: usize, step: &[f64]) {
        let view = &mut self.views[view];
        view.camera_from_world = view.camera_from_world.nudged(&vector(step), &vector(&step[3..]));
        view.log_zoom += step[6];
        view.shift[0] += step[7];
        view.shift[1] += step[8];
        view.sweep.turn += vector(&step[SWEEP..]);
        view.sweep.shift += vector(&step[SWEEP + 3..]);
        for (turn, part) in view.flag_turns.iter_mut().zip(step[N_VIEW..].chunks_exact(3)) {
            *turn = orthonormal(&(exp(&vector(part)) * *turn));
        }
    }

    /// Adds a step to the kept unknowns.
    pub fn nudge_kept(&mut self, slots: &Slots, step: &[f64]) {
        for (lens, &slot) in self.lenses.iter_mut().zip(&slots.lenses) {
            let mut values = lens.to_array();
            for (value, change) in values.iter_mut().zip(&step[slot..]) {
                *value += change;
            }
            *lens = Lens::from_array(values);
        }
        self.print[0] += step[slots.print];
        self.print[1] += step[slots.print + 1];
        for (sheet, &slot) in self.sheets.iter_mut().zip(&slots.sheets) {
            for i in 0..2 {
                sheet.scale[i] += step[slot + i];
                sheet.bow[i] += step[slot + 2 + i];
            }
        }
        for (card, &slot) in self.cards.iter_mut().zip(&slots.cards) {
            nudge_pose(&mut card.world_from_card, slot, step);
        }
        for (body, &slot) in self.bodies.iter_mut().zip(&slots.bodies) {
            nudge_pose(&mut body.world_from_body, slot, step);
        }
        for (tab, &slot) in self.tabs.iter_mut().zip(&slots.tabs) {
            nudge_pose(&mut tab.carrier_from_tab, slot, step);
            tab.scale += step[slot + 6];
        }
        for (flag, &slot) in self.flags.iter_mut().zip(&slots.flags) {
            flag.centre += vector(&step[slot..]);
            flag.scale += step[slot + 3];
        }
        for (line, &slot) in self.lines.iter_mut().zip(&slots.lines) {
            let [a, b] = line_axes(&line.direction);
            line.point += a * step[slot] + b * step[slot + 1];
            line.direction = (line.direction + a * step[slot + 2] + b * step[slot + 3]).normalize();
        }
        for (cord, &slot) in self.cords.iter_mut().zip(&slots.cords) {
            for i in 0..3 {
                cord.y[i] += step[slot + i];
                cord.z[i] += step[slot + 3 + i];
            }
        }
        for (face, &slot) in self.faces.iter_mut().zip(&slots.faces) {
            let [a, b] = line_axes(&face.normal);
            // The plane turns about its point near the tabs: the point's distance changes by the
            // third unknown alone.
            let distance = face.normal.dot(&face.about) - face.offset - step[slot + 2];
            face.normal = (face.normal + a * step[slot] + b * step[slot + 1]).normalize();
            face.offset = face.normal.dot(&face.about) - distance;
        }
    }
}

/// Two unit vectors at right angles to a direction and to each other; the same for the same
/// direction.
pub fn line_axes(direction: &Vector3<f64>) -> [Vector3<f64>; 2] {
    let a = any_normal(direction);
    [a, direction.cross(&a)]
}

fn vector(values: &[f64]) -> Vector3<f64> {
    Vector3::new(values[0], values[1], values[2])
}

fn nudge_pose(pose: &mut Rigid, slot: usize, step: &[f64]) {
    if slot != FIXED {
        *pose = pose.nudged(&vector(&step[slot..]), &vector(&step[slot + 3..]));
    }
}
