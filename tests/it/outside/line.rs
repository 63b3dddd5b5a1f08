//! A straight line with errors in both coordinates: Pearson's points of 1901 with York's weights.
//!
//! The true places along x are unknowns next to intercept and slope, as cameras are next to tabs in
//! our adjustment.

use nalgebra::Matrix2;
use sightcord::math::levenberg_marquardt::Ending;

use crate::outside::fit::{Dual, assert_near, fit};

const X: [f64; 10] = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4];
const Y: [f64; 10] = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5];

struct Line {
    intercept: f64,
    slope: f64,
    /// Covariance for errors as stated.
    covariance: Matrix2<f64>,
    /// Sum of weighted squares.
    squares: f64,
}

/// Weights are 1 / variance.
fn line(x_weights: &[f64; 10], y_weights: &[f64; 10]) -> Line {
    let start: Vec<f64> = [6.0, -0.5].into_iter().chain(X).collect();
    let minimum = fit(&start, |p| {
        let off = |i: usize| -> [Dual; 2] {
            let x = p[i + 2].clone();
            let y = p[1].clone() * x.clone() + p[0].clone();
            [(x - X[i]) * x_weights[i].sqrt(), (y - Y[i]) * y_weights[i].sqrt()]
        };
        (0..10).flat_map(off).collect()
    });
    assert_eq!(minimum.ending, Ending::Converged);
    let covariance = minimum
        .covariance()
        .expect("ten points determine a line")
        .fixed_view::<2, 2>(0, 0)
        .into_owned();
    Line {
        intercept: minimum.parameters[0],
        slope: minimum.parameters[1],
        covariance,
        squares: 2.0 * minimum.cost,
    }
}

/// York, Evensen, Lopez Martinez, De Basabe Delgado, Am. J. Phys. 72 (2004) 367: standard errors
/// and chi^2 / 8 seen in tests of an implementation; intercept and slope seen there too (Neri et
/// al. 1989 call them exact). More digits were computed with another tool. Scaled by the residuals
/// the errors are 0.359246522551112 and 0.070620269528771 (seen).
#[test]
fn yorks_line_has_the_published_intercept_slope_and_errors() {
    let x_weights = [1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0];
    let y_weights = [1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0];
    let line = line(&x_weights, &y_weights);
    let sigma = line.covariance.diagonal().map(f64::sqrt);
    println!(
        "{} {} sigma {} {} chi2/8 {}",
        line.intercept,
        line.slope,
        sigma.x,
        sigma.y,
        line.squares / 8.0
    );
    assert_near("line", &[line.intercept, line.slope], &[5.47991022403, -0.48053340745], 1e-9);
    assert_near("chi^2 / 8", &[line.squares / 8.0], &[1.483294149], 1e-9);
    assert_near("errors", sigma.as_slice(), &[0.294970735, 0.0579850090], 1e-8);
    let scaled = sigma * (line.squares / 8.0).sqrt();
    assert_near("scaled errors", scaled.as_slice(), &[0.359246522551112, 0.070620269528771], 1e-8);
}

/// The same points with rounded standard deviations: ODRPACK's result, with the covariance for
/// errors as stated, seen in scipy 1.17.1, `scipy/odr/tests/test_odr.py`.
#[test]
fn odrpacks_line_has_its_covariance() {
    let weights = |sigma: [f64; 10]| sigma.map(|s| 1.0 / (s * s));
    let x_weights = weights([0.03, 0.03, 0.04, 0.035, 0.07, 0.11, 0.13, 0.22, 0.74, 1.0]);
    let y_weights = weights([1.0, 0.74, 0.5, 0.35, 0.22, 0.22, 0.12, 0.12, 0.1, 0.04]);
    let line = line(&x_weights, &y_weights);
    println!("{} {} {}", line.intercept, line.slope, line.covariance);
    // ODRPACK stopped a few parts in ten million short of the least sum.
    assert_near(
        "line",
        &[line.intercept, line.slope],
        &[5.476740029923167, -0.4796082367610305],
        2e-6,
    );
    let covariance = [0.0854275622946333, -0.0161807025443155, 0.003306337993922];
    let c = line.covariance;
    assert_near("covariance", &[c[(0, 0)], c[(0, 1)], c[(1, 1)]], &covariance, 2e-6);
}

/// All weights equal: the orthogonal line. Pearson printed 5.7857 and -0.546 (seen); exact values
/// were computed with another tool.
#[test]
fn pearsons_orthogonal_line_is_found() {
    let line = line(&[1.0; 10], &[1.0; 10]);
    assert_near(
        "line",
        &[line.intercept, line.slope],
        &[5.784043774530085, -0.5455611975209647],
        1e-9,
    );
    assert_near("rms distance", &[(line.squares / 10.0).sqrt()], &[0.24871123003134588], 1e-10);
}
