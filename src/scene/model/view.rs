//! One photo's camera: where it stands, how it drifted since the common lens, and how the hand
//! moved it while the rows were read.

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::camera::Lens;
use crate::math::Rigid;
use crate::math::rigid::exp;

/// Where the ray of a pixel meets the plane through `point` at right angles to `normal`.
pub fn on_plane(
    lens: &Lens,
    view: &View,
    pixel: [f64; 2],
    normal: &Vector3<f64>,
    point: &Vector3<f64>,
) -> Option<Vector3<f64>> {
    let (eye, ray) = view.ray(lens, &Vector2::from(pixel))?;
    let slope = ray.dot(normal);
    if slope.abs() < 1e-6 {
        return None;
    }
    let along = (point - eye).dot(normal) / slope;
    (along > 0.0).then(|| eye + ray * along)
}

/// How a camera moves while a photo's rows are read out one after another (rolling shutter), in its
/// own frame: by how much over the whole picture. The middle row sees it where its pose has it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sweep {
    /// Rotation vector, radians.
    pub turn: Vector3<f64>,
    /// mm.
    pub shift: Vector3<f64>,
}

impl Sweep {
    /// A point of the middle row's camera frame, as the camera has it at `time`. Turns are a
    /// thousandth: their cubes are nothing.
    fn at(&self, time: f64, p: &Vector3<f64>) -> Vector3<f64> {
        let turn = self.turn * time;
        let by = turn.cross(p);
        p + by + turn.cross(&by) / 2.0 + self.shift * time
    }

    fn is_none(&self) -> bool {
        *self == Self::default()
    }
}

/// One photo's camera.
#[derive(Clone, Debug)]
pub struct View {
    /// Index into `State::lenses`.
    pub lens: usize,
    /// Index of the set-up.
    pub setup: usize,
    pub camera_from_world: Rigid,
    /// Refocusing since the common lens: factor exp(log_zoom) on both focal lengths.
    pub log_zoom: f64,
    /// Shift of the principal point since the common lens, px.
    pub shift: [f64; 2],
    pub sweep: Sweep,
    /// Width and height of the picture, px.
    pub size: [f64; 2],
    /// world_from_flag rotations of the flags seen here, in the order of the view's flag list.
    pub flag_turns: Vec<Matrix3<f64>>,
}

impl View {
    /// The ray of a pixel in the world: where the camera stands, and the direction (not of unit
    /// length). None where the lens does not reach.
    pub fn ray(&self, lens: &Lens, pixel: &Vector2<f64>) -> Option<(Vector3<f64>, Vector3<f64>)> {
        let world_from_camera = self.camera_from_world.inverse();
        if self.sweep.is_none() {
            return Some((world_from_camera.t, world_from_camera.r * lens.direction(pixel)?));
        }
        let time = self.time(pixel);
        let turned_back = exp(&(self.sweep.turn * -time));
        let eye = turned_back * (self.sweep.shift * -time);
        Some((
            world_from_camera.apply(&eye),
            world_from_camera.r * (turned_back * lens.direction(pixel)?),
        ))
    }

    /// A camera that holds still.
    pub fn still(lens: usize, setup: usize, camera_from_world: Rigid, size: [usize; 2]) -> Self {
        let size = size.map(|side| side as f64);
        Self {
            lens,
            setup,
            camera_from_world,
            log_zoom: 0.0,
            shift: [0.0; 2],
            sweep: Sweep::default(),
            size,
            flag_turns: Vec::new(),
        }
    }

    /// When a pixel's row is read, from -1/2 to 1/2 over the picture. A sensor's rows lie along its
    /// longer side.
    pub fn time(&self, pixel: &Vector2<f64>) -> f64 {
        let [width, height] = self.size;
        if width >= height { (pixel.y + 0.5) / height - 0.5 } else { (pixel.x + 0.5) / width - 0.5 }
    }

    /// A point of the world in the camera's frame when the row is read that shows it, and that
    /// time; None where it has no picture.
    pub fn in_camera(&self, lens: &Lens, world: &Vector3<f64>) -> Option<(Vector3<f64>, f64)> {
        let middle = self.camera_from_world.apply(world);
        // A sweep moves a pixel by a thousandth of the picture: the time of the row where it would
        // be without is right to that.
        let time = self.time(&lens.project(&middle)?);
        Some((if self.sweep.is_none() { middle } else { self.sweep.at(time, &middle) }, time))
    }

    /// Pixel of a point of the world; None where it has no picture.
    pub fn project(&self, lens: &Lens, world: &Vector3<f64>) -> Option<Vector2<f64>> {
        lens.project(&self.in_camera(lens, world)?.0)
    }
}
