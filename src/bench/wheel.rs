//! The wheel's figures over the datum cord, and the front wheel's against it.

use nalgebra::Vector3;

use crate::figure::Figure;
use crate::scene::model::state::TurningPart;

use super::evaluate::Evaluation;
use super::nuisance::Nuisance;
use super::settings::{Marked, Part};
use super::turning::{Axis, turning_axis};

/// The marks' middle counts as the axle's place up to this share of their distance from it: what two
/// marks leave that are 157 degrees apart (our choice).
const MIDDLE_OFF: f64 = 0.2;
/// Where nothing shows the axle, marks lie round it that are so far from their middle: no rim is
/// smaller, and the marks of a large one are then 70 degrees apart or more (our choice), mm.
const LEAST_RADIUS_MM: f64 = 150.0;

impl Evaluation<'_> {
    pub(super) fn wheel(&mut self, axis: Option<&Axis>, hub: Option<&Vector3<f64>>) {
        let Some(datum) = self.datum else { return };
        let marks = self.marks(false);
        let front_and_rear = opposite(&marks);
        // All of them: marks a third of a turn apart have their middle at the axle as two that lie
        // opposite have.
        let at_mark = marks.iter().map(|mark| mark.2).sum::<f64>() / marks.len().max(1) as f64;
        if front_and_rear.is_some() {
            self.record(Figure::WheelOffsetAtMark, at_mark);
        }
        let mut lean = 0.0;
        if let Some(axis) = axis {
            let a = datum.components(&axis.direction);
            self.record(Figure::WheelYaw, (-a.x).atan2(a.y).to_degrees());
            lean = (-a.z).asin();
            self.record(Figure::WheelLean, lean.to_degrees());
        }
        if let Some((front, rear)) = front_and_rear {
            let ((_, pf, yf), (_, pr, yr)) = (&marks[front], &marks[rear]);
            let (dx, dz) = (pf.x - pr.x, pf.z - pr.z);
            if dx.abs() > 50.0 {
                // A wheel that leans to the left stands further left at its higher mark.
                let yaw = ((yf - yr - dz * lean.tan()) / dx).atan().to_degrees();
                self.record(Figure::WheelYawFromOffsets, yaw);
                // Of three marks no two lie opposite.
                if marks.len() == 2 {
                    self.record(Figure::WheelToe, yf - yr);
                }
                if axis.is_none() {
                    self.record(Figure::WheelYaw, yaw);
                }
            }
        }
        match (hub, front_and_rear) {
            (Some(hub), _) => {
                let offset = datum.offset(hub);
                self.record(Figure::WheelOffset, offset);
            }
            (None, Some(_)) if self.middle_is_at_the_axle(&marks) => {
                self.record(Figure::WheelOffset, at_mark + self.shift.of(Nuisance::RunOut))
            }
            _ => {}
        }
    }

    /// Whether the marked places lie round the axle, so that their middle is as far to the side as it
    /// is. Those of a wheel that was hardly turned lie all on one side of it.
    fn middle_is_at_the_axle(&self, marks: &[(usize, Vector3<f64>, f64)]) -> bool {
        let (Some(datum), n) = (self.datum, marks.len() as f64) else { return false };
        let middle = marks.iter().map(|mark| mark.1).sum::<Vector3<f64>>() / n;
        let from = |p: &Vector3<f64>| {
            let radii = marks.iter().map(|mark| (mark.1 - p).xz().norm());
            radii.sum::<f64>() / n
        };
        let ends = self.tabs_of(|part| matches!(part, Part::SpindleEnd(_)));
        let end = ends.iter().find_map(|(t, m)| self.point(*t, self.first_setup(*t)?, m.thickness));
        match end.map(|end| datum.components(&end)) {
            Some(axle) => (middle - axle).xz().norm() < MIDDLE_OFF * from(&axle),
            None => from(&middle) > LEAST_RADIUS_MM,
        }
    }

    pub(super) fn track(
        &mut self,
        axis: Option<&Axis>,
        hub: Option<&Vector3<f64>>,
        front_rim: &[(usize, Marked)],
    ) {
        let (Some(datum), Some(left)) = (self.datum, self.choices.left) else { return };
        // Steered or leaning, the front rim shows its mid-plane at its axle only to who knows where
        // that axle is.
        let Some(front) = self
            .choices
            .front_axis
            .then(|| turning_axis(self.state, TurningPart::FrontWheel, &left))
            .flatten()
        else {
            return;
        };
        let a = datum.components(&front.direction);
        self.record(Figure::TrackLean, (-a.z).asin().to_degrees());
        let (Some(axis), Some(hub)) = (axis, hub) else { return };
        let Some(faces) = self.rim_faces(&front, front_rim) else { return };
        let middle = front.point + front.direction * (faces.mean_left - faces.width / 2.0);
        self.record(Figure::TrackOffset, axis.direction.dot(&(middle - hub)));
    }
}

/// The two set-ups whose marked places lie farthest apart along the bike: (front, rear), as indices
/// into `marks`.
fn opposite(marks: &[(usize, Vector3<f64>, f64)]) -> Option<(usize, usize)> {
    let front = (0..marks.len()).max_by(|&a, &b| marks[a].1.x.total_cmp(&marks[b].1.x))?;
    let rear = (0..marks.len()).min_by(|&a, &b| marks[a].1.x.total_cmp(&marks[b].1.x))?;
    (front != rear).then_some((front, rear))
}
