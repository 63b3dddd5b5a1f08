//! The wheel's yaw is measured twice: by the axis that its tabs turn about, and by the rim's marked
//! places. What both have in common (up, the cord, the lens, the print) drops out of their
//! difference, so that a wheel which was touched between the photos of one side and those of the
//! other shows there, and only there: each side's photos agree among themselves.

use std::collections::BTreeMap;

use nalgebra::DMatrix;

use crate::figure::Figure;
use crate::finding::Finding;
use crate::measurement::{Measurement, Quality};
use crate::say;
use crate::text::Amount;

const YAW: Figure = Figure::WheelYaw;
const YAW_FROM_OFFSETS: Figure = Figure::WheelYawFromOffsets;
/// The two contradict each other when they differ by more than this many times the expanded
/// uncertainty (k = 2) of their difference. On twenty-one sound benches with known truth they
/// differed by 0.8 of it at most, on one with a knocked wheel by 20.
const CONTRADICTED: f64 = 2.0;
/// What a hub's end float of half a millimetre does between marks 460 mm apart, degrees (common
/// practice, no source).
const END_FLOAT_DEG: f64 = 0.06;

/// Where the wheel's two yaws contradict each other: widens both to reach over their difference,
/// since nothing shows which is right, keeps them from verdicts, and reports why. `covariance` is
/// that of `fields`.
pub fn widen_for_moved_wheel(
    fields: &[Figure],
    covariance: &DMatrix<f64>,
    measured: &mut BTreeMap<Figure, Measurement>,
) -> Option<Finding> {
    let place = |figure: Figure| fields.iter().position(|known| *known == figure);
    let (axis, marks) = (place(YAW)?, place(YAW_FROM_OFFSETS)?);
    let difference = (measured.get(&YAW)?.value - measured.get(&YAW_FROM_OFFSETS)?.value).abs();
    let variance =
        covariance[(axis, axis)] + covariance[(marks, marks)] - 2.0 * covariance[(axis, marks)];
    let u = 2.0 * variance.max(0.0).sqrt();
    if !(difference > (CONTRADICTED * u).max(END_FLOAT_DEG)) {
        return None;
    }
    for field in [YAW, YAW_FROM_OFFSETS] {
        if let Some(figure) = measured.get_mut(&field) {
            figure.u += difference;
            figure.quality = Quality::Single;
        }
    }
    Some(
        Finding::warning(
            "wheel-moved",
            format!(
                "The wheel's axis and the marked places of its rim disagree about its squareness by {difference:.2} degrees; chance explains \
                 {u:.2} at most. The wheel was knocked or turned between photos of one set-up, it floats along its spindle, or a rim tab \
                 came loose."
            ),
            "Press tabs 1 and 2 on, push the wheel to one end of its float, do not touch it between the first and the last photo of a \
             set-up, and take both set-ups again.",
        )
        .about(YAW),
    )
}

/// A wheel whose places along its axis differ by no more than this between set-ups, mm, has not
/// moved: photos show it no better.
const UNMOVED_MM: f64 = 0.2;
/// A hub's usual end float, mm (common practice, no source).
const END_FLOAT_MM: f64 = 0.5;

/// Of a rim's marked place about the axis where nothing shows it, mm (common practice, no source).
pub const USUAL_RADIUS_MM: f64 = 220.0;
/// Half the distance between the ends of a rear spindle, mm: how far a wheel that was set in
/// `apart_mm` off at one end may have turned where no run-out shows it (common practice, no
/// source).
const HALF_SPINDLE_MM: f64 = 100.0;

/// How far a wheel that was touched between set-ups differs from one to another.
#[derive(Clone, Copy, Debug)]
pub struct Float {
    /// From one end to the other along the axis, mm.
    pub apart_mm: f64,
    /// Of the rim's marked place about the axis, mm.
    pub radius_mm: f64,
}

impl Float {
    /// How far the wheel's direction may be off, degrees. A wheel that was turned by d between two
    /// set-ups half a turn apart has its axis found d / 2 off, with no contradiction but one:
    /// its rim seems to wobble by twice the radius times that.
    fn turned_deg(&self, run_out_mm: Option<f64>) -> f64 {
        let by_run_out = run_out_mm.map(|mm| (mm / (2.0 * self.radius_mm)).atan());
        by_run_out.unwrap_or_else(|| (self.apart_mm / 2.0 / HALF_SPINDLE_MM).atan()).to_degrees()
    }
}

