//! The datum: the upright plane through the cord, from the cord's own edges and from riders on it.
//!
//! Both are sources of one straight line seen from above, y = a + b s with s from -1 to 1 along
//! what was seen of the cord. The edges give (a, b) with a covariance; a rider gives y at its
//! place. They are put together by least squares with weights that are fixed once, at the
//! solution (Gauss-Markov: the inverse covariances); what errors they share through cards and
//! cameras is left out of the weights, and counted in full where uncertainty is computed, by
//! derivatives of the very same line. Before that they must agree, with their joint covariance,
//! within k = 2.

use std::collections::BTreeSet;

use nalgebra::{DMatrix, DVector, Matrix2, Vector2, Vector3};

use crate::figure::Figure;
use crate::figure::member::Section;
use crate::figure::sense::Sense;
use crate::finding::Severity;
use crate::measurement::Quality;
use crate::scene::model::state::Cord;
use crate::scene::{Solution, State};

use super::ground::Datum;
use super::nuisance::{Nuisance, Shift};
use super::riders::StandingRider;
use super::settings::BenchSettings;

/// What the datum is measured from, decided once at the solution.
#[derive(Clone, Debug)]
pub struct DatumChoice {
    /// Inverse covariance of the edges' line (a, b), where the edges serve.
    pub edges: Option<Matrix2<f64>>,
    pub riders: Vec<StandingRider>,
    /// Inverse covariance of the riders' y.
    pub weights: DMatrix<f64>,
    /// Where s is zero and one, along the world's x.
    pub middle: f64,
    pub half: f64,
    pub quality: Quality,
}

/// A straight line: a point of it, and its direction, not of unit length.
struct Line {
    point: Vector3<f64>,
    direction: Vector3<f64>,
}

impl DatumChoice {
    /// The edges alone, as far as they were found; a doubtful cord is no better than a single
    /// sighting, and one that lies as no cord can is none.
    pub fn edges_alone(solution: &Solution) -> Option<Self> {
        let refused =
            solution.cord_findings.iter().any(|finding| finding.severity == Severity::Refused);
        let cord = solution.state.cords.first().filter(|_| !refused)?;
        Some(Self {
            edges: Some(Matrix2::identity()),
            riders: Vec::new(),
            weights: DMatrix::zeros(0, 0),
            middle: cord.middle,
            half: cord.half,
            quality: if solution.cord_findings.is_empty() {
                Quality::Good
            } else {
                Quality::Single
            },
        })
    }

    /// The datum plane; None where the state lacks what was chosen.
    pub fn plane(
        &self,
        state: &State,
        up: &Vector3<f64>,
        left: &Vector3<f64>,
        shift: &Shift,
    ) -> Option<Datum> {
        if self.edges.is_some() && self.riders.is_empty() {
            return Some(Datum::of(&lit(state.cords.first()?, shift), up, left));
        }
        let line = self.line(state, shift)?;
        Some(Datum::along(&line.direction, line.point, up, left))
    }

    /// Two ends of what is known of the cord, in the world, for drawings.
    pub fn ends(&self, state: &State) -> Option<[Vector3<f64>; 2]> {
        let line = self.line(state, &Shift(None))?;
        Some([-1.0, 1.0].map(|s| line.point + line.direction * (s * self.half)))
    }

    fn line(&self, state: &State, shift: &Shift) -> Option<Line> {
        let cord = match self.edges {
            // One datum for all set-ups: frame and wheel do not follow a cord that somebody
            // touched. Its first place counts; the others, which the photos tell
            // through the cards, help with it as far as cords stay where they are.
            Some(_) => Some(lit(state.cords.first()?, shift)),
            None => None,
        };
        let places: Vec<Vector3<f64>> =
            self.riders.iter().map(|rider| self.place(rider, state, shift)).collect();
        let s = |p: &Vector3<f64>| (p.x - self.middle) / self.half;
        let design =
            DMatrix::from_fn(places.len(), 2, |i, k| if k == 0 { 1.0 } else { s(&places[i]) });
        let weighted = design.transpose() * &self.weights;
        let y = DVector::from_iterator(places.len(), places.iter().map(|p| p.y));
        let mut normal: Matrix2<f64> = (&weighted * &design).fixed_view::<2, 2>(0, 0).into_owned();
        let mut right: Vector2<f64> = (&weighted * y).fixed_rows::<2>(0).into_owned();
        if let (Some(information), Some(cord)) = (&self.edges, &cord) {
            normal += information;
            right += information * Vector2::new(cord.y[0], cord.y[1]);
        }
        let ab = normal.try_inverse()? * right;
        // How high the cord runs hardly matters; the edges tell it to a tenth of what riders do.
        let (z, rise) = match &cord {
            Some(cord) => (cord.z[0], cord.z[1]),
            None => plain_line(&places.iter().map(|p| (s(p), p.z)).collect::<Vec<_>>())?,
        };
        Some(Line {
            point: Vector3::new(self.middle, ab[0], z),
            direction: Vector3::new(1.0, ab[1] / self.half, rise / self.half),
        })
    }

