//! Five views of 256 points: Z. Zhang, "A flexible new technique for camera calibration",
//! MSR-TR-98-71 (1998), IEEE PAMI 22 (2000). Points and printed results seen on copies of the data
//! page; values to more digits computed from the same points with another tool.
//!
//! Zhang's camera has skewed pixels, which no phone has and our adjustment does not know. The
//! five-view result is therefore found with our solver (`math::levenberg`), our distortion with its
//! derivatives, our motions and our start values, and only the skew and the sum over views are
//! written here; two views without skew go through the adjustment itself.

use nalgebra::{DMatrix, DVector, Matrix2, Matrix3, Vector2, Vector3};
use sightcord::camera::Lens;
use sightcord::camera::start::{focal_from_homographies, homography};
use sightcord::math::Rigid;
use sightcord::math::levenberg_marquardt::{Ending, minimise};
use sightcord::math::rigid::{exp, log, skew};
use sightcord::scene::start::pose::{Glimpse, locate};

use crate::outside::fit::assert_near;
use crate::outside::planar::{Points, calibrate};
use crate::outside::{numbers, shared};

const N_LENS: usize = 7;

fn points(file: &str) -> Vec<Vector2<f64>> {
    let points: Vec<_> = numbers(&shared(&format!("zhang1998/{file}")))
        .chunks_exact(2)
        .map(|p| Vector2::new(p[0], p[1]))
        .collect();
    assert_eq!(points.len(), 256);
    points
}

/// In inches, as the data page has them.
fn photos() -> Vec<Points> {
    let model = points("Model.txt");
    let photo =
        |view: usize| model.iter().copied().zip(points(&format!("data{view}.txt"))).collect();
    (1..=5).map(photo).collect()
}

/// A start from what the maps betray of the focal length; parameters are alpha, gamma, beta, u0,
/// v0, k1, k2 and six for each pose.
fn start(photos: &[Points]) -> DVector<f64> {
    let map = |points: &Points| {
        let (plane, pixels): (Vec<_>, Vec<_>) = points.iter().copied().unzip();
        homography(&plane, &pixels).expect("the points span a plane")
    };
    let maps: Vec<_> = photos.iter().map(map).collect();
    let lens = Lens::pinhole(
        focal_from_homographies(&maps, 640, 480).expect("the target is tilted"),
        640,
        480,
    );
    let mut parameters = vec![lens.fx, 0.0, lens.fy, lens.cx, lens.cy, 0.0, 0.0];
    for points in photos {
        let corners = points
            .iter()
            .map(|(p, at)| (Vector3::new(p.x, p.y, 0.0), *at, Matrix2::identity()))
            .collect();
        let (pose, _) =
            locate(&[Glimpse { lens, camera_from_world: Rigid::identity(), corners }], 10.0)
                .expect("a pose");
        parameters.extend(log(&pose.r).iter().chain(pose.t.iter()));
    }
    DVector::from_vec(parameters)
}

/// Derivative of exp(w) p by w.
fn by_rotation_vector(w: &Vector3<f64>, turned: &Vector3<f64>) -> Matrix3<f64> {
    let (angle, cross) = (w.norm(), skew(w));
    let (a, b) = if angle < 1e-6 {
        (0.5, 1.0 / 6.0)
    } else {
        ((1.0 - angle.cos()) / angle.powi(2), (angle - angle.sin()) / angle.powi(3))
    };
    -skew(turned) * (Matrix3::identity() + cross * a + cross * cross * b)
}

struct Result {
    parameters: DVector<f64>,
    sigma: DVector<f64>,
    /// Root mean square distance, px.
    rms: f64,
}

impl Result {
    fn pose(&self, view: usize) -> Rigid {
        let p = self.parameters.rows(N_LENS + 6 * view, 6).into_owned();
        Rigid::new(exp(&p.fixed_rows::<3>(0).into_owned()), p.fixed_rows::<3>(3).into_owned())
    }
}

fn solve(photos: &[Points]) -> Result {
    let start = start(photos);
    let (n, n_residuals) = (start.len(), photos.len() * 512);
    let minimum = minimise(start, n_residuals, 200, |p, residuals, jacobian| {
        jacobian.fill(0.0);
        let bent = Lens {
            fx: 1.0,
            fy: 1.0,
            cx: 0.0,
            cy: 0.0,
            k1: p[5],
            k2: p[6],
            p1: 0.0,
            p2: 0.0,
            k3: 0.0,
        };
        let pixel_by_bent = Matrix2::new(p[0], p[1], 0.0, p[2]);
        for (i, (point, seen)) in photos.iter().flatten().enumerate() {
            let (row, pose_at) = (2 * i, N_LENS + 6 * (i / 256));
            let w = p.fixed_rows::<3>(pose_at).into_owned();
            let turned = exp(&w) * Vector3::new(point.x, point.y, 0.0);
            let place = turned + p.fixed_rows::<3>(pose_at + 3);
            let Some((at, by_place, by_lens)) = bent.project_with_derivatives(&place) else {
                return false;
            };
            let pixel = pixel_by_bent * at + Vector2::new(p[3], p[4]);
            residuals.rows_mut(row, 2).copy_from(&(pixel - seen));
            let by_place = pixel_by_bent * by_place;
            let mut put = |column: usize, by: Vector2<f64>| {
                jacobian.fixed_view_mut::<2, 1>(row, column).copy_from(&by)
            };
            put(0, Vector2::new(at.x, 0.0));
            put(1, Vector2::new(at.y, 0.0));
            put(2, Vector2::new(0.0, at.y));
            put(3, Vector2::x());
            put(4, Vector2::y());
            put(5, pixel_by_bent * by_lens.column(4));
            put(6, pixel_by_bent * by_lens.column(5));
            let by_turn = by_place * by_rotation_vector(&w, &turned);
            (0..3).for_each(|k| put(pose_at + k, by_turn.column(k).into_owned()));
            (0..3).for_each(|k| put(pose_at + 3 + k, by_place.column(k).into_owned()));
        }
        true
    });
    assert_eq!(minimum.ending, Ending::Converged);
    let covariance: DMatrix<f64> = minimum.covariance().expect("the views determine the camera");
    let variance = 2.0 * minimum.cost / (n_residuals - n) as f64;
    let sigma = covariance.diagonal().map(|c| (c * variance).sqrt());
    Result {
        rms: (2.0 * minimum.cost / (photos.len() * 256) as f64).sqrt(),
        parameters: minimum.parameters,
        sigma,
    }
}

