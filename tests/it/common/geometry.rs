//! Poses and the camera, written down from the definitions and independently of the program, so
//! that a slip in either is seen as a difference.

use nalgebra::{Matrix3, Rotation3, Unit, Vector3};

pub type V3 = Vector3<f64>;
pub type M3 = Matrix3<f64>;

/// Where a body stands: `p_world = rotation * p_body + origin`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    pub rotation: M3,
    pub origin: V3,
}

impl Pose {
    pub fn world(&self, p: V3) -> V3 {
        self.rotation * p + self.origin
    }

    /// The body's z axis in the world: for a pattern, out of the paper.
    pub fn normal(&self) -> V3 {
        self.rotation.column(2).into()
    }

    /// A pattern on a face: its z along `normal`, its x turned by `spin_deg` from the most forward
    /// direction in the face.
    pub fn on_face(point: V3, normal: V3, spin_deg: f64) -> Self {
        let n = normal.normalize();
        // A face that looks straight ahead has no forward direction of its own: sideways serves.
        let guide = if n.x.abs() > 0.9 { V3::y() } else { V3::x() };
        let ex = (guide - n * n.dot(&guide)).normalize();
        let rotation = M3::from_columns(&[ex, n.cross(&ex), n]) * turn(V3::z(), spin_deg);
        Self { rotation, origin: point }
    }

    /// The same body shifted and tilted in its own frame.
    pub fn nudged(&self, shift: V3, tilt_deg: [f64; 2]) -> Self {
        let tilt = turn(V3::x(), tilt_deg[0]) * turn(V3::y(), tilt_deg[1]);
        Self { rotation: self.rotation * tilt, origin: self.world(shift) }
    }
}

/// Rotation about an axis by the right-hand rule.
pub fn turn(axis: V3, deg: f64) -> M3 {
    Rotation3::from_axis_angle(&Unit::new_normalize(axis), deg.to_radians()).into_inner()
}

/// Unit axis pointing left with this yaw (+ = front of its plane to the left) and lean (+ = top to
/// the left): yaw = atan2(-ax, ay), lean = asin(-az).
pub fn axis_from_angles(yaw_deg: f64, lean_deg: f64) -> V3 {
    let (yaw, lean) = (yaw_deg.to_radians(), lean_deg.to_radians());
    V3::new(-yaw.sin() * lean.cos(), yaw.cos() * lean.cos(), -lean.sin())
}

/// Yaw and lean of an axis, degrees; the axis may point either way.
pub fn angles_from_axis(axis: V3) -> [f64; 2] {
    let a = axis.normalize() * if axis.y < 0.0 { -1.0 } else { 1.0 };
    [(-a.x).atan2(a.y).to_degrees(), (-a.z).asin().to_degrees()]
}

/// A camera's inner geometry. Pixel (0, 0) is the centre of the top-left pixel. With x = X/Z, y =
/// Y/Z, r2 = x^2 + y^2, g = 1 + k1 r2 + k2 r2^2 + k3 r2^3: u = fx (x g + 2 p1 x y + p2 (r2 + 2
/// x^2)) + cx, v likewise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lens {
    pub width: usize,
    pub height: usize,
    pub fx: f64,
    pub fy: f64,
    pub cx: f64,
    pub cy: f64,
    /// k1, k2, p1, p2, k3.
    pub dist: [f64; 5],
}

impl Lens {
    /// The same camera with its pictures scaled down: a pixel then covers 1 / `ratio` pixels each
    /// way.
    pub fn scaled(&self, ratio: f64) -> Self {
        Self {
            width: (self.width as f64 * ratio).round() as usize,
            height: (self.height as f64 * ratio).round() as usize,
            fx: self.fx * ratio,
            fy: self.fy * ratio,
            // The picture's edge lies half a pixel outside the centre of its first pixel.
            cx: (self.cx + 0.5) * ratio - 0.5,
            cy: (self.cy + 0.5) * ratio - 0.5,
            dist: self.dist,
        }
    }

    /// The same camera with a part of its picture: pixel (u, v) of the part is pixel (u + from_u, v
    /// + from_v) of the whole.
    pub fn cropped(&self, [from_u, from_v]: [usize; 2], [width, height]: [usize; 2]) -> Self {
        Self { width, height, cx: self.cx - from_u as f64, cy: self.cy - from_v as f64, ..*self }
    }

    /// Bent image coordinates of ideal ones.
    pub fn bend(&self, x: f64, y: f64) -> [f64; 2] {
        let [k1, k2, p1, p2, k3] = self.dist;
        let r2 = x * x + y * y;
        let g = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        [
            x * g + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            y * g + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        ]
    }

