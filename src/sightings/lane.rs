//! A card's lane straightened into the card's own lattice, where a cord is a straight line, and the
//! light across that line averaged over the whole lane: a profile with little noise, in which the
//! cord's two edges can be told from its shadow.

use super::edge_fit::Sample;
use super::plane_map::{Node, PlaneMap};
use super::seen::PatternSighting;
use crate::cards::Pattern;
use crate::cards::codes::{CARD_COLS, LANE_ROWS};
use crate::math::robust::median;
use crate::photo::LinearImage;

/// Lattice row of the lane's middle, and how far to either side a cord is looked for: the lane less
/// the chequer's blur.
const MIDDLE_ROW: f64 = LANE_ROWS[1] as f64;
const REACH_ROWS: f64 = 0.9;
/// Steepest cord against the lane (rows per column): a card lies turned by some degrees, and beyond
/// 8 the cord crosses too little.
const MAX_SLOPE: f64 = 0.14;
/// Local maps along the lane, one every this many columns: within them the lens is straight.
const KNOT_COLS: f64 = 2.0;
/// Fewest corners of a card that place its lane, and how far from the lane (cells) the nearest may
/// be (our choice).
const MIN_CORNERS: usize = 10;
const MAX_NODE_CELLS: f64 = 5.0;
/// Samples across the lane and along it, at most; more would only repeat the same pixels in most
/// photos.
const MAX_ACROSS: usize = 120;
const MAX_ALONG: usize = 160;
/// Part of the samples of the lane that must lie inside the photo for a row of them to count.
const MIN_SEEN: f32 = 0.3;
/// Spacing of the profile, px.
pub const PROFILE_STEP: f64 = 0.25;
/// Columns that are averaged before the median over all such groups: the median forgets the ticks
/// and what lies across the cord.
const GROUP: usize = 6;

/// From the lattice of one card to pixels, along its lane.
pub struct Lane {
    pub pattern: Pattern,
    knots: Vec<PlaneMap>,
}

/// A straight line in the lattice: the row at the middle column, and rows per column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LatticeLine {
    pub row: f64,
    pub slope: f64,
}

impl LatticeLine {
    pub fn row_at(&self, col: f64) -> f64 {
        self.row + self.slope * (col - CARD_COLS as f64 / 2.0)
    }
}

/// Light across a line in the lane, averaged along it.
pub struct Profile {
    /// The line that is offset 0.
    pub line: LatticeLine,
    /// Offset of the first value, px across the line in the direction of rising rows, spaced by
    /// [`PROFILE_STEP`].
    pub first: f64,
    pub values: Vec<f64>,
    /// Rows for each px across the line, at the middle of what is seen.
    pub rows_per_px: f64,
    /// Pixels for each mm of a thing that faces the camera, at the same place.
    pub px_per_mm: f64,
    /// Column at the middle of what is seen.
    pub middle_col: f64,
    /// Level of the bare paper, linear light.
    pub paper: f64,
    /// Standard deviation of a value.
    pub noise: f64,
}

impl Lane {
    /// None for tabs, and for cards with too little seen near the lane.
    pub fn new(sighting: &PatternSighting) -> Option<Self> {
        if !matches!(sighting.pattern, Pattern::Card(_)) || sighting.corners.len() < MIN_CORNERS {
            return None;
        }
        let node = |c: &super::seen::CornerSighting| Node {
            lattice: [f64::from(c.col), f64::from(c.row)],
            at: c.at,
        };
        let nodes: Vec<Node> = sighting.corners.iter().map(node).collect();
        let near = |col: f64| {
            nodes
                .iter()
                .any(|n| (n.lattice[0] - col).hypot(n.lattice[1] - MIDDLE_ROW) < MAX_NODE_CELLS)
        };
        let n_knots = (CARD_COLS as f64 / KNOT_COLS) as usize;
        let mut knots = Vec::with_capacity(n_knots);
        for knot in 0..n_knots {
            let col = KNOT_COLS * (knot as f64 + 0.5);
            knots.push(if near(col) { PlaneMap::near(&nodes, [col, MIDDLE_ROW]) } else { None });
        }
        if knots.iter().all(Option::is_none) {
            return None;
        }
        // Where the lane's end is hidden the nearest map that there is takes its place; the samples
        // there count for little.
        let fill = |k: usize| {
            let by_distance = |&other: &usize| other.abs_diff(k);
            (0..n_knots)
                .filter(|&other| knots[other].is_some())
                .min_by_key(by_distance)
                .and_then(|other| knots[other])
        };
        let knots = (0..n_knots).map_while(fill).collect();
        Some(Self { pattern: sighting.pattern, knots })
    }

