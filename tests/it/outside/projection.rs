//! Projection through a distorting lens: regression values seen in `test/test-projections.py` of
//! the repository dkogan/mrcal.

use nalgebra::{Vector2, Vector3};
use sightcord::camera::Lens;

const POINTS: [[f64; 3]; 3] = [[1.0, 2.0, 10.0], [-1.1, 0.3, 1.0], [-0.9, -1.5, 1.0]];
const BARE: Lens = Lens {
    fx: 1512.0,
    fy: 1112.0,
    cx: 500.0,
    cy: 333.0,
    k1: 0.0,
    k2: 0.0,
    p1: 0.0,
    p2: 0.0,
    k3: 0.0,
};
/// The model with four coefficients, k1 k2 p1 p2.
const FOUR: Lens = Lens { k1: -0.012, k2: 0.035, p1: -0.001, p2: 0.002, ..BARE };
/// The model with five, k3 the last.
const FIVE: Lens = Lens { k3: 0.019, ..FOUR };

/// Printed to 5 and more digits after the point.
#[test]
fn points_land_on_the_published_pixels() {
    let four = [[651.27371, 555.23042], [-1223.38516, 678.01468], [-1246.7310448, -1822.799928]];
    let five =
        [[651.2740691, 555.2309482], [-1292.8121176, 691.9401448], [-1987.550162, -2730.85863427]];
    for (lens, pixels) in [(FOUR, four), (FIVE, five)] {
        for (point, pixel) in POINTS.into_iter().zip(pixels) {
            let [point, pixel] = [Vector3::from(point), Vector3::new(pixel[0], pixel[1], 0.0)];
            let found = lens.project(&point).expect("in front of the camera");
            assert!(
                (found - pixel.xy()).norm() < 1e-5,
                "{point} lands on {found}, published {pixel}"
            );
            // The way back and the derivatives' own projection must agree with it.
            let (same, _, _) =
                lens.project_with_derivatives(&point).expect("in front of the camera");
            assert!((same - found).norm() < 1e-9);
            let direction = lens.direction(&found).expect("the pixel has a direction");
            assert!((direction - point / point.z).norm() < 1e-9);
        }
    }
}

/// The same points without distortion; the principal point's row is 333, 433 and 533 in turn.
#[test]
fn a_pinhole_has_none_of_it() {
    let pixels = [[651.2, 555.4], [-1163.2, 766.6], [-860.8, -1135.0]];
    for ((point, pixel), cy) in POINTS.into_iter().zip(pixels).zip([333.0, 433.0, 533.0]) {
        let found =
            Lens { cy, ..BARE }.project(&Vector3::from(point)).expect("in front of the camera");
        assert!((found - Vector2::from(pixel)).norm() < 1e-9, "{found}");
    }
}
