//! Brown's lens model.
//!
//! Camera frame: x right, y down, z forward. With x = X/Z, y = Y/Z, r2 = x^2 + y^2 and
//! g = 1 + k1 r2 + k2 r2^2 + k3 r2^3,
//!
//! u = fx (x g + 2 p1 x y + p2 (r2 + 2 x^2)) + cx,
//!
//! v = fy (y g + p1 (r2 + 2 y^2) + 2 p2 x y) + cy
//!
//! (Brown, "Close-range camera calibration", Photogrammetric Engineering 37, 1971). Pixels: the
//! top-left pixel's centre is (0, 0).

use nalgebra::{Matrix2, Matrix2x3, SMatrix, Vector2, Vector3};

/// Number of lens parameters: fx, fy, cx, cy, k1, k2, p1, p2, k3, in this order.
pub const N_LENS: usize = 9;

/// Derivatives of a pixel position by the lens parameters.
pub type ByLens = SMatrix<f64, 2, N_LENS>;

/// A lens: focal lengths and principal point in px, distortion without unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lens {
    pub fx: f64,
    pub fy: f64,
    pub cx: f64,
    pub cy: f64,
    pub k1: f64,
    pub k2: f64,
    pub p1: f64,
    pub p2: f64,
    pub k3: f64,
}

impl Lens {
    /// A lens without distortion, its principal point in the picture's middle.
    pub fn pinhole(focal: f64, width: usize, height: usize) -> Self {
        let (cx, cy) = ((width as f64 - 1.0) / 2.0, (height as f64 - 1.0) / 2.0);
        Self { fx: focal, fy: focal, cx, cy, k1: 0.0, k2: 0.0, p1: 0.0, p2: 0.0, k3: 0.0 }
    }

    pub fn from_array(a: [f64; N_LENS]) -> Self {
        let [fx, fy, cx, cy, k1, k2, p1, p2, k3] = a;
        Self { fx, fy, cx, cy, k1, k2, p1, p2, k3 }
    }

    pub fn to_array(self) -> [f64; N_LENS] {
        [self.fx, self.fy, self.cx, self.cy, self.k1, self.k2, self.p1, self.p2, self.k3]
    }

    /// The same lens refocused and shaken: focal lengths times exp(`log_zoom`), principal point
    /// shifted (px).
    pub fn drifted(mut self, log_zoom: f64, shift: [f64; 2]) -> Self {
        let zoom = log_zoom.exp();
        self.fx *= zoom;
        self.fy *= zoom;
        self.cx += shift[0];
        self.cy += shift[1];
        self
    }

    /// Pixel of a point in the camera frame. None behind the camera, or so far off the axis that
    /// the distortion polynomial has turned back and several directions would share a pixel.
    pub fn project(&self, p: &Vector3<f64>) -> Option<Vector2<f64>> {
        if p.z <= 1e-9 {
            return None;
        }
        let (x, y) = (p.x / p.z, p.y / p.z);
        self.is_one_to_one(x * x + y * y).then(|| self.pixel(x, y))
    }

