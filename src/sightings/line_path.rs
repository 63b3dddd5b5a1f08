//! The gentle path along which a thin line runs through a photo: straight but for the lens.

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::math::robust::{median, sigma_about_zero};

/// One point of the mid-line of a cord or line in the photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StrandPoint {
    /// Position of the mid-point between the two edges, px.
    pub at: [f64; 2],
    /// Unit normal of the line in the photo: only the position along it means anything.
    pub normal: [f64; 2],
    /// Standard uncertainty along the normal, px.
    pub sigma: f64,
    /// Apparent width between the two edges, px.
    pub width: f64,
}

/// Least standard uncertainty of a place, px: the two edges of a round line are lit differently.
const LEAST_SIGMA: f64 = 0.1;
/// A place farther than this from the path of all others shows something else, px.
const FARTHEST: f64 = 0.5;
/// Fewest places that make a line's image (our choice: as many as its path has unknowns).
const LEAST_PLACES: usize = 3;

/// Offset across (px) as a + b t + c (1 - t^2), t from -1 to 1 along the path.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Path {
    pub a: f64,
    pub b: f64,
    pub c: f64,
}

impl Path {
    pub fn at(&self, t: f64) -> f64 {
        self.a + self.b * t + self.c * (1.0 - t * t)
    }

    /// Least squares through the places (t, offset) that lie within `bound` of this path, px. None
    /// when too few do.
    pub fn fitted(&self, places: &[(f64, f64)], bound: f64) -> Option<Self> {
        let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
        for &(t, offset) in places {
            if (offset - self.at(t)).abs() < bound {
                let row = Vector3::new(1.0, t, 1.0 - t * t);
                normal += row * row.transpose();
                right += row * offset;
            }
        }
        let p = normal.try_inverse()? * right;
        Some(Self { a: p[0], b: p[1], c: p[2] })
    }
}

/// Station `i` of `n` as a place t along the path.
pub fn along(i: usize, n: usize) -> f64 {
    2.0 * (i as f64 + 0.5) / n as f64 - 1.0
}

/// Where a line was read across the expected path.
#[derive(Clone, Copy, Debug)]
pub struct Crossing {
    /// Along the path, -1 to 1.
    pub along: f64,
    /// A point of the expected path, px, and its unit normal there.
    pub at: Vector2<f64>,
    pub normal: Vector2<f64>,
    /// The line across from there, and its width, px.
    pub offset: f64,
    pub width: f64,
}

/// The points of a line's image: places that lie on one smooth line with the others; the rest shows
/// something else. None when too few do.
pub fn line_points(crossings: &[Crossing]) -> Option<Vec<StrandPoint>> {
    let places: Vec<(f64, f64)> =
        crossings.iter().map(|crossing| (crossing.along, crossing.offset)).collect();
    let offsets: Vec<f64> = places.iter().map(|(_, offset)| *offset).collect();
    let mut line = Path { a: median(&offsets)?, b: 0.0, c: 0.0 };
    for bound in [2.0, 0.8, 0.5] {
        line = line.fitted(&places, bound)?;
    }
    let misses: Vec<f64> = places.iter().map(|&(t, offset)| offset - line.at(t)).collect();
    let sigma = sigma_about_zero(&misses)?.max(LEAST_SIGMA);
    let on_line =
        crossings.iter().zip(&misses).filter(|(_, miss)| miss.abs() < (3.0 * sigma).min(FARTHEST));
    let point = |(crossing, _): (&Crossing, &f64)| {
        let at = crossing.at + crossing.normal * crossing.offset;
        StrandPoint { at: at.into(), normal: crossing.normal.into(), sigma, width: crossing.width }
    };
    let points: Vec<StrandPoint> = on_line.map(point).collect();
    (points.len() >= LEAST_PLACES).then_some(points)
}
