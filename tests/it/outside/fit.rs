//! `math::levenberg` on models whose derivatives dual numbers find.

use nalgebra::DVector;
use num_dual::{DualDVec64, jacobian};
use sightcord::math::levenberg_marquardt::{Minimum, minimise};

/// Number with derivatives by all parameters.
pub type Dual = DualDVec64;

/// Minimises the sum of squares of what `residuals` gives at given parameters.
pub fn fit(start: &[f64], residuals: impl Fn(&[Dual]) -> Vec<Dual>) -> Minimum {
    let start = DVector::from_row_slice(start);
    let at = |x: &DVector<f64>| {
        jacobian(|x: DVector<Dual>| DVector::from_vec(residuals(x.as_slice())), x)
    };
    let n_residuals = at(&start).0.len();
    minimise(start.clone(), n_residuals, 20_000, |x, values, derivatives| {
        let (value, derivative) = at(x);
        values.copy_from(&value);
        derivatives.copy_from(&derivative);
        true
    })
}

/// Standard deviations of the parameters, the residuals' variance being taken from the residuals.
pub fn standard_errors(minimum: &Minimum, n_residuals: usize) -> Vec<f64> {
    let covariance = minimum.covariance().expect("the residuals determine every parameter");
    let variance = 2.0 * minimum.cost / (n_residuals - minimum.parameters.len()) as f64;
    covariance.diagonal().iter().map(|c| (c * variance).sqrt()).collect()
}

/// Asserts that each value lies within a part `relative` of what was expected.
pub fn assert_near(what: &str, values: &[f64], expected: &[f64], relative: f64) {
    assert_eq!(values.len(), expected.len(), "{what}");
    for (i, (value, expected)) in values.iter().zip(expected).enumerate() {
        assert!(
            (value - expected).abs() <= relative * expected.abs(),
            "{what}, number {}: {value} for {expected}",
            i + 1
        );
    }
}
