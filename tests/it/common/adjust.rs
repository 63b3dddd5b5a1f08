//! What a person with spanners does to the bike: each operation moves the parts that really move
//! with it, and no others.

use sightcord::figure::Side;

use super::geometry::{V3, angles_from_axis, axis_from_angles, turn};
use super::scene::TruthScene;

/// One adjustment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Adjustment {
    /// One end of the spindle moved along x by its adjuster, + forward. The wheel turns about the
    /// other adjuster.
    DrawSpindle { end: Side, forward_mm: f64 },
    /// Spacers at the hub changed over: rim, sprocket and drum go along the spindle, + to the left.
    MoveWheelOnSpindle { left_mm: f64 },
    /// Packing between hub and rear sprocket: the sprocket goes outboard.
    PackSprocket { outboard_mm: f64 },
    /// A shim behind the gearbox sprocket: it goes outboard along its own axis.
    ShimGearbox { outboard_mm: f64 },
    /// The rim drawn over on its spokes, + to the left: hub, sprocket and spindle stay.
    PullRim { left_mm: f64 },
    /// The whole bike hung again: shifted and turned about the axle's foot.
    RehangFrame { left_mm: f64, yaw_deg: f64 },
}

impl TruthScene {
    /// The same scene after these adjustments, in this order.
    pub fn adjusted(&self, steps: &[Adjustment]) -> Self {
        let mut scene = self.clone();
        for &step in steps {
            scene.adjust(step);
        }
        scene
    }

    fn adjust(&mut self, step: Adjustment) {
        let chain = self.bike.chain_side.sign();
        match step {
            Adjustment::DrawSpindle { end, forward_mm } => self.draw_spindle(end, forward_mm),
            Adjustment::MoveWheelOnSpindle { left_mm } => {
                let wheel = &mut self.bike.wheel;
                wheel.centre += wheel.axis() * left_mm;
                wheel.spindle_ends_mm = wheel.spindle_ends_mm.map(|end| end - left_mm);
            }
            Adjustment::PackSprocket { outboard_mm } => {
                self.bike.rear_sprocket.face_mm += outboard_mm
            }
            Adjustment::ShimGearbox { outboard_mm } => {
                let gearbox = &mut self.bike.gearbox;
                gearbox.centre += gearbox.axis() * (chain * outboard_mm);
            }
            Adjustment::PullRim { left_mm } => {
                let wheel = &mut self.bike.wheel;
                wheel.centre += wheel.axis() * left_mm;
                wheel.spindle_ends_mm = wheel.spindle_ends_mm.map(|end| end - left_mm);
                // Everything else is given from the rim's mid-plane, which has just moved away from
                // it.
                self.bike.rear_sprocket.face_mm -= chain * left_mm;
                if let Some(face) = &mut self.bike.hub_face {
                    face.face_mm -= face.side.sign() * left_mm;
                }
            }
            Adjustment::RehangFrame { left_mm, yaw_deg } => self.rehang(left_mm, yaw_deg),
        }
    }

    /// The spindle's line passes through both adjusters, half the spacing to each side of the
    /// frame's plane at the axle. The wheel is held against the fork end on the side that
    /// stays, so its distance along the spindle from there stays too.
    fn draw_spindle(&mut self, end: Side, forward_mm: f64) {
        let half = self.bike.frame.adjuster_spacing_mm / 2.0;
        let frame_y = self.expected().get("/frame/offset").copied().unwrap_or(0.0);
        let wheel = &mut self.bike.wheel;
        let axis = wheel.axis();
        let at_y = |y: f64| wheel.centre + axis * ((y - wheel.centre.y) / axis.y);
        let stays = at_y(frame_y + end.other().sign() * half);
        let drawn = at_y(frame_y + end.sign() * half) + V3::x() * forward_mm;
        let along = (wheel.centre - stays).dot(&axis);
        let new_axis = (drawn - stays).normalize() * end.sign();
        wheel.centre = stays + new_axis * along;
        [wheel.yaw_deg, wheel.lean_deg] = angles_from_axis(new_axis);
    }

    fn rehang(&mut self, left_mm: f64, yaw_deg: f64) {
        let foot = V3::new(self.bike.wheel.centre.x, 0.0, 0.0);
        let rotation = turn(V3::z(), yaw_deg);
        let place = |p: V3| foot + rotation * (p - foot) + V3::y() * left_mm;
        let angles = |yaw: f64, lean: f64| angles_from_axis(rotation * axis_from_angles(yaw, lean));
        let bike = &mut self.bike;
        bike.wheel.centre = place(bike.wheel.centre);
        [bike.wheel.yaw_deg, bike.wheel.lean_deg] = angles(bike.wheel.yaw_deg, bike.wheel.lean_deg);
        bike.gearbox.centre = place(bike.gearbox.centre);
        [bike.gearbox.yaw_deg, bike.gearbox.lean_deg] =
            angles(bike.gearbox.yaw_deg, bike.gearbox.lean_deg);
        if let Some(front) = &mut bike.front_wheel {
            front.centre = place(front.centre);
            [front.yaw_deg, front.lean_deg] = angles(front.yaw_deg, front.lean_deg);
        }
        for station in &mut bike.frame.stations {
            (station.left, station.right) = (place(station.left), place(station.right));
        }
        for line in &mut bike.frame.plumb_lines {
            let hung = place(V3::new(line.x_mm, line.y_mm, line.top_mm));
            (line.x_mm, line.y_mm) = (hung.x, hung.y);
        }
        if let Some(cord) = &mut bike.frame.backbone {
            (cord.front, cord.rear) = (place(cord.front), place(cord.rear));
        }
        for tab in &mut bike.free_tabs {
            tab.point = place(tab.point);
            tab.normal = rotation * tab.normal;
        }
    }
}
