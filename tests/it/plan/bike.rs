//! A bike as rigid bodies in space, to try the plan on: fork ends in a frame that hangs over the
//! cord, a spindle between them, on it a hub with rim and rear sprocket, and a gearbox sprocket in
//! the frame. Written for the tests alone, in three dimensions and from the definitions of the
//! figures, so that it shares nothing with the plan's own geometry.

#![allow(dead_code, reason = "each test file that includes this module uses its own part of it")]

use nalgebra::{Rotation3, Unit, Vector3};
use sightcord::bench::Figures;
use sightcord::bench::figures::Layout;
use sightcord::figure::facts::{ChainReference, RimFacts, Station, WheelSource};
use sightcord::figure::table::Correlation;
use sightcord::figure::{Figure, RimPlace, Side};
use sightcord::job::SpacerKind;
use sightcord::measurement::{Measurement, Quality};
use sightcord::plan::PlanSettings;
use sightcord::plan::outcome::{Direction, PlanStep, StepKind};

/// World and frame: x forward, y left, z up; the cord runs along y = 0. Lengths mm, angles degrees.
#[derive(Clone, Debug)]
pub struct Bike {
    pub chain_side: Side,
    /// The frame's centre plane at the frame's own origin, and its yaw over the cord.
    pub frame_offset: f64,
    pub frame_yaw: f64,
    /// Adjusters across the frame, and how far forward of the frame's origin each fork end holds
    /// the spindle.
    pub spacing: f64,
    pub fork_left_x: f64,
    pub fork_right_x: f64,
    /// Heights of the spindle where the fork ends hold it.
    pub fork_left_z: f64,
    pub fork_right_z: f64,
    /// From the right fork end along the spindle to the hub's middle, and how far the spindle
    /// sticks out on either side.
    pub hub_along: f64,
    pub overhang: f64,
    /// Rim: its mid-plane from the hub's middle along the axis (+ left), width and radius.
    pub rim_along: f64,
    pub rim_width: f64,
    pub rim_radius: f64,
    /// Rear sprocket's outside face from the hub's middle, + outboard.
    pub sprocket_out: f64,
    /// Hub reference face: its side, and how far outboard of the hub's middle it lies.
    pub face_side: Side,
    pub face_out: f64,
    /// Gearbox sprocket's face centre in the frame, and its axis' yaw and lean to the frame.
    pub gearbox: [f64; 3],
    pub gearbox_yaw: f64,
    pub gearbox_lean: f64,
    /// Where the marked place stands in the two set-ups: angle about the axle from straight ahead,
    /// + upwards.
    pub marks_deg: [f64; 2],
    /// Whether frame, hub face and spindle ends were measured.
    pub frame_seen: bool,
    pub face_seen: bool,
}

impl Bike {
    /// A bike that is true in everything.
    pub fn straight(chain_side: Side) -> Self {
        let s = chain_side.sign();
        Self {
            chain_side,
            frame_offset: 0.0,
            frame_yaw: 0.0,
            spacing: 210.0,
            fork_left_x: 0.0,
            fork_right_x: 0.0,
            fork_left_z: 330.0,
            fork_right_z: 330.0,
            hub_along: 105.0,
            overhang: 14.0,
            rim_along: 0.0,
            rim_width: 60.0,
            rim_radius: 245.0,
            sprocket_out: 68.0,
            face_side: chain_side.other(),
            face_out: 55.0,
            gearbox: [560.0, s * 68.0, 352.0],
            gearbox_yaw: 0.0,
            gearbox_lean: 0.0,
            marks_deg: [8.0, 172.0],
            frame_seen: true,
            face_seen: true,
        }
    }

    fn in_world(&self, point: Vector3<f64>) -> Vector3<f64> {
        self.frame_turn() * point + Vector3::new(0.0, self.frame_offset, 0.0)
    }

    fn frame_turn(&self) -> Rotation3<f64> {
        Rotation3::from_axis_angle(&Vector3::z_axis(), self.frame_yaw.to_radians())
    }

    fn fork_ends(&self) -> (Vector3<f64>, Vector3<f64>) {
        let left = Vector3::new(self.fork_left_x, self.spacing / 2.0, self.fork_left_z);
        let right = Vector3::new(self.fork_right_x, -self.spacing / 2.0, self.fork_right_z);
        (self.in_world(left), self.in_world(right))
    }

    /// Everything about the wheel, in the world: axis pointing left, hub's middle, rim's centre,
    /// rear sprocket's centre.
    fn wheel(&self) -> Wheel {
        let (left, right) = self.fork_ends();
        let axis = (left - right).normalize();
        let hub = right + axis * self.hub_along;
        let outboard = axis * self.chain_side.sign();
        Wheel {
            axis,
            hub,
            rim: hub + axis * self.rim_along,
            sprocket: hub + outboard * self.sprocket_out,
            ends: [left + axis * self.overhang, right - axis * self.overhang],
        }
    }

