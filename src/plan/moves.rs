//! What moving a part does to the figures, as rigid geometry in the bench's ground plan.
//!
//! Ground plan: x forward along the cord, y to the left. A yaw of psi (+ front to the left) turns a
//! wheel's forward direction to (cos psi, sin psi) and its axis, pointing left, to (-sin psi, cos
//! psi). s is +1 where the chain runs on the left, else -1, so that s times the axis points
//! outboard on the chain's side. Lean stays as it is and shortens nothing that matters here
//! (1 - cos of a degree).

use std::collections::BTreeMap;

use super::foreseen::Values;
use crate::bench::Figures;
use crate::figure::measured::RimFigure;
use crate::figure::{Figure, Side};
use crate::measurement::Measurement;

/// A part moved by a stated amount: lengths in mm, angles in radians.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Move {
    /// The frame, with all that is in it, is hung over the cord again: it goes back by its offset
    /// (mm, + left) and its yaw.
    Rehang { offset: f64, yaw: f64 },
    /// The spindle turns about the end that is not drawn; wheel, rim and rear sprocket turn with
    /// it. + turns the front left.
    Turn { angle: f64, about: Side },
    /// Wheel, rim and rear sprocket slide along the spindle; + is outboard on the chain's side.
    SlideWheel { outboard: f64 },
    /// The rear sprocket alone moves along the axis; + is outboard.
    PackSprocket { outboard: f64 },
    /// The gearbox sprocket moves along its own axis; + is outboard.
    ShimGearbox { outboard: f64 },
    /// The rim moves along the axis by its spokes, the hub stays; + is left.
    ShiftRim { left: f64 },
}

/// Where things stand that a step turns or slides. Fixed numbers: their own uncertainty enters only
/// through the square of a small angle, but for the distance between the sprockets, which is a
/// figure of its own.
#[derive(Clone, Debug, PartialEq)]
pub struct Places {
    pub chain_sign: f64,
    /// y of where the adjusters hold the spindle, left and right.
    adjusters: [f64; 2],
    rear_sprocket_y: Option<f64>,
    /// Ground-plan share of the distance between the sprockets' centres: 1 where they stand
    /// equally high.
    level_share: f64,
    hub_face: Option<Side>,
    rims: Vec<RimPlace>,
    /// The foremost and the rearmost place along the cord at which the rim's mark was measured, mm
    /// forward of the axle.
    marks: Option<[f64; 2]>,
}

#[derive(Clone, Debug, PartialEq)]
struct RimPlace {
    field: Figure,
    sign: f64,
    x: Option<f64>,
}

fn rim_place(rim: &RimFigure) -> RimPlace {
    let field = Figure::RimOffset(rim.at.clone());
    RimPlace { field, sign: rim.at.side.sign(), x: rim.facts.x }
}

/// Half the distance between adjusters where it is not known, mm (common practice, no source). What
/// depends on it: the distance between the sprockets by a share of a millimetre, all else by the
/// square of a small angle.
const HALF_SPACING: f64 = 105.0;