    /// Where a rider has the first set-up's cord.
    fn place(&self, rider: &StandingRider, state: &State, shift: &Shift) -> Vector3<f64> {
        let mut place = rider.axis(state, shift);
        let [rear, front] = [0, 1].map(|end| shift.of(Nuisance::RiderCordMoved(end)));
        let s = (place.x - self.middle) / self.half;
        place.y += rider.later * ((rear + front) / 2.0 + (front - rear) / 2.0 * s);
        place
    }

    /// Each rider as it stands in all set-ups or in the first that shows it, and where it has the
    /// cord.
    pub fn rider_places(
        &self,
        state: &State,
        shift: &Shift,
    ) -> Vec<(&StandingRider, Vector3<f64>)> {
        let mut given = BTreeSet::new();
        self.riders
            .iter()
            .filter(|r| given.insert(r.rider))
            .map(|r| (r, self.place(r, state, shift)))
            .collect()
    }

    /// Numbers of the tabs that show a rider, over all set-ups.
    pub fn faces_of(&self, rider: u8) -> BTreeSet<u8> {
        self.riders
            .iter()
            .filter(|r| r.rider == rider)
            .flat_map(|r| r.faces.iter().map(|face| face.number))
            .collect()
    }

    /// What riders add to the uncertainty that no photo shows, with standard deviations.
    pub fn nuisances(&self, settings: &BenchSettings) -> Vec<(Nuisance, f64)> {
        let assumed = &settings.assumed;
        let mut list = Vec::new();
        let numbers: BTreeSet<u8> = self.riders.iter().map(|r| r.rider).collect();
        for rider in numbers {
            let sigma = self
                .riders
                .iter()
                .filter(|r| r.rider == rider)
                .map(|r| r.sigma)
                .fold(0.0, f64::max);
            list.push((Nuisance::RiderAcross(rider), sigma));
            list.push((Nuisance::RiderHeight(rider), assumed.rider_height_u_mm / 2.0));
        }
        if self.riders.iter().any(|rider| rider.later > 0.0) {
            list.extend(
                [0, 1].map(|end| (Nuisance::RiderCordMoved(end), assumed.cord_moved_u_mm / 2.0)),
            );
        }
        list
    }
}

/// The cord with its mid-line shifted by light.
fn lit(cord: &Cord, shift: &Shift) -> Cord {
    let [rear, front] = [0, 1].map(|end| shift.of(Nuisance::CordLight(end)));
    let mut cord = cord.clone();
    cord.y[0] += (rear + front) / 2.0;
    cord.y[1] += (front - rear) / 2.0;
    cord
}

/// Least squares of z = c + d s, all places alike. None for places at one s.
fn plain_line(places: &[(f64, f64)]) -> Option<(f64, f64)> {
    let (mut normal, mut right) = (Matrix2::zeros(), Vector2::zeros());
    for &(s, z) in places {
        let row = Vector2::new(1.0, s);
        normal += row * row.transpose();
        right += row * z;
    }
    let values = normal.try_inverse()? * right;
    Some((values[0], values[1]))
}

/// Whether a figure is measured from the datum plane: the chain's and the print's are not, nor what
/// lies level.
pub fn counts_from_it(figure: &Figure) -> bool {
    use Section::{
        Backbone, Faces, Frame, Plumb, Riders, Rim, Spindle, Stations, Wheel, WheelInFrame,
    };
    let is_level = matches!(figure.sense(), Sense::Lean | Sense::LeftHigh)
        || matches!(figure, Figure::RimHeight(_));
    let is_measured_from_it = match figure.section() {
        Some(
            Rim | Wheel | WheelInFrame | Frame | Plumb | Stations | Backbone | Faces | Spindle
            | Riders,
        ) => true,
        _ => matches!(figure, Figure::CordStraightness | Figure::CordMoved),
    };
    is_measured_from_it && !is_level
}