    /// Pixel and its derivatives by the point (px per mm) and by the lens parameters.
    pub fn project_with_derivatives(
        &self,
        p: &Vector3<f64>,
    ) -> Option<(Vector2<f64>, Matrix2x3<f64>, ByLens)> {
        if p.z <= 1e-9 {
            return None;
        }
        let (x, y) = (p.x / p.z, p.y / p.z);
        let r2 = x * x + y * y;
        if !self.is_one_to_one(r2) {
            return None;
        }
        let by_plane = self.by_plane(x, y);
        let inv_z = 1.0 / p.z;
        let by_point = by_plane * Matrix2x3::new(inv_z, 0.0, -x * inv_z, 0.0, inv_z, -y * inv_z);
        let (r4, r6) = (r2 * r2, r2 * r2 * r2);
        let g = 1.0 + self.k1 * r2 + self.k2 * r4 + self.k3 * r6;
        let bent_x = x * g + 2.0 * self.p1 * x * y + self.p2 * (r2 + 2.0 * x * x);
        let bent_y = y * g + self.p1 * (r2 + 2.0 * y * y) + 2.0 * self.p2 * x * y;
        #[rustfmt::skip]
        let by_lens = ByLens::from_row_slice(&[
            bent_x, 0.0, 1.0, 0.0, self.fx * x * r2, self.fx * x * r4, self.fx * 2.0 * x * y, self.fx * (r2 + 2.0 * x * x), self.fx * x * r6,
            0.0, bent_y, 0.0, 1.0, self.fy * y * r2, self.fy * y * r4, self.fy * (r2 + 2.0 * y * y), self.fy * 2.0 * x * y, self.fy * y * r6,
        ]);
        let pixel = Vector2::new(self.fx * bent_x + self.cx, self.fy * bent_y + self.cy);
        Some((pixel, by_point, by_lens))
    }

    /// The direction (x, y, 1) that lands on a pixel. None where no direction does.
    pub fn direction(&self, pixel: &Vector2<f64>) -> Option<Vector3<f64>> {
        let target = *pixel;
        let mut at = Vector2::new((pixel.x - self.cx) / self.fx, (pixel.y - self.cy) / self.fy);
        // Newton's iteration; distortion is mild, so a handful of steps reach rounding.
        for _ in 0..20 {
            let miss = target - self.pixel(at.x, at.y);
            let step = self.by_plane(at.x, at.y).try_inverse()? * miss;
            at += step;
            if step.norm() < 1e-13 {
                break;
            }
        }
        let reached = (target - self.pixel(at.x, at.y)).norm() < 1e-6
            && self.is_one_to_one(at.norm_squared());
        reached.then(|| Vector3::new(at.x, at.y, 1.0))
    }

    fn pixel(&self, x: f64, y: f64) -> Vector2<f64> {
        let r2 = x * x + y * y;
        let g = 1.0 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3));
        Vector2::new(
            self.fx * (x * g + 2.0 * self.p1 * x * y + self.p2 * (r2 + 2.0 * x * x)) + self.cx,
            self.fy * (y * g + self.p1 * (r2 + 2.0 * y * y) + 2.0 * self.p2 * x * y) + self.cy,
        )
    }

    /// Derivatives of the pixel by x = X/Z and y = Y/Z.
    fn by_plane(&self, x: f64, y: f64) -> Matrix2<f64> {
        let r2 = x * x + y * y;
        let g = 1.0 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3));
        let slope = self.k1 + r2 * (2.0 * self.k2 + 3.0 * self.k3 * r2);
        Matrix2::new(
            self.fx * (g + 2.0 * x * x * slope + 2.0 * self.p1 * y + 6.0 * self.p2 * x),
            self.fx * (2.0 * x * y * slope + 2.0 * self.p1 * x + 2.0 * self.p2 * y),
            self.fy * (2.0 * x * y * slope + 2.0 * self.p1 * x + 2.0 * self.p2 * y),
            self.fy * (g + 2.0 * y * y * slope + 6.0 * self.p1 * y + 2.0 * self.p2 * x),
        )
    }

    /// Whether the radial curve still rises at this r^2 and has risen all the way from the axis.
    fn is_one_to_one(&self, r2: f64) -> bool {
        // d(r g)/dr = 1 + 3 k1 r2 + 5 k2 r2^2 + 7 k3 r2^3, looked at in eight places on the way
        // out, unless it can't fall so far anywhere.
        let fall =
            r2 * (3.0 * self.k1.abs() + r2 * (5.0 * self.k2.abs() + r2 * 7.0 * self.k3.abs()));
        fall < 0.95
            || (1..=8).all(|i| {
                let s = r2 * f64::from(i) / 8.0;
                1.0 + s * (3.0 * self.k1 + s * (5.0 * self.k2 + s * 7.0 * self.k3)) > 0.05
            })
    }
}
