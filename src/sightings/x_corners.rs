//! X-corners: saddles around which the brightness changes four times, and equally on opposite
//! sides.

use std::ops::Range;
use std::sync::LazyLock;

use super::pyramid::Level;
use super::saddles::{Saddle, find_saddles};

/// Samples around the ring.
const N_RING: usize = 16;
/// Radius of the ring in the pixels of the level. In a cell of 6 px a dot begins 2.9 px from the
/// corner.
const RING_RADIUS: f64 = 2.2;
/// Largest part of the ring's variation that may differ between opposite sides. On an ideal
/// X-corner nothing does; noise and a place half a pixel off leave up to a tenth, an edge or a
/// T-junction half and more.
const MAX_ODD_PART: f32 = 0.25;
/// Least bright minus dark level, relative to the mean level and to light itself (linear, 0 to 1);
/// below it noise and texture are mistaken for corners (our choice).
const MIN_RELATIVE_CONTRAST: f32 = 0.3;
const MIN_CONTRAST: f32 = 0.003;
/// The weaker pair of opposite sectors must reach this part of the stronger one's departure from
/// the mean. Blur takes most from narrow sectors: at 38 degrees about two thirds.
const MIN_BALANCE: f32 = 0.2;
/// Corners of different levels closer than this many pixels of the coarser level are one.
const SAME_CORNER: f64 = 1.5;
/// Least cosine between the edge directions on two levels: 17 degrees.
const SAME_DIRECTION: f64 = 0.956;
/// Most corners that are looked at further, the clearest: a bench full of cards has some 3000, and
/// gravel has no end.
const MAX_CORNERS: usize = 50_000;
/// Side of the squares by which corners are looked up, px.
const BUCKET: f64 = 32.0;

/// A place where two dark and two bright sectors meet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct XCorner {
    /// Position, px of the full photo; good to about a third of a pixel of its level.
    pub at: [f64; 2],
    /// Unit directions of the two edges. Their angles, which grow from u towards v, lie in [0,
    /// pi), the smaller first.
    pub edges: [[f64; 2]; 2],
    /// Whether the sector from the first edge to the second is dark.
    pub dark_between: bool,
    /// Bright minus dark level, linear light.
    pub contrast: f32,
    /// Bright minus dark level relative to the mean level.
    pub relative_contrast: f32,
    /// Full-photo pixels per pixel of the coarsest level on which it was seen: the larger the
    /// cells, the coarser.
    pub scale: f64,
}

impl XCorner {
    /// Of the four rays along which edges leave the corner, that nearest to a direction, and its
    /// projection on it. Rays are counted by ascending angle: slots s and s + 2 are opposite.
    pub fn nearest_ray(&self, direction: [f64; 2]) -> (usize, f64) {
        let [first, second] =
            self.edges.map(|edge| edge[0] * direction[0] + edge[1] * direction[1]);
        let (slot, cosine) = if first.abs() >= second.abs() { (0, first) } else { (1, second) };
        if cosine < 0.0 { (slot + 2, -cosine) } else { (slot, cosine) }
    }

    /// Whether the sector between ray `slot` and the next one is dark.
    pub fn dark_after(&self, slot: usize) -> bool {
        self.dark_between == slot.is_multiple_of(2)
    }
}

/// Number of the square's row or column that holds a coordinate.
fn bucket(x: f64) -> usize {
    (x.max(0.0) / BUCKET) as usize
}

/// Corners sorted into squares, to find those near a place.
pub struct CornerIndex {
    columns: usize,
    rows: usize,
    /// Where each square's corners begin in `order`.
    starts: Vec<usize>,
    order: Vec<usize>,
}

impl CornerIndex {
    pub fn new(corners: &[XCorner]) -> Self {
        let columns = corners.iter().map(|c| bucket(c.at[0]) + 1).max().unwrap_or(1);
        let rows = corners.iter().map(|c| bucket(c.at[1]) + 1).max().unwrap_or(1);
        let key = |c: &XCorner| bucket(c.at[1]) * columns + bucket(c.at[0]);
        let mut order: Vec<usize> = (0..corners.len()).collect();
        order.sort_by_key(|&i| key(&corners[i]));
        let mut starts = vec![0; columns * rows + 1];
        for corner in corners {
            starts[key(corner) + 1] += 1;
        }
        for i in 1..starts.len() {
            starts[i] += starts[i - 1];
        }
        Self { columns, rows, starts, order }
    }

