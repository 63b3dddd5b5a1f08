//! Dots too weak to be read one by one are read together: how far each of a tab's cells departs
//! from its ground is compared with every word at once.
//!
//! In a grainy photo a dot's departure d_i (as a part of the contrast, positive towards the
//! opposite tone) scatters as much as it says. For a word w with bits w_i the model is d_i = a + b
//! w_i + noise, of equal variance in every cell; a and b > 0 are fitted by least squares for every
//! word in every turn and mirror image. The word that leaves least is believed when it explains
//! nearly everything that differs between the cells and when every other one leaves much more.

use super::plane_map::{Node, PlaneMap};
use super::plate::Plate;
use super::read_tab::{N_CELLS, TabWord, card_windows, tab_words};
use crate::cards::codes::TAB_SIDE;
use crate::math::robust::median;
use crate::photo::LinearImage;

/// Radius (cells) up to which a place counts as the dot, and from which on, up to the square's half
/// side, as ground. The dot's edge at 0.22 is blurred by a tenth of a cell in cells of 8 px.
const DOT_RADIUS: f64 = 0.22;
const GROUND_RADIUS: f64 = 0.31;
const GROUND_HALF_SIDE: f64 = 0.40;
/// Samples along a cell's side, for each pixel that the side is long, and their limits (our
/// choice).
const SAMPLES_PER_PX: f64 = 1.0;
const MIN_SAMPLES: f64 = 7.0;
const MAX_SAMPLES: f64 = 16.0;
/// Least correlation of the grounds with the chequer (our choice).
const MIN_CHEQUER: f64 = 0.8;
/// Least correlation of the departures with the word when nothing is known beforehand: 25 cells at
/// random reach it against one of the 512 words and mirror images once in 2,500 times, and the
/// lattices that are asked have passed the chequer and the white margin.
const MIN_CORRELATION: f64 = 0.8;
/// The same against the one word that a solved scene expects there: chance reaches it once in a
/// thousand times, and must also beat every other word.
const MIN_CORRELATION_EXPECTED: f64 = 0.6;
/// What the next best word must leave more than the best, in variances of a cell's departure: five
/// and three standard deviations.
const MIN_EXCESS: f64 = 25.0;
const MIN_EXCESS_EXPECTED: f64 = 9.0;
/// Least noise of the bright cells' pixels as a part of the contrast for weak dots to be believed
/// where nothing is expected: in a quiet picture a dot that can't be read is hidden or wrong.
const MIN_GRAIN: f64 = 0.15;
/// Farthest that a cell's departure may lie from what the word says, in standard deviations of all:
/// a single dot that is plainly wrong stands out farther, and the largest of 25 that only scatter
/// lies beyond it once in fifteen times.
const MAX_OUTLIER: f64 = 3.0;
/// Departure of a cell with a dot from one without, as a part of the contrast: what blur leaves of
/// it in cells of 5 px, and more than is possible.
const DEPARTURE: std::ops::Range<f64> = 0.2..1.6;

/// What the cells of a tab look like together.
pub struct WeakDots {
    /// Departure of the cells' centres from their ground towards the opposite tone, as a part of
    /// the contrast, row by row.
    departures: [f64; N_CELLS],
    /// Noise of the bright cells' pixels as a part of the contrast.
    grain: f64,
}

/// A word that was recognised.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WeakReading {
    /// Index into [`tab_words`].
    pub word: usize,
    /// Cells whose departure lies nearer to that of the other bit.
    pub wrong_dots: u32,
}

/// How well one word explains the departures.
#[derive(Clone, Copy)]
struct Explained {
    /// Sum of squares left.
    left: f64,
    /// Correlation with the word.
    correlation: f64,
    offset: f64,
    slope: f64,
}

impl WeakDots {
    /// Measures the cells of a tab whose nodes 1 to 4 (some of them) are at these places, by (y,
    /// x); cells with x + y even are dark. None where the picture ends or the chequer is not
    /// there.
    pub fn measure(plate: &Plate, nodes: &[Node]) -> Option<Self> {
        let map = PlaneMap::fit(nodes.iter().map(|&node| (node, 1.0)))?;
        let (mut grounds, mut centres) = ([0.0; N_CELLS], [0.0; N_CELLS]);
        for (i, (ground, centre)) in grounds.iter_mut().zip(&mut centres).enumerate() {
            let (y, x) = (i / TAB_SIDE, i % TAB_SIDE);
            [*ground, *centre] = tones(plate.raw, &map, x as f64 + 0.5, y as f64 + 0.5)?;
        }
        let is_dark = |i: usize| i.is_multiple_of(2);
        let level = |dark: bool| {
            let cells: Vec<f64> =
                (0..N_CELLS).filter(|&i| is_dark(i) == dark).map(|i| grounds[i]).collect();
            median(&cells)
        };
        let (dark, bright) = (level(true)?, level(false)?);
        let contrast = bright - dark;
        let chequer: [f64; N_CELLS] = std::array::from_fn(|i| if is_dark(i) { -1.0 } else { 1.0 });
        let shows = contrast > 0.0 && correlation(&grounds, &chequer) >= MIN_CHEQUER;
        shows.then(|| Self {
            departures: std::array::from_fn(|i| chequer[i] * (grounds[i] - centres[i]) / contrast),
            grain: f64::from(plate.noise.at(bright as f32)) / contrast,
        })
    }

