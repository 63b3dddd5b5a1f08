//! The rim's figures: each face from the datum plane, its width, its run-out, and its distance from
//! the hub face.

use nalgebra::Vector3;

use crate::figure::Figure;
use crate::figure::facts::Station;
use crate::figure::part::{RimPlace, Wheel};
use crate::scene::model::state::Carrier;

use super::evaluate::Evaluation;
use super::figures::Side;
use super::nuisance::Nuisance;
use super::settings::{Marked, Part};
use super::turning::Axis;

impl Evaluation<'_> {
    /// Axial coordinate of a rim face at its tabs, measured against the axis: (angle round the
    /// axis, axial coordinate) of each tab.
    pub(super) fn rim_around(
        &self,
        axis: &Axis,
        tabs: &[(usize, Marked)],
        wanted: Side,
    ) -> Vec<(u8, f64, f64)> {
        let mut found = Vec::new();
        let e1 = crate::math::rigid::any_normal(&axis.direction);
        let e2 = axis.direction.cross(&e1);
        for (t, mark) in tabs {
            let Part::Rim { side, place, .. } = mark.part else { continue };
            let Some(setup) = self.first_setup(*t).filter(|_| side == wanted) else { continue };
            let Some(p) = self.point(*t, setup, mark.thickness) else { continue };
            let Some(axial) = self.axial(axis, *t, mark) else { continue };
            // In the wheel's own frame: the angle is that of the first set-up.
            let Carrier::Turning(part) = self.state.tabs[*t].carrier else { continue };
            let Some(body) = self.state.body(part, setup) else { continue };
            let q = self.state.bodies[body].world_from_body.inverse().apply(&p);
            let d = q - axis.point;
            found.push((place, d.dot(&e2).atan2(d.dot(&e1)), axial));
        }
        found
    }

    /// Where a tab's face lies along the axis, from the axis' point: the mean over set-ups, between
    /// which end float may have moved it.
    pub(super) fn axial(&self, axis: &Axis, tab_idx: usize, mark: &Marked) -> Option<f64> {
        let setups = self.setups_of(tab_idx);
        let points = setups.iter().filter_map(|&setup| self.point(tab_idx, setup, mark.thickness));
        let axials: Vec<f64> = points.map(|p| (p - axis.point).dot(&axis.direction)).collect();
        (!axials.is_empty()).then(|| axials.iter().sum::<f64>() / axials.len() as f64)
    }

    /// Mean axial coordinates of the left and right rim face at the marked place and free of
    /// run-out: ((left, right), run-out curve).
    pub(super) fn rim_faces(&self, axis: &Axis, tabs: &[(usize, Marked)]) -> Option<RimFaces> {
        let left = self.rim_around(axis, tabs, Side::Left);
        let right = self.rim_around(axis, tabs, Side::Right);
        let at_mark = |list: &[(u8, f64, f64)]| {
            list.iter().find(|(place, ..)| *place == 0).map(|(_, _, axial)| *axial)
        };
        let (mark_left, mark_right) = (at_mark(&left), at_mark(&right));
        let width = mark_left? - mark_right?;
        let curve = if self.choices.run_out { once_round(&left) } else { None };
        let mean_left = match curve {
            Some((mean, _)) => mean,
            None => mark_left? + self.shift.of(Nuisance::RunOut),
        };
        Some(RimFaces { mean_left, width, amplitude: curve.map(|(_, amplitude)| amplitude) })
    }

    pub(super) fn hub_point(
        &self,
        axis: Option<&Axis>,
        rim: &[(usize, Marked)],
    ) -> Option<Vector3<f64>> {
        let axis = axis?;
        let faces = self.rim_faces(axis, rim)?;
        let middle = faces.mean_left - faces.width / 2.0;
        Some(axis.point + axis.direction * middle)
    }

    pub(super) fn rims(
        &mut self,
        tabs: &[(usize, Marked)],
        foot: &Vector3<f64>,
        hub: Option<&Vector3<f64>>,
        wheel: Wheel,
    ) {
        for setup in 0..self.settings.setups.len() {
            let Some(datum) = self.datum.filter(|_| !self.settings.lens_only[setup]) else {
                continue;
            };
            let mut width = 0.0;
            let mut sides = 0;
            for (t, mark) in tabs {
                let Part::Rim { side, place, .. } = mark.part else { continue };
                if !self.setups_of(*t).contains(&setup) {
                    continue;
                }
                let Some(p) = self.point(*t, setup, mark.thickness) else { continue };
                let offset = side.sign() * datum.offset(&p);
                let at =
                    RimPlace { setup: self.settings.setups[setup].clone(), wheel, place, side };
                self.record(Figure::RimOffset(at.clone()), offset);
                self.record(Figure::RimHeight(at.clone()), self.height(&p, foot));
                let from = hub.copied().unwrap_or(*foot);
                let d = datum.components(&(p - from));
                if wheel == Wheel::Rear {
                    self.stations.push((at, station(d.x, d.z), d.x));
                }
                if place == 0 {
                    width += offset;
                    sides += 1;
                }
            }
            if sides == 2 && wheel == Wheel::Rear {
                let name = self.settings.setups[setup].clone();
                self.record(Figure::RimWidth(name), width);
            }
        }
    }

    /// Marked place in each set-up: bench components of the mean of both sides' points, and half
    /// the difference of the offsets.
    pub(super) fn marks(&self, front_wheel: bool) -> Vec<(usize, Vector3<f64>, f64)> {
        let tabs = self.tabs_of(
            |p| matches!(p, Part::Rim { front_wheel: f, place: 0, .. } if *f == front_wheel),
        );
        let mut found = Vec::new();
        for setup in 0..self.settings.setups.len() {
            let Some(datum) = self.datum.filter(|_| !self.settings.lens_only[setup]) else {
                continue;
            };
            let mut points = [None, None];
            for (t, mark) in &tabs {
                let Part::Rim { side, .. } = mark.part else { continue };
                if self.setups_of(*t).contains(&setup) {
                    points[usize::from(side == Side::Right)] =
                        self.point(*t, setup, mark.thickness);
                }
            }
            if let [Some(l), Some(r)] = points {
                let y = (datum.offset(&l) + datum.offset(&r)) / 2.0;
                found.push((setup, datum.components(&((l + r) / 2.0)), y));
            }
        }
        found
    }

    /// How far the rim's marked place lies from the axis, mm: the farthest of both faces.
    pub(super) fn mark_radius(&self, axis: &Axis) -> Option<f64> {
        let tabs = self.tabs_of(|p| matches!(p, Part::Rim { front_wheel: false, place: 0, .. }));
        let point =
            |(t, mark): &(usize, Marked)| self.point(*t, self.first_setup(*t)?, mark.thickness);
        tabs.iter().filter_map(point).map(|p| (p - axis.foot(&p)).norm()).max_by(f64::total_cmp)
    }

    pub(super) fn run_out(&mut self, axis: Option<&Axis>, rim: &[(usize, Marked)]) {
        if let Some(faces) = axis.and_then(|axis| self.rim_faces(axis, rim))
            && let Some(amplitude) = faces.amplitude
        {
            self.record(Figure::RunoutLateral, 2.0 * amplitude);
        }
    }

    pub(super) fn hub_face(&mut self, axis: Option<&Axis>, rim: &[(usize, Marked)]) {
        let (Some(axis), Some(side)) = (axis, self.choices.hub_side) else { return };
        let Some(faces) = self.rim_faces(axis, rim) else { return };
        let tabs = self.tabs_of(|part| matches!(part, Part::HubFace));
        let faces_of_hub: Vec<f64> =
            tabs.iter().filter_map(|(t, mark)| self.axial(axis, *t, mark)).collect();
        if faces_of_hub.is_empty() {
            return;
        }
        let face = faces_of_hub.iter().sum::<f64>() / faces_of_hub.len() as f64;
        let rim_face = match side {
            Side::Left => faces.mean_left,
            Side::Right => faces.mean_left - faces.width,
        };
        self.record(Figure::RimFromFace, side.sign() * (rim_face - face));
    }
}