    /// The corners square by square, row by row of squares.
    pub fn order(&self) -> &[usize] {
        &self.order
    }

    /// Parts of [`CornerIndex::order`]: the squares whose distance in squares from that of `at` is
    /// exactly `ring`.
    pub fn ring(&self, at: [f64; 2], ring: usize) -> impl Iterator<Item = Range<usize>> {
        let [x, y] = at.map(|x| bucket(x) as isize);
        let r = ring as isize;
        let rows = (y - r).max(0)..=(y + r).min(self.rows as isize - 1);
        rows.flat_map(move |row| {
            // The first and the last row of the ring whole, of the others both ends.
            let whole = (row - y).abs() == r;
            let left = if whole { x - r..x + r + 1 } else { x - r..x - r + 1 };
            let right = if whole { 0..0 } else { x + r..x + r + 1 };
            [left, right].map(|columns| {
                let [first, last] = [columns.start, columns.end]
                    .map(|column| column.clamp(0, self.columns as isize));
                let square =
                    |column: isize| self.starts[row as usize * self.columns + column as usize];
                square(first)..square(last)
            })
        })
    }

    /// Corners nearer than `radius` px, in no particular order but always the same.
    pub fn within(&self, corners: &[XCorner], at: [f64; 2], radius: f64) -> Vec<usize> {
        let rings = (radius / BUCKET).ceil() as usize;
        let distance2 =
            |i: usize| (corners[i].at[0] - at[0]).powi(2) + (corners[i].at[1] - at[1]).powi(2);
        let near = |i: &usize| distance2(*i) <= radius * radius;
        let parts = (0..=rings).flat_map(|ring| self.ring(at, ring));
        parts.flat_map(|part| self.order[part].iter().copied()).filter(near).collect()
    }

    /// The corner nearest to a place, if it is nearer than `radius` px.
    fn nearest(&self, corners: &[XCorner], at: [f64; 2], radius: f64) -> Option<usize> {
        let [left, top] = at.map(|x| bucket(x - radius));
        let [right, bottom] = at.map(|x| bucket(x + radius));
        let mut best = (radius * radius, None);
        for row in top..(bottom + 1).min(self.rows) {
            let (first, last) = (left.min(self.columns), (right + 1).min(self.columns));
            let (first, last) = (row * self.columns + first, row * self.columns + last.max(first));
            for &i in &self.order[self.starts[first]..self.starts[last]] {
                let [u, v] = [corners[i].at[0] - at[0], corners[i].at[1] - at[1]];
                if u * u + v * v < best.0 {
                    best = (u * u + v * v, Some(i));
                }
            }
        }
        best.1
    }

    /// Distance (px) up to which all corners have been returned once rings 0 to `ring` were asked
    /// for.
    pub fn complete_to(ring: usize) -> f64 {
        ring as f64 * BUCKET
    }

    /// Rings beyond which there are no corners any more.
    pub fn n_rings(&self) -> usize {
        self.columns.max(self.rows)
    }
}

/// The X-corners of all levels; one seen on several levels is returned once, with the position of
/// the finest and the directions of the coarsest, whose ring is widest.
pub fn find_x_corners(levels: &[Level]) -> Vec<XCorner> {
    let mut corners: Vec<XCorner> = Vec::new();
    for level in levels {
        let circle = &*RING;
        let on_ring = |saddle: &Saddle| on_ring(level, circle, saddle.at);
        let fresh: Vec<XCorner> = find_saddles(level).iter().filter_map(on_ring).collect();
        let index = CornerIndex::new(&corners);
        let mut new = Vec::new();
        for corner in fresh {
            let radius = SAME_CORNER * level.scale;
            match index.nearest(&corners, corner.at, radius) {
                None => new.push(corner),
                Some(i) => corners[i].widen(&corner),
            }
        }
        corners.extend(new);
    }
    if corners.len() > MAX_CORNERS {
        let by_clarity =
            |a: &XCorner, b: &XCorner| b.relative_contrast.total_cmp(&a.relative_contrast);
        corners.select_nth_unstable_by(MAX_CORNERS, |a, b| {
            by_clarity(a, b).then(a.at[1].total_cmp(&b.at[1]))
        });
        corners.truncate(MAX_CORNERS);
    }
    // Corners that lie together in the photo then lie together in memory.
    corners.sort_by_cached_key(|corner| {
        let [u, v] = corner.at;
        (bucket(v), bucket(u), in_order(v), in_order(u))
    });
    corners
}