impl Places {
    /// From the figures, the chain's side, and the distance between the adjusters where the job
    /// gives it.
    pub fn of(input: &Figures, chain_side: Side, spacing_mm: Option<f64>) -> Self {
        let end = |figure: Option<Measurement>| {
            figure.map(|figure| figure.value).filter(|out| out.is_finite())
        };
        let ends = end(input.get(&Figure::SpindleLeft)).zip(end(input.get(&Figure::SpindleRight)));
        let (middle, half_ends) = ends.map_or((0.0, None), |(left, right)| {
            ((left - right) / 2.0, Some((left + right) / 2.0))
        });
        let half = spacing_mm.map(|spacing| spacing / 2.0).or(half_ends).unwrap_or(HALF_SPACING);
        let level_share = match (input.layout.rear_sprocket, input.layout.gearbox_sprocket) {
            (Some(rear), Some(gearbox)) => {
                let [dx, dy, dz] = [0, 1, 2].map(|axis| gearbox[axis] - rear[axis]);
                let share = dx.hypot(dy) / dx.hypot(dy).hypot(dz);
                // A chain that runs steeper than 1 in 2 belongs to no motorcycle: then the layout
                // is wrong and reports nothing.
                if share > 0.89 { share } else { 1.0 }
            }
            _ => 1.0,
        };
        let all = input.measured.rims();
        let rims = all.iter().filter(|rim| rim.at.is_rear());
        Self {
            chain_sign: chain_side.sign(),
            adjusters: [middle + half, middle - half],
            rear_sprocket_y: input
                .layout
                .rear_sprocket
                .map(|centre| centre[1])
                .filter(|y| y.is_finite()),
            level_share,
            hub_face: input.measured.facts.hub_side,
            rims: rims.map(rim_place).collect(),
            marks: marks(&all),
        }
    }

    /// How far forward of the axle the offset at the mark holds, mm: half-way between the marks,
    /// which is at the axle where they are half a turn apart.
    fn mark_x(&self) -> f64 {
        self.marks.map_or(0.0, |[front, rear]| (front + rear) / 2.0)
    }

    fn adjuster(&self, side: Side) -> f64 {
        match side {
            Side::Left => self.adjusters[0],
            Side::Right => self.adjusters[1],
        }
    }

    /// The way from the rear sprocket's centre to the gearbox's, as far as it runs forward in the
    /// ground plan, mm: of the distance between centres one part is a difference in height, one
    /// is the chain line's offset.
    fn forward(&self, centres: f64, out: f64) -> f64 {
        (centres * centres - out * out).max(0.0).sqrt() * self.level_share
    }

    /// The distance between centres that belongs to a way forward and an offset, the difference in
    /// height staying as it is.
    fn centres(&self, forward: f64, out: f64) -> f64 {
        (forward / self.level_share).hypot(out)
    }

    /// Rims whose place along the cord is not known: where turning takes them can't be said.
    pub fn rims_without_place(&self) -> impl Iterator<Item = &Figure> {
        self.rims.iter().filter(|rim| rim.x.is_none()).map(|rim| &rim.field)
    }
}

/// The foremost and the rearmost place of the mark, as the bench takes them for the offset at the
/// mark; None without two set-ups that show it on both sides.
fn marks(rims: &[RimFigure]) -> Option<[f64; 2]> {
    let mut places: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for rim in rims.iter().filter(|rim| rim.at.is_rear_mark()) {
        places.entry(&rim.at.setup).or_default().extend(rim.facts.x.filter(|x| x.is_finite()));
    }
    let places: Vec<f64> = places
        .values()
        .filter(|sides| sides.len() == 2)
        .map(|sides| (sides[0] + sides[1]) / 2.0)
        .collect();
    let front = places.iter().copied().reduce(f64::max)?;
    let rear = places.iter().copied().reduce(f64::min)?;
    (places.len() > 1).then_some([front, rear])
}

impl Move {
    /// Moves the figures by the stated amount and by an error in each of its numbers, in the order
    /// in which they stand.
    pub fn carry(self, places: &Places, values: &mut Values, errors: &[f64]) {
        let error = errors.first().copied().unwrap_or(0.0);
        let second = errors.get(1).copied().unwrap_or(0.0);
        match self {
            Self::Rehang { offset, yaw } => rehang(places, values, offset + error, yaw + second),
            Self::Turn { angle, about } => turn(places, values, angle + error, about),
            Self::SlideWheel { outboard } => slide_wheel(places, values, outboard + error),
            Self::PackSprocket { outboard } => pack_sprocket(places, values, outboard + error),
            Self::ShimGearbox { outboard } => shim_gearbox(places, values, outboard + error),
            Self::ShiftRim { left } => shift_rim(places, values, left + error),
        }
    }
}

