//! The wheel's axis and tabs as an earlier evening found them: what an evening that shows one
//! position of the wheel alone can go by.

use std::collections::BTreeMap;
use std::f64::consts::SQRT_2;

use nalgebra::Vector3;

use crate::figure::Figure;
use crate::figure::facts::WheelSource;
use crate::measurement::Quality;

use super::figures::Figures;
use super::nuisance::WOBBLE;

/// The wheel as an earlier evening found it, in that evening's bench frame.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownWheel {
    /// Unit vector to the left.
    pub direction: Vector3<f64>,
    pub point: Vector3<f64>,
    /// The centres of the wheel's tabs in the position that showed most of them.
    pub tabs: BTreeMap<u8, Vector3<f64>>,
    /// Standard deviation of the axis' tilt against the tabs, degrees.
    pub tilt_sigma_deg: f64,
}

impl KnownWheel {
    /// None where that evening found no axis by turning the wheel, or vouches for none.
    pub fn of(earlier: &Figures) -> Option<Self> {
        if earlier.measured.facts.wheel_source != Some(WheelSource::Axis) {
            return None;
        }
        let good = |figure: &Figure| {
            earlier.get(figure).filter(|measured| measured.quality == Quality::Good)
        };
        let (yaw, lean) = (good(&Figure::WheelYaw)?, good(&Figure::WheelLean)?);
        let mut by_setup: BTreeMap<&str, BTreeMap<u8, Vector3<f64>>> = BTreeMap::new();
        let tabs = earlier.layout.marks.iter().filter(|mark| mark.kind == "tab");
        for mark in tabs.filter(|mark| !mark.setup.is_empty()) {
            by_setup.entry(&mark.setup).or_default().insert(mark.number, mark.at.into());
        }
        let most = by_setup.into_values().rev().max_by_key(BTreeMap::len)?;
        let direction = Vector3::from(earlier.layout.wheel_axis?);
        let point = Vector3::from(earlier.layout.axle?);
        let numbers = direction.iter().chain(point.iter()).chain(most.values().flatten());
        let is_usable = numbers.copied().all(f64::is_finite) && direction.norm() > 0.5;
        is_usable.then(|| Self {
            direction: direction.normalize(),
            point,
            tabs: most,
            // The errors of two positions that make the axis' own make its tilt against the tabs.
            tilt_sigma_deg: yaw.u.max(lean.u) / 2.0,
        })
    }

    /// The same where the sprocket was off the hub since: it may sit on it otherwise now.
    pub fn with_sprocket_taken_off(self) -> Self {
        Self { tilt_sigma_deg: self.tilt_sigma_deg.hypot(SQRT_2 * WOBBLE), ..self }
    }
}
