//! A printed sheet: which places are ink, and which edges cross a pixel.

use sightcord::cards::Pattern;
use sightcord::cards::pattern::DOT_RADIUS;

use super::super::layout::PlacedPattern;
use super::super::random::Random;
use super::paint::Rgb;
use super::surface::{Edges, Outline};

/// Reflectance of office paper and of printer's black.
const PAPER: Rgb = [0.82, 0.82, 0.80];
const INK: Rgb = [0.045, 0.045, 0.05];

/// A printed sheet of paper.
#[derive(Clone, Debug)]
pub struct Print {
    pitch_mm: [f64; 2],
    /// 1 / pitch.
    per_mm: [f64; 2],
    rows: usize,
    cols: usize,
    /// Ink ground, dot, lane: one entry a cell.
    cells: Vec<Cell>,
    has_lane: bool,
    pub paper: Outline,
    /// Lettering and check lines outside the pattern: rectangles of ink.
    extra: Vec<[[f64; 2]; 2]>,
}

#[derive(Clone, Copy, Debug)]
struct Cell {
    dark: bool,
    dot: bool,
}

impl Print {
    /// A card or tab; `mirrored` swaps left and right, as chrome does.
    pub fn new(placed: &PlacedPattern, mirrored: bool) -> Self {
        let pattern = placed.pattern;
        let (rows, cols) = (pattern.rows(), pattern.cols());
        let at = |row: usize, col: usize| if mirrored { (row, cols - 1 - col) } else { (row, col) };
        let cells = (0..rows * cols)
            .map(|i| {
                let (row, col) = at(i / cols, i % cols);
                Cell { dark: pattern.is_dark(row, col), dot: pattern.has_dot(row, col) }
            })
            .collect();
        let [px, py] = placed.pitch_mm;
        let (paper, extra) = match pattern {
            Pattern::Card(_) => {
                // A4 for a 10 mm pitch, A3 for 15 mm: both are 29.7 x 21.0 pitches, or near enough
                // for a margin.
                let paper = Outline::Rectangle {
                    from: [-14.8 * px, -10.5 * py],
                    to: [14.8 * px, 10.5 * py],
                };
                (paper, card_extra(pattern.number(), px, py))
            }
            Pattern::Tab(number) => {
                // 1.4 x 1.7 pattern sides, the pattern's centre 0.7 sides below the top.
                // A rider's paper leaves its strip's plane 12 mm below the centre, for the cord.
                let foot = if placed.is_rider { -3.0 } else { -5.0 };
                let paper =
                    Outline::Rectangle { from: [-3.5 * px, foot * py], to: [3.5 * px, 3.5 * py] };
                (paper, tab_extra(number, px, py))
            }
        };
        let has_lane = matches!(pattern, Pattern::Card(_));
        Self {
            pitch_mm: placed.pitch_mm,
            per_mm: placed.pitch_mm.map(f64::recip),
            rows,
            cols,
            cells,
            has_lane,
            paper,
            extra,
        }
    }

    /// The cell at a place and the place in it from its centre, in pitches; `None` outside the
    /// pattern.
    fn cell(&self, x: f64, y: f64) -> Option<(Cell, usize, f64, f64)> {
        let c = x * self.per_mm[0] + self.cols as f64 / 2.0;
        let r = self.rows as f64 / 2.0 - y * self.per_mm[1];
        if c < 0.0 || r < 0.0 || c >= self.cols as f64 || r >= self.rows as f64 {
            return None;
        }
        let (row, col) = (r as usize, c as usize);
        Some((self.cells[row * self.cols + col], row, c - col as f64 - 0.5, r - row as f64 - 0.5))
    }

    /// Colour of a place on the paper; the back is blank.
    pub fn colour(&self, x: f64, y: f64, front: bool) -> Rgb {
        if front && self.ink_at(x, y) { INK } else { PAPER }
    }

    fn ink_at(&self, x: f64, y: f64) -> bool {
        match self.cell(x, y) {
            Some((_, row, _, _)) if self.is_lane(row) => on_tick(x, self.pitch_mm[1] - y.abs()),
            Some((cell, _, dc, dr)) => {
                cell.dark != (cell.dot && dc * dc + dr * dr < DOT_RADIUS * DOT_RADIUS)
            }
            None => self
                .extra
                .iter()
                .any(|&[from, to]| Outline::Rectangle { from, to }.inside(x, y) > 0.0),
        }
    }

    fn is_lane(&self, row: usize) -> bool {
        self.has_lane && (row == 8 || row == 9)
    }