    /// Where a lattice place of the lane lies, px: the two nearest local maps, blended.
    pub fn at(&self, col: f64, row: f64) -> Option<[f64; 2]> {
        let position = (col / KNOT_COLS - 0.5).clamp(0.0, (self.knots.len() - 1) as f64);
        let first = (position as usize).min(self.knots.len().saturating_sub(2));
        let second = (first + 1).min(self.knots.len() - 1);
        let (a, b) = (self.knots[first].at([col, row])?, self.knots[second].at([col, row])?);
        let t = position - first as f64;
        Some([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])])
    }

    /// The steps of one cell along columns and along rows at a place of the lane, px.
    pub fn steps(&self, col: f64, row: f64) -> Option<[[f64; 2]; 2]> {
        let step = |dc: f64, dr: f64| {
            let (a, b) = (self.at(col - dc, row - dr)?, self.at(col + dc, row + dr)?);
            Some([(b[0] - a[0]) / 2.0, (b[1] - a[1]) / 2.0].map(|x| x / dc.max(dr)))
        };
        Some([step(0.5, 0.0)?, step(0.0, 0.5)?])
    }

    /// Pixels for each mm of a thing that faces the camera: the direction in the card that tilt
    /// does not shorten.
    pub fn px_per_mm(&self, col: f64, row: f64) -> Option<f64> {
        let [[a, b], [c, d]] = self.steps(col, row)?;
        let (sum, diff) = (a * a + b * b + c * c + d * d, a * a + b * b - c * c - d * d);
        let largest = 0.5 * (sum + (diff * diff + 4.0 * (a * c + b * d).powi(2)).sqrt());
        Some(largest.sqrt() / self.pattern.pitch_mm())
    }

    /// A point of a lattice line with the line's unit tangent there and its unit normal, which
    /// points to rising rows.
    pub fn frame(&self, line: &LatticeLine, col: f64) -> Option<([f64; 2], [f64; 2], [f64; 2])> {
        let at = |col: f64| self.at(col, line.row_at(col));
        let (before, middle, after) = (at(col - 0.5)?, at(col)?, at(col + 0.5)?);
        let step = [after[0] - before[0], after[1] - before[1]];
        let length = step[0].hypot(step[1]);
        if !(length > 0.0) {
            return None;
        }
        let tangent = step.map(|x| x / length);
        let [_, down] = self.steps(col, line.row_at(col))?;
        let normal = [-tangent[1], tangent[0]];
        let side = (normal[0] * down[0] + normal[1] * down[1]).signum();
        Some((middle, tangent, normal.map(|x| x * side)))
    }

    /// Rows for each px across a lattice line.
    pub fn rows_per_px(&self, line: &LatticeLine, col: f64) -> Option<f64> {
        let (_, _, normal) = self.frame(line, col)?;
        let [_, down] = self.steps(col, line.row_at(col))?;
        let across = normal[0] * down[0] + normal[1] * down[1];
        (across > 0.5).then(|| 1.0 / across)
    }
}

/// The lane as rows of samples: `values[row][col]`, NaN outside the photo.
struct Samples {
    values: Vec<Vec<f32>>,
    /// Columns (lattice) of the samples, and the rows' spacing in lattice rows.
    cols: Vec<f64>,
    row_step: f64,
    rows: usize,
}

