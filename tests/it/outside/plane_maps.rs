//! Maps of a plane into a photo, ours against those of the crate imageproc, which solves them in
//! another way (a singular value decomposition of four point pairs, in single precision).

use imageproc::geometric_transformations::Projection;
use nalgebra::Vector2;
use sightcord::camera::start::homography;
use sightcord::sightings::plane_map::{Node, PlaneMap};

/// Four corners of a card's field in cells, and where a photo shows them, px: flat, steep, and
/// turned upside down.
const FROM: [[f64; 2]; 4] = [[0.0, 0.0], [26.0, 0.0], [26.0, 18.0], [0.0, 18.0]];
const SEEN: [[[f64; 2]; 4]; 4] = [
    [[1200.0, 900.0], [1720.0, 900.0], [1720.0, 1260.0], [1200.0, 1260.0]],
    [[1203.5, 911.2], [1694.8, 873.6], [1840.4, 1190.9], [1101.7, 1252.3]],
    [[900.0, 1400.0], [2100.0, 1390.0], [1720.0, 1010.0], [1290.0, 1015.0]],
    [[2210.0, 1610.0], [1660.0, 1745.0], [1575.0, 1330.0], [2150.0, 1205.0]],
];
/// Single precision holds a pixel of a photo to 0.0001; the solution of eight equations loses a
/// digit or two of that.
const TOLERANCE_PX: f64 = 0.02;

#[test]
fn plane_maps_agree_with_those_of_another_implementation() {
    for seen in SEEN {
        let single = |p: [f64; 2]| (p[0] as f32, p[1] as f32);
        let theirs = Projection::from_control_points(FROM.map(single), seen.map(single)).unwrap();
        let nodes = FROM.iter().zip(&seen).map(|(&lattice, &at)| (Node { lattice, at }, 1.0));
        let local = PlaneMap::fit(nodes).unwrap();
        let whole = homography(&FROM.map(Vector2::from), &seen.map(Vector2::from)).unwrap();
        for (col, row) in (0..=26)
            .step_by(2)
            .flat_map(|col| (0..=18).step_by(3).map(move |row| (f64::from(col), f64::from(row))))
        {
            let expected = theirs * (col as f32, row as f32);
            let expected = [expected.0, expected.1].map(f64::from);
            let by_matrix = whole * nalgebra::Vector3::new(col, row, 1.0);
            let ours = [
                local.at([col, row]).unwrap(),
                [by_matrix[0] / by_matrix[2], by_matrix[1] / by_matrix[2]],
            ];
            for at in ours {
                let off = (at[0] - expected[0]).hypot(at[1] - expected[1]);
                assert!(off < TOLERANCE_PX, "({col}, {row}): {at:?} against {expected:?}");
            }
        }
    }
}
