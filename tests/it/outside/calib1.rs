//! Seven views of 35 points: the datum `calib1.dat` of the repository opencv/opencv_extra, with its
//! published result (seen there).

use nalgebra::{Vector2, Vector3};

use crate::outside::fit::assert_near;
use crate::outside::planar::{Points, calibrate};
use crate::outside::{numbers, shared};

const PITCH: f64 = 2.54;

/// X runs fastest.
fn photos() -> Vec<Points> {
    let pixels = numbers(&shared("opencv_extra/calib1_image_points.txt"));
    assert_eq!(pixels.len(), 2 * 7 * 35);
    let photo = |pixels: &[f64]| {
        let point = |(i, at): (usize, &[f64])| {
            (Vector2::new((i % 7) as f64, (i / 7) as f64) * PITCH, Vector2::new(at[0], at[1]))
        };
        pixels.chunks_exact(2).enumerate().map(point).collect()
    };
    pixels.chunks_exact(2 * 35).map(photo).collect()
}

/// Published: lens as below, residuals 0.10179 and 0.09492 px. Computed with another tool from the
/// same points, in double precision: the lens below, and sigmas of the first four 6.31340 5.87679
/// 5.68276 8.83831. The published ones are a constant 1.50213 times those, by a convention that is
/// not known. Two of its directions hang together closely (smallest eigenvalue 3e-7 of the scaled
/// normal equations), which shows when an adjustment stops too early.
#[test]
#[ignore = "needs ../shared"]
fn the_published_lens_and_poses_come_out() {
    let camera = calibrate(&photos(), [true, true, true, true, false]);
    let lens = camera.lens.to_array();
    println!("{lens:?} {:?}", camera.sigma);
    assert_near("published lens", &lens[..4], &[809.94790, 806.55964, 361.99611, 214.39514], 3e-6);
    assert_near(
        "published distortion",
        &lens[4..8],
        &[-0.12821, -0.39441, -0.00435, -0.00732],
        1.2e-3,
    );
    assert_near(
        "computed lens",
        &lens[..4],
        &[809.949047, 806.561123, 361.996292, 214.395010],
        3e-7,
    );
    assert_near("computed sigmas", &camera.sigma[..4], &[6.31340, 5.87679, 5.68276, 8.83831], 1e-5);
    assert!(lens[8].abs() < 1e-15, "k3 is held: {}", lens[8]);
    let spread = |i: usize| {
        let mean = camera.residuals.iter().map(|r| r[i]).sum::<f64>() / 245.0;
        (camera.residuals.iter().map(|r| (r[i] - mean).powi(2)).sum::<f64>() / 244.0).sqrt()
    };
    assert_near("residuals", &[spread(0), spread(1)], &[0.10179, 0.09492], 1e-4);
    let shift = |view: usize| camera.camera_from_target[view].t;
    for (view, published) in [
        (0, [-3.266091090, 2.161114730, 76.722929016]),
        (6, [0.663177123, 8.423198161, 50.500211134]),
    ] {
        let published = Vector3::from(published);
        assert!(
            (shift(view) - published).norm() < 2e-5 * published.norm(),
            "view {}: {}",
            view + 1,
            shift(view)
        );
    }
}
