//! Where every printed pattern is in a photo, and which point of a face each tab marks.

use sightcord::cards::Pattern;
use sightcord::figure::Side;

use super::bike::{MovesWith, PlumbLine};
use super::geometry::{M3, Pose, V3, axis_from_angles, turn};
use super::random::Random;
use super::scene::{Card, PAPER_MM, Rider, SetUp, Shows, TruthScene};

/// A printed pattern as it really is, with everything that is wrong with it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlacedPattern {
    pub pattern: Pattern,
    /// world_from_pattern.
    pub pose: Pose,
    /// Printed cell sides along and across, mm.
    pub pitch_mm: [f64; 2],
    pub bow_mm: [f64; 2],
    /// A flag: a line runs along its middle column of cells and may hide it.
    pub is_flag: bool,
    /// One face of a rider on the datum cord.
    pub is_rider: bool,
}

impl PlacedPattern {
    /// A lattice node (fractions allowed) in the pattern frame, mm.
    pub fn local(&self, r: f64, c: f64) -> V3 {
        let [nx, ny] = self.pattern.node(r, c);
        let (x, y) = (nx * self.pitch_mm[0], ny * self.pitch_mm[1]);
        let (half_x, half_y) = (0.5 * self.pattern.cols() as f64, 0.5 * self.pattern.rows() as f64);
        let (rx, ry) = (nx / half_x, ny / half_y);
        V3::new(x, y, self.bow_mm[0] * (1.0 - rx * rx) + self.bow_mm[1] * (1.0 - ry * ry))
    }

    /// A lattice node in the world.
    pub fn world(&self, r: f64, c: f64) -> V3 {
        self.pose.world(self.local(r, c))
    }
}

/// A tab's place: the point it stands for and the face it is stuck on, before anything goes wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    pub number: u8,
    /// The pattern put back onto its face: the origin is the measured point, z the face's outward
    /// normal. A flag's y runs along its line.
    pub pose: Pose,
    pub is_flag: bool,
}

impl Mark {
    /// The measured point.
    pub fn point(&self) -> V3 {
        self.pose.origin
    }
}

/// A wheel as it stands in one set-up.
#[derive(Clone, Copy, Debug)]
pub struct WheelStance {
    pub centre: V3,
    /// Unit axis pointing left.
    pub axis: V3,
    turn_deg: f64,
}

impl WheelStance {
    pub fn new(centre: V3, [yaw, lean]: [f64; 2], setup: &SetUp) -> Self {
        let axis = axis_from_angles(yaw + setup.play_deg[0], lean + setup.play_deg[1]);
        let [forward, up] = setup.reseated_mm;
        Self {
            centre: centre + axis * setup.end_float_mm + V3::new(forward, 0.0, up),
            axis,
            turn_deg: setup.wheel_turn_deg,
        }
    }

    /// A point of the wheel: axial place (+ left of the rim's mid-plane), radius, and its angle
    /// from the front over the top in a set-up with no turn.
    pub fn at(&self, axial_mm: f64, radius_mm: f64, deg: f64) -> V3 {
        let forward = (V3::x() - self.axis * self.axis.x).normalize();
        let up = forward.cross(&self.axis);
        let angle = (deg + self.turn_deg).to_radians();
        self.centre + self.axis * axial_mm + (forward * angle.cos() + up * angle.sin()) * radius_mm
    }

    /// A tab on a face square to the axis, on the left (`side` = 1) or right (-1); its pattern has
    /// turned with the wheel.
    fn mark(&self, number: u8, point: V3, side: f64) -> Mark {
        let mut pose = Pose::on_face(point, self.axis * side, spin(number));
        pose.rotation = front_over_top(self.axis, self.turn_deg) * pose.rotation;
        Mark { number, pose, is_flag: false }
    }
}

impl TruthScene {
    /// The rear wheel in a set-up.
    pub fn wheel_in(&self, setup: &SetUp) -> WheelStance {
        let wheel = &self.bike.wheel;
        WheelStance::new(wheel.centre, [wheel.yaw_deg, wheel.lean_deg], setup)
    }

