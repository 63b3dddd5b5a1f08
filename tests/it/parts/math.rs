//! Rotations and motions, the error function of several numbers at once, and small systems of
//! equations.

use approx::assert_relative_eq;
use nalgebra::{SMatrix, SVector, Vector3};

use sightcord::math::Rigid;
use sightcord::math::lanes::Lanes;
use sightcord::math::rigid::{exp, fit_rigid, log};
use sightcord::math::solve::Cholesky;

#[test]
fn log_undoes_exp_up_to_half_a_turn() {
    for angle in [1e-9, 1e-4, 0.3, 2.0, 3.1, 3.138, std::f64::consts::PI - 1e-9] {
        let w = Vector3::new(0.3, -0.8, 0.52).normalize() * angle;
        assert_relative_eq!(log(&exp(&w)), w, epsilon = 1e-8);
    }
}

#[test]
fn fitted_motion_is_the_one_applied() {
    let motion = Rigid::new(exp(&Vector3::new(0.2, 1.0, -2.0)), Vector3::new(3.0, -40.0, 900.0));
    let b: Vec<_> = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 2.0, 0.0], [0.0, 0.0, 3.0]]
        .map(Vector3::from)
        .to_vec();
    let a: Vec<_> = b.iter().map(|p| motion.apply(p)).collect();
    let found = fit_rigid(&a, &b).unwrap();
    assert_relative_eq!(found.r, motion.r, epsilon = 1e-12);
    assert_relative_eq!(found.t, motion.t, epsilon = 1e-9);
    assert!(fit_rigid(&a[..2], &b[..2]).is_none());
}

fn one(z: f32) -> (f32, f32) {
    let (value, slope) = Lanes::splat(z).erf_and_slope();
    (value[3], slope[3])
}

/// erf(z) = 2/sqrt(pi) exp(-z^2) sum_n 2^n z^(2n+1) / (1 3 5 .. (2n+1)); every term is
/// positive, so nothing cancels.
fn erf_by_series(z: f64) -> f64 {
    let (mut term, mut sum, mut n) = (z, z, 1.0);
    while term > 1e-17 * sum {
        term *= 2.0 * z * z / (2.0 * n + 1.0);
        sum += term;
        n += 1.0;
    }
    std::f64::consts::FRAC_2_SQRT_PI * (-z * z).exp() * sum
}

#[test]
fn erf_and_its_slope_agree_with_the_series() {
    for step in -5000..=5000 {
        let z = step as f32 * 1e-3;
        let exact = f64::from(z);
        let (value, slope) = one(z);
        assert!(
            (f64::from(value) - erf_by_series(exact.abs()).copysign(exact)).abs() < 5e-7,
            "erf({z}) = {value}"
        );
        assert!(
            (f64::from(slope) - std::f64::consts::FRAC_2_SQRT_PI * (-exact * exact).exp()).abs()
                < 5e-7,
            "slope at {z}"
        );
    }
}

#[test]
fn erf_is_one_far_out() {
    for z in [9.0, 1e3, 1e18, f32::MAX, f32::INFINITY] {
        assert_eq!(one(z).0, 1.0);
        assert_eq!(one(-z).0, -1.0);
        assert!(one(z).1 < 1e-30);
    }
}

#[test]
fn operations_act_lane_by_lane() {
    let a = Lanes(std::array::from_fn(|i| i as f32 + 1.0));
    assert_eq!((a * a - a / 2.0 + 1.0).0[3], 16.0 - 2.0 + 1.0);
    assert_eq!(((-a).abs() + Lanes::ONE).sum(), 44.0);
}

#[test]
fn what_is_solved_solves_and_what_is_not_definite_is_refused() {
    let root = SMatrix::<f64, 5, 5>::from_fn(|i, j| {
        ((i * 7 + j * 3) % 5) as f64 + if i == j { 4.0 } else { 0.0 }
    });
    let matrix = root * root.transpose();
    let right = SVector::<f64, 5>::from_fn(|i, _| i as f64 - 1.5);
    let x = Cholesky::new(&matrix).expect("a definite matrix").solve(&right);
    assert!((matrix * x - right).norm() < 1e-10);
    assert!(Cholesky::new(&(matrix - SMatrix::identity() * 1e4)).is_none());
    assert!(Cholesky::new(&SMatrix::<f64, 2, 2>::from_element(f64::NAN)).is_none());
}
