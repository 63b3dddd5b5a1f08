//! The light across one lane as one photo has it: each sample with the ray it came along.

use nalgebra::{Vector2, Vector3};

use crate::math::Rigid;
use crate::math::px_mm::{Mm, MmPerPx};
use crate::scene::model::state::State;
use crate::scene::model::view::View;
use crate::sightings::LaneEdges;

/// Light across one lane in one photo: each sample with the ray it came along.
#[derive(Clone, Debug)]
pub struct LightView {
    pub samples: Vec<LightRay>,
    pub scale: MmPerPx,
    /// World x and y of the card's middle.
    pub middle: [f64; 2],
}

/// A line of sight across the cord.
#[derive(Clone, Copy, Debug)]
pub struct Ray {
    /// Unit normal of the ray in (y, z) of the world, and its distance from the origin along it.
    pub normal: [f64; 2],
    pub offset: f64,
    /// Where the ray starts and where it goes, in the world.
    pub eye: Vector3<f64>,
    pub direction: Vector3<f64>,
}

impl Ray {
    /// None where the lens does not reach, and for a ray along the cord, which shows nothing across
    /// it.
    pub fn through(state: &State, view: &View, at: [f64; 2]) -> Option<Self> {
        let (eye, direction) = view.ray(&state.lens_of(view), &Vector2::from(at))?;
        let length = direction.y.hypot(direction.z);
        if length < 0.2 * direction.norm() {
            return None;
        }
        let normal = [-direction.z / length, direction.y / length];
        Some(Self { normal, offset: normal[0] * eye.y + normal[1] * eye.z, eye, direction })
    }

    /// Distance of (y, z) from the ray, + along its normal, mm.
    pub fn off(&self, y: f64, z: f64) -> f64 {
        self.normal[0] * y + self.normal[1] * z - self.offset
    }
}

/// Numbers to either side of one, as many steps as lie within the reach.
pub fn steps(about: f64, (reach, step): (f64, f64)) -> impl Iterator<Item = f64> {
    let n = (reach / step).round() as i32;
    (-n..=n).map(move |i| about + step * f64::from(i))
}

#[derive(Clone, Copy, Debug)]
pub struct LightRay {
    pub ray: Ray,
    /// World y where the ray meets the card, and how far that moves for each mm that the paper
    /// lies higher.
    pub on_paper: f64,
    pub per_mm_up: f64,
    /// The bare paper's is 1.
    pub light: f64,
}

/// A line of sight on the fine grid.
#[derive(Clone, Copy, Debug)]
pub struct FineRay {
    pub normal: [f64; 2],
    pub offset: f64,
    pub azimuth: f64,
    pub on_paper: f64,
    pub per_mm_up: f64,
}

/// A group of lanes that see the same piece of the cord: one card in one set-up.
pub struct LightGroup<'a> {
    pub setup: usize,
    pub views: Vec<&'a LightView>,
}

/// Where along it a cord is seen is worked out for this height over the paper, mm (as the guide
/// asks for it: a few millimetres).
const USUAL_HEIGHT: f64 = 3.0;
/// Samples closer than this are left out in the first search.
const SPARSE: Mm = Mm(0.5);

impl LightView {
    /// `slope` is how far the cord goes to the side (world y) for each mm along x: places are given
    /// as if it ran along x, seen over the card's middle. `bow` is the height of the card's
    /// middle over its edges along x and along y, mm.
    pub fn new(
        state: &State,
        view: &View,
        card: &Rigid,
        bow: [f64; 2],
        slope: f64,
        edges: &LaneEdges,
    ) -> Self {
        let up = card.r.column(2).into_owned();
        let half = edges.pattern.cols() as f64 * edges.pattern.pitch_mm() / 2.0;
        let samples = edges.light.iter().filter_map(|sample| {
            let mut ray = Ray::through(state, view, sample.at)?;
            let steep = up.dot(&ray.direction);
            if !(steep.abs() > 0.05) {
                return None;
            }
            let meet = |higher: f64| -> Vector3<f64> {
                ray.eye + ray.direction * (up.dot(&(card.t - ray.eye)) + higher) / steep
            };
            let flat = card.r.column(0).dot(&(meet(0.0) - card.t)) / half;
            let lift = bow[0] * (1.0 - flat * flat) + bow[1];
            let place = |p: Vector3<f64>| p.y - slope * (p.x - card.t.x);
            let (low, high) = (place(meet(lift)), place(meet(lift + 1.0)));
            ray.offset -= ray.normal[0] * slope * (meet(lift + USUAL_HEIGHT).x - card.t.x);
            Some(LightRay { ray, on_paper: low, per_mm_up: high - low, light: sample.light })
        });
        Self {
            samples: samples.collect(),
            scale: MmPerPx(1.0 / edges.px_per_mm),
            middle: [card.t.x, card.t.y],
        }
    }

    /// Whether the camera stands on the side of the world's +y.
    pub fn seen_from_left(&self) -> bool {
        self.samples.first().is_some_and(|sample| sample.ray.eye.y > self.middle[1])
    }

    /// Rays on a grid of `each` points a pixel, `beyond` of them before the first sample and behind
    /// the last: normal, offset, azimuth of the camera about the cord (from upright, towards
    /// +y), place on the paper from `middle`, and how it moves for each mm that the paper lies
    /// higher; and the samples' light.
    pub fn fine(&self, each: usize, beyond: usize) -> Option<(Vec<FineRay>, Vec<f64>)> {
        let n = self.samples.len();
        if n < 8 {
            return None;
        }
        let at = |i: usize| {
            let p = i as f64 / each as f64 - beyond as f64 / each as f64;
            let first = (p.max(0.0) as usize).min(n - 2);
            let (a, b, t) = (&self.samples[first], &self.samples[first + 1], p - first as f64);
            let mix = |of: &dyn Fn(&LightRay) -> f64| of(a) + t * (of(b) - of(a));
            FineRay {
                normal: [mix(&|s| s.ray.normal[0]), mix(&|s| s.ray.normal[1])],
                offset: mix(&|s| s.ray.offset),
                azimuth: mix(&|s| (-s.ray.direction.y).atan2(-s.ray.direction.z)),
                on_paper: mix(&|s| s.on_paper) - self.middle[1],
                per_mm_up: mix(&|s| s.per_mm_up),
            }
        };
        let n_fine = (n - 1) * each + 2 * beyond + 1;
        Some(((0..n_fine).map(at).collect(), self.samples.iter().map(|s| s.light).collect()))
    }

    pub fn sparse(&self) -> Self {
        let each = ((SPARSE / self.scale).0 as usize).max(1);
        Self {
            samples: self.samples.iter().copied().skip(each / 2).step_by(each).collect(),
            ..self.clone()
        }
    }
}
