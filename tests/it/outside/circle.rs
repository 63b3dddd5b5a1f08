//! A circle through scattered points: Gander, Golub, Strebel, "Least-squares fitting of circles and
//! ellipses", BIT 34 (1994). Points seen in two public repositories; the printed result 4.7398,
//! 2.9835, 4.7142 is remembered, more digits were computed with another tool.

use num_dual::DualNum;
use sightcord::math::levenberg_marquardt::Ending;

use crate::outside::fit::{assert_near, fit};

/// The geometric fit: the algebraic ones of the same six points lie up to 4 mm away in y, so this
/// says which of them a fit is.
#[test]
fn the_circle_of_least_distances_is_found() {
    let points = [[1.0, 7.0], [2.0, 6.0], [5.0, 8.0], [7.0, 7.0], [9.0, 5.0], [3.0, 7.0]];
    // The start is the algebraic circle, as published.
    let minimum = fit(&[5.3794, 7.2532, 3.0370], |c| {
        let distance = |[x, y]: [f64; 2]| {
            ((c[0].clone() - x).powi(2) + (c[1].clone() - y).powi(2)).sqrt() - c[2].clone()
        };
        points.map(distance).to_vec()
    });
    assert_eq!(minimum.ending, Ending::Converged);
    assert_near(
        "circle",
        minimum.parameters.as_slice(),
        &[4.73978242, 2.98353270, 4.71422604],
        3e-9,
    );
    assert_near("distances", &[(2.0 * minimum.cost).sqrt()], &[1.107_970_702_764_136_8], 1e-12);
}
