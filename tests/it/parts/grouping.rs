//! Angles round a circle.

use sightcord::grouping::angles::{clusters, middle, wrap};

#[test]
fn clusters_are_found_round_the_circle() {
    let degrees = |list: &[f64]| list.iter().map(|d| d.to_radians()).collect::<Vec<f64>>();
    assert_eq!(clusters(&degrees(&[179.0, 1.0, -179.0, -2.0]), 0.2), [0, 1, 0, 1]);
    assert_eq!(clusters(&degrees(&[10.0]), 0.2), [0]);
    assert_eq!(clusters(&degrees(&[10.0, 12.0, 9.0]), 0.2), [0, 0, 0]);
    assert_eq!(clusters(&[], 0.2), [] as [usize; 0]);
    assert_eq!(clusters(&degrees(&[0.0, 90.0, 180.0, 270.0, 91.0]), 0.2), [0, 1, 2, 3, 1]);
}

#[test]
fn a_stray_angle_does_not_move_the_middle() {
    let m = middle(&[3.1, -3.12, 3.13, 1.0]).unwrap();
    assert!(wrap(m - 3.13).abs() < 0.05, "{m}");
}