    /// What crosses the box of `reach` to each side of a place.
    pub fn edges(&self, x: f64, y: f64, reach: [f64; 2]) -> Edges {
        let [px, py] = self.pitch_mm;
        match self.cell(x, y) {
            Some((_, row, _, _)) if self.is_lane(row) => {
                // The lane's half-width is one pitch. Where ticks reach, everything counts as edge.
                if y.abs() + reach[1] > py - TICK_LONG_MM { Edges::Coarse } else { Edges::None }
            }
            Some((cell, row, dc, dr)) => {
                let across = [(0.5 - dc.abs()) * px < reach[0], (0.5 - dr.abs()) * py < reach[1]];
                let wide = reach[0] > 0.2 * px || reach[1] > 0.2 * py;
                let from_dot = ((dc * dc + dr * dr).sqrt() - DOT_RADIUS).abs() * px.min(py);
                let beside_lane = self.is_lane(row + 1) || (row > 0 && self.is_lane(row - 1));
                if cell.dot && from_dot * from_dot < reach[0] * reach[0] + reach[1] * reach[1] {
                    if wide || across != [false, false] { Edges::Fine } else { Edges::Coarse }
                } else {
                    match across {
                        [false, false] => Edges::None,
                        // A larger pixel reaches the dots of the cells beyond, and the lane's ticks
                        // stand against its edge.
                        _ if wide || (across[1] && beside_lane) => Edges::Fine,
                        [true, false] => {
                            Edges::One { axis: 0, place: x + (0.5f64.copysign(dc) - dc) * px }
                        }
                        [false, true] => {
                            Edges::One { axis: 1, place: y - (0.5f64.copysign(dr) - dr) * py }
                        }
                        [true, true] => Edges::Fine,
                    }
                }
            }
            None => {
                let out =
                    [x.abs() - self.cols as f64 / 2.0 * px, y.abs() - self.rows as f64 / 2.0 * py];
                let near = |&[from, to]: &[[f64; 2]; 2]| {
                    let apart =
                        |axis: usize, at: f64| (from[axis] - at).max(at - to[axis]) < reach[axis];
                    apart(0, x) && apart(1, y)
                };
                if out[0] < reach[0] && out[1] < reach[1] {
                    Edges::Fine
                } else if self.paper.inside(x, y) < reach[0].max(reach[1])
                    || self.extra.iter().any(near)
                {
                    Edges::Coarse
                } else {
                    Edges::None
                }
            }
        }
    }
}

/// Ticks along the lane's edges: length, long length every 10 mm, and width.
const TICK_MM: f64 = 1.6;
const TICK_LONG_MM: f64 = 3.0;
const TICK_WIDTH_MM: f64 = 0.25;

/// Whether a place in the lane, this far from the lane's edge, lies on a tick: every 2 mm from the
/// middle.
fn on_tick(x: f64, from_edge: f64) -> bool {
    let nearest = (x / 2.0).round();
    let length = if nearest.rem_euclid(5.0) == 0.0 { TICK_LONG_MM } else { TICK_MM };
    (x - 2.0 * nearest).abs() < TICK_WIDTH_MM / 2.0 && from_edge < length
}

/// The two check lines and a line of lettering.
fn card_extra(number: u8, px: f64, py: f64) -> Vec<[[f64; 2]; 2]> {
    let line = 0.03;
    let mut extra = vec![
        [[-12.5 * px, (-9.6 - line) * py], [12.5 * px, (-9.6 + line) * py]],
        [[(-13.6 - line) * px, -8.0 * py], [(-13.6 + line) * px, 8.0 * py]],
    ];
    extra.extend(lettering(u64::from(number), [2.0 * px, 9.35 * py], 0.22 * py, 28));
    extra
}

/// Number and role in print too small to read.
fn tab_extra(number: u8, px: f64, py: f64) -> Vec<[[f64; 2]; 2]> {
    lettering(100 + u64::from(number), [-2.2 * px, -3.5 * py], 0.5 * py, 9)
}

/// Upright strokes of one height, as a line of small print looks from afar.
fn lettering(seed: u64, [x, y]: [f64; 2], height: f64, strokes: usize) -> Vec<[[f64; 2]; 2]> {
    let mut random = Random::stream(seed, &[9]);
    let mut left = x;
    (0..strokes)
        .map(|_| {
            let width = height * random.between(0.12, 0.3);
            let stroke = [[left, y], [left + width, y + height * random.between(0.6, 1.0)]];
            left += width + height * random.between(0.2, 0.6);
            stroke
        })
        .collect()
}