    /// The point on the rear rim's outside face on one side, at an angle on the wheel from the
    /// marked place.
    pub fn rim_point(&self, setup: &SetUp, side: Side, wheel_deg: f64) -> V3 {
        let wheel = &self.bike.wheel;
        let axial = side.sign() * wheel.rim_width_mm / 2.0 + wheel.runout_at(wheel_deg);
        self.wheel_in(setup).at(axial, wheel.tab_radius_mm, wheel_deg + wheel.mark_deg)
    }

    /// Every tab that is on the bike in a set-up, sorted by number, without errors. Flags look
    /// their average way.
    pub fn marks(&self, setup: &SetUp) -> Vec<Mark> {
        let mut marks = Vec::new();
        if setup.shows == Shows::Bike {
            self.wheel_marks(setup, &mut marks);
            self.chain_marks(setup, &mut marks);
            self.frame_marks(&mut marks);
            self.free_marks(setup, &mut marks);
            self.rider_marks(setup, &mut marks);
        }
        marks.retain(|mark| !self.missing_tabs.contains(&mark.number));
        marks.sort_by_key(|mark| mark.number);
        marks
    }

    fn wheel_marks(&self, setup: &SetUp, marks: &mut Vec<Mark>) {
        let wheel = &self.bike.wheel;
        let stance = self.wheel_in(setup);
        marks.push(stance.mark(1, self.rim_point(setup, Side::Left, 0.0), 1.0));
        marks.push(stance.mark(2, self.rim_point(setup, Side::Right, 0.0), -1.0));
        for &(number, deg) in &wheel.further_places {
            marks.push(stance.mark(number, self.rim_point(setup, Side::Left, deg), 1.0));
        }
        if let Some(front) = &self.bike.front_wheel {
            let stance = WheelStance::new(front.centre, [front.yaw_deg, front.lean_deg], setup);
            for (number, side) in [(3, 1.0), (4, -1.0)] {
                let point =
                    stance.at(side * front.rim_width_mm / 2.0, front.tab_radius_mm, wheel.mark_deg);
                marks.push(stance.mark(number, point, side));
            }
        }
        if let Some(face) = &self.bike.hub_face {
            let side = face.side.sign();
            // A brake plate is held by the frame: it follows the wheel along the axis but does not
            // turn.
            let (number, turn_deg) = if face.turns { (31, stance.turn_deg) } else { (32, 0.0) };
            let stance = WheelStance { turn_deg, ..stance };
            marks.push(stance.mark(
                number,
                stance.at(side * face.face_mm, face.tab_radius_mm, face.tab_deg),
                side,
            ));
        }
        // The spindle stands in the frame whatever the wheel does on it.
        let axis = wheel.axis();
        for (number, axial, side) in
            [(11, wheel.spindle_ends_mm[0], 1.0), (12, wheel.spindle_ends_mm[1], -1.0)]
        {
            marks.push(fixed(number, wheel.centre + axis * axial, axis * side));
        }
    }

    fn chain_marks(&self, setup: &SetUp, marks: &mut Vec<Mark>) {
        let bike = &self.bike;
        let side = bike.chain_side.sign();
        let wheel = self.wheel_in(setup);
        let centred =
            WheelStance { centre: bike.gearbox.centre, axis: bike.gearbox.axis(), turn_deg: 0.0 };
        let [forward, up] = bike.gearbox.tabs_off_mm;
        let middle = centred.at(0.0, forward, 0.0) + centred.at(0.0, up, 90.0) - centred.centre;
        let gearbox = WheelStance { centre: middle, turn_deg: setup.gearbox_turn_deg, ..centred };
        for i in 0..3u8 {
            let deg = 20.0 + 120.0 * f64::from(i);
            let sprocket = &bike.rear_sprocket;
            let face = sprocket.face_mm + sprocket.wobble_mm * deg.to_radians().cos();
            marks.push(wheel.mark(8 + i, wheel.at(side * face, sprocket.tab_radius_mm, deg), side));
            let point = gearbox.at(0.0, bike.gearbox.tab_radius_mm, 90.0 + 120.0 * f64::from(i));
            marks.push(gearbox.mark(5 + i, point, side));
        }
    }