fn sample(image: &LinearImage, lane: &Lane) -> Option<Samples> {
    let flat = LatticeLine { row: MIDDLE_ROW, slope: 0.0 };
    let seen = |col: &f64| {
        let [u, v] = lane.at(*col, MIDDLE_ROW)?;
        image.sample(u, v).map(|_| ())
    };
    let candidates: Vec<f64> =
        (0..CARD_COLS).map(|c| c as f64 + 0.5).filter(|col| seen(col).is_some()).collect();
    let (first, last) = (*candidates.first()?, *candidates.last()?);
    let mut lengths = Vec::new();
    let mut across = Vec::new();
    for col in &candidates {
        let [along, _] = lane.steps(*col, MIDDLE_ROW)?;
        lengths.push(along[0].hypot(along[1]));
        across.push(1.0 / lane.rows_per_px(&flat, *col)?);
    }
    let (length, across) = (median(&lengths)? * (last - first + 1.0), median(&across)?);
    // One sample every two px along and two every px across.
    let n_along = ((length / 2.0) as usize).clamp(1, MAX_ALONG);
    let n_across = ((2.0 * REACH_ROWS * across * 2.0) as usize).min(MAX_ACROSS);
    if n_along < 8 || n_across < 8 {
        return None;
    }
    let row_step = 2.0 * REACH_ROWS / (n_across - 1) as f64;
    let cols: Vec<f64> = (0..n_along)
        .map(|i| first - 0.5 + (last - first + 1.0) * (i as f64 + 0.5) / n_along as f64)
        .collect();
    let column = |&col: &f64| {
        let value = |j: usize| {
            let [u, v] = lane.at(col, MIDDLE_ROW - REACH_ROWS + row_step * j as f64)?;
            image.sample(u, v)
        };
        (0..n_across).map(|j| value(j).unwrap_or(f32::NAN)).collect()
    };
    Some(Samples { values: cols.iter().map(column).collect(), cols, row_step, rows: n_across })
}

/// The slope at which the lane's light is sharpest across, and the row where its strongest edge
/// lies.
fn sharpest(samples: &Samples) -> Option<LatticeLine> {
    let paper = paper_level(samples)?;
    let limit = 0.3 * paper;
    // Light's change across, over two samples; clipped, so that a few dark ticks don't outweigh a
    // faint cord.
    let gradients: Vec<Vec<f32>> = samples
        .values
        .iter()
        .map(|column| {
            (1..samples.rows - 1)
                .map(|j| (column[j + 1] - column[j - 1]).clamp(-limit, limit))
                .collect()
        })
        .collect();
    let middle = CARD_COLS as f64 / 2.0;
    let max_shift = (MAX_SLOPE * middle / samples.row_step) as i32;
    let n = samples.rows - 2;
    let mut best: Option<(f32, LatticeLine)> = None;
    for shift in -max_shift..=max_shift {
        let slope = f64::from(shift) * samples.row_step / middle;
        let (mut sums, mut counts) = (vec![0f32; n], vec![0f32; n]);
        for (gradient, col) in gradients.iter().zip(&samples.cols) {
            let offset = (slope * (col - middle) / samples.row_step).round() as i64;
            let (from, to) =
                ((-offset).max(0) as usize, (n as i64 - offset).clamp(0, n as i64) as usize);
            if from >= to {
                continue;
            }
            let shifted = &gradient[(from as i64 + offset) as usize..(to as i64 + offset) as usize];
            for ((sum, count), &g) in
                sums[from..to].iter_mut().zip(&mut counts[from..to]).zip(shifted)
            {
                if g.is_finite() {
                    *sum += g;
                    *count += 1.0;
                }
            }
        }
        let floor = MIN_SEEN * gradients.len() as f32;
        let mean = |j: usize| if counts[j] > floor { sums[j] / counts[j] } else { 0.0 };
        let energy: f32 = (0..n).map(|j| (mean(j).abs() - 0.03 * paper).max(0.0).powi(2)).sum();
        if best.is_none_or(|(most, _)| energy > most) {
            let strongest = (0..n).max_by(|&a, &b| mean(a).abs().total_cmp(&mean(b).abs()))?;
            let row = MIDDLE_ROW - REACH_ROWS + samples.row_step * (strongest + 1) as f64;
            best = Some((energy, LatticeLine { row, slope }));
        }
    }
    best.filter(|(energy, _)| *energy > 0.0).map(|(_, line)| line)
}

