//! A card as if the photo had been taken from straight above it: what lies on it, and whether it
//! lies flat, shows better so.

use image::{GrayImage, Luma};
use imageproc::geometric_transformations::{Border, Interpolation, Projection, warp_into};

use super::reduce::{grey_of, jpeg_of};
use crate::photo::LinearImage;
use crate::sightings::PatternSighting;
use crate::sightings::plane_map::{Node, PlaneMap};

/// Paper that is shown around the pattern, in cells.
const AROUND_CELLS: f64 = 1.0;
/// Side of a cell in the picture, px: as in the photo, but neither blown up beyond use nor larger
/// than a screen.
const CELL_PX: std::ops::RangeInclusive<f64> = 10.0..=48.0;
/// Beyond the photo's edge there is nothing.
const NOTHING: Luma<u8> = Luma([128]);

/// A pattern of a photo, seen from straight above and as it is read, in grey, as a JPEG. None where
/// its corners span no plane.
///
/// One plane is laid through all its corners: a bowed card, and what stands above one, is
/// off in the picture accordingly.
pub fn flat_card(luma: &LinearImage, seen: &PatternSighting) -> Option<Vec<u8>> {
    let mut cells: Vec<f64> = seen.corners.iter().map(|corner| corner.cell_px).collect();
    cells.sort_by(f64::total_cmp);
    let cell = cells.get(cells.len() / 2)?.clamp(*CELL_PX.start(), *CELL_PX.end());
    let nodes = seen.corners.iter().map(|corner| Node {
        lattice: [f64::from(corner.col), f64::from(corner.row)],
        at: corner.at,
    });
    let map = PlaneMap::fit(nodes.map(|node| (node, 1.0)))?;
    let [right, bottom] = [seen.pattern.cols(), seen.pattern.rows()].map(|n| n as f64);
    let ends = [[0.0, 0.0], [right, 0.0], [right, bottom], [0.0, bottom]];
    let [width, height] = [right, bottom].map(|n| (cell * (n + 2.0 * AROUND_CELLS)).round());
    let (mut in_photo, mut in_picture) = ([(0.0, 0.0); 4], [(0.0, 0.0); 4]);
    for (i, end) in ends.into_iter().enumerate() {
        let [u, v] = map.at(end)?;
        in_photo[i] = (u as f32, v as f32);
        // A pixel's middle has whole numbers.
        let [x, y] = end.map(|x| cell * (x + AROUND_CELLS) - 0.5);
        in_picture[i] = (x as f32, y as f32);
    }
    let flat = Projection::from_control_points(in_photo, in_picture)?;
    let mut picture = GrayImage::new(width as u32, height as u32);
    warp_into(
        &grey_of(luma),
        flat,
        Interpolation::Bilinear,
        Border::Constant(NOTHING),
        &mut picture,
    );
    jpeg_of(&image::DynamicImage::ImageLuma8(picture).into_rgb8())
}
