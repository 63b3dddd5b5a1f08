//! Cells are read: is the ground dark or bright, and is there a dot?
//!
//! The tones are compared with those of the neighbours, so that shadows and glare do no harm; what
//! can't be read is left open.

use std::collections::BTreeMap;

use super::noise::Noise;
use super::plane_map::{Node, PlaneMap};
use super::plate::Plate;
use crate::math::robust::median;
use crate::photo::LinearImage;

/// Places (in cells from the centre) where the ground is looked at: clear of the dot (0.22) and of
/// the edges (0.5).
const GROUND: [[f64; 2]; 4] = [[-0.32, -0.32], [0.32, -0.32], [0.32, 0.32], [-0.32, 0.32]];
/// Each of those places is the mean of these (offsets in cells), against noise.
const AROUND: [[f64; 2]; 5] =
    [[0.0, 0.0], [0.06, 0.06], [-0.06, 0.06], [0.06, -0.06], [-0.06, -0.06]];
/// Places where the dot is looked at, well inside it.
const DOT: [[f64; 2]; 9] = [
    [0.0, 0.0],
    [0.12, 0.0],
    [-0.12, 0.0],
    [0.0, 0.12],
    [0.0, -0.12],
    [0.07, 0.07],
    [-0.07, 0.07],
    [0.07, -0.07],
    [-0.07, -0.07],
];
/// A centre this far from the ground towards the other tone is a dot. A dot of radius 0.22 in a
/// cell of 6 px and blur of 0.8 px reaches 0.74, one in a cell of 5 px 0.6; without a dot,
/// neighbours leak in by 0.1 at most.
const DOT_THRESHOLD: f64 = 0.36;
/// Readings this close to the threshold are left open (our choice).
const DOT_DOUBT: f64 = 0.1;
/// Least difference between dark and bright ground as a part of their mean: a cell is not read in
/// blinding glare.
const MIN_CONTRAST: f64 = 0.15;
/// Largest scatter of a cell's ground as a part of the contrast; more means that something lies
/// across the cell (our choice).
const MAX_GROUND_SCATTER: f64 = 0.45;
/// The same in a grainy photo: in units of the noise of its pixels (smoothed pixels have about
/// half; the range of four is twice that on average), and at most as a part of the contrast.
const MAX_SCATTER_OF_NOISE: f64 = 2.0;
const MAX_NOISY_SCATTER: f64 = 1.2;

/// What a cell looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ground {
    Dark,
    Bright,
    /// Not read: outside the photo, uneven, or between the tones.
    Unclear,
}

/// One cell as read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    pub ground: Ground,
    /// Whether there is a dot; None when that is not certain.
    pub dot: Option<bool>,
}

/// The tones of one cell before they are compared.
#[derive(Clone, Copy, Debug)]
struct Tones {
    /// Mean of the middle two ground samples.
    ground: f64,
    /// Highest less lowest ground sample.
    scatter: f64,
    dot: f64,
}

/// Reads the cells (y, x); those with `is_dark` should be dark by the chequer. Node (x, y)
/// is the cell's corner of least coordinates. Cells outside the photo are left out.
pub fn read_cells(
    plate: &Plate,
    nodes: &BTreeMap<(i32, i32), [f64; 2]>,
    cells: impl Iterator<Item = (i32, i32)>,
    is_dark: impl Fn(i32, i32) -> bool,
) -> BTreeMap<(i32, i32), Cell> {
    let places: Vec<Node> = nodes
        .iter()
        .map(|(&(y, x), &at)| Node { lattice: [f64::from(x), f64::from(y)], at })
        .collect();
    let tones: BTreeMap<(i32, i32), Tones> = cells
        .filter_map(|(y, x)| {
            let corners = [(y, x), (y, x + 1), (y + 1, x), (y + 1, x + 1)]
                .map(|key| nodes.get(&key).copied());
            let tones = match corners {
                [Some(a), Some(b), Some(c), Some(d)] => {
                    tones_at(&plate.calm, |p| Some(between([a, b, c, d], p)))
                }
                _ => {
                    let map = PlaneMap::near(&places, [f64::from(x) + 0.5, f64::from(y) + 0.5])?;
                    tones_at(&plate.calm, |[dx, dy]| {
                        map.at([f64::from(x) + 0.5 + dx, f64::from(y) + 0.5 + dy])
                    })
                }
            };
            tones.map(|tones| ((y, x), tones))
        })
        .collect();
    tones
        .iter()
        .map(|(&(y, x), own)| ((y, x), compare(own, &tones, y, x, &plate.noise, &is_dark)))
        .collect()
}

