//! Faces that the scene ties: as planes in the world, and the figures of those that the job names.

use nalgebra::{Vector2, Vector3};

use crate::figure::Figure;
use crate::scene::model::state::{Carrier, Face};

use super::evaluate::Evaluation;
use super::nuisance::Nuisance;

impl Evaluation<'_> {
    /// A face tied by the scene, as a plane in the world in a set-up, with paper and glue of its
    /// own tabs allowed for.
    pub(super) fn face_plane(&self, name: &str, setup: usize) -> Option<Plane> {
        let face: &Face = self.state.faces.iter().find(|face| face.name == name)?;
        let first = *face.tabs.first()?;
        let world_from_carrier = match self.state.tabs[first].carrier {
            Carrier::Still => crate::math::Rigid::identity(),
            Carrier::Turning(part) => {
                self.state.bodies[self.state.body(part, setup)?].world_from_body
            }
        };
        let mean =
            face.tabs.iter().map(|&t| self.state.tabs[t].carrier_from_tab.t).sum::<Vector3<f64>>()
                / face.tabs.len() as f64;
        let on_plane = mean - face.normal * (face.normal.dot(&mean) - face.offset);
        let depths: Vec<(Vector3<f64>, f64)> = face
            .tabs
            .iter()
            .zip(&face.backings)
            .map(|(&t, backing)| {
                let number = self.state.tabs[t].number;
                let thickness = self
                    .settings
                    .marks
                    .iter()
                    .find(|m| m.number == number)
                    .map_or(0.1, |m| m.thickness);
                (
                    self.state.tabs[t].carrier_from_tab.t - mean,
                    thickness - backing + self.shift.of(Nuisance::Paper(t)),
                )
            })
            .collect();
        let (depth, tilt) = plane_through(&depths, &face.normal);
        let normal = (face.normal + tilt).normalize();
        let point = on_plane - face.normal * depth;
        Some(Plane {
            normal: world_from_carrier.r * normal,
            point: world_from_carrier.apply(&point),
        })
    }

    /// A face's normal tilted as far as these are off zero.
    pub(super) fn tilted(
        &self,
        normal: &Vector3<f64>,
        tilt: impl Fn(u8) -> Nuisance,
    ) -> Vector3<f64> {
        let [e1, e2] = along(normal);
        let [tilt1, tilt2] = [0, 1].map(|way| self.shift.of(tilt(way)).to_radians());
        (normal + e1 * tilt1 + e2 * tilt2).normalize()
    }

    pub(super) fn faces(&mut self) {
        let Some(datum) = self.datum else { return };
        for (idx, name) in self.settings.faces.iter().enumerate() {
            let Some(face) = self.state.faces.iter().find(|face| face.name == *name) else {
                continue;
            };
            let Some(setup) = face.tabs.first().and_then(|t| self.first_setup(*t)) else {
                continue;
            };
            let Some(plane) = self.face_plane(name, setup) else { continue };
            let tilt = |way: u8| Nuisance::FaceTilt(idx, way);
            let n = datum.components(&self.tilted(&plane.normal, tilt));
            let n = if n.y < 0.0 { -n } else { n };
            self.record(Figure::FaceOffset(name.clone()), datum.offset(&plane.point));
            self.record(Figure::FaceYaw(name.clone()), (-n.x).atan2(n.y).to_degrees());
            self.record(Figure::FaceLean(name.clone()), (-n.z).asin().to_degrees());
        }
    }
}

/// A face as a plane in the world: unit normal pointing outboard of its pattern, and a point on the
/// metal.
#[derive(Clone, Copy)]
pub(super) struct Plane {
    pub normal: Vector3<f64>,
    pub point: Vector3<f64>,
}

/// Two directions within a face, at right angles; they turn with it without a jump.
pub(super) fn along(normal: &Vector3<f64>) -> [Vector3<f64>; 2] {
    let aside = if normal.z.abs() < 0.9 { Vector3::z() } else { Vector3::x() };
    let e1 = (aside - normal * normal.dot(&aside)).normalize();
    [e1, normal.cross(&e1)]
}

/// Mean depth and tilt of a plane through depths at several places of a face: depth below the
/// patterns' plane, as an offset at the places' mean and a change of the normal.
fn plane_through(depths: &[(Vector3<f64>, f64)], normal: &Vector3<f64>) -> (f64, Vector3<f64>) {
    let mean = depths.iter().map(|(_, depth)| depth).sum::<f64>() / depths.len().max(1) as f64;
    let [e1, e2] = along(normal);
    let (mut spread, mut right) = (nalgebra::Matrix2::zeros(), Vector2::zeros());
    for (place, depth) in depths {
        let p = Vector2::new(place.dot(&e1), place.dot(&e2));
        spread += p * p.transpose();
        right += p * (depth - mean);
    }
    // Tabs in one line tell no plane: their depths then only shift it.
    let eigen = spread.symmetric_eigenvalues();
    if eigen.min() < 100.0 {
        return (mean, Vector3::zeros());
    }
    let slope = spread.try_inverse().map_or(Vector2::zeros(), |inverse| inverse * right);
    // Metal lies deeper by slope: the metal's normal leans towards where it lies deeper.
    (mean, e1 * slope.x + e2 * slope.y)
}
