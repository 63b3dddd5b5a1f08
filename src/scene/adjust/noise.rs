//! How good the observations really are: weights from residuals, and what is left out.

use std::collections::BTreeMap;

use crate::math::robust::{sigma_about_zero, student};
use crate::scene::model::observe::{Block, NoiseClass, Shown};
use crate::scene::model::state::State;
use crate::scene::model::unknowns::Slots;

use super::residual::{components, lengths, point_components};

/// Farther than this many standard deviations from where it should be, a corner is left out: one in
/// 150,000 good ones is.
pub const REJECT: f64 = 4.5;

/// A pattern with fewer residuals than this is weighed like its class.
const LEAST_RESIDUALS: usize = 40;
/// What is stated beforehand of a corner's uncertainty weighs as much as this many residuals: few
/// of them, of marks that have unknowns of their own, fit whatever was seen.
const STATED_WEIGHS: f64 = 40.0;
/// Unknowns of a line in space (two for its place, two for its direction).
const LINE_UNKNOWNS: usize = 4;
/// No group is trusted more than this part of its stated uncertainty, nor called worse than this
/// many times it.
const RANGE: (f64, f64) = (0.5, 60.0);

/// By how much light and ground move a straight line's image beyond what its places' scatter
/// shows: standard deviation, px, and how many degrees of freedom it counts as, next to what the
/// images themselves show (rms of rendered photos with lines of every colour).
const IMAGE: f64 = 0.15;
const IMAGE_WEIGHS: usize = 4;
/// Images that scatter this many times as much refute what was stated: then they alone count.
const REFUTED: f64 = 2.0;

/// Of this many photos' means and more, those this many times the usual are contradicted by the
/// rest.
const LEAST_TO_CONTRADICT: usize = 5;
const CONTRADICTED: f64 = 6.0;

/// Places of a cord that are known this many times as poorly as its best say nothing of its noise.
const BEST_KNOWN: f64 = 1.5;

/// What shares a noise level: one card, one tab, one flag, all cords, one line.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum NoiseGroup {
    Sheet(usize),
    /// By its number.
    Tab(u8),
    Flag(usize),
    Cords,
    Line(usize),
}

impl NoiseGroup {
    fn of(state: &State, shown: Shown) -> Self {
        match shown {
            Shown::Card(card) => Self::Sheet(state.cards[card].sheet),
            Shown::Tab { tab, .. } => Self::Tab(state.tabs[tab].number),
            Shown::Flag { flag, .. } => Self::Flag(flag),
            Shown::Cord(_) => Self::Cords,
            Shown::Line(line) => Self::Line(line),
        }
    }
}

/// Whitened residuals, by what shares their noise.
#[derive(Default)]
struct Gathered {
    by_group: BTreeMap<NoiseGroup, Vec<f64>>,
    by_class: BTreeMap<NoiseClass, Vec<f64>>,
    /// Means of blocks of points, as numbers of unit variance.
    block_means: BTreeMap<NoiseClass, Vec<f64>>,
    /// Of each line its images' contrasts and what was stated of them.
    images: BTreeMap<usize, (Vec<f64>, Vec<f64>)>,
}

impl Gathered {
    fn of(state: &State, slots: &Slots, blocks: &[Block]) -> Self {
        let mut out = Self::default();
        let cord_points = blocks
            .iter()
            .filter(|block| matches!(block.shown, Shown::Cord(_)))
            .flat_map(|block| &block.points);
        let best_sigma = cord_points
            .filter(|point| point.used)
            .map(|point| point.sigma)
            .fold(f64::INFINITY, f64::min);
        for block in blocks {
            let mut residuals = components(state, slots, block);
            if !block.points.is_empty() && residuals.len() > 1 {
                // The points of one photo share light and shadow: their mean scatters more than
                // independent points' would.
                let mean = residuals.iter().sum::<f64>() / (residuals.len() as f64).sqrt();
                match block.shown {
                    Shown::Line(line) => {
                        let (contrasts, stated) = out.images.entry(line).or_default();
                        contrasts.extend([mean, tilt(&residuals)]);
                        stated
                            .push(IMAGE / block.points[0].sigma * (residuals.len() as f64).sqrt());
                    }
                    _ => out.block_means.entry(block.shown.noise_class()).or_default().push(mean),
                }
            }
            if matches!(block.shown, Shown::Cord(_)) {
                // Places that are poorly known by design would make the others seem better than
                // they are.
                residuals =
                    point_components(state, block, |point| point.sigma <= BEST_KNOWN * best_sigma);
            }
            out.by_class.entry(block.shown.noise_class()).or_default().extend(&residuals);
            out.by_group.entry(NoiseGroup::of(state, block.shown)).or_default().extend(residuals);
        }
        out
    }

    /// What each class as a whole shows, together with what was stated beforehand.
    fn class_sigma(&self) -> BTreeMap<NoiseClass, f64> {
        let mut unknowns_of: BTreeMap<NoiseClass, f64> = BTreeMap::new();
        for (key, residuals) in &self.by_group {
            if matches!(key, NoiseGroup::Tab(_) | NoiseGroup::Flag(_)) {
                *unknowns_of.entry(NoiseClass::Tabs).or_default() +=
                    unknowns_of_tab(residuals.len());
            }
        }
        let sigma = |(class, r): (&NoiseClass, &Vec<f64>)| {
            let freedom =
                (r.len() as f64 - unknowns_of.get(class).copied().unwrap_or(0.0)).max(0.0);
            let sigma = sigma_about_zero(r)? * (r.len() as f64 / freedom.max(1.0)).sqrt();
            Some((*class, with_stated(sigma, freedom)))
        };
        self.by_class.iter().filter_map(sigma).collect()
    }
}

