//! Makes a photo small enough for the page, turns it upright, and says what was found in it.

use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

use image::codecs::png::PngDecoder;
use image::imageops::FilterType;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits, Rgb, RgbImage};
use imageproc::drawing::{draw_filled_circle_mut, draw_line_segment_mut};
use imageproc::geometry::convex_hull;
use imageproc::point::Point;
use moxcms::{ColorProfile, Layout, TransformOptions};

use crate::cards::Pattern;
use crate::photo::colour::heic_colours;
use crate::photo::decoded::Colours;
use crate::photo::format::DRAWN_SEGMENT;
use crate::photo::room::{Room, header_limits};
use crate::photo::{LinearImage, PhotoFacts, PhotoFile};
use crate::scene::Solution;
use crate::scene::adjust::residual::foreseen;
use crate::scene::model::observe::Shown;
use crate::sightings::{PhotoSightings, StringKind};

use super::names::{Name, write_names};
use super::photos::{Overlay, PhotoPicture, RESIDUAL_FACTOR};

/// Long side of a photo in the report, px, and the JPEG quality: together about 100 kB a photo, so
/// that 24 of them stay below 6 MB in the page.
const LONG_SIDE: u32 = 1000;
const QUALITY: u8 = 68;
/// What decoding a photo in colour may allocate: the largest picture with three 8-bit samples a
/// pixel, and as much again.
const MOST_COLOUR_BYTES: u64 = 6 * crate::photo::decoded::MAX_PIXELS as u64;
/// The same for a picture to be looked at on its own, with names in it: they can be read when it
/// fills a screen.
const LONG_SIDE_ALONE: u32 = 1600;
const QUALITY_ALONE: u8 = 85;

/// Colours of what is drawn into a photo: card, tab, cord, plumb line, corner, residual. The same
/// as on the page.
const CARD: Rgb<u8> = Rgb([0x37, 0xb6, 0xff]);
const TAB: Rgb<u8> = Rgb([0xff, 0xd0, 0x2e]);
const CORD: Rgb<u8> = Rgb([0xff, 0x4f, 0xa0]);
const PLUMB: Rgb<u8> = Rgb([0x8c, 0xff, 0x5a]);
const CORNER: Rgb<u8> = Rgb([0xff, 0x3b, 0x1f]);
const RESIDUAL: Rgb<u8> = Rgb([0xff, 0xff, 0xff]);

impl Overlay {
    /// What was found in photo `photo` of a job, and by how much it lies off where the solved scene
    /// puts it.
    pub fn of(sightings: &PhotoSightings, solution: Option<&Solution>, photo: usize) -> Self {
        let outlines = sightings.patterns.iter().map(|seen| {
            let corners: Vec<Point<i32>> = seen
                .corners
                .iter()
                .map(|c| Point::new(c.at[0].round() as i32, c.at[1].round() as i32))
                .collect();
            let hull = if corners.is_empty() { Vec::new() } else { convex_hull(corners) };
            (
                name(seen.pattern),
                hull.into_iter().map(|p| [f64::from(p.x), f64::from(p.y)]).collect(),
            )
        });
        let seen = sightings
            .lines
            .iter()
            .map(|line| (line_name(line.kind), line.points.iter().map(|p| p.at).collect()));
        let lines = seen.chain(
            solution
                .and_then(|solution| cord_in_lanes(solution, photo))
                .map(|points| ("cord".to_owned(), points)),
        );
        let corners = match solution {
            Some(solution) => residuals(solution, photo),
            None => sightings
                .patterns
                .iter()
                .flat_map(|seen| &seen.corners)
                .map(|corner| (corner.at, [0.0; 2]))
                .collect(),
        };
        Self { corners, outlines: outlines.collect(), lines: lines.collect() }
    }
}

