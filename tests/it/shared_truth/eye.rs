//! What an eye sees of the truth's cards and tabs in a photo: inside the picture, turned less than
//! 70 degrees, and the patch, warped flat by the truth's pose, looks like its own code.

use sightcord::cards::Pattern;
use sightcord::cards::pattern::DOT_RADIUS;
use sightcord::photo::LinearImage;

use super::{TruthPhoto, TruthPose, TruthSet, dot, median, robust};

/// Samples along a cell's side when a patch is warped flat.
const SAMPLES: usize = 8;
/// Least cosine between the pattern's normal and the line of sight: 70 degrees.
const MIN_COSINE: f64 = 0.342;
/// Least correlation of the patch with its code.
const MIN_CORRELATION: f64 = 0.6;

/// A pattern that lies inside the picture and faces the camera.
pub struct InPicture {
    pub pattern: Pattern,
    /// Metric points, px.
    pub corners: Vec<(u8, u8, [f64; 2])>,
    /// Median shorter side of a cell, px.
    pub cell_px: f64,
    /// Correlation of the flat patch with the code.
    pub correlation: f64,
    /// Scatter of the bright cells' pixels as a part of the patch's contrast: noise, and on a card
    /// uneven light too.
    pub noise: f64,
}

impl InPicture {
    pub fn is_visible(&self) -> bool {
        self.correlation > MIN_CORRELATION
    }
}

/// All patterns wholly inside the picture that turn their face to the camera by less than 70
/// degrees.
pub fn in_picture(set: &TruthSet, photo: &TruthPhoto, image: &LinearImage) -> Vec<InPicture> {
    let poses = set.cards.iter().cloned().chain(set.tabs(photo));
    poses
        .filter(|pose| turned_to(photo, pose))
        .filter_map(|pose| seen(photo, image, &pose))
        .collect()
}

fn turned_to(photo: &TruthPhoto, pose: &TruthPose) -> bool {
    let normal = [pose.r[0][2], pose.r[1][2], pose.r[2][2]];
    let sight: [f64; 3] = std::array::from_fn(|i| photo.centre[i] - pose.t[i]);
    dot(normal, sight) > MIN_COSINE * dot(sight, sight).sqrt()
}

fn seen(photo: &TruthPhoto, image: &LinearImage, pose: &TruthPose) -> Option<InPicture> {
    let pattern = pose.pattern;
    let (rows, cols) = (pattern.rows() as f64, pattern.cols() as f64);
    for (r, c) in [(0.0, 0.0), (0.0, cols), (rows, 0.0), (rows, cols)] {
        photo.project(pose.node(r, c))?;
    }
    let (mut corners, mut cells) = (Vec::new(), Vec::new());
    for (r, c) in pattern.corners() {
        let node = |dr: f64, dc: f64| photo.project(pose.node(r as f64 + dr, c as f64 + dc));
        corners.push((r as u8, c as u8, node(0.0, 0.0)?));
        let (a, b, d, e) = (node(-0.5, 0.0)?, node(0.5, 0.0)?, node(0.0, -0.5)?, node(0.0, 0.5)?);
        cells.push((a[0] - b[0]).hypot(a[1] - b[1]).min((d[0] - e[0]).hypot(d[1] - e[1])));
    }
    // The flat patch and its code, cell by cell; a card's lane is blank but the cord lies in it, so
    // it does not count.
    let (mut flat, mut code) = (Vec::new(), Vec::new());
    let (mut dark, mut bright) = (Vec::new(), Vec::new());
    for (row, col) in
        (0..pattern.rows()).flat_map(|row| (0..pattern.cols()).map(move |col| (row, col)))
    {
        if pattern.is_lane(row) {
            continue;
        }
        for (i, j) in (0..SAMPLES).flat_map(|i| (0..SAMPLES).map(move |j| (i, j))) {
            let [y, x] = [i, j].map(|k| (k as f64 + 0.5) / SAMPLES as f64);
            let in_dot = pattern.has_dot(row, col) && (x - 0.5).hypot(y - 0.5) < DOT_RADIUS;
            let at = photo.project(pose.node(row as f64 + y, col as f64 + x))?;
            flat.push(f64::from(image.sample(at[0], at[1])?));
            code.push(if pattern.is_dark(row, col) == in_dot { 1.0 } else { 0.0 });
        }
        for (y, x) in [(0.25, 0.25), (0.25, 0.75), (0.75, 0.25), (0.75, 0.75)] {
            let at = photo.project(pose.node(row as f64 + y, col as f64 + x))?.map(|x| x as usize);
            let value = f64::from(image.at(at[0], at[1]));
            if pattern.is_dark(row, col) { dark.push(value) } else { bright.push(value) }
        }
    }
    let (level, scatter) = robust(&bright);
    let contrast = level - median(&mut dark);
    let noise = scatter / contrast.max(1e-6);
    Some(InPicture {
        pattern,
        corners,
        cell_px: median(&mut cells),
        correlation: correlation(&flat, &code),
        noise,
    })
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len() as f64;
    let (mean_a, mean_b) = (a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += (x - mean_a) * (y - mean_b);
        aa += (x - mean_a).powi(2);
        bb += (y - mean_b).powi(2);
    }
    ab / (aa * bb).sqrt().max(1e-12)
}
