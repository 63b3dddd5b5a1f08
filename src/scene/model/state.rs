//! The unknowns: where everything is, how the lens draws and how large the prints are.
//!
//! World frame: millimetres, near to the bench frame (x along the row of cards, z up), held still
//! by one card whose pose is not an unknown. Pattern frame: see `cards::pattern`. A motion named
//! `a_from_b` takes coordinates from frame b to frame a.

use nalgebra::Vector3;

use crate::camera::Lens;
use crate::math::Rigid;
use crate::sightings::StringKind;

use super::view::View;

pub fn mean_card_height(state: &State) -> f64 {
    let heights: Vec<f64> = state.cards.iter().map(|c| c.world_from_card.t.z).collect();
    crate::math::robust::median(&heights).unwrap_or(0.0)
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
    /// Wherever the cards lie in a set-up whose photos were taken for the lens alone.
    LensOnly(usize),
    /// On the bench in this set-up, and at other places on it in others: it was moved.
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

/// What may turn between set-ups. The scene only keeps them apart, and names them in findings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum TurningPart {
    Wheel,
    Gearbox,
    FrontWheel,
}

impl TurningPart {
    pub const ALL: [Self; 3] = [Self::Wheel, Self::Gearbox, Self::FrontWheel];

    /// What a finding calls it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Wheel | Self::FrontWheel => "wheel",
            Self::Gearbox => "gearbox sprocket",
        }
    }
}

/// A rigid body that may turn between set-ups, in one set-up.
#[derive(Clone, Debug)]
pub struct Body {
    pub part: TurningPart,
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
    /// Fixed to this turning body.
    Turning(TurningPart),
}

/// A tab's place on its carrier.
#[derive(Clone, Debug)]
pub struct Tab {
    pub number: u8,
    pub carrier: Carrier,
    /// Set when the tab was split between set-ups (it moved although it should not): valid in
    /// this set-up only.
    pub only_setup: Option<usize>,
    /// carrier_from_tab; for a still carrier the world.
    pub carrier_from_tab: Rigid,
    /// Side of a cell as the job has it, mm.
    pub pitch: f64,
    /// This print's scale over the common one, minus 1.
    pub scale: f64,
}

impl Tab {
    /// A tab printed as large as the others.
    pub fn new(
        number: u8,
        carrier: Carrier,
        only_setup: Option<usize>,
        carrier_from_tab: Rigid,
        pitch: f64,
    ) -> Self {
        Self { number, carrier, only_setup, carrier_from_tab, pitch, scale: 0.0 }
    }
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
    /// How much farther off the plane the pattern of each of them stands by what it is glued to,
    /// mm.
    pub backings: Vec<f64>,
    /// How many times as far off the plane as is usual its tabs lie, by their photos; 1 at least.
    pub roughness: f64,
    pub normal: Vector3<f64>,
    /// mm; of the plane of patterns without a backing, not of the metal behind the paper.
    pub offset: f64,
    /// A point near the tabs about which the plane's unknowns are counted, so that they stay apart.
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

impl State {
    /// The lens of one view, drifted as that view found it.
    pub fn lens_of(&self, view: &View) -> Lens {
        self.lenses[view.lens].drifted(view.log_zoom, view.shift)
    }

    /// The turning body of a part in a set-up.
    pub fn body(&self, part: TurningPart, setup: usize) -> Option<usize> {
        self.bodies.iter().position(|body| body.part == part && body.setup == setup)
    }

    /// The same scene, all of it `by` times as large: no photo of it would differ.
    pub fn enlarged(&self, by: f64) -> Self {
        let mut all = self.clone();
        let grow = |pose: &mut Rigid| pose.t *= by;
        all.views.iter_mut().for_each(|view| {
            grow(&mut view.camera_from_world);
            view.sweep.shift *= by;
        });
        all.print = all.print.map(|print| print * by);
        all.sheets.iter_mut().for_each(|sheet| sheet.bow = sheet.bow.map(|bow| bow * by));
        all.cards.iter_mut().for_each(|card| grow(&mut card.world_from_card));
        all.bodies.iter_mut().for_each(|body| grow(&mut body.world_from_body));
        all.tabs.iter_mut().for_each(|tab| grow(&mut tab.carrier_from_tab));
        all.flags.iter_mut().for_each(|flag| flag.centre *= by);
        all.lines.iter_mut().for_each(|line| line.point *= by);
        for cord in &mut all.cords {
            cord.middle *= by;
            cord.half *= by;
            cord.y = cord.y.map(|y| y * by);
            cord.z = cord.z.map(|z| z * by);
        }
        for face in &mut all.faces {
            face.offset *= by;
            face.about *= by;
        }
        all
    }

    /// world_from_tab in a set-up; None when the tab's carrier was not seen there.
    pub fn world_from_tab(&self, tab: &Tab, setup: usize) -> Option<Rigid> {
        match tab.carrier {
            Carrier::Still => Some(tab.carrier_from_tab),
            Carrier::Turning(part) => self
                .body(part, setup)
                .map(|body| self.bodies[body].world_from_body.then(&tab.carrier_from_tab)),
        }
    }
}