/// The cord's mid-line where it runs through the cards' lanes, which only the solved scene can tell
/// from its shadow.
fn cord_in_lanes(solution: &Solution, photo: usize) -> Option<Vec<[f64; 2]>> {
    let view = solution.view_of.get(photo).copied().flatten()?;
    let block = solution
        .blocks
        .iter()
        .find(|block| block.view == view && matches!(block.shown, Shown::Cord(_)))?;
    let mut points: Vec<[f64; 2]> = block
        .points
        .iter()
        .filter(|point| point.used)
        .map(|point| [point.at.x, point.at.y])
        .collect();
    let reach = |axis: usize| {
        let places = points.iter().map(|p| p[axis]);
        places.clone().fold(f64::NEG_INFINITY, f64::max) - places.fold(f64::INFINITY, f64::min)
    };
    // In order along the cord, which runs more across or more up the photo.
    let axis = if reach(0) >= reach(1) { 0 } else { 1 };
    points.sort_by(|a, b| a[axis].total_cmp(&b[axis]));
    (points.len() >= 2).then_some(points)
}

/// Used corners of a photo, and found minus foreseen.
fn residuals(solution: &Solution, photo: usize) -> Vec<([f64; 2], [f64; 2])> {
    let Some(view) = solution.view_of.get(photo).copied().flatten() else { return Vec::new() };
    let blocks = solution.blocks.iter().filter(|block| block.view == view);
    blocks
        .flat_map(|block| {
            block.corners.iter().filter(|corner| corner.used).map(move |corner| (block, corner))
        })
        .filter_map(|(block, corner)| {
            let off = corner.at - foreseen(&solution.state, &solution.slots, block, corner.cells)?;
            Some(([corner.at.x, corner.at.y], [off.x, off.y]))
        })
        .collect()
}

fn name(pattern: Pattern) -> String {
    match pattern {
        Pattern::Card(number) => format!("card {number}"),
        Pattern::Tab(number) => format!("tab {number}"),
    }
}

fn line_name(kind: StringKind) -> String {
    match kind {
        StringKind::Cord => "cord".to_owned(),
        StringKind::Plumb(line) => format!("plumb {}", crate::figure::part::Letter::of(line)),
        StringKind::Backbone => "backbone".to_owned(),
    }
}

/// A photo for the report, or None where its file can no longer be read: the report then goes
/// without it.
pub fn picture(file: &PhotoFile, facts: &PhotoFacts, overlay: Overlay) -> Option<PhotoPicture> {
    let orientation = facts.exif.orientation.unwrap_or(1);
    let _room = Room::for_photo(&file.path);
    let mut small = in_colour(&file.path, LONG_SIDE)
        .or_else(|| Some(in_grey(&file.read().ok()?.luma, LONG_SIDE)))?;
    small.apply_orientation(
        Orientation::from_exif(orientation).unwrap_or(Orientation::NoTransforms),
    );
    let small = small.into_rgb8();
    let mut picture = PhotoPicture {
        file: file.id.clone(),
        jpeg: jpeg(&small)?,
        marked: Vec::new(),
        width: small.width(),
        height: small.height(),
        sensor: [facts.width as u32, facts.height as u32],
        orientation,
        overlay,
    };
    picture.marked = jpeg(&marked(small, &picture))?;
    Some(picture)
}