/// Whole numbers in the order of the numbers they stand for.
fn in_order(x: f64) -> i64 {
    let bits = x.to_bits() as i64;
    bits ^ ((bits >> 63) as u64 >> 1) as i64
}

impl XCorner {
    /// Takes over the directions and contrast of the same corner on a coarser level.
    fn widen(&mut self, wider: &XCorner) {
        let agrees = |a: [f64; 2], b: [f64; 2]| (a[0] * b[0] + a[1] * b[1]).abs() > SAME_DIRECTION;
        let straight = (0..2).all(|i| agrees(self.edges[i], wider.edges[i]))
            && self.dark_between == wider.dark_between;
        // A direction near 0 may have become one near pi: the two edges then change places.
        let swapped = (0..2).all(|i| agrees(self.edges[i], wider.edges[1 - i]))
            && self.dark_between != wider.dark_between;
        if straight || swapped {
            *self = XCorner { at: self.at, ..*wider };
        }
    }
}

/// The ring's samples about its centre, in pixels of the level.
static RING: LazyLock<[[f64; 2]; N_RING]> = LazyLock::new(|| {
    std::array::from_fn(|i| {
        let (sin, cos) = (i as f64 * std::f64::consts::TAU / N_RING as f64).sin_cos();
        [RING_RADIUS * cos, RING_RADIUS * sin]
    })
});

/// The X-corner about a saddle, or None where the ring shows something else.
fn on_ring(level: &Level, circle: &[[f64; 2]; N_RING], at: [f64; 2]) -> Option<XCorner> {
    const HALF: usize = N_RING / 2;
    let ring = circle.map(|[x, y]| level.sample(at[0] + x, at[1] + y));
    let mean = ring.iter().sum::<f32>() / N_RING as f32;
    let even: [f32; HALF] = std::array::from_fn(|i| 0.5 * (ring[i] + ring[i + HALF]) - mean);
    let odd: [f32; HALF] = std::array::from_fn(|i| 0.5 * (ring[i] - ring[i + HALF]));
    let square = |part: &[f32; HALF]| part.iter().map(|x| x * x).sum::<f32>();
    if square(&odd) > MAX_ODD_PART * (square(&even) + square(&odd)) {
        return None;
    }
    let highest = even.iter().copied().fold(0.0, f32::max);
    let lowest = -even.iter().copied().fold(0.0, f32::min);
    let contrast = highest + lowest;
    if contrast < MIN_CONTRAST.max(MIN_RELATIVE_CONTRAST * mean)
        || highest.min(lowest) < MIN_BALANCE * highest.max(lowest)
    {
        return None;
    }
    // The middle between both extremes, not the mean, parts dark from bright: sectors may be
    // unequally wide.
    let middle = 0.5 * (highest - lowest);
    let mut edges = [0.0; 2];
    let mut n_edges = 0;
    let mut rising_first = false;
    for i in 0..HALF {
        let (a, b) = (even[i] - middle, even[(i + 1) % HALF] - middle);
        if (a < 0.0) == (b < 0.0) {
            continue;
        }
        if n_edges == 2 {
            return None;
        }
        edges[n_edges] = (i as f64 + f64::from(a / (a - b))) * std::f64::consts::PI / HALF as f64;
        if n_edges == 0 {
            rising_first = b >= 0.0;
        }
        n_edges += 1;
    }
    // Beyond the first edge lies the sector between both.
    (n_edges == 2).then(|| XCorner {
        at: level.to_photo(at),
        edges: edges.map(|angle: f64| [angle.cos(), angle.sin()]),
        dark_between: !rising_first,
        contrast,
        relative_contrast: contrast / mean.max(f32::MIN_POSITIVE),
        scale: level.scale,
    })
}