/// The rim's two outside faces along the axis.
pub(super) struct RimFaces {
    /// Mean axial coordinate of the left face, free of run-out where places round the rim tell it.
    pub mean_left: f64,
    pub width: f64,
    /// Amplitude of the once-round curve.
    pub amplitude: Option<f64>,
}

/// 45-degree sectors about the axle.
fn station(x: f64, z: f64) -> Station {
    if x.abs() >= z.abs() {
        if x >= 0.0 { Station::Front } else { Station::Rear }
    } else if z >= 0.0 {
        Station::Top
    } else {
        Station::Bottom
    }
}

/// Mean and amplitude of axial = mean + c cos(angle) + s sin(angle), least squares. None for fewer
/// than three places.
fn once_round(places: &[(u8, f64, f64)]) -> Option<(f64, f64)> {
    if places.len() < 3 {
        return None;
    }
    let (mut normal, mut right) = (nalgebra::Matrix3::zeros(), Vector3::zeros());
    for (_, angle, axial) in places {
        let row = Vector3::new(1.0, angle.cos(), angle.sin());
        normal += row * row.transpose();
        right += row * *axial;
    }
    let solution = normal.try_inverse()? * right;
    // Three places within a few degrees of each other tell no curve: the inverse is then large.
    (normal.try_inverse()?.trace() < 20.0).then(|| (solution[0], solution.yz().norm()))
}