/// A photo on its own with all that was found drawn in and named, turned upright, as a JPEG; None
/// only if it can't be coded.
///
/// The names are those of the overlay's outlines; one that begins with "tab" is a tab's. `letters`
/// is their height as a part of the picture's longer side, such as [`super::MAP_LETTERS`].
pub fn named_picture(
    path: &std::path::Path,
    luma: &LinearImage,
    facts: &PhotoFacts,
    overlay: Overlay,
    letters: f32,
) -> Option<Vec<u8>> {
    let orientation = facts.exif.orientation.unwrap_or(1);
    let mut small =
        in_colour(path, LONG_SIDE_ALONE).unwrap_or_else(|| in_grey(luma, LONG_SIDE_ALONE));
    small.apply_orientation(
        Orientation::from_exif(orientation).unwrap_or(Orientation::NoTransforms),
    );
    let small = small.into_rgb8();
    let (width, height) = small.dimensions();
    let sensor = [facts.width as u32, facts.height as u32];
    let picture =
        PhotoPicture { width, height, sensor, orientation, overlay, ..PhotoPicture::default() };
    let mut drawn = marked(small, &picture);
    // Tabs stand closest together, so their names are placed first, and the cards' where there is
    // room left.
    let (tabs, cards): (Vec<_>, Vec<_>) =
        picture.overlay.outlines.iter().partition(|(name, _)| is_tab(name));
    let outlines = tabs
        .iter()
        .chain(&cards)
        .map(|(name, points)| (name, points, if is_tab(name) { TAB } else { CARD }));
    let lines = picture
        .overlay
        .lines
        .iter()
        .filter(|(name, _)| name != "cord")
        .map(|(name, points)| (name, points, PLUMB));
    let names: Vec<Name> = outlines
        .chain(lines)
        .map(|(text, points, colour)| Name {
            text: text.clone(),
            colour,
            around: picture.around(points),
        })
        .collect();
    write_names(&mut drawn, &names, letters);
    jpeg_of(&drawn)
}

fn is_tab(name: &str) -> bool {
    name.starts_with("tab")
}

/// The photo in colour, in sRGB and made small; None for kinds of file that only the measuring
/// decoder reads.
fn in_colour(path: &std::path::Path, long_side: u32) -> Option<DynamicImage> {
    if let Some(Colours { width, height, codes }) = heic_colours(path) {
        let full = RgbImage::from_raw(width as u32, height as u32, codes)?;
        return Some(made_small(DynamicImage::ImageRgb8(full), long_side));
    }
    let mut reader = ImageReader::open(path).ok()?.with_guessed_format().ok()?;
    let mut limits = Limits::default();
    limits.max_image_width = Some(crate::photo::decoded::MAX_SIDE as u32);
    limits.max_image_height = Some(crate::photo::decoded::MAX_SIDE as u32);
    // What needs more is shown in grey, from the luminance that was measured in.
    limits.max_alloc = Some(MOST_COLOUR_BYTES);
    reader.limits(limits);
    let (full, profile) = if reader.format() == Some(ImageFormat::Png) {
        // What a PNG's packed profile may unpack to is held short apart from its pixels.
        let decoder = PngDecoder::with_limits(reader.into_inner(), header_limits()).ok()?;
        if decoder.total_bytes() > MOST_COLOUR_BYTES {
            return None;
        }
        decoded(decoder)?
    } else {
        decoded(reader.into_decoder().ok()?)?
    };
    let small = made_small(full, long_side);
    Some(match profile {
        Some(profile) => in_srgb(small, &profile),
        None => small,
    })
}

/// The picture and its colour profile (ICC.1).
fn decoded(mut decoder: impl ImageDecoder) -> Option<(DynamicImage, Option<Vec<u8>>)> {
    let profile = decoder.icc_profile().ok().flatten();
    Some((DynamicImage::from_decoder(decoder).ok()?, profile))
}

/// A photo that is small already is not blown up.
fn made_small(full: DynamicImage, long_side: u32) -> DynamicImage {
    let (width, height) = (full.width().min(long_side), full.height().min(long_side));
    if full.width().max(full.height()) > long_side { full.thumbnail(width, height) } else { full }
}

/// The picture in sRGB, so that a wide-gamut photo (Display P3, say) looks right without its
/// profile; as it is where the profile is none for red, green and blue.
fn in_srgb(picture: DynamicImage, profile: &[u8]) -> DynamicImage {
    let rgb = picture.to_rgb8();
    // A library meets bytes that nothing has checked: should it panic, only the colours are a
    // little off.
    let converted = catch_unwind(AssertUnwindSafe(|| {
        let profile = ColorProfile::new_from_slice(profile).ok()?;
        let to_srgb = profile
            .create_transform_8bit(
                Layout::Rgb,
                &ColorProfile::new_srgb(),
                Layout::Rgb,
                TransformOptions::default(),
            )
            .ok()?;
        let mut codes = vec![0; rgb.as_raw().len()];
        to_srgb.transform(rgb.as_raw(), &mut codes).ok()?;
        RgbImage::from_raw(rgb.width(), rgb.height(), codes)
    }));
    converted.ok().flatten().map_or(picture, DynamicImage::ImageRgb8)
}