/// Bilinear place in a cell given by its four corners; `p` in cells from the centre.
fn between([a, b, c, d]: [[f64; 2]; 4], p: [f64; 2]) -> [f64; 2] {
    let [s, t] = p.map(|x| x + 0.5);
    std::array::from_fn(|i| {
        (1.0 - t) * ((1.0 - s) * a[i] + s * b[i]) + t * ((1.0 - s) * c[i] + s * d[i])
    })
}

fn tones_at(image: &LinearImage, place: impl Fn([f64; 2]) -> Option<[f64; 2]>) -> Option<Tones> {
    let value = |offset: [f64; 2]| {
        let [u, v] = place(offset)?;
        image.sample(u, v).map(f64::from)
    };
    let mut ground = [0.0; 4];
    for (ground, offset) in ground.iter_mut().zip(GROUND) {
        for [dx, dy] in AROUND {
            *ground += value([offset[0] + dx, offset[1] + dy])? / AROUND.len() as f64;
        }
    }
    ground.sort_by(f64::total_cmp);
    let mut dot = 0.0;
    for offset in DOT {
        dot += value(offset)? / DOT.len() as f64;
    }
    Some(Tones { ground: 0.5 * (ground[1] + ground[2]), scatter: ground[3] - ground[0], dot })
}

/// The cell's reading from its own tones and those of the cells around.
fn compare(
    own: &Tones,
    tones: &BTreeMap<(i32, i32), Tones>,
    y: i32,
    x: i32,
    noise: &Noise,
    is_dark: &impl Fn(i32, i32) -> bool,
) -> Cell {
    let unclear = Cell { ground: Ground::Unclear, dot: None };
    // Levels of dark and bright ground nearby: medians over two cells around, so that a few hidden
    // cells don't count.
    let (mut dark, mut bright) = (Vec::new(), Vec::new());
    for (dy, dx) in (-2..=2).flat_map(|dy| (-2..=2).map(move |dx| (dy, dx))) {
        if let Some(other) = tones.get(&(y + dy, x + dx)) {
            if is_dark(y + dy, x + dx) {
                dark.push(other.ground)
            } else {
                bright.push(other.ground)
            }
        }
    }
    let (Some(dark), Some(bright)) = (median(&dark), median(&bright)) else { return unclear };
    let contrast = bright - dark;
    let noise = f64::from(noise.at(own.ground as f32)) / contrast;
    let max_scatter = MAX_GROUND_SCATTER.max((MAX_SCATTER_OF_NOISE * noise).min(MAX_NOISY_SCATTER));
    let clear =
        contrast > MIN_CONTRAST * 0.5 * (bright + dark) && own.scatter <= max_scatter * contrast;
    if !clear {
        return unclear;
    }
    let level = (own.ground - dark) / contrast;
    let ground = match level {
        _ if level < 0.35 => Ground::Dark,
        _ if level > 0.65 => Ground::Bright,
        _ => return unclear,
    };
    let opposite = if ground == Ground::Dark { bright } else { dark };
    let depth = (own.dot - own.ground) / (opposite - own.ground);
    let dot = ((depth - DOT_THRESHOLD).abs() > DOT_DOUBT).then_some(depth > DOT_THRESHOLD);
    Cell { ground, dot }
}
