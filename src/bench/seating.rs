//! Whether three set-ups or more give one axis of the wheel.
//!
//! Two set-ups give an axis whatever happened between them. From the third on each pair of set-ups
//! gives its own, and within the photos' noise they must be one. If they are not, the wheel was
//! taken out and set in again, or it has play. End float, along the axis, does no harm and is left
//! out.

use nalgebra::Vector3;

use crate::figure::Figure;
use crate::finding::Finding;
use crate::say;
use crate::scene::model::state::TurningPart;
use crate::scene::{Solution, State};
use crate::text::Amount;

use super::propagate::propagate;
use super::turning::{Axis, pair_axis, turned_pairs, turning_axis};

/// By how much the axes of single pairs of set-ups lie off the common one, at the most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unsteady {
    pub tilt_deg: f64,
    pub shift_mm: f64,
}

/// Deviations count as more than noise beyond four standard deviations: a dozen numbers are looked
/// at, and a good wheel should be called unsteady in less than one job in a thousand.
const BEYOND_NOISE: f64 = 4.0;

/// What lies below this changes no verdict: a third of the yaw's standard tolerance, and a fifth of
/// the offset's.
const TILT_FLOOR_DEG: f64 = 0.03;
const SHIFT_FLOOR_MM: f64 = 0.2;

/// None where the axis is steady, or where less than three set-ups leave nothing to compare.
pub fn unsteady(solution: &Solution, left: &Vector3<f64>) -> Option<Unsteady> {
    let covariance = solution.covariance.as_ref()?;
    let pairs = turned_pairs(&solution.state, TurningPart::Wheel);
    let common = turning_axis(&solution.state, TurningPart::Wheel, left)?;
    if pairs.len() < 2 {
        return None;
    }
    let deviations_of = |state: &State| deviations(state, &pairs, &common, left);
    let values = deviations_of(&solution.state)?;
    let propagated = propagate(solution, covariance, &[], values.len(), |state, _| {
        deviations_of(state).unwrap_or_else(|| vec![f64::NAN; values.len()])
    });
    let beyond = |i: usize, floor: f64| {
        let noise = BEYOND_NOISE * propagated.covariance[(i, i)].max(0.0).sqrt();
        values[i].abs() > floor.max(noise)
    };
    // Each pair gives two tilts and two shifts.
    let floor = |i: usize| if i % 4 < 2 { TILT_FLOOR_DEG } else { SHIFT_FLOOR_MM };
    if !(0..values.len()).any(|i| beyond(i, floor(i))) {
        return None;
    }
    let most = |first: usize| {
        values.chunks(4).map(|pair| pair[first].hypot(pair[first + 1])).fold(0.0, f64::max)
    };
    Some(Unsteady { tilt_deg: most(0), shift_mm: most(2) })
}

/// For each pair: tilt against the common axis of the same state (two directions, degrees), and
/// distance from it where the wheel turns (two directions, mm).
fn deviations(
    state: &State,
    pairs: &[(usize, usize)],
    at: &Axis,
    left: &Vector3<f64>,
) -> Option<Vec<f64>> {
    let e1 = crate::math::rigid::any_normal(&at.direction);
    let e2 = at.direction.cross(&e1);
    let common = turning_axis(state, TurningPart::Wheel, left)?;
    let mut values = Vec::with_capacity(4 * pairs.len());
    for &pair in pairs {
        let own = pair_axis(state, TurningPart::Wheel, pair, left)?;
        let tilt = own.direction - common.direction;
        let shift = own.foot(&at.point) - common.foot(&at.point);
        values.extend([
            tilt.dot(&e1).to_degrees(),
            tilt.dot(&e2).to_degrees(),
            shift.dot(&e1),
            shift.dot(&e2),
        ]);
    }
    Some(values)
}

impl Unsteady {
    pub fn finding(&self) -> Finding {
        Finding::warning(
            "wheel-axis-unsteady",
            say![
                format!("Taken two by two, the set-ups give axes of the wheel that lie up to {:.2} degrees and ", self.tilt_deg),
                Amount::tenths(self.shift_mm),
                " off their mean. The uncertainty of all that depends on the axis was raised to match.",
            ],
            "Between set-ups the wheel may only be turned: see that its nuts are tight and that nobody moved it in the fork ends, rock the \
             rim to feel for play in the bearings, and take the set-ups again.",
        )
        .about(Figure::WheelYaw)
    }
}
