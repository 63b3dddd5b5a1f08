//! A focal length to start from when EXIF gives none: what planar patterns show about it.

use nalgebra::{Matrix3, Vector2};

/// A plane-to-picture map with entry (2, 2) = 1, or None when the points do not determine it.
///
/// Normalised direct linear transform (Hartley 1997), least squares over all points; `plane` in mm
/// or cells, `pixels` in px.
pub fn homography(plane: &[Vector2<f64>], pixels: &[Vector2<f64>]) -> Option<Matrix3<f64>> {
    if plane.len() < 4 || plane.len() != pixels.len() {
        return None;
    }
    let (from, to) = (normaliser(plane)?, normaliser(pixels)?);
    let mut normal = nalgebra::SMatrix::<f64, 9, 9>::zeros();
    for (p, q) in plane.iter().zip(pixels) {
        let (p, q) = (map(&from, p), map(&to, q));
        let rows = [
            [p.x, p.y, 1.0, 0.0, 0.0, 0.0, -q.x * p.x, -q.x * p.y, -q.x],
            [0.0, 0.0, 0.0, p.x, p.y, 1.0, -q.y * p.x, -q.y * p.y, -q.y],
        ];
        for row in rows {
            let row = nalgebra::SVector::<f64, 9>::from(row);
            normal += row * row.transpose();
        }
    }
    let eigen = normal.symmetric_eigen();
    let smallest = eigen.eigenvalues.imin();
    let v = eigen.eigenvectors.column(smallest);
    let h = Matrix3::new(v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8]);
    let h = to.try_inverse()? * h * from;
    (h[(2, 2)].abs() > 1e-300 && h.iter().all(|x| x.is_finite())).then(|| h / h[(2, 2)])
}

/// The image of a point under a plane-to-plane map.
pub fn map(h: &Matrix3<f64>, p: &Vector2<f64>) -> Vector2<f64> {
    let q = h * p.push(1.0);
    q.xy() / q.z
}

fn normaliser(points: &[Vector2<f64>]) -> Option<Matrix3<f64>> {
    let n = points.len() as f64;
    let mean = points.iter().sum::<Vector2<f64>>() / n;
    let spread = points.iter().map(|p| (p - mean).norm()).sum::<f64>() / n;
    if !(spread > 0.0) {
        return None;
    }
    let s = std::f64::consts::SQRT_2 / spread;
    Some(Matrix3::new(s, 0.0, -s * mean.x, 0.0, s, -s * mean.y, 0.0, 0.0, 1.0))
}

/// Focal length in px from plane-to-picture maps, for square pixels and the principal point in the
/// picture's middle (Zhang 2000, section 3.1, with every intrinsic but the focal length given).
///
/// Each map's first two columns are images of orthogonal directions of equal length; both facts are
/// linear in 1/f^2. None when no map is tilted enough to tell.
pub fn focal_from_homographies(maps: &[Matrix3<f64>], width: usize, height: usize) -> Option<f64> {
    let (cx, cy) = ((width as f64 - 1.0) / 2.0, (height as f64 - 1.0) / 2.0);
    let to_middle = Matrix3::new(1.0, 0.0, -cx, 0.0, 1.0, -cy, 0.0, 0.0, 1.0);
    let size = width.max(height) as f64;
    let mut candidates: Vec<(f64, f64)> = Vec::new();
    for h in maps {
        let h = to_middle * h;
        let (a, b) = (h.column(0), h.column(1));
        let scale = a.norm_squared().max(b.norm_squared()).max(f64::MIN_POSITIVE);
        // (flat part) / f^2 + (depth part) = 0
        let rows = [
            (a[0] * b[0] + a[1] * b[1], a[2] * b[2]),
            (a[0] * a[0] + a[1] * a[1] - b[0] * b[0] - b[1] * b[1], a[2] * a[2] - b[2] * b[2]),
        ];
        for (flat, depth) in rows {
            candidates.push((flat / scale, depth / scale * size * size));
        }
    }
    let (mut top, mut bottom) = (0.0, 0.0);
    for &(flat, depth) in &candidates {
        top -= flat * depth;
        bottom += depth * depth;
    }
    // flat + depth' (f/size)^2... solved for (f/size)^2 by weighting each equation with its depth
    // part.
    let squared = top / bottom;
    let focal = size * squared.sqrt();
    // Phone and camera lenses lie between a 10 mm and a 300 mm equivalent: 0.25 to 8 picture
    // widths.
    (focal.is_finite() && focal > 0.25 * size && focal < 8.0 * size).then_some(focal)
}
