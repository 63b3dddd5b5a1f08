//! The photos for the report: reduced, upright, with what was found drawn over them.

use image::codecs::jpeg::JpegEncoder;
use image::imageops;
use image::{DynamicImage, RgbImage};
use rayon::prelude::*;

use crate::cards::Pattern;
use crate::pipeline::{Measured, SeenPhoto};
use crate::report::html::{Overlay, PhotoPicture};
use crate::scene::Solution;
use crate::scene::residual::foreseen;
use crate::sightings::StringKind;

/// Longest side of a reduced photo, px, and its JPEG quality: a page of 24 photos stays below 6 MB.
const LONGEST_SIDE: u32 = 1000;
const QUALITY: u8 = 68;

/// One picture for each photo that can be read, in order.
pub fn pictures(measured: &Measured) -> Vec<PhotoPicture> {
    let photos: Vec<(usize, &SeenPhoto)> = measured.photos.iter().enumerate().filter(|(_, p)| !p.lens_only).collect();
    photos.into_par_iter().filter_map(|(idx, photo)| picture(photo, measured.solution.as_ref(), idx)).collect()
}

fn picture(photo: &SeenPhoto, solution: Option<&Solution>, idx: usize) -> Option<PhotoPicture> {
    let facts = photo.facts.as_ref()?;
    let full = image::ImageReader::open(&photo.file.path).ok()?.with_guessed_format().ok()?.decode().ok()?;
    let longest = full.width().max(full.height());
    let reduced: RgbImage = if longest > LONGEST_SIDE {
        let side = |length: u32| (u64::from(length) * u64::from(LONGEST_SIDE) / u64::from(longest)).max(1) as u32;
        imageops::thumbnail(&full.to_rgb8(), side(full.width()), side(full.height()))
    } else {
        full.to_rgb8()
    };
    let orientation = facts.exif.orientation.unwrap_or(1);
    let upright = turned(DynamicImage::ImageRgb8(reduced), orientation);
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY).encode_image(&upright).ok()?;
    Some(PhotoPicture {
        file: photo.file.id.clone(),
        jpeg,
        marked: Vec::new(),
        width: upright.width(),
        height: upright.height(),
        sensor: [facts.width as u32, facts.height as u32],
        orientation,
        overlay: overlay(photo, solution, idx),
    })
}

/// The picture upright for people, as EXIF's orientation asks.
fn turned(picture: DynamicImage, orientation: u8) -> DynamicImage {
    match orientation {
        2 => picture.fliph(),
        3 => picture.rotate180(),
        4 => picture.flipv(),
        5 => picture.rotate90().fliph(),
        6 => picture.rotate90(),
        7 => picture.rotate270().fliph(),
        8 => picture.rotate270(),
        _ => picture,
    }
}

fn overlay(photo: &SeenPhoto, solution: Option<&Solution>, idx: usize) -> Overlay {
    let mut overlay = Overlay::default();
    for sighting in &photo.sightings.patterns {
        let name = match sighting.pattern {
            Pattern::Card(number) => format!("card {number}"),
            Pattern::Tab(number) => format!("tab {number}"),
        };
        if let Some(outline) = outline(&sighting.corners) {
            overlay.outlines.push((name, outline.to_vec()));
        }
    }
    for line in &photo.sightings.lines {
        let name = match line.kind {
            StringKind::Cord => "cord".to_owned(),
            StringKind::Plumb(letter) => format!("plumb line {}", crate::bench::evaluate::line_letter(letter)),
            StringKind::Backbone => "backbone cord".to_owned(),
        };
        overlay.lines.push((name, line.points.iter().map(|p| p.at).collect()));
    }
    let Some(solution) = solution else { return overlay };
    let Some(view) = solution.view_of.get(idx).copied().flatten() else { return overlay };
    for block in solution.blocks.iter().filter(|block| block.view == view) {
        // Every third corner shows as much, and keeps the page small.
        for corner in block.corners.iter().filter(|corner| corner.used).step_by(3) {
            if let Some(pixel) = foreseen(&solution.state, &solution.slots, block, corner.cells) {
                overlay.corners.push(([corner.at.x, corner.at.y], [corner.at.x - pixel.x, corner.at.y - pixel.y]));
            }
        }
    }
    overlay
}

/// The four outermost corners of a sighting, in order round it.
fn outline(corners: &[crate::sightings::CornerSighting]) -> Option<[[f64; 2]; 4]> {
    let by = |row: f64, col: f64| {
        corners.iter().max_by(|a, b| {
            let reach = |c: &crate::sightings::CornerSighting| row * f64::from(c.row) + col * f64::from(c.col);
            reach(a).total_cmp(&reach(b))
        })
    };
    Some([by(-1.0, -1.0)?.at, by(-1.0, 1.0)?.at, by(1.0, 1.0)?.at, by(1.0, -1.0)?.at])
}
