//! The wheel's yaw stands twice: in the axis that its tabs turn about, and in the rim's marked places. What both have in common (up,
//! the cord, the lens, the print) drops out of their difference, so that a wheel which was touched between the photos of one side and
//! those of the other shows there, and only there: each side's photos fit themselves.

use std::collections::BTreeMap;

use nalgebra::DMatrix;

use crate::finding::Finding;
use crate::measurement::Measurement;

/// The finding's name.
pub const WHEEL_MOVED: &str = "wheel-moved";
const YAW: &str = "/wheel/yaw";
const YAW_FROM_OFFSETS: &str = "/wheel/yaw_from_offsets";
/// The two contradict each other when they differ by more than this many times the expanded uncertainty (k = 2) of their difference. On
/// twenty-one sound benches with known truth they differed by 0.8 of it at most, on one with a knocked wheel by 20.
const CONTRADICTED: f64 = 2.0;
/// What hangs on the wheel's place.
const OF_THE_WHEEL: [&str; 9] =
    ["/wheel/", "/wheel_in_frame/", "/rim/", "/rim_width/", "/chain/", "/hub/", "/runout/", "/spindle/", "/track/"];

/// Refuses all that hangs on the wheel's place where its two yaws contradict each other: takes it out of `measured` and tells why.
/// `covariance` is that of `fields`.
pub fn refuse_moved_wheel(
    fields: &[String],
    covariance: &DMatrix<f64>,
    measured: &mut BTreeMap<String, Measurement>,
) -> Option<Finding> {
    let place = |field: &str| fields.iter().position(|known| known == field);
    let (axis, marks) = (place(YAW)?, place(YAW_FROM_OFFSETS)?);
    let difference = measured.get(YAW)?.value - measured.get(YAW_FROM_OFFSETS)?.value;
    let variance = covariance[(axis, axis)] + covariance[(marks, marks)] - 2.0 * covariance[(axis, marks)];
    let u = 2.0 * variance.max(0.0).sqrt();
    if !(difference.abs() > CONTRADICTED * u) || u == 0.0 {
        return None;
    }
    measured.retain(|field, _| !OF_THE_WHEEL.iter().any(|start| field.starts_with(start)));
    Some(
        Finding::refused(
            WHEEL_MOVED,
            format!(
                "The wheel's axis and the marked places of its rim tell yaws that differ by {:.2} degrees, where {u:.2} at most can be \
                 chance. The wheel was knocked or turned between the photos of one side and those of the other, or a rim tab came loose.",
                difference.abs()
            ),
            "Press tabs 1 and 2 on, do not touch the wheel between the first and the last photo of a set-up, and take both set-ups again.",
        )
        .about(YAW),
    )
}