    /// The word that the cells certainly spell, if any.
    pub fn read(&self) -> Option<WeakReading> {
        (self.grain >= MIN_GRAIN).then(|| self.best(MIN_CORRELATION, MIN_EXCESS))?
    }

    /// Whether the cells spell tab `tab` the right way up, where that is expected.
    pub fn is_tab(&self, tab: u8) -> Option<WeakReading> {
        let reading = self.best(MIN_CORRELATION_EXPECTED, MIN_EXCESS_EXPECTED)?;
        let word = &tab_words()[reading.word];
        (word.tab == tab && word.turn == 0).then_some(reading)
    }

    fn best(&self, min_correlation: f64, min_excess: f64) -> Option<WeakReading> {
        let words = tab_words();
        let (best, explained) = words
            .iter()
            .map(|word| self.explain(word.bits, word.counted))
            .enumerate()
            .max_by(|a, b| a.1.correlation.total_cmp(&b.1.correlation))?;
        let word = &words[best];
        if !(explained.correlation >= min_correlation && DEPARTURE.contains(&explained.slope)) {
            return None;
        }
        // Rivals are judged on the cells that count for this word, so that like is compared with
        // like.
        let n = f64::from(word.counted.count_ones());
        let variance = explained.left / (n - 2.0);
        let contradicts = |i: usize| {
            let expected =
                explained.offset + if word.bits >> i & 1 == 1 { explained.slope } else { 0.0 };
            word.counted >> i & 1 == 1
                && (self.departures[i] - expected).powi(2) > MAX_OUTLIER * MAX_OUTLIER * variance
        };
        if (0..N_CELLS).any(contradicts) {
            return None;
        }
        let least = explained.left + min_excess * variance;
        let beaten = |bits: u32| self.explain(bits, word.counted).left >= least;
        let rivals =
            words.iter().enumerate().filter(|&(i, _)| i != best).map(|(_, rival)| rival.bits);
        if !rivals.chain(card_windows().iter().copied()).all(beaten) {
            return None;
        }
        Some(WeakReading { word: best, wrong_dots: self.wrong_dots(word, &explained) })
    }

    fn wrong_dots(&self, word: &TabWord, explained: &Explained) -> u32 {
        let middle = explained.offset + 0.5 * explained.slope;
        let wrong = |&i: &usize| {
            word.counted >> i & 1 == 1 && (self.departures[i] > middle) != (word.bits >> i & 1 == 1)
        };
        (0..N_CELLS).filter(wrong).count() as u32
    }

    /// Least squares of the departures on a word's bits over the counted cells.
    fn explain(&self, bits: u32, counted: u32) -> Explained {
        let (mut n, mut ones, mut sum, mut with_dot, mut squares) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (i, &departure) in self.departures.iter().enumerate() {
            if counted >> i & 1 == 0 {
                continue;
            }
            n += 1.0;
            sum += departure;
            squares += departure * departure;
            if bits >> i & 1 == 1 {
                ones += 1.0;
                with_dot += departure;
            }
        }
        let total = squares - sum * sum / n;
        let spread = ones - ones * ones / n;
        let joint = with_dot - ones * sum / n;
        // A word against which the departures fall explains nothing.
        if !(joint > 0.0 && spread > 0.0 && total > 0.0) {
            return Explained { left: total, correlation: 0.0, offset: 0.0, slope: 0.0 };
        }
        let slope = joint / spread;
        let offset = (sum - slope * ones) / n;
        Explained {
            left: total - slope * joint,
            correlation: joint / (spread * total).sqrt(),
            offset,
            slope,
        }
    }
}

/// Mean light of a cell's ground and of its centre.
fn tones(image: &LinearImage, map: &PlaneMap, x: f64, y: f64) -> Option<[f64; 2]> {
    let [along_x, along_y] = map.steps([x, y])?;
    let side = along_x[0].hypot(along_x[1]).max(along_y[0].hypot(along_y[1]));
    let n = (SAMPLES_PER_PX * side).ceil().clamp(MIN_SAMPLES, MAX_SAMPLES);
    let (mut ground, mut centre) = ([0.0; 2], [0.0; 2]);
    for (i, j) in (0..n as usize).flat_map(|i| (0..n as usize).map(move |j| (i, j))) {
        let [dy, dx] = [i, j].map(|k| ((k as f64 + 0.5) / n - 0.5) * 2.0 * GROUND_HALF_SIDE);
        let radius = dx.hypot(dy);
        let sum = match radius {
            _ if radius < DOT_RADIUS => &mut centre,
            _ if radius > GROUND_RADIUS => &mut ground,
            _ => continue,
        };
        let [u, v] = map.at([x + dx, y + dy])?;
        *sum = [sum[0] + f64::from(image.sample(u, v)?), sum[1] + 1.0];
    }
    Some([ground, centre].map(|[sum, n]: [f64; 2]| sum / n))
}

fn correlation(a: &[f64; N_CELLS], b: &[f64; N_CELLS]) -> f64 {
    let n = N_CELLS as f64;
    let (mean_a, mean_b) = (a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += (x - mean_a) * (y - mean_b);
        aa += (x - mean_a).powi(2);
        bb += (y - mean_b).powi(2);
    }
    ab / (aa * bb).sqrt().max(f64::MIN_POSITIVE)
}
