//! The error function, fast enough to be evaluated for every pixel of a fit.

use std::sync::LazyLock;

/// Beyond this argument the error function is 1 to better than 1e-9.
const LIMIT: f64 = 4.5;
/// Nodes of the table per unit of the argument.
const NODES_PER_UNIT: f64 = 64.0;

/// Value and slope of the error function at the nodes.
static TABLE: LazyLock<Vec<[f64; 2]>> = LazyLock::new(|| {
    let n_nodes = (LIMIT * NODES_PER_UNIT) as usize + 2;
    (0..n_nodes)
        .map(|node| {
            let z = node as f64 / NODES_PER_UNIT;
            [erf_by_series(z), std::f64::consts::FRAC_2_SQRT_PI * (-z * z).exp()]
        })
        .collect()
});

/// erf(z) = 2/sqrt(pi) exp(-z^2) sum_n 2^n z^(2n+1) / (1 3 5 .. (2n+1)); every term is positive, so nothing cancels.
fn erf_by_series(z: f64) -> f64 {
    let mut term = z;
    let mut sum = z;
    let mut n = 1.0;
    while term > 1e-17 * sum {
        term *= 2.0 * z * z / (2.0 * n + 1.0);
        sum += term;
        n += 1.0;
    }
    std::f64::consts::FRAC_2_SQRT_PI * (-z * z).exp() * sum
}

/// The error function erf(z) and its slope 2/sqrt(pi) exp(-z^2); both are good to 1e-6.
///
/// Between the table's nodes the Taylor series is exact to the third order, since the derivatives of the error function
/// follow from its slope: erf'' = -2 z erf', erf''' = (4 z^2 - 2) erf'.
#[inline]
pub fn erf_and_slope(z: f64) -> (f64, f64) {
    let magnitude = z.abs();
    if !(magnitude < LIMIT) {
        return (1f64.copysign(z), 0.0);
    }
    let node = (magnitude * NODES_PER_UNIT + 0.5) as usize;
    let [value, slope] = TABLE[node];
    let at = node as f64 / NODES_PER_UNIT;
    let t = magnitude - at;
    let curvature = t * t * (2.0 * at * at - 1.0);
    let erf = value + slope * t * (1.0 - at * t + curvature / 3.0);
    (erf.copysign(z), slope * (1.0 - 2.0 * at * t + curvature))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn erf_agrees_with_printed_values() {
        // Abramowitz and Stegun, Handbook of Mathematical Functions (1964), table 7.1; quoted from memory.
        for (z, value) in [(0.0, 0.0), (0.5, 0.5204998778), (1.0, 0.8427007929), (2.0, 0.9953222650)] {
            assert!((erf_and_slope(z).0 - value).abs() < 1e-9, "erf({z})");
            assert!((erf_and_slope(-z).0 + value).abs() < 1e-9, "erf(-{z})");
        }
    }

    #[test]
    fn erf_is_smooth_between_nodes_and_its_slope_is_its_derivative() {
        for step in 0..20_000 {
            let z = f64::from(step) * 3e-4 - 3.0;
            let (value, slope) = erf_and_slope(z);
            assert!((value - erf_by_series(z.abs()).copysign(z)).abs() < 1e-7);
            assert!((slope - std::f64::consts::FRAC_2_SQRT_PI * (-z * z).exp()).abs() < 3e-6);
        }
    }

    #[test]
    fn erf_is_one_far_out_and_at_infinity() {
        for z in [5.0, 1e30, f64::INFINITY] {
            assert_eq!(erf_and_slope(z), (1.0, 0.0));
        }
    }
}