/// The level that the brighter half of the lane shows: bare paper, even where a broad shadow lies.
fn paper_level(samples: &Samples) -> Option<f32> {
    let mut all: Vec<f32> =
        samples.values.iter().flatten().copied().filter(|x| x.is_finite()).collect();
    let at = all.len() * 7 / 10;
    (all.len() > 20).then(|| *all.select_nth_unstable_by(at, f32::total_cmp).1)
}

/// The profile across the sharpest line in the lane; None when nothing runs along it.
pub fn profile(image: &LinearImage, lane: &Lane) -> Option<Profile> {
    let samples = sample(image, lane)?;
    let line = sharpest(&samples)?;
    let paper = f64::from(paper_level(&samples)?);
    let inside: Vec<f64> = samples
        .cols
        .iter()
        .copied()
        .filter(|&c| (line.row_at(c) - MIDDLE_ROW).abs() < REACH_ROWS)
        .collect();
    let middle_col = median(&inside)?;
    let rows_per_px = lane.rows_per_px(&line, middle_col)?;
    let px_per_mm = lane.px_per_mm(middle_col, MIDDLE_ROW)?;
    let step_rows = PROFILE_STEP * rows_per_px;
    let reach = |to: f64| ((to - line.row_at(middle_col)) / step_rows) as i32;
    let (from, to) = (reach(MIDDLE_ROW - REACH_ROWS), reach(MIDDLE_ROW + REACH_ROWS));
    let first = f64::from(from) * PROFILE_STEP;
    let mut values = Vec::with_capacity((to - from + 1).max(0) as usize);
    let mut spreads = Vec::new();
    for j in from..=to {
        let groups: Vec<f64> = inside
            .chunks(GROUP)
            .filter_map(|group| {
                let at = |&col: &f64| {
                    let row = line.row_at(col) + f64::from(j) * step_rows;
                    let [u, v] = lane.at(col, row)?;
                    image.sample(u, v)
                };
                let lights: Vec<f32> = group.iter().filter_map(at).collect();
                (2 * lights.len() > group.len())
                    .then(|| f64::from(lights.iter().sum::<f32>()) / lights.len() as f64)
            })
            .collect();
        let value = median(&groups)?;
        let off: Vec<f64> = groups.iter().map(|g| (g - value).abs()).collect();
        // Median of n values: 1.25 times the mean's uncertainty.
        spreads.push(1.25 * 1.4826 * median(&off)? / (groups.len() as f64).sqrt());
        values.push(value);
    }
    let noise = median(&spreads)?;
    (values.len() > 20).then_some(Profile {
        line,
        first,
        values,
        rows_per_px,
        px_per_mm,
        middle_col,
        paper,
        noise,
    })
}

impl Profile {
    pub fn offset(&self, index: usize) -> f64 {
        self.first + PROFILE_STEP * index as f64
    }

    /// The profile's values as samples about an offset, with the outward direction given (+1 or
    /// -1).
    pub fn samples_about(&self, offset: f64, outward: f64) -> Vec<Sample> {
        let sample = |(index, &value): (usize, &f64)| Sample {
            outward: (outward * (self.offset(index) - offset)) as f32,
            value: value as f32,
        };
        self.values.iter().enumerate().map(sample).collect()
    }

    /// Mean value between two offsets; None where the profile doesn't reach.
    pub fn mean(&self, a: f64, b: f64) -> Option<f64> {
        let (low, high) = (a.min(b), a.max(b));
        let inside =
            (0..self.values.len()).filter(|&i| self.offset(i) >= low && self.offset(i) <= high);
        let (n, sum) = inside.fold((0.0, 0.0), |(n, sum), i| (n + 1.0, sum + self.values[i]));
        (n > 0.0).then(|| sum / n)
    }
}