    /// The gearbox sprocket's centre and its axis pointing left, in the world.
    fn gearbox_sprocket(&self) -> (Vector3<f64>, Vector3<f64>) {
        let lean = Rotation3::from_axis_angle(&Vector3::x_axis(), -self.gearbox_lean.to_radians());
        let yaw = Rotation3::from_axis_angle(&Vector3::z_axis(), self.gearbox_yaw.to_radians());
        (
            self.in_world(Vector3::from(self.gearbox)),
            self.frame_turn() * (yaw * (lean * Vector3::y())),
        )
    }

    /// The figures as a bench without error gives them, each with this U (mm, degrees),
    /// uncorrelated.
    pub fn measured(&self, u_mm: f64, u_deg: f64) -> Figures {
        let mm = |value: f64| Some(Measurement { value, u: u_mm, quality: Quality::Good });
        let deg = |value: f64| Some(Measurement { value, u: u_deg, quality: Quality::Good });
        let wheel = self.wheel();
        let s = self.chain_side.sign();
        let axle_x = wheel.rim.x;
        let (gearbox, gearbox_axis) = self.gearbox_sprocket();
        let (yaw, lean) = (yaw_of(wheel.axis), lean_of(wheel.axis));
        let way = gearbox - wheel.sprocket;
        let frame_at_axle = self.frame_offset + self.frame_yaw.to_radians().tan() * axle_x;
        let from_floor = |point: Vector3<f64>| [point.x - axle_x, point.y, point.z];
        let mut input = Figures {
            layout: Layout {
                rear_sprocket: Some(from_floor(wheel.sprocket)),
                gearbox_sprocket: Some(from_floor(gearbox)),
                ..Layout::default()
            },
            ..Figures::default()
        };
        let mark = |deg| wheel.place_on_rim(deg, 0.0, self.rim_radius).y;
        for (figure, measured) in [
            (Figure::WheelOffset, mm(wheel.rim.y)),
            (Figure::WheelOffsetAtMark, mm(self.marks_deg.map(mark).iter().sum::<f64>() / 2.0)),
            (Figure::WheelYaw, deg(yaw)),
            (Figure::WheelLean, deg(lean)),
            (Figure::WheelYawFromOffsets, deg(yaw)),
            (Figure::RunoutLateral, mm(0.3)),
            (Figure::ChainCentres, mm(way.norm())),
            (Figure::ChainAtGearbox, mm(s * wheel.axis.dot(&way))),
            (Figure::ChainAtRear, mm(s * gearbox_axis.dot(&way))),
            (Figure::ChainYaw, deg(yaw_of(gearbox_axis) - yaw)),
            (Figure::ChainLean, deg(lean_of(gearbox_axis) - lean)),
            (Figure::GearboxLean, deg(lean_of(gearbox_axis))),
            (Figure::RearLean, deg(lean)),
            (Figure::SpindleHeights, mm(wheel.ends[0].z - wheel.ends[1].z)),
            (Figure::SpindleLeft, mm(wheel.ends[0].y)),
            (Figure::SpindleRight, mm(-wheel.ends[1].y)),
        ] {
            input.set(figure, measured);
        }
        let facts = &mut input.measured.facts;
        facts.wheel_source = Some(WheelSource::Axis);
        facts.runout_places = 6;
        facts.chain_side = Some(self.chain_side);
        facts.chain_reference = Some(ChainReference::Faces);
        if self.frame_seen {
            input.set(Figure::FrameOffset, mm(frame_at_axle));
            input.set(Figure::FrameYaw, deg(self.frame_yaw));
            input.set(Figure::WheelInFrameOffset, mm(wheel.rim.y - frame_at_axle));
            input.set(Figure::WheelInFrameYaw, deg(yaw - self.frame_yaw));
        }
        if self.face_seen {
            let f = self.face_side.sign();
            let face = wheel.hub + wheel.axis * (f * self.face_out);
            let rim_face = wheel.rim + wheel.axis * (f * self.rim_width / 2.0);
            input.measured.facts.hub_side = Some(self.face_side);
            input.set(Figure::RimFromFace, mm(f * wheel.axis.dot(&(rim_face - face))));
        }
        for (setup, mark_deg) in
            [("1-mark-forward", self.marks_deg[0]), ("2-mark-rearward", self.marks_deg[1])]
        {
            for side in [Side::Left, Side::Right] {
                let at = wheel.place_on_rim(
                    mark_deg,
                    side.sign() * self.rim_width / 2.0,
                    self.rim_radius,
                );
                let place = RimPlace::at_mark(setup, side);
                let station = Some(if at.x > wheel.rim.x { Station::Front } else { Station::Rear });
                input
                    .measured
                    .facts
                    .rim
                    .insert(place.clone(), RimFacts { station, x: Some(at.x - axle_x) });
                input.set(Figure::RimOffset(place.clone()), mm(side.sign() * at.y));
                input.set(Figure::RimHeight(place), mm(at.z));
            }
        }
        input
    }

