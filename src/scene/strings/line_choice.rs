//! Where a plumb line hangs that its flags determine poorly: its images, some of them false,
//! choose.
//!
//! Each image of a line spans a plane with its camera; two planes meet in a line. Of all lines that
//! two images give, the one that most standpoints see is the line's (Fischler and Bolles 1981, with
//! every pair in the place of random ones); a tube that was followed in its place in some photos is
//! outvoted.

use nalgebra::{Matrix3, Vector3};

use crate::scene::adjust::noise::REJECT;
use crate::scene::adjust::residual::nearest_to_ray;
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::state::{Line, State};

/// An image of a line lies off when it is this many of its own standard deviations, a pixel or so,
/// from where the line is taken to be (our choice: images of true lines stay within three or four,
/// tubes next to them lie some pixels off).
const LIES_OFF: f64 = 10.0;
/// Images of one line that are paired, evenly taken: the work stays bounded.
const MOST_PAIRED: usize = 40;
/// Planes closer to each other than this give no line, and rays no place (sine of 6 degrees).
const LEAST_ANGLE: f64 = 0.1;
/// Images whose planes lie this close are one standpoint's (sine of 3 degrees): photos taken one
/// after the other on the same spot.
const SAME_STANDPOINT: f64 = 0.05;
/// The two standpoints that give a line always see it; one more at least must.
const LEAST_STANDPOINTS: usize = 3;
/// A flag's ray passes its line within this, mm: a flag that hangs a little off it.
const FLAG_REACH: f64 = 2.0;

/// One photo's image of a line, as rays in the world.
struct Image {
    block: usize,
    eye: Vector3<f64>,
    /// Unit vectors, and by what an angle between such a ray and the line becomes standard
    /// deviations.
    rays: Vec<(Vector3<f64>, f64)>,
    /// Of the plane through the camera and the image.
    normal: Vector3<f64>,
}

/// A photo's ray to a flag.
struct FlagRay {
    flag: usize,
    eye: Vector3<f64>,
    ray: Vector3<f64>,
}

/// Moves each line that its flags determine poorly, and off which some of its images lie, to where
/// most of them have it. Flags go along. Where no place has most of them, they are left out, and
/// the flags alone determine the line.
pub fn settle_lines(state: &mut State, blocks: &mut Vec<Block>) {
    for line_idx in 0..state.lines.len() {
        let images: Vec<Image> =
            (0..blocks.len()).filter_map(|i| Image::of(state, blocks, i, line_idx)).collect();
        let agree = images.iter().all(|image| image.off(&state.lines[line_idx]) <= LIES_OFF);
        let flag_rays = flag_rays(state, blocks, line_idx);
        if agree || flags_determine(state, &flag_rays, line_idx) {
            continue;
        }
        let Some(line) = most_seen(&state.lines[line_idx], &images, &flag_rays) else {
            // Three images can as a rule be met by one line; more that can't contradict each other.
            if images.len() > LEAST_STANDPOINTS {
                blocks.retain(|block| block.shown != Shown::Line(line_idx));
            }
            continue;
        };
        for flag_idx in 0..state.flags.len() {
            let first = flag_rays.iter().find(|r| r.flag == flag_idx);
            if let Some(centre) = first.and_then(|r| nearest_to_ray(&line, &r.eye, &r.ray)) {
                state.flags[flag_idx].centre = centre;
            }
        }
        state.lines[line_idx] = line;
        for image in &images {
            // What lies off is rejected next, before noise is estimated from what is left, and
            // nothing else is.
            blocks[image.block].noise = LIES_OFF / REJECT;
        }
    }
}

impl Image {
    fn of(state: &State, blocks: &[Block], block_idx: usize, line_idx: usize) -> Option<Self> {
        let block = &blocks[block_idx];
        if block.shown != Shown::Line(line_idx) {
            return None;
        }
        let view = &state.views[block.view];
        let lens = state.lens_of(view);
        let mut rays = Vec::with_capacity(block.points.len());
        let mut spread = Matrix3::zeros();
        for point in &block.points {
            let ray = view.ray(&lens, &point.at)?.1.try_normalize(1e-12)?;
            spread += ray * ray.transpose();
            rays.push((ray, lens.fx / point.sigma));
        }
        if rays.len() < 2 {
            return None;
        }
        Some(Self {
            block: block_idx,
            eye: view.camera_from_world.inverse().t,
            rays,
            normal: least_spread(&spread),
        })
    }

    /// How far the image lies from where a line would be seen: rms in its own standard deviations.
    fn off(&self, line: &Line) -> f64 {
        let Some(plane) = (line.point - self.eye).cross(&line.direction).try_normalize(1e-9) else {
            return f64::INFINITY;
        };
        let squares: f64 =
            self.rays.iter().map(|(ray, scale)| (plane.dot(ray) * scale).powi(2)).sum();
        (squares / self.rays.len() as f64).sqrt()
    }
}

impl FlagRay {
    fn reaches(&self, line: &Line) -> bool {
        nearest_to_ray(line, &self.eye, &self.ray)
            .is_some_and(|p| (p - self.eye).cross(&self.ray).norm() < FLAG_REACH)
    }
}

