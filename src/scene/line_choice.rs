//! Where a plumb line hangs that its flags tell poorly: its images, some of them false, choose.
//!
//! Each image of a line spans a plane with its camera; two planes meet in a line. Of all lines that two images give, the one that most
//! images and flags lie on is the line's (Fischler and Bolles 1981, with every pair in the place of random ones); a tube that was followed
//! in its place in some photos is outvoted.

use nalgebra::{Matrix3, Vector3};

use super::observe::{Block, Shown};
use super::residual::lengths;
use super::state::{Line, Slots, State};

/// An image of a line lies off when it is this many of its own standard deviations from where the line is taken to be.
const LIES_OFF: f64 = 10.0;
/// Images of one line that are paired: more tell nothing new.
const MOST_PAIRED: usize = 40;
/// Planes closer to each other than this give no line (sine of 6 degrees).
const LEAST_ANGLE: f64 = 0.1;
/// Fewer images and flags than this on a line are chance.
const LEAST_VOTES: usize = 4;
/// A flag's ray passes its line within this, mm.
const FLAG_REACH: f64 = 2.0;

/// Moves each line of whose images more than a quarter lie off to where most of them have it. Flags go along.
pub fn settle_lines(state: &mut State, slots: &Slots, blocks: &mut [Block]) {
    for line_idx in 0..state.lines.len() {
        let of_line: Vec<usize> = (0..blocks.len()).filter(|&i| blocks[i].shown == Shown::Line(line_idx)).collect();
        let n_off = of_line.iter().filter(|&&i| off(state, slots, &blocks[i]) > LIES_OFF).count();
        if 4 * n_off <= of_line.len() {
            continue;
        }
        let flag_rays = flag_rays(state, blocks, line_idx);
        let Some(line) = most_agreed(state, slots, blocks, &of_line, &flag_rays) else { continue };
        for (flag_idx, eye, ray) in &flag_rays {
            state.flags[*flag_idx].centre = nearest(&line, eye, ray);
        }
        state.lines[line_idx] = line;
        for i in of_line {
            // Taken at their word those outvoted are rejected next, before noise is told from what is left.
            blocks[i].noise = 1.0;
        }
    }
}

/// How far an image lies from where its line would be seen: rms in its own standard deviations.
fn off(state: &State, slots: &Slots, block: &Block) -> f64 {
    let lengths = lengths(state, slots, block);
    block.noise * (lengths.iter().map(|r| r * r).sum::<f64>() / lengths.len().max(1) as f64).sqrt()
}

/// The first photo's ray to each of a line's flags: flag, eye and direction.
fn flag_rays(state: &State, blocks: &[Block], line_idx: usize) -> Vec<(usize, Vector3<f64>, Vector3<f64>)> {
    let of_line = (0..state.flags.len()).filter(|&f| state.flags[f].line == line_idx);
    let ray = |flag_idx: usize| {
        let block = blocks.iter().find(|b| matches!(b.shown, Shown::Flag { flag, .. } if flag == flag_idx))?;
        let eye = state.views[block.view].camera_from_world.inverse().t;
        Some((flag_idx, eye, (state.flags[flag_idx].centre - eye).try_normalize(1e-6)?))
    };
    of_line.filter_map(ray).collect()
}

/// The point of a line nearest to a ray.
fn nearest(line: &Line, eye: &Vector3<f64>, ray: &Vector3<f64>) -> Vector3<f64> {
    let across = Matrix3::identity() - ray * ray.transpose();
    let (from, along) = (across * (line.point - eye), across * line.direction);
    line.point - line.direction * (from.dot(&along) / along.norm_squared().max(1e-12))
}

/// Normal of the plane through the camera and an image of a line, and a point of it, the camera's.
fn plane_of_sight(state: &State, block: &Block) -> Option<(Vector3<f64>, Vector3<f64>)> {
    let view = &state.views[block.view];
    let world_from_camera = view.camera_from_world.inverse();
    let lens = state.lens_of(view);
    let mut spread = Matrix3::zeros();
    for point in &block.points {
        let ray = world_from_camera.r * lens.direction(&point.at)?;
        spread += ray * ray.transpose() / ray.norm_squared();
    }
    let eigen = spread.symmetric_eigen();
    let normal: Vector3<f64> = eigen.eigenvectors.column(eigen.eigenvalues.imin()).into_owned();
    Some((normal, world_from_camera.t))
}

/// The line in which two images' planes meet that most images and flags lie on. None when few do, or fewer than on the line as it is.
fn most_agreed(
    state: &State,
    slots: &Slots,
    blocks: &[Block],
    of_line: &[usize],
    flag_rays: &[(usize, Vector3<f64>, Vector3<f64>)],
) -> Option<Line> {
    let &first = of_line.first()?;
    let Shown::Line(line_idx) = blocks[first].shown else { return None };
    let old = &state.lines[line_idx];
    let mut tried = state.clone();
    // How many lie on it, and by how much they miss it together.
    let mut votes = |line: &Line| {
        tried.lines[line_idx] = line.clone();
        let misses = of_line.iter().map(|&i| off(&tried, slots, &blocks[i])).filter(|miss| *miss <= LIES_OFF);
        let (n, sum) = misses.fold((0, 0.0), |(n, sum), miss| (n + 1, sum + miss));
        let reaches = |eye: &Vector3<f64>, ray: &Vector3<f64>| (nearest(line, eye, ray) - eye).cross(ray).norm() < FLAG_REACH;
        (n + flag_rays.iter().filter(|(_, eye, ray)| reaches(eye, ray)).count(), sum)
    };
    let planes: Vec<(Vector3<f64>, Vector3<f64>)> =
        of_line.iter().take(MOST_PAIRED).filter_map(|&i| plane_of_sight(state, &blocks[i])).collect();
    let mut best: Option<((usize, f64), Line)> = None;
    for (i, (normal_a, eye_a)) in planes.iter().enumerate() {
        for (normal_b, eye_b) in &planes[..i] {
            let meet = normal_a.cross(normal_b);
            if meet.norm() < LEAST_ANGLE {
                continue;
            }
            let direction = meet.normalize() * meet.dot(&old.direction).signum();
            let rows = Matrix3::from_rows(&[normal_a.transpose(), normal_b.transpose(), direction.transpose()]);
            let right = Vector3::new(normal_a.dot(eye_a), normal_b.dot(eye_b), direction.dot(&old.point));
            let Some(point) = rows.try_inverse().map(|inverse| inverse * right) else { continue };
            let line = Line { kind: old.kind, point, direction };
            let (n, sum) = votes(&line);
            if best.as_ref().is_none_or(|((most, least), _)| n > *most || n == *most && sum < *least) {
                best = Some(((n, sum), line));
            }
        }
    }
    let (now, _) = votes(old);
    best.filter(|((n, _), _)| *n >= LEAST_VOTES && *n >= now).map(|(_, line)| line)
}
