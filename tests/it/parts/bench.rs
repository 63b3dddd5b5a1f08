//! Figures of a wheel that was touched between photos: widened as far as that makes them doubtful.

use std::collections::BTreeMap;

use nalgebra::DMatrix;

use sightcord::bench::contradiction::{
    Float, widen_for_floating_wheel, widen_for_moved_wheel, widen_with_their_twins,
};
use sightcord::figure::Figure;
use sightcord::finding::Finding;
use sightcord::measurement::{Measurement, Quality};

fn compared(difference: f64) -> (Option<Finding>, Measurement) {
    let fields = [Figure::WheelYaw, Figure::WheelYawFromOffsets];
    // Each known to 0.02 degrees (k = 2), and to the same side: their difference to 0.0063.
    let covariance = DMatrix::from_row_slice(2, 2, &[1e-4, 0.95e-4, 0.95e-4, 1e-4]);
    let figure = |value| Measurement { value, u: 0.02, quality: Quality::Good };
    let mut measured = BTreeMap::from([
        (fields[0].clone(), figure(0.3)),
        (fields[1].clone(), figure(0.3 + difference)),
    ]);
    let finding = widen_for_moved_wheel(&fields, &covariance, &mut measured);
    (finding, measured[&Figure::WheelYaw])
}

#[test]
fn a_wheel_that_moved_along_its_axis_widens_what_it_touches() {
    let figure = Measurement { value: 1.0, u: 0.1, quality: Quality::Good };
    let floating = |apart_mm| {
        let mut measured =
            BTreeMap::from([(Figure::ChainAtGearbox, figure), (Figure::WheelLean, figure)]);
        let finding = widen_for_floating_wheel(Float { apart_mm, radius_mm: 230.0 }, &mut measured);
        (finding.is_some(), measured[&Figure::ChainAtGearbox], measured[&Figure::WheelLean])
    };
    assert_eq!(floating(0.1), (false, figure, figure));
    let (finding, chain, lean) = floating(0.4);
    assert!(
        !finding && chain.u > 0.2 && chain.quality == Quality::Good && lean == figure,
        "{chain:?}"
    );
    let (finding, chain, _) = floating(5.0);
    assert!(finding && chain.u >= 2.6 && chain.quality == Quality::Single, "{chain:?}");
}

/// A wheel set in again at an angle 0.4 degrees off: its axis is found 0.2 degrees off, and
/// its rim seems to wobble by 1.6 mm.
#[test]
fn a_wheel_that_was_turned_between_its_set_ups_widens_directions_and_run_out_over_what_the_wobble_tells()
 {
    let figure = |value, u| Measurement { value, u, quality: Quality::Good };
    let mut measured = BTreeMap::from([
        (Figure::RunoutLateral, figure(1.606, 0.14)),
        (Figure::WheelYaw, figure(0.3, 0.02)),
        (Figure::ChainCentres, figure(570.0, 10.0)),
        (Figure::ChainAtGearbox, figure(-3.0, 0.2)),
        (Figure::SpindleLeft, figure(120.0, 0.5)),
    ]);
    widen_for_floating_wheel(Float { apart_mm: 1.1, radius_mm: 230.0 }, &mut measured)
        .expect("a finding");
    let u = |figure: Figure| measured[&figure].u;
    assert!(u(Figure::WheelYaw) > 0.2 && u(Figure::WheelYaw) < 0.25, "{}", u(Figure::WheelYaw));
    assert!(u(Figure::SpindleLeft) >= 0.5 + 0.55, "{}", u(Figure::SpindleLeft));
    assert!(u(Figure::RunoutLateral) > 1.606, "{}", u(Figure::RunoutLateral));
    assert!(u(Figure::ChainAtGearbox) > 0.2 + 0.55 + 1.9, "{}", u(Figure::ChainAtGearbox));
}

#[test]
fn a_figure_is_as_doubtful_as_the_one_that_the_same_marks_give() {
    let figure = |value, u| Measurement { value, u, quality: Quality::Good };
    let (yaw, toe) = (Figure::WheelYawFromOffsets, Figure::WheelToe);
    let before =
        BTreeMap::from([(yaw.clone(), figure(0.3, 0.02)), (toe.clone(), figure(2.4, 0.16))]);
    let mut measured = before.clone();
    let wider = Measurement { value: 0.3, u: 0.12, quality: Quality::Single };
    measured.insert(yaw.clone(), wider);
    widen_with_their_twins(&before, &mut measured);
    let widened = measured[&toe];
    assert!((widened.u - 0.96).abs() < 1e-12 && widened.quality == Quality::Single);
    measured.remove(&yaw);
    widen_with_their_twins(&before, &mut measured);
    assert!(measured.is_empty(), "{measured:?}");
}

#[test]
fn yaws_that_contradict_each_other_are_widened_over_their_difference() {
    let (finding, yaw) = compared(0.1);
    assert_eq!(finding.expect("a finding").id, "wheel-moved");
    assert!((yaw.u - 0.12).abs() < 1e-12 && yaw.quality == Quality::Single, "{yaw:?}");
    // What end float explains is left as it is.
    let (finding, yaw) = compared(0.05);
    assert!(finding.is_none() && yaw.u == 0.02 && yaw.quality == Quality::Good, "{yaw:?}");
}