/// Where the wheel's place along its axis differs between set-ups: what is measured of its place
/// across holds for their mean, and is widened to reach both. Beyond a hub's end float it was
/// touched, and may have been turned as well: directions, the run-out and what is measured over the
/// chain's length are widened for that, all is kept from verdicts, and a finding says why.
pub fn widen_for_floating_wheel(
    float: Float,
    measured: &mut BTreeMap<Figure, Measurement>,
) -> Option<Finding> {
    let apart_mm = float.apart_mm;
    if !(apart_mm > UNMOVED_MM) {
        return None;
    }
    let beyond = apart_mm > END_FLOAT_MM;
    let across = [
        Figure::WheelOffset,
        Figure::WheelOffsetAtMark,
        Figure::WheelInFrameOffset,
        Figure::ChainAtGearbox,
        Figure::ChainAtRear,
    ];
    if !beyond {
        for field in across {
            if let Some(figure) = measured.get_mut(&field) {
                figure.u = figure.u.hypot(apart_mm / 2.0);
            }
        }
        return None;
    }
    let run_out = measured.get(&Figure::RunoutLateral).map(|figure| figure.value.abs());
    let turned = float.turned_deg(run_out);
    let lever = measured.get(&Figure::ChainCentres).map_or(0.0, |figure| figure.value.abs());
    let directions = [
        Figure::WheelYaw,
        Figure::WheelYawFromOffsets,
        Figure::WheelLean,
        Figure::WheelInFrameYaw,
        Figure::ChainYaw,
        Figure::ChainLean,
        Figure::RearLean,
    ];
    let mut widen = |field: Figure, by: f64| {
        if let Some(figure) = measured.get_mut(&field) {
            figure.u += by;
            figure.quality = Quality::Single;
        }
    };
    across.into_iter().for_each(|field| widen(field, apart_mm / 2.0));
    // No float is so large: the wheel was set in at another place, and the spindle with it.
    [Figure::SpindleLeft, Figure::SpindleRight]
        .into_iter()
        .for_each(|field| widen(field, apart_mm / 2.0));
    directions.into_iter().for_each(|field| widen(field, turned));
    widen(Figure::ChainAtGearbox, lever * turned.to_radians().tan());
    widen(Figure::RunoutLateral, run_out.unwrap_or(0.0));
    Some(floats(apart_mm, turned))
}

fn floats(apart_mm: f64, turned_deg: f64) -> Finding {
    Finding::warning(
        "wheel-floats",
        say![
            "The wheel stands ",
            Amount::tenths(apart_mm),
            " farther to one side in one set-up than in another: it floats along its spindle, was taken out and set in again, or was \
             knocked. Its offset and the chain line hold for the middle between both; it may have turned by ",
            format!("{turned_deg:.2} degrees as well."),
        ],
        "Push the wheel to one end of its float before you take the photos, do not touch it between the first and the last, and \
         take all set-ups again.",
    )
    .about(Figure::WheelOffset)
}

/// A figure that another reading of the photos widens by less than this part of its uncertainty
/// hardly depends on it.
const HARDLY: f64 = 0.1;

/// Widens figures that other readings of the photos give differently, to reach over all of them
/// with their own uncertainties, and keeps it from verdicts. `readings` are value and expanded
/// uncertainty by each of them.
pub fn allow_for_readings(
    readings: &[BTreeMap<Figure, (f64, f64)>],
    measured: &mut BTreeMap<Figure, Measurement>,
) {
    for (field, figure) in measured {
        let reach = |(value, u): &(f64, f64)| (value - figure.value).abs() + u;
        let farthest =
            readings.iter().filter_map(|reading| reading.get(field)).map(reach).fold(0.0, f64::max);
        if farthest > (1.0 + HARDLY) * figure.u {
            figure.u = farthest;
            figure.quality = Quality::Single;
        }
    }
}

/// Widens a figure that the same marks give in another unit as much as its twin was widened since
/// `before`, and keeps it from verdicts with it.
pub fn widen_with_their_twins(
    before: &BTreeMap<Figure, Measurement>,
    measured: &mut BTreeMap<Figure, Measurement>,
) {
    let twins = before.keys().filter_map(|figure| Some((figure, (figure.line()?.twin)()?)));
    for (figure, twin) in twins {
        let (Some(own), Some(was)) = (before.get(figure), before.get(&twin)) else { continue };
        match measured.get(&twin).copied() {
            None => {
                measured.remove(figure);
            }
            Some(is) => {
                if let Some(figure) = measured.get_mut(figure) {
                    figure.u = figure.u.max(own.u * is.u / was.u);
                    if is.quality == Quality::Single {
                        figure.quality = Quality::Single;
                    }
                }
            }
        }
    }
}