/// Luminance as a picture for people, made small.
fn in_grey(luma: &LinearImage, long_side: u32) -> DynamicImage {
    let full = DynamicImage::ImageLuma8(grey_of(luma));
    if full.width().max(full.height()) > long_side {
        full.resize(long_side, long_side, FilterType::Triangle)
    } else {
        full
    }
}

/// Luminance as a picture for people, in its own size.
pub(super) fn grey_of(luma: &LinearImage) -> image::GrayImage {
    let code = |light: f32| {
        let light = light.clamp(0.0, 1.0);
        // The sRGB curve (IEC 61966-2-1).
        let code = if light <= 0.003_130_8 {
            12.92 * light
        } else {
            1.055 * light.powf(1.0 / 2.4) - 0.055
        };
        (code * 255.0).round() as u8
    };
    image::GrayImage::from_fn(luma.width() as u32, luma.height() as u32, |u, v| {
        image::Luma([code(luma.at(u as usize, v as usize))])
    })
}

fn jpeg(picture: &RgbImage) -> Option<Vec<u8>> {
    coded(picture, QUALITY)
}

/// A picture to be looked at on its own.
pub(super) fn jpeg_of(picture: &RgbImage) -> Option<Vec<u8>> {
    coded(picture, QUALITY_ALONE)
}

fn coded(picture: &RgbImage, quality: u8) -> Option<Vec<u8>> {
    let mut bytes = Cursor::new(Vec::new());
    picture
        .write_with_encoder(image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality))
        .ok()?;
    let mut bytes = bytes.into_inner();
    // Among the photos of a job it must not be taken for one.
    bytes.splice(2..2, DRAWN_SEGMENT.iter().copied());
    Some(bytes)
}

/// The finds drawn into the photo itself.
fn marked(mut photo: RgbImage, picture: &PhotoPicture) -> RgbImage {
    let at = |p: [f64; 2]| picture.place(p).map(|x| x as f32);
    let stroke = |photo: &mut RgbImage, a: [f32; 2], b: [f32; 2], colour: Rgb<u8>| {
        // Two strokes side by side: one of a single pixel is lost when the picture is shrunk once
        // more.
        draw_line_segment_mut(photo, (a[0], a[1]), (b[0], b[1]), colour);
        draw_line_segment_mut(photo, (a[0] + 1.0, a[1] + 1.0), (b[0] + 1.0, b[1] + 1.0), colour);
    };
    for (name, corners) in &picture.overlay.outlines {
        let colour = if is_tab(name) { TAB } else { CARD };
        for (i, &corner) in corners.iter().enumerate() {
            stroke(&mut photo, at(corner), at(corners[(i + 1) % corners.len()]), colour);
        }
    }
    for (name, points) in &picture.overlay.lines {
        let colour = if name == "cord" { CORD } else { PLUMB };
        points.windows(2).for_each(|pair| stroke(&mut photo, at(pair[0]), at(pair[1]), colour));
    }
    for &(corner, off) in &picture.overlay.corners {
        let far = [corner[0] + RESIDUAL_FACTOR * off[0], corner[1] + RESIDUAL_FACTOR * off[1]];
        let (a, b) = (at(corner), at(far));
        if a.iter().chain(&b).all(|x| x.abs() < 1e5) {
            draw_line_segment_mut(&mut photo, (a[0], a[1]), (b[0], b[1]), RESIDUAL);
        }
        draw_filled_circle_mut(&mut photo, (a[0] as i32, a[1] as i32), 1, CORNER);
    }
    photo
}