/// Sets each block's noise factor from the residuals of its group: 1.4826 times the median of
/// absolute whitened residuals, raised for the unknowns that a small group has used up.
pub fn weigh(state: &State, slots: &Slots, blocks: &mut [Block]) {
    let gathered = Gathered::of(state, slots, blocks);
    let class_sigma = gathered.class_sigma();
    let mean_sigma: BTreeMap<NoiseClass, f64> = gathered
        .block_means
        .iter()
        .filter(|(_, means)| means.len() >= 3)
        .map(|(class, means)| (*class, scatter(means)))
        .collect();
    for block in blocks.iter_mut() {
        let class = block.shown.noise_class();
        let residuals = &gathered.by_group[&NoiseGroup::of(state, block.shown)];
        let own = if residuals.len() >= LEAST_RESIDUALS {
            let n = residuals.len() as f64;
            let unknowns =
                if class == NoiseClass::Tabs { unknowns_of_tab(residuals.len()) } else { 0.0 };
            sigma_about_zero(residuals).map(|sigma| sigma * (n / (n - unknowns)).sqrt())
        } else {
            class_sigma.get(&class).copied()
        };
        let of_images = match block.shown {
            Shown::Line(line) => gathered
                .images
                .get(&line)
                .map_or(0.0, |(contrasts, stated)| of_images(contrasts, stated)),
            _ => 0.0,
        };
        let sigma =
            own.unwrap_or(1.0).max(mean_sigma.get(&class).copied().unwrap_or(0.0)).max(of_images);
        block.noise = sigma.clamp(RANGE.0, RANGE.1);
    }
}

/// A tab has seven unknowns of its own, and each photo of a flag three more.
fn unknowns_of_tab(n_residuals: usize) -> f64 {
    7.0 + n_residuals as f64 / 32.0
}

/// A noise factor together with what was stated beforehand (1), each by its degrees of freedom.
fn with_stated(sigma: f64, freedom: f64) -> f64 {
    ((freedom * sigma * sigma + STATED_WEIGHS) / (freedom + STATED_WEIGHS)).sqrt()
}

/// How residuals change along an image, as a number of unit variance where they are independent.
fn tilt(residuals: &[f64]) -> f64 {
    let middle = (residuals.len() as f64 - 1.0) / 2.0;
    let along = |i: usize| i as f64 - middle;
    let squares: f64 = (0..residuals.len()).map(|i| along(i).powi(2)).sum();
    residuals.iter().enumerate().map(|(i, r)| r * along(i)).sum::<f64>() / squares.sqrt().max(1e-9)
}

/// Noise of a straight line's images taken as groups: each gives the line's place and its
/// lean by a mean and a slope, which light and ground move together. Their scatter about the one
/// line, together with what was `stated` beforehand (both in the points' own standard deviations),
/// raised by Student's t for the few they are.
fn of_images(contrasts: &[f64], stated: &[f64]) -> f64 {
    let shown = contrasts.len().saturating_sub(LINE_UNKNOWNS);
    let squares = if shown > 0 { scatter(contrasts).powi(2) * contrasts.len() as f64 } else { 0.0 };
    let stated = stated.iter().map(|s| s * s).sum::<f64>() / stated.len().max(1) as f64;
    if shown > 0 && squares / shown as f64 > (REFUTED * REFUTED) * stated {
        return (squares / shown as f64).sqrt() * student(shown);
    }
    let freedom = shown + IMAGE_WEIGHS;
    ((squares + stated * IMAGE_WEIGHS as f64) / freedom as f64).sqrt() * student(freedom)
}

/// Root mean square of the photos' means without those that most others contradict: a false line
/// among true ones shows nothing about these.
fn scatter(means: &[f64]) -> f64 {
    let usual = sigma_about_zero(means).unwrap_or(0.0).max(1.0);
    let bound =
        if means.len() < LEAST_TO_CONTRADICT { f64::INFINITY } else { CONTRADICTED * usual };
    let kept: Vec<f64> = means.iter().copied().filter(|mean| mean.abs() <= bound).collect();
    (kept.iter().map(|m| m * m).sum::<f64>() / kept.len().max(1) as f64).sqrt()
}

/// Leaves out what lies farther than `bound` standard deviations from where it should, and takes
/// back what no longer does. Returns how many are left out.
pub fn reject(state: &State, slots: &Slots, blocks: &mut [Block], bound: f64) -> usize {
    let mut n_out = 0;
    for block in blocks.iter_mut() {
        let lengths = lengths(state, slots, block);
        let (of_corners, of_points) = lengths.split_at(block.corners.len());
        for (corner, length) in block.corners.iter_mut().zip(of_corners) {
            corner.used = length.abs() <= bound;
            n_out += usize::from(!corner.used);
        }
        for (point, length) in block.points.iter_mut().zip(of_points) {
            point.used = length.abs() <= bound;
            n_out += usize::from(!point.used);
        }
    }
    n_out
}