/// All photos' rays to the flags of a line.
fn flag_rays(state: &State, blocks: &[Block], line_idx: usize) -> Vec<FlagRay> {
    let ray = |block: &Block| {
        let Shown::Flag { flag, .. } = block.shown else { return None };
        if state.flags[flag].line != line_idx || block.corners.is_empty() {
            return None;
        }
        let view = &state.views[block.view];
        let middle = block.corners.iter().map(|corner| corner.at).sum::<nalgebra::Vector2<f64>>()
            / block.corners.len() as f64;
        let (eye, ray) = view.ray(&state.lens_of(view), &middle)?;
        Some(FlagRay { flag, eye, ray: ray.try_normalize(1e-12)? })
    };
    blocks.iter().filter_map(ray).collect()
}

/// Whether two flags or more are each seen from two standpoints: then they determine the line
/// better than images that are partly false.
fn flags_determine(state: &State, flag_rays: &[FlagRay], line_idx: usize) -> bool {
    let from_two = |flag: usize| {
        let rays: Vec<&FlagRay> = flag_rays.iter().filter(|r| r.flag == flag).collect();
        rays.iter().any(|a| rays.iter().any(|b| a.ray.cross(&b.ray).norm() > LEAST_ANGLE))
    };
    (0..state.flags.len())
        .filter(|&flag| state.flags[flag].line == line_idx && from_two(flag))
        .count()
        >= 2
}

/// The images on a line, if they are more than half of all and from standpoints enough, with the
/// number of standpoints and by how much the images miss it together.
fn on_line<'a>(line: &Line, images: &'a [Image]) -> Option<(usize, f64, Vec<&'a Image>)> {
    let mut sum = 0.0;
    let mut on: Vec<&Image> = Vec::new();
    let mut standpoints: Vec<&Image> = Vec::new();
    for image in images {
        let miss = image.off(line);
        if miss <= LIES_OFF {
            sum += miss;
            on.push(image);
            if standpoints
                .iter()
                .all(|other| other.normal.cross(&image.normal).norm() > SAME_STANDPOINT)
            {
                standpoints.push(image);
            }
        }
    }
    let enough = standpoints.len() >= LEAST_STANDPOINTS && 2 * on.len() > images.len();
    enough.then_some((standpoints.len(), sum, on))
}

/// The line that most standpoints see: one in which two images' planes meet, fitted to all images
/// on it, or the old one where no other is seen from more. None when no line has most images on it
/// and passes all flags.
fn most_seen(old: &Line, images: &[Image], flag_rays: &[FlagRay]) -> Option<Line> {
    let each = images.len().div_ceil(MOST_PAIRED).max(1);
    let paired: Vec<&Image> = images.iter().step_by(each).collect();
    let passes_flags = |line: &Line| {
        let passed = |flag: usize| flag_rays.iter().any(|r| r.flag == flag && r.reaches(line));
        flag_rays.iter().all(|r| passed(r.flag))
    };
    let mut best: Option<(usize, f64, Line)> =
        on_line(old, images).map(|(n, _, _)| (n, 0.0, old.clone()));
    for (i, a) in paired.iter().enumerate() {
        for b in &paired[..i] {
            let meet = a.normal.cross(&b.normal);
            if meet.norm() < LEAST_ANGLE {
                continue;
            }
            let Some(line) =
                meeting(&meet.normalize(), old, [*a, *b].into_iter()).filter(passes_flags)
            else {
                continue;
            };
            let Some((n, sum, _)) = on_line(&line, images) else { continue };
            if best.as_ref().is_none_or(|(most, least, _)| n > *most || n == *most && sum < *least)
            {
                best = Some((n, sum, line));
            }
        }
    }
    let (_, _, line) = best?;
    let (_, _, on) = on_line(&line, images)?;
    let spread: Matrix3<f64> = on.iter().map(|image| image.normal * image.normal.transpose()).sum();
    meeting(&least_spread(&spread), old, on.into_iter()).filter(passes_flags).or(Some(line))
}

/// The direction in which vectors whose outer products are summed up reach least.
fn least_spread(sum: &Matrix3<f64>) -> Vector3<f64> {
    let eigen = sum.symmetric_eigen();
    eigen.eigenvectors.column(eigen.eigenvalues.imin()).into_owned()
}

/// The line of a direction that lies nearest to all images' planes, its point at the height of the
/// old one's.
fn meeting<'a>(
    direction: &Vector3<f64>,
    old: &Line,
    images: impl Iterator<Item = &'a Image>,
) -> Option<Line> {
    let direction = direction * direction.dot(&old.direction).signum();
    let mut normal = direction * direction.transpose();
    let mut right = direction * direction.dot(&old.point);
    for image in images {
        normal += image.normal * image.normal.transpose();
        right += image.normal * image.normal.dot(&image.eye);
    }
    let point = normal.try_inverse()? * right;
    Some(Line { kind: old.kind, point, direction })
}
