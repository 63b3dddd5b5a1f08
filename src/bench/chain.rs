//! The chain line: both sprockets' planes and what lies between them.

use nalgebra::Vector3;

use crate::figure::Figure;
use crate::scene::model::state::TurningPart;

use super::evaluate::Evaluation;
use super::face::{Plane, along};
use super::nuisance::Nuisance;
use super::settings::{GEARBOX_FACE, Part, REAR_FACE};
use super::turning::{Axis, turning_axis};

/// No sprocket stands so far off the datum plane's normal: a chain jumps off long before (radians, 10
/// degrees; our choice). One that seems to was read from tabs whose tilt came out the wrong way.
const ASKEW: f64 = 0.175;

impl Evaluation<'_> {
    /// The rear sprocket's outside face as a plane in the world.
    pub(super) fn rear_plane(&self, axis: Option<&Axis>) -> Option<Plane> {
        let mut tabs = self.tabs_of(|part| matches!(part, Part::RearSprocket));
        // A tab that came off its face does not show where the face is; the only one counts anyway.
        if tabs.iter().any(|(_, mark)| !self.choices.loose.contains(&mark.number)) {
            tabs.retain(|(_, mark)| !self.choices.loose.contains(&mark.number));
        }
        let left = self.choices.left?;
        if let Some(axis) = axis {
            let mut sum = 0.0;
            let mut n = 0;
            for (t, mark) in &tabs {
                for setup in self.setups_of(*t) {
                    sum +=
                        (self.point(*t, setup, mark.thickness)? - axis.point).dot(&axis.direction);
                    n += 1;
                }
            }
            return (n > 0).then(|| Plane {
                normal: axis.direction,
                point: axis.point + axis.direction * (sum / n as f64),
            });
        }
        let setup = tabs.first().and_then(|(t, _)| self.first_setup(*t))?;
        let plane = self.face_plane(REAR_FACE, setup)?;
        let normal = if plane.normal.dot(&left) < 0.0 { -plane.normal } else { plane.normal };
        let plane = Plane { normal, point: plane.point };
        Some(self.shifted(plane, Nuisance::RearCentre, Nuisance::Wobble))
    }

    /// A sprocket's plane with its centre moved in it, and tilted, as far as these are off zero.
    fn shifted(&self, plane: Plane, centre: fn(u8) -> Nuisance, tilt: fn(u8) -> Nuisance) -> Plane {
        let [e1, e2] = along(&plane.normal);
        let [off1, off2] = [0, 1].map(|way| self.shift.of(centre(way)));
        Plane {
            normal: self.tilted(&plane.normal, tilt),
            point: plane.point + e1 * off1 + e2 * off2,
        }
    }

    /// Places of the gearbox sprocket's tabs that its face rests on, in the first set-up that shows
    /// one.
    pub fn gearbox_tabs(&self) -> Vec<Vector3<f64>> {
        self.tabs_on(GEARBOX_FACE, Part::GearboxSprocket)
    }

    /// The same of the rear sprocket.
    pub fn rear_tabs(&self) -> Vec<Vector3<f64>> {
        self.tabs_on(REAR_FACE, Part::RearSprocket)
    }

    fn tabs_on(&self, face: &str, on: Part) -> Vec<Vector3<f64>> {
        let face = self.state.faces.iter().find(|other| other.name == face);
        let mut tabs = self.tabs_of(|part| *part == on);
        tabs.retain(|(t, _)| face.is_some_and(|face| face.tabs.contains(t)));
        let Some(setup) = tabs.first().and_then(|(t, _)| self.first_setup(*t)) else {
            return Vec::new();
        };
        tabs.iter().filter_map(|(t, mark)| self.point(*t, setup, mark.thickness)).collect()
    }

    /// The gearbox sprocket's plane and its centre on the face.
    pub(super) fn gearbox(&self) -> Option<Plane> {
        let left = self.choices.left?;
        let tabs = self.tabs_of(|part| matches!(part, Part::GearboxSprocket));
        let setup = tabs.first().and_then(|(t, _)| self.first_setup(*t))?;
        let face = self.face_plane(GEARBOX_FACE, setup)?;
        let face_normal = if face.normal.dot(&left) < 0.0 { -face.normal } else { face.normal };
        if self.choices.gearbox_axis
            && let Some(axis) = turning_axis(self.state, TurningPart::Gearbox, &left)
        {
            // On the axis, level with the face; the axis is free of the sprocket's own wobble.
            let centre = axis.point
                + axis.direction
                    * ((face.point - axis.point).dot(&face_normal)
                        / axis.direction.dot(&face_normal));
            return Some(Plane { normal: axis.direction, point: centre });
        }
        let plane = Plane { normal: face_normal, point: face.point };
        Some(self.shifted(plane, Nuisance::GearboxCentre, Nuisance::GearboxTilt))
    }

    pub(super) fn chain(&mut self, axis: Option<&Axis>) {
        let (Some(datum), Some(side)) = (self.datum, self.choices.chain_side) else { return };
        let stands = |face: &Plane| datum.components(&face.normal).y > ASKEW.cos();
        let rear = self.rear_plane(axis).filter(stands);
        let gearbox = self.gearbox().filter(stands);
        let angles = |normal: &Vector3<f64>| {
            let n = datum.components(normal);
            ((-n.x).atan2(n.y).to_degrees(), (-n.z).asin().to_degrees())
        };
        if let Some(rear) = rear {
            self.record(Figure::RearLean, angles(&rear.normal).1);
            let on_axis = axis.map_or(rear.point, |a| {
                a.point + a.direction * (rear.point - a.point).dot(&a.direction)
            });
            self.places.rear_sprocket = Some(on_axis);
        }
        if let Some(gearbox) = gearbox {
            self.record(Figure::GearboxLean, angles(&gearbox.normal).1);
            self.places.gearbox_sprocket = Some(gearbox.point);
        }
        let (Some(rear), Some(gearbox), Some(rear_centre)) =
            (rear, gearbox, self.places.rear_sprocket)
        else {
            return;
        };
        // Tooth centres lie inboard of the outside faces.
        let [inboard_rear, inboard_gearbox] = self.settings.tooth_centres.unwrap_or([0.0, 0.0]);
        let outboard = side.sign();
        let gearbox_tooth = gearbox.point - gearbox.normal * (outboard * inboard_gearbox);
        let rear_tooth = rear_centre - rear.normal * (outboard * inboard_rear);
        self.record(
            Figure::ChainAtGearbox,
            outboard * rear.normal.dot(&(gearbox_tooth - rear_tooth)),
        );
        // The gearbox plane seen from the rear sprocket's centre, along the rear axis.
        let beyond =
            gearbox.normal.dot(&(gearbox_tooth - rear_tooth)) / gearbox.normal.dot(&rear.normal);
        self.record(Figure::ChainAtRear, outboard * beyond);
        let (rear_yaw, rear_lean) = angles(&rear.normal);
        let (gearbox_yaw, gearbox_lean) = angles(&gearbox.normal);
        self.record(Figure::ChainYaw, gearbox_yaw - rear_yaw);
        self.record(Figure::ChainLean, gearbox_lean - rear_lean);
        self.record(Figure::ChainCentres, (gearbox.point - rear_centre).norm());
    }
}
