//! The unknowns: where everything is, how the lens draws and how large the prints are.
//!
//! World frame: millimetres, near to the bench frame (x along the row of cards, z up), held still
//! by one card whose pose is not an unknown. Pattern frame: see `cards::pattern`. A motion named
//! `a_from_b` takes coordinates from frame b to frame a. Unknowns come in two kinds: those of one
//! view (camera pose, lens drift, how flags hang), which are eliminated one view at a time, and the
//! kept ones, numbered by [`Slots`].

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::camera::{Lens, lens::N_LENS};
use crate::math::Rigid;
use crate::math::rigid::{any_normal, exp, orthonormal};
use crate::sightings::StringKind;

/// Unknowns of one view before its flags: turn (3), shift (3), log zoom, principal point (2), sweep
/// (6).
pub const N_VIEW: usize = 15;
/// Where the sweep's turn and shift stand among them.
pub const SWEEP: usize = 9;

/// How a camera moves while a photo's rows are read out one after another (rolling shutter), in its
/// own frame: by how much over the whole picture. The middle row sees it where its pose has it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sweep {
    /// Rotation vector, radians.
    pub turn: Vector3<f64>,
    /// mm.
    pub shift: Vector3<f64>,
}

impl Sweep {
    /// A point of the middle row's camera frame, as the camera has it at `time`. Turns are a
    /// thousandth: their cubes are nothing.
    fn at(&self, time: f64, p: &Vector3<f64>) -> Vector3<f64> {
        let turn = self.turn * time;
        let by = turn.cross(p);
        p + by + turn.cross(&by) / 2.0 + self.shift * time
    }

    fn is_none(&self) -> bool {
        *self == Self::default()
    }
}

/// One photo's camera.
#[derive(Clone, Debug)]
pub struct View {
    /// Index into `State::lenses`.
    pub lens: usize,
    /// Index of the set-up.
    pub setup: usize,
    pub camera_from_world: Rigid,
    /// Refocusing since the common lens: factor exp(log_zoom) on both focal lengths.
    pub log_zoom: f64,
    /// Shift of the principal point since the common lens, px.
    pub shift: [f64; 2],
    pub sweep: Sweep,
    /// Width and height of the picture, px.
    pub size: [f64; 2],
    /// world_from_flag rotations of the flags seen here, in the order of the view's flag list.
    pub flag_turns: Vec<Matrix3<f64>>,
}

impl View {
    /// The ray of a pixel in the world: where the camera stands, and the direction (not of unit
    /// length). None where the lens does not reach.
    pub fn ray(&self, lens: &Lens, pixel: &Vector2<f64>) -> Option<(Vector3<f64>, Vector3<f64>)> {
        let world_from_camera = self.camera_from_world.inverse();
        if self.sweep.is_none() {
            return Some((world_from_camera.t, world_from_camera.r * lens.direction(pixel)?));
        }
        let time = self.time(pixel);
        let turned_back = exp(&(self.sweep.turn * -time));
        let eye = turned_back * (self.sweep.shift * -time);
        Some((
            world_from_camera.apply(&eye),
            world_from_camera.r * (turned_back * lens.direction(pixel)?),
        ))
    }

    /// A camera that holds still.
    pub fn still(lens: usize, setup: usize, camera_from_world: Rigid, size: [usize; 2]) -> Self {
        let size = size.map(|side| side as f64);
        Self {
            lens,
            setup,
            camera_from_world,
            log_zoom: 0.0,
            shift: [0.0; 2],
            sweep: Sweep::default(),
            size,
            flag_turns: Vec::new(),
        }
    }

    /// When a pixel's row is read, from -1/2 to 1/2 over the picture. A sensor's rows lie along its
    /// longer side.
    pub fn time(&self, pixel: &Vector2<f64>) -> f64 {
        let [width, height] = self.size;
        if width >= height { (pixel.y + 0.5) / height - 0.5 } else { (pixel.x + 0.5) / width - 0.5 }
    }

    /// A point of the world in the camera's frame when the row is read that shows it, and that
    /// time; None where it has no picture.
    pub fn in_camera(&self, lens: &Lens, world: &Vector3<f64>) -> Option<(Vector3<f64>, f64)> {
        let middle = self.camera_from_world.apply(world);
        // A sweep moves a pixel by a thousandth of the picture: the time of the row where it would
        // be without is right to that.
        let time = self.time(&lens.project(&middle)?);
        Some((if self.sweep.is_none() { middle } else { self.sweep.at(time, &middle) }, time))
    }

    /// Pixel of a point of the world; None where it has no picture.
    pub fn project(&self, lens: &Lens, world: &Vector3<f64>) -> Option<Vector2<f64>> {
        lens.project(&self.in_camera(lens, world)?.0)
    }
}

/// One printed sheet.
#[derive(Clone, Debug)]
pub struct Sheet {
    pub number: u8,
    /// This sheet's print scale over the common one, minus 1, along (pattern x) and across
    /// (pattern y).
    pub scale: [f64; 2],
    /// Board bow: height of the middle over the edges along x and along y, mm.
    pub bow: [f64; 2],
}

/// On what a card lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ground {
    /// On the bench, where it stays.
    Bench,
    /// Wherever the cards lie of which the photos of this set-up were taken for the lens alone.
    LensOnly(usize),
    /// On the bench in this set-up, and elsewhere on it in others: it was moved.
    BenchIn(usize),
}

/// One place where a sheet lies.
#[derive(Clone, Debug)]
pub struct Card {
    /// Index into `State::sheets`.
    pub sheet: usize,
    pub world_from_card: Rigid,
    pub ground: Ground,
    /// The card that holds the world frame still.
    pub fixed: bool,
}