/// A figure in degrees as radians; zero where it is not there.
fn radians(values: &Values, field: &Figure) -> f64 {
    values.get(field).unwrap_or(0.0).to_radians()
}

/// The wheel's yaw over the cord, radians, by the best figure there is.
fn wheel_yaw(values: &Values) -> f64 {
    let yaw =
        values.get(&Figure::WheelYaw).or(values.get(&Figure::WheelYawFromOffsets)).unwrap_or(0.0);
    yaw.to_radians()
}

/// The rim's mid-plane at the axle, mm to the left of the cord, by the best figure there is.
fn wheel_offset(values: &Values) -> f64 {
    values.get(&Figure::WheelOffset).or(values.get(&Figure::WheelOffsetAtMark)).unwrap_or(0.0)
}

/// A point of the ground plan turned about another.
fn turned(point: [f64; 2], about: [f64; 2], angle: f64) -> [f64; 2] {
    let (sin, cos) = angle.sin_cos();
    let [x, y] = [point[0] - about[0], point[1] - about[1]];
    [about[0] + cos * x - sin * y, about[1] + sin * x + cos * y]
}

/// The rim's marks turn with the wheel: the front one goes sideways by more than the rear one.
fn turn_toe(places: &Places, values: &mut Values, angle: f64) {
    if let (Some([front, rear]), Some(toe)) = (places.marks, values.get(&Figure::WheelToe)) {
        values.set(&Figure::WheelToe, turned([front - rear, toe], [0.0, 0.0], angle)[1]);
    }
}

fn rehang(places: &Places, values: &mut Values, offset: f64, yaw: f64) {
    // The frame's centre plane crosses the axle's line at (0, offset): everything turns about that
    // point and comes to the cord.
    let carried = |x: f64, y: f64| turned([x, y], [0.0, offset], -yaw)[1] - offset;
    for (wheel, x) in [(&Figure::WheelOffset, 0.0), (&Figure::WheelOffsetAtMark, places.mark_x())] {
        if let Some(y) = values.get(wheel) {
            values.set(wheel, carried(x, y));
        }
    }
    for rim in &places.rims {
        if let (Some(x), Some(out)) = (rim.x, values.get(&rim.field)) {
            values.set(&rim.field, rim.sign * carried(x, rim.sign * out));
        }
    }
    turn_toe(places, values, -yaw);
    values.add(&Figure::FrameOffset, -offset);
    for angle in [&Figure::FrameYaw, &Figure::WheelYaw, &Figure::WheelYawFromOffsets] {
        values.add(angle, -yaw.to_degrees());
    }
}

fn turn(places: &Places, values: &mut Values, angle: f64, about: Side) {
    let (yaw, offset) = (wheel_yaw(values), wheel_offset(values));
    let pivot_y = places.adjuster(about);
    let pivot = [-(pivot_y - offset) * yaw.tan(), pivot_y];
    let axle = turned([0.0, offset], pivot, angle);
    let sideways = axle[1] - offset;
    turn_chain(places, values, angle, (pivot_y, yaw));
    let frame_slope = radians(values, &Figure::FrameYaw).tan();
    values.add(&Figure::WheelOffset, sideways);
    if let Some(y) = values.get(&Figure::WheelOffsetAtMark) {
        values.set(&Figure::WheelOffsetAtMark, turned([places.mark_x(), y], pivot, angle)[1]);
    }
    turn_toe(places, values, angle);
    values.add(&Figure::WheelInFrameOffset, sideways - frame_slope * axle[0]);
    // The frame's offset is given at the axle, where that is now.
    values.add(&Figure::FrameOffset, frame_slope * axle[0]);
    for rim in &places.rims {
        if let (Some(x), Some(out)) = (rim.x, values.get(&rim.field)) {
            values.set(&rim.field, rim.sign * turned([x, rim.sign * out], pivot, angle)[1]);
        }
    }
    for figure in [&Figure::WheelYaw, &Figure::WheelYawFromOffsets, &Figure::WheelInFrameYaw] {
        values.add(figure, angle.to_degrees());
    }
}