/// Published to six digits; sigmas of the paper's table (1.41, 0.078, 1.38, 0.71, 0.66) are
/// remembered, more digits computed. The published parameters leave 0.336434 px (computed).
#[test]
#[ignore = "needs ../shared"]
fn five_views_give_the_published_camera() {
    let result = solve(&photos());
    let camera = &result.parameters.as_slice()[..N_LENS];
    println!("{camera:?} sigma {:?} rms {}", &result.sigma.as_slice()[..N_LENS], result.rms);
    let published = [832.5, 0.204494, 832.53, 303.959, 206.585, -0.228601, 0.190353];
    // Half of the last printed digit, and 6e-6 for gamma, whose last printed digit does not belong
    // to the least sum.
    let digits = [5e-3, 6e-6, 5e-3, 5e-4, 5e-4, 1e-6, 2e-6];
    for (i, (found, (published, digit))) in
        camera.iter().zip(published.into_iter().zip(digits)).enumerate()
    {
        assert!((found - published).abs() < digit, "number {}: {found} for {published}", i + 1);
    }
    let computed =
        [832.499796, 0.204499472, 832.529635, 303.958901, 206.585245, -0.228601502, 0.190354094];
    assert_near("camera", camera, &computed, 5e-6);
    let sigma =
        [1.40665521, 0.07827593, 1.38581113, 0.71182442, 0.65909594, 0.00413643, 0.02493742];
    assert_near("sigma", &result.sigma.as_slice()[..N_LENS], &sigma, 1e-5);
    assert_near("rms distance", &[result.rms], &[0.3364339], 1e-6);
}

/// Printed to six digits, the last of which may not belong to the least sum.
#[test]
#[ignore = "needs ../shared"]
fn five_views_give_the_published_poses() {
    let result = solve(&photos());
    #[rustfmt::skip]
    let published = [
        [0.992759, -0.026319, 0.117201, 0.0139247, 0.994339, 0.105341, -0.11931, -0.102947, 0.987505, -3.84019, 3.65164, 12.791],
        [0.997397, -0.00482564, 0.0719419, 0.0175608, 0.983971, -0.17746, -0.0699324, 0.178262, 0.981495, -3.71693, 3.76928, 13.1974],
        [0.915213, -0.0356648, 0.401389, -0.00807547, 0.994252, 0.106756, -0.402889, -0.100946, 0.909665, -2.94409, 3.77653, 14.2456],
        [0.986617, -0.0175461, -0.16211, 0.0337573, 0.994634, 0.0977953, 0.159524, -0.101959, 0.981915, -3.40697, 3.6362, 12.4551],
        [0.967585, -0.196899, -0.158144, 0.191542, 0.980281, -0.0485827, 0.164592, 0.0167167, 0.98622, -4.07238, 3.21033, 14.3441],
    ];
    for (view, published) in published.iter().enumerate() {
        let pose = result.pose(view);
        let found: Vec<f64> = pose.r.transpose().iter().chain(pose.t.iter()).copied().collect();
        let worst = found
            .iter()
            .zip(published)
            .map(|(a, b)| (a - b).abs() / b.abs().max(1.0))
            .fold(0.0, f64::max);
        println!("view {}: worst difference {worst:.1e}", view + 1);
        assert!(worst < 5e-6, "view {}: {found:?}", view + 1);
    }
}

/// The first two views with square pixels: alpha 830.47 and its sigma 4.74 in the paper's table are
/// remembered, more digits computed. This one goes through our adjustment.
#[test]
#[ignore = "needs ../shared"]
fn two_views_without_skew_give_the_published_focal_length() {
    let camera = calibrate(&photos()[..2], [true, true, false, false, false]);
    println!("{:?} sigma {:?}", camera.lens, camera.sigma);
    assert!((camera.lens.fx - 830.4683).abs() < 1e-3, "{}", camera.lens.fx);
    assert!((camera.sigma[0] - 4.75).abs() < 0.01, "{}", camera.sigma[0]);
}