/// A rigid body that may turn between set-ups, in one set-up.
#[derive(Clone, Debug)]
pub struct Body {
    pub kind: u8,
    pub setup: usize,
    /// Where the body has gone since its first set-up: world_from_body, the identity in the first.
    pub world_from_body: Rigid,
    /// The first set-up's body holds the body frame still.
    pub fixed: bool,
}

/// What carries a tab.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Carrier {
    /// Stays where it is in all set-ups.
    Still,
    /// Fixed to the turning body of this kind.
    Turning(u8),
}

/// A tab's place on its carrier.
#[derive(Clone, Debug)]
pub struct Tab {
    pub number: u8,
    pub carrier: Carrier,
    /// Set when the tab was told apart between set-ups (it moved although it should not): valid in
    /// this set-up only.
    pub only_setup: Option<usize>,
    /// carrier_from_tab; for a still carrier the world.
    pub carrier_from_tab: Rigid,
    /// Side of a cell as the job has it, mm.
    pub pitch: f64,
    /// This print's scale over the common one, minus 1.
    pub scale: f64,
}

/// A tab that hangs on a line: only its centre is the same in all photos.
#[derive(Clone, Debug)]
pub struct Flag {
    pub number: u8,
    /// Index into `State::lines`.
    pub line: usize,
    pub centre: Vector3<f64>,
    pub pitch: f64,
    pub scale: f64,
}

/// A straight line: plumb line or backbone cord.
#[derive(Clone, Debug)]
pub struct Line {
    pub kind: StringKind,
    pub point: Vector3<f64>,
    /// Unit vector.
    pub direction: Vector3<f64>,
}

impl Line {
    /// The point of the line nearest to `p`.
    pub fn foot(&self, p: &Vector3<f64>) -> Vector3<f64> {
        self.point + self.direction * (p - self.point).dot(&self.direction)
    }
}

/// The datum cord in one set-up: y and z as polynomials of s = (x - middle) / half length.
#[derive(Clone, Debug)]
pub struct Cord {
    pub setup: usize,
    pub middle: f64,
    pub half: f64,
    /// y0, y1, y2 (mm): y = y0 + y1 s + y2 (s^2 - 1/3).
    pub y: [f64; 3],
    /// z0, z1, z2 (mm), z2 being the sag.
    pub z: [f64; 3],
}

impl Cord {
    pub fn at(&self, x: f64) -> Vector3<f64> {
        let b = self.basis(x);
        let value = |c: &[f64; 3]| c[0] * b[0] + c[1] * b[1] + c[2] * b[2];
        Vector3::new(x, value(&self.y), value(&self.z))
    }

    /// The polynomial's three terms at x; the last is free of the first over the whole length.
    pub fn basis(&self, x: f64) -> [f64; 3] {
        let s = (x - self.middle) / self.half;
        [1.0, s, s * s - 1.0 / 3.0]
    }

    pub fn slope(&self, x: f64) -> Vector3<f64> {
        let s = (x - self.middle) / self.half;
        let value = |c: &[f64; 3]| (c[1] + 2.0 * c[2] * s) / self.half;
        Vector3::new(1.0, value(&self.y), value(&self.z))
    }
}

/// A face on which several tabs of one carrier are stuck: normal . p = offset, in the carrier's
/// frame.
#[derive(Clone, Debug)]
pub struct Face {
    pub name: String,
    /// Indices into `State::tabs`.
    pub tabs: Vec<usize>,
    pub normal: Vector3<f64>,
    /// mm; of the patterns' plane, not of the metal behind the paper.
    pub offset: f64,
    /// A point near the tabs about which the plane's unknowns are told, so that they stay apart.
    pub about: Vector3<f64>,
}

/// Everything unknown.
#[derive(Clone, Debug, Default)]
pub struct State {
    pub lenses: Vec<Lens>,
    pub views: Vec<View>,
    /// Printed over designed size, along and across, common to all sheets.
    pub print: [f64; 2],
    pub sheets: Vec<Sheet>,
    pub cards: Vec<Card>,
    pub bodies: Vec<Body>,
    pub tabs: Vec<Tab>,
    pub flags: Vec<Flag>,
    pub lines: Vec<Line>,
    pub cords: Vec<Cord>,
    pub faces: Vec<Face>,
}

/// Where each kept unknown stands in the vector of kept unknowns. `usize::MAX` marks what is held
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

    /// The lens of one view, drifted as that view found it.
    pub fn lens_of(&self, view: &View) -> Lens {
        self.lenses[view.lens].drifted(view.log_zoom, view.shift)
    }

    /// The turning body of a kind in a set-up.
    pub fn body(&self, kind: u8, setup: usize) -> Option<usize> {
        self.bodies.iter().position(|body| body.kind == kind && body.setup == setup)
    }

    /// world_from_tab in a set-up; None when the tab's carrier was not seen there.
    pub fn world_from_tab(&self, tab: &Tab, setup: usize) -> Option<Rigid> {
        match tab.carrier {
            Carrier::Still => Some(tab.carrier_from_tab),
            Carrier::Turning(kind) => self
                .body(kind, setup)
                .map(|body| self.bodies[body].world_from_body.then(&tab.carrier_from_tab)),
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sensors_rows_lie_along_the_longer_side() {
        let pose = Rigid::new(Matrix3::identity(), Vector3::zeros());
        let (wide, tall) =
            (View::still(0, 0, pose, [400, 300]), View::still(0, 0, pose, [300, 400]));
        assert_eq!(wide.time(&Vector2::new(7.0, 299.5)), 0.5);
        assert_eq!(tall.time(&Vector2::new(-0.5, 7.0)), -0.5);
    }
}