/// With n the outboard axis, v the way from the rear sprocket's centre to the gearbox's, f forward
/// in the rear plane, D = v f and q the sprocket's place along n from the pivot, turning by d gives
///   n' v' = (n v) cos d - s D sin d - q (1 - cos d),    f' v' = D cos d + s (n v + q) sin d.
/// Seen from the gearbox, c its yaw to the rear, only the rear sprocket's centre moves: q (1 - cos
/// d) cos c - q sin d sin c.
fn turn_chain(places: &Places, values: &mut Values, angle: f64, (pivot_y, yaw): (f64, f64)) {
    let (s, (sin, cos)) = (places.chain_sign, angle.sin_cos());
    let q = places.rear_sprocket_y.map_or(0.0, |y| s * (y - pivot_y) / yaw.cos());
    let chain_yaw = radians(values, &Figure::ChainYaw);
    values.add(&Figure::ChainAtRear, q * (1.0 - cos) * chain_yaw.cos() - q * sin * chain_yaw.sin());
    if let (Some(centres), Some(out)) =
        (values.get(&Figure::ChainCentres), values.get(&Figure::ChainAtGearbox))
    {
        let forward = places.forward(centres, out);
        let out_after = out * cos - s * forward * sin - q * (1.0 - cos);
        values.set(&Figure::ChainAtGearbox, out_after);
        values.set(
            &Figure::ChainCentres,
            places.centres(forward * cos + s * (out + q) * sin, out_after),
        );
    }
    values.add(&Figure::ChainYaw, -angle.to_degrees());
}

/// The rim's part of a slide along the axis: all that is measured from the cord or the frame.
fn slide_rim(places: &Places, values: &mut Values, left: f64) {
    let yaw = wheel_yaw(values);
    let sideways = left * yaw.cos();
    let frame_slope = radians(values, &Figure::FrameYaw).tan();
    values.add(&Figure::WheelOffset, sideways);
    values.add(&Figure::WheelOffsetAtMark, sideways);
    values.add(&Figure::WheelInFrameOffset, sideways + frame_slope * left * yaw.sin());
    values.add(&Figure::FrameOffset, -frame_slope * left * yaw.sin());
    for rim in &places.rims {
        values.add(&rim.field, rim.sign * sideways);
    }
}

fn slide_wheel(places: &Places, values: &mut Values, outboard: f64) {
    slide_rim(places, values, places.chain_sign * outboard);
    pack_sprocket(places, values, outboard);
}

fn pack_sprocket(places: &Places, values: &mut Values, outboard: f64) {
    let across = radians(values, &Figure::ChainYaw).cos();
    values.add(&Figure::ChainAtRear, -outboard * across);
    shift_chain(places, values, [0.0, -outboard]);
}

fn shim_gearbox(places: &Places, values: &mut Values, outboard: f64) {
    let (sin, cos) = radians(values, &Figure::ChainYaw).sin_cos();
    values.add(&Figure::ChainAtRear, outboard);
    shift_chain(places, values, [-places.chain_sign * outboard * sin, outboard * cos]);
}

/// The gearbox sprocket's centre goes this far forward and outboard as the rear sprocket sees it.
fn shift_chain(places: &Places, values: &mut Values, [forward, outboard]: [f64; 2]) {
    let Some(out) = values.get(&Figure::ChainAtGearbox) else { return };
    if let Some(centres) = values.get(&Figure::ChainCentres) {
        let forward_after = places.forward(centres, out) + forward;
        values.set(&Figure::ChainCentres, places.centres(forward_after, out + outboard));
    }
    values.add(&Figure::ChainAtGearbox, outboard);
}

fn shift_rim(places: &Places, values: &mut Values, left: f64) {
    slide_rim(places, values, left);
    if let Some(face) = places.hub_face {
        values.add(&Figure::RimFromFace, face.sign() * left);
    }
}
