//! How thick a plumb line is, estimated from all photos together, and how wide each photo must
//! therefore show it.
//!
//! Where one flank of a line is as dark as what hangs behind it, a photo alone reads the line too
//! narrow, and its axis off to one side. A line is as thick in one photo as in the other.

use nalgebra::Vector2;

use crate::math::robust::median;
use crate::scene::adjust::residual::nearest_to_ray;
use crate::scene::model::solution::Solution;
use crate::scene::model::state::Line;
use crate::sightings::line_light::LineLight;
use crate::sightings::line_strips::Width;
use crate::sightings::round_line::NARROW;
use crate::sightings::{LineSighting, PhotoSightings};

/// Fewest images that determine a thickness together (our choice).
const LEAST_IMAGES: usize = 3;
/// Beyond an image's own uncertainty: shading that the model of a round rod leaves open
/// (logarithm; seen in rendered photos).
const OPEN: f64 = 0.06;
/// An image this many standard deviations from the others counts less and less.
const FAR: f64 = 1.0;
/// What the common width is trusted to, and its change along, which perspective alone makes
/// (logarithms).
const TRUSTED: [f64; 2] = [0.04, 0.02];

/// One image that determines the thickness of a line.
struct Image {
    photo: usize,
    idx: usize,
    /// Logarithm of px for each mm across the line, in the image's middle, and its change to the
    /// end.
    scale: [f64; 2],
    /// Logarithm of the half-width in mm, and its standard deviation.
    log_half: f64,
    sigma: f64,
}

/// The width in which a plumb line's image is to be read again.
pub struct ImageWidth {
    pub photo: usize,
    /// Its place in the photo's list of lines.
    pub line: usize,
    pub width: Width,
}

/// The widths in which plumb lines are to be read again.
pub fn common_widths(solution: &Solution, photos: &[&PhotoSightings]) -> Vec<ImageWidth> {
    let mut widths = Vec::new();
    for line in &solution.state.lines {
        let images: Vec<Image> = photos
            .iter()
            .enumerate()
            .flat_map(|(photo, seen)| {
                seen.lines.iter().enumerate().map(move |(idx, seen)| (photo, idx, seen))
            })
            .filter(|(_, _, seen)| seen.kind == line.kind)
            .filter_map(|(photo, idx, seen)| Image::of(solution, line, photo, idx, seen))
            .collect();
        let Some(thickness) = common(&images) else { continue };
        widths.extend(images.iter().filter_map(|image| {
            let width = Width {
                log_half: thickness + image.scale[0],
                change: image.scale[1],
                spread: TRUSTED,
            };
            (2.0 * width.log_half.exp() >= NARROW).then_some(ImageWidth {
                photo: image.photo,
                line: image.idx,
                width,
            })
        }));
    }
    widths
}

impl Image {
    fn of(
        solution: &Solution,
        line: &Line,
        photo: usize,
        idx: usize,
        seen: &LineSighting,
    ) -> Option<Self> {
        let (light, own) = (seen.light.as_ref()?, seen.own_width.as_ref()?);
        let view = solution.view_of.get(photo).copied().flatten()?;
        let scale = scale(solution, view, line, light)?;
        let image = Self {
            photo,
            idx,
            scale,
            log_half: own.log_half - scale[0],
            sigma: own.spread[0].hypot(OPEN),
        };
        (image.log_half.is_finite() && image.sigma.is_finite()).then_some(image)
    }
}

/// Logarithm of px for each mm across the line in the middle of its image, and its change to the
/// end.
fn scale(solution: &Solution, view: usize, line: &Line, light: &LineLight) -> Option<[f64; 2]> {
    let view = &solution.state.views[view];
    let lens = solution.state.lens_of(view);
    let log_px_per_mm = |at: &Vector2<f64>| {
        let (eye, ray) = view.ray(&lens, at)?;
        let on_line = nearest_to_ray(line, &eye, &ray.try_normalize(1e-12)?)?;
        let across = line.direction.cross(&(on_line - eye)).try_normalize(1e-9)?;
        let pixel = |side: f64| view.project(&lens, &(on_line + across * side));
        let px = (pixel(0.5)? - pixel(-0.5)?).norm();
        (px > 0.0).then(|| px.ln())
    };
    let [(t0, first), (t1, last)] = light.ends()?;
    let (a, b) = (log_px_per_mm(&first)?, log_px_per_mm(&last)?);
    let slope = if t1 - t0 > 0.1 { (b - a) / (t1 - t0) } else { 0.0 };
    Some([a - slope * t0, slope])
}

/// Logarithm of half the line's thickness, mm: a mean in which images far from the others count
/// less (Huber's).
fn common(images: &[Image]) -> Option<f64> {
    if images.len() < LEAST_IMAGES {
        return None;
    }
    let mut mean = median(&images.iter().map(|image| image.log_half).collect::<Vec<f64>>())?;
    for _ in 0..20 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for image in images {
            let off = (image.log_half - mean).abs() / image.sigma;
            let weight = image.sigma.powi(-2) * if off > FAR { FAR / off } else { 1.0 };
            sum += weight * image.log_half;
            weights += weight;
        }
        mean = sum / weights;
    }
    Some(mean)
}