    /// Does what a step says, by its structured fields alone. What is referred to others is left.
    pub fn carry_out(&mut self, step: &PlanStep, settings: &PlanSettings) {
        let told = step.distance.map_or(0.0, |distance| distance.value);
        match step.step {
            // A person hangs the frame until its centre is over the cord at the axle and runs along
            // it.
            StepKind::Rehang => {
                self.frame_yaw = 0.0;
                self.frame_offset = 0.0;
            }
            StepKind::Square => {
                let forward = match step.direction.expect("a direction") {
                    Direction::Forward => told,
                    Direction::Rearward => -told,
                    other => panic!("an end of the spindle is not drawn {other:?}"),
                };
                self.draw(step.side.expect("an end"), forward);
            }
            StepKind::Chain => {
                assert_eq!(step.side, Some(self.chain_side));
                let outboard = match step.direction.expect("a direction") {
                    Direction::Outboard => told,
                    Direction::Inboard => -told,
                    other => panic!("a sprocket is not packed {other:?}"),
                };
                let kinds = [SpacerKind::Hub, SpacerKind::Sprocket, SpacerKind::Gearbox];
                let done = kinds
                    .into_iter()
                    .find(|kind| kind.word() == step.applied_to)
                    .expect("a kind of packing");
                let pack = settings.pack.unwrap_or(done);
                assert_eq!(step.applied_to, pack.word());
                self.pack(pack, outboard);
            }
            StepKind::Centre => {
                let left = match step.direction.expect("a direction") {
                    Direction::Left => told,
                    Direction::Right => -told,
                    other => panic!("a rim is not moved {other:?}"),
                };
                self.rim_along += left;
            }
            StepKind::Refer => {}
        }
    }

    /// Draws one end of the spindle along its slot. The hub keeps its distance from the other fork
    /// end.
    pub fn draw(&mut self, end: Side, forward: f64) {
        let length = |bike: &Self| {
            let (left, right) = bike.fork_ends();
            (left - right).norm()
        };
        let before = length(self);
        match end {
            Side::Left => self.fork_left_x += forward,
            Side::Right => self.fork_right_x += forward,
        }
        if end == Side::Right {
            self.hub_along += length(self) - before;
        }
    }

    pub fn pack(&mut self, pack: SpacerKind, outboard: f64) {
        match pack {
            SpacerKind::Hub => self.hub_along += self.chain_side.sign() * outboard,
            SpacerKind::Sprocket => self.sprocket_out += outboard,
            SpacerKind::Gearbox => {
                // Along the gearbox's own axis, given in the frame.
                let (_, axis) = self.gearbox_sprocket();
                let along =
                    self.frame_turn().inverse() * axis * (self.chain_side.sign() * outboard);
                self.gearbox = (Vector3::from(self.gearbox) + along).into();
            }
        }
    }

    /// Turns the spindle in the frame to this yaw by drawing its left end.
    pub fn skew_wheel(&mut self, yaw_deg: f64) {
        self.fork_left_x -= self.spacing * yaw_deg.to_radians().tan();
    }
}

struct Wheel {
    axis: Vector3<f64>,
    hub: Vector3<f64>,
    rim: Vector3<f64>,
    sprocket: Vector3<f64>,
    ends: [Vector3<f64>; 2],
}

impl Wheel {
    fn place_on_rim(&self, angle_deg: f64, along: f64, radius: f64) -> Vector3<f64> {
        let forward = Unit::new_normalize(self.axis.cross(&Vector3::z())).into_inner();
        let up = forward.cross(&self.axis);
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        self.rim + self.axis * along + (forward * cos + up * sin) * radius
    }
}

/// atan2(-ax, ay) of an axis pointing left, degrees: + = front to the left.
fn yaw_of(axis: Vector3<f64>) -> f64 {
    (-axis.x).atan2(axis.y).to_degrees()
}

/// asin(-az) of an axis pointing left, degrees: + = top to the left.
fn lean_of(axis: Vector3<f64>) -> f64 {
    (-axis.z).asin().to_degrees()
}

/// Makes every pair of the named figures correlated by r.
pub fn correlate(input: &mut Figures, fields: &[&str], r: f64) {
    let n_fields = fields.len();
    input.correlation = Correlation {
        fields: fields.iter().map(|field| Figure::at(field)).collect(),
        matrix: (0..n_fields)
            .map(|row| (0..n_fields).map(|col| if row == col { 1.0 } else { r }).collect())
            .collect(),
    };
}

/// Changes a measured figure.
pub fn change(input: &mut Figures, figure: Figure, by: impl FnOnce(&mut Measurement)) {
    let mut measured = input.get(&figure).expect("the figure was measured");
    by(&mut measured);
    input.set(figure, Some(measured));
}