    fn frame_marks(&self, marks: &mut Vec<Mark>) {
        let frame = &self.bike.frame;
        for station in &frame.stations {
            let across = (station.left - station.right).normalize();
            marks.push(fixed(13 + 2 * station.letter, station.left, across));
            marks.push(fixed(14 + 2 * station.letter, station.right, -across));
        }
        for line in &frame.plumb_lines {
            for (i, &height) in line.flags_mm.iter().enumerate() {
                let facing = V3::new(
                    line.facing_deg.to_radians().cos(),
                    line.facing_deg.to_radians().sin(),
                    0.0,
                );
                let point = line.at(height);
                marks.push(flag(21 + 2 * line.letter + i as u8, point, facing, V3::z()));
            }
        }
        if let Some(cord) = &frame.backbone {
            let along = cord.front - cord.rear;
            // Looking up and to the chain's side, so that the high photos read them.
            let facing = V3::new(0.0, 0.9 * self.bike.chain_side.sign(), 0.42);
            marks.push(flag(29, cord.front, facing, along));
            marks.push(flag(30, cord.rear, facing, along));
        }
    }

    /// A rider's faces stand on the strip's middle plane, a pattern side above the cord's axis; the
    /// paper comes on top.
    fn rider_marks(&self, setup: &SetUp, marks: &mut Vec<Mark>) {
        let later = self
            .setups
            .iter()
            .filter(|s| s.shows == Shows::Bike)
            .position(|s| s.name == setup.name)
            .unwrap_or(0);
        for rider in &self.bench.riders {
            let (axis, along, up) = self.rider_stance(setup, rider, later);
            let left = up.cross(&along);
            for (i, way) in [(0u8, 1.0), (1, -1.0)] {
                if !rider.faces[usize::from(i)] {
                    continue;
                }
                let number = rider.number + i;
                let side = self.pitch_mm(Pattern::Tab(number))[1] * 5.0;
                let origin = axis + up * (side - rider.short_mm) + left * rider.across_mm;
                let rotation = M3::from_columns(&[along * -way, up, left * way]);
                marks.push(Mark { number, pose: Pose { rotation, origin }, is_flag: false });
            }
        }
    }

    /// Where a rider has the cord's axis, along the cord, and up its strip; `later` counts the
    /// set-ups before.
    pub fn rider_stance(&self, setup: &SetUp, rider: &Rider, later: usize) -> (V3, V3, V3) {
        let cord = &self.bench.cord;
        let x = rider.x_mm + rider.pushed_mm * later as f64;
        let along = (cord.at(setup, x + 1.0) - cord.at(setup, x - 1.0)).normalize();
        let upright = (V3::z() - along * along.z).normalize();
        // Towards the left: the left-handed sense about the cord's forward direction.
        let up = turn(along, -rider.lean_deg) * upright;
        (cord.at(setup, x), along, up)
    }

    fn free_marks(&self, setup: &SetUp, marks: &mut Vec<Mark>) {
        let wheel = self.wheel_in(setup);
        let gearbox = &self.bike.gearbox;
        for tab in &self.bike.free_tabs {
            let (centre, axis, turn_deg) = match tab.moves_with {
                MovesWith::Frame => (V3::zeros(), V3::y(), 0.0),
                MovesWith::Wheel => (wheel.centre, wheel.axis, setup.wheel_turn_deg),
                MovesWith::Gearbox => (gearbox.centre, gearbox.axis(), setup.gearbox_turn_deg),
            };
            let turned = front_over_top(axis, turn_deg);
            let mut pose =
                Pose::on_face(centre + turned * (tab.point - centre), tab.normal, spin(tab.number));
            pose.rotation = turned * pose.rotation;
            marks.push(Mark { number: tab.number, pose, is_flag: false });
        }
    }