    /// Derivatives of [`Lens::bend`]: [dxd/dx, dxd/dy, dyd/dx, dyd/dy].
    pub fn bend_derivative(&self, x: f64, y: f64) -> [f64; 4] {
        let [k1, k2, p1, p2, k3] = self.dist;
        let r2 = x * x + y * y;
        let g = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        let dg = 2.0 * (k1 + r2 * (2.0 * k2 + 3.0 * r2 * k3));
        let cross = x * y * dg + 2.0 * p1 * x + 2.0 * p2 * y;
        [
            g + x * x * dg + 2.0 * p1 * y + 6.0 * p2 * x,
            cross,
            cross,
            g + y * y * dg + 6.0 * p1 * y + 2.0 * p2 * x,
        ]
    }

    pub fn pixel(&self, x: f64, y: f64) -> [f64; 2] {
        let [xd, yd] = self.bend(x, y);
        [self.fx * xd + self.cx, self.fy * yd + self.cy]
    }

    /// Ideal image coordinates of a pixel, by Newton's method on [`Lens::bend`].
    pub fn ideal(&self, u: f64, v: f64) -> [f64; 2] {
        let (xd, yd) = ((u - self.cx) / self.fx, (v - self.cy) / self.fy);
        let (mut x, mut y) = (xd, yd);
        // Four steps reach 1e-12 for the lenses of phones; twelve leave room for odd ones.
        for _ in 0..12 {
            let [bx, by] = self.bend(x, y);
            let [a, b, c, d] = self.bend_derivative(x, y);
            let (ex, ey) = (xd - bx, yd - by);
            let det = a * d - b * c;
            x += (d * ex - b * ey) / det;
            y += (a * ey - c * ex) / det;
            if ex.abs() + ey.abs() < 1e-13 {
                break;
            }
        }
        [x, y]
    }

    pub fn contains(&self, [u, v]: [f64; 2], margin: f64) -> bool {
        let inside = |at: f64, size: usize| at > margin - 0.5 && at < size as f64 - 0.5 - margin;
        inside(u, self.width) && inside(v, self.height)
    }

    /// Largest ideal radius squared in the picture: beyond it the polynomial means nothing and may
    /// fold back into view.
    pub fn largest_r2(&self) -> f64 {
        let (w, h) = (self.width as f64 - 0.5, self.height as f64 - 0.5);
        let square = |u, v| self.ideal(u, v).iter().map(|c| c * c).sum::<f64>();
        [square(-0.5, -0.5), square(w, -0.5), square(-0.5, h), square(w, h)]
            .into_iter()
            .fold(0.0, f64::max)
    }
}

/// A camera where it stands: `p_camera = rotation * (p_world - centre)`, camera x right, y down, z
/// forward.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Eye {
    pub lens: Lens,
    pub rotation: M3,
    pub centre: V3,
    largest_r2: f64,
}

impl Eye {
    pub fn new(lens: Lens, rotation: M3, centre: V3) -> Self {
        Self { lens, rotation, centre, largest_r2: 1.1 * lens.largest_r2() }
    }

    pub fn camera_from_world(&self, p: V3) -> V3 {
        self.rotation * (p - self.centre)
    }

    /// Pixel of a point in the world; `None` behind the camera or outside the lens's field.
    pub fn project(&self, p: V3) -> Option<[f64; 2]> {
        self.project_camera(self.camera_from_world(p))
    }

    pub fn project_camera(&self, c: V3) -> Option<[f64; 2]> {
        if c.z <= 1.0 {
            return None;
        }
        let (x, y) = (c.x / c.z, c.y / c.z);
        (x * x + y * y <= self.largest_r2).then(|| self.lens.pixel(x, y))
    }

    /// Direction in the world of the ray through a pixel (not normalised; its depth along the
    /// camera's z is 1).
    pub fn ray(&self, u: f64, v: f64) -> V3 {
        let [x, y] = self.lens.ideal(u, v);
        self.rotation.transpose() * V3::new(x, y, 1.0)
    }
}

/// Rotation camera_from_world of a camera at `eye` that looks at `target`, its picture turned
/// clockwise by `roll_deg`.
pub fn looking_at(eye: V3, target: V3, roll_deg: f64) -> M3 {
    let forward = (target - eye).normalize();
    // A camera that looks straight down takes the bike's forward direction as the top of its
    // picture.
    let up = if forward.z.abs() > 0.999 { V3::x() } else { V3::z() };
    let right = forward.cross(&up).normalize();
    let down = forward.cross(&right);
    let level = M3::from_rows(&[right.transpose(), down.transpose(), forward.transpose()]);
    turn(V3::z(), roll_deg) * level
}