    /// Every pattern as it stands in a photo: cards as they lie, tabs with their errors, flags as
    /// the draught has turned them.
    pub fn patterns(&self, setup_idx: usize, photo_idx: usize) -> Vec<PlacedPattern> {
        let setup = self.setup_in_picture(setup_idx, photo_idx);
        let mut draught = Random::stream(self.seed, &[1, setup_idx as u64, photo_idx as u64]);
        let mut placed = self.cards_in(setup);
        placed.extend(self.marks(setup).into_iter().map(|mark| {
            let sway = draught.between(-1.0, 1.0) * self.bench.draught_deg;
            self.placed_tab(&mark, sway)
        }));
        placed
    }

    /// The cards as they lie in a set-up.
    pub fn cards_in(&self, setup: &SetUp) -> Vec<PlacedPattern> {
        let place = |card: &Card| {
            let mut pose = card.pose;
            if let Some([dx, dy, turned]) = setup.moved_cards.get(&card.number) {
                pose.origin += V3::new(*dx, *dy, 0.0);
                pose.rotation = turn(V3::z(), *turned) * pose.rotation;
            }
            let pattern = Pattern::Card(card.number);
            PlacedPattern {
                pattern,
                pose,
                pitch_mm: self.pitch_mm(pattern),
                bow_mm: card.bow_mm,
                is_flag: false,
                is_rider: false,
            }
        };
        self.bench.cards.iter().map(place).collect()
    }

    fn placed_tab(&self, mark: &Mark, sway_deg: f64) -> PlacedPattern {
        let number = self.swapped_tabs.get(&mark.number).copied().unwrap_or(mark.number);
        let error = self.tab_errors.get(&mark.number).copied().unwrap_or_default();
        let mut pose = mark.pose;
        let lift = if mark.is_flag {
            // A flag is folded round its line: the line's axis lies in the pattern plane, and the
            // flag turns about it.
            pose.rotation *= turn(V3::y(), sway_deg);
            0.0
        } else {
            PAPER_MM
                + self.print.paper_error_mm
                + self.print.backing_mm.get(&mark.number).copied().unwrap_or(0.0)
        };
        let shift = V3::new(error.sideways_mm[0], error.sideways_mm[1], lift + error.normal_mm);
        let pattern = Pattern::Tab(number);
        PlacedPattern {
            pattern,
            pose: pose.nudged(shift, error.tilt_deg),
            pitch_mm: self.pitch_mm(pattern),
            bow_mm: [0.0, 0.0],
            is_flag: mark.is_flag,
            is_rider: self
                .bench
                .riders
                .iter()
                .any(|rider| [rider.number, rider.number + 1].contains(&mark.number)),
        }
    }

    /// Two ends of a plumb line that can be seen.
    pub fn plumb_ends(line: &PlumbLine) -> [V3; 2] {
        [line.top_mm, line.bob_mm].map(|z| line.at(z))
    }
}

/// Tabs are stuck on any way round; the same number always the same way.
fn spin(number: u8) -> f64 {
    f64::from(number) * 137.5 % 360.0
}

/// Turn from the front over the top about an axis that points left: the left-handed sense.
fn front_over_top(axis: V3, deg: f64) -> M3 {
    turn(axis, -deg)
}

fn fixed(number: u8, point: V3, normal: V3) -> Mark {
    Mark { number, pose: Pose::on_face(point, normal, spin(number)), is_flag: false }
}

fn flag(number: u8, point: V3, facing: V3, along: V3) -> Mark {
    let y = along.normalize();
    let z = (facing - y * y.dot(&facing)).normalize();
    Mark {
        number,
        pose: Pose { rotation: M3::from_columns(&[y.cross(&z), y, z]), origin: point },
        is_flag: true,
    }
}
