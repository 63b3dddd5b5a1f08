//! How good the observations really are: weights from residuals, and what is left out.

use std::collections::BTreeMap;

use crate::math::robust::sigma_about_zero;

use super::observe::{Block, NoiseClass, Shown};
use super::residual::{components, lengths, point_components};
use super::state::{Slots, State};
use crate::sightings::StringKind;

/// A pattern with fewer residuals than this is weighed like its class.
const LEAST_RESIDUALS: usize = 40;
/// No group is trusted more than this part of its stated uncertainty, nor called worse than this many times it.
const RANGE: (f64, f64) = (0.5, 60.0);

/// Of this many photos' means and more, those this many times the usual are contradicted by the rest.
const LEAST_TO_CONTRADICT: usize = 5;
const CONTRADICTED: f64 = 6.0;

/// Places of a cord that are known this many times as poorly as its best tell nothing of its noise.
const BEST_KNOWN: f64 = 1.5;

/// What shares a noise level: one card, one tab, one flag, all cords, one line.
fn group(state: &State, shown: Shown) -> (u8, usize) {
    match shown {
        Shown::Card(card) => (0, state.cards[card].sheet),
        Shown::Tab { tab, .. } => (1, usize::from(state.tabs[tab].number)),
        Shown::Flag { flag, .. } => (2, flag),
        Shown::Cord(_) => (3, 0),
        Shown::Line(line) => (4, line),
    }
}

/// Sets each block's noise factor from the residuals of its group: 1.4826 times the median of absolute whitened residuals, raised for
/// the unknowns that a small group has used up.
pub fn weigh(state: &State, slots: &Slots, blocks: &mut [Block]) {
    let mut by_group: BTreeMap<(u8, usize), Vec<f64>> = BTreeMap::new();
    let mut by_class: BTreeMap<NoiseClass, Vec<f64>> = BTreeMap::new();
    let mut block_means: BTreeMap<(NoiseClass, bool), Vec<f64>> = BTreeMap::new();
    // A plumb line's image is fitted otherwise than a cord's that lies across: neither tells of the other.
    let is_plumb = |shown: Shown| matches!(shown, Shown::Line(line) if matches!(state.lines[line].kind, StringKind::Plumb(_)));
    let cord_points = blocks.iter().filter(|block| matches!(block.shown, Shown::Cord(_))).flat_map(|block| &block.points);
    let best_sigma = cord_points.filter(|point| point.used).map(|point| point.sigma).fold(f64::INFINITY, f64::min);
    for block in blocks.iter() {
        let mut residuals = components(state, slots, block);
        if !block.points.is_empty() && residuals.len() > 1 {
            // The points of one photo share light and shadow: their mean scatters more than independent points' would.
            let mean = residuals.iter().sum::<f64>() / (residuals.len() as f64).sqrt();
            block_means.entry((block.shown.noise_class(), is_plumb(block.shown))).or_default().push(mean);
        }
        if matches!(block.shown, Shown::Cord(_)) {
            // Places that are poorly known by design would make the others seem better than they are.
            residuals = point_components(state, block, |point| point.sigma <= BEST_KNOWN * best_sigma);
        }
        by_class.entry(block.shown.noise_class()).or_default().extend(&residuals);
        by_group.entry(group(state, block.shown)).or_default().extend(residuals);
    }
    let class_sigma: BTreeMap<NoiseClass, f64> =
        by_class.iter().filter_map(|(class, r)| sigma_about_zero(r).map(|sigma| (*class, sigma))).collect();
    let mean_sigma: BTreeMap<(NoiseClass, bool), f64> =
        block_means.iter().filter(|(_, means)| means.len() >= 3).map(|(class, means)| (*class, scatter(means))).collect();
    for block in blocks.iter_mut() {
        let class = block.shown.noise_class();
        let residuals = &by_group[&group(state, block.shown)];
        let own = if residuals.len() >= LEAST_RESIDUALS {
            let n = residuals.len() as f64;
            // A tab has seven unknowns of its own, and each photo of a flag three more.
            let unknowns = if class == NoiseClass::Tabs { 7.0 + n / 32.0 } else { 0.0 };
            sigma_about_zero(residuals).map(|sigma| sigma * (n / (n - unknowns)).sqrt())
        } else {
            class_sigma.get(&class).copied()
        };
        let sigma = own.unwrap_or(1.0).max(mean_sigma.get(&(class, is_plumb(block.shown))).copied().unwrap_or(0.0));
        block.noise = sigma.clamp(RANGE.0, RANGE.1);
    }
}

/// Root mean square of the photos' means without those that most others contradict: a false line among true ones says nothing of these.
fn scatter(means: &[f64]) -> f64 {
    let usual = sigma_about_zero(means).unwrap_or(0.0).max(1.0);
    let bound = if means.len() < LEAST_TO_CONTRADICT { f64::INFINITY } else { CONTRADICTED * usual };
    let kept: Vec<f64> = means.iter().copied().filter(|mean| mean.abs() <= bound).collect();
    (kept.iter().map(|m| m * m).sum::<f64>() / kept.len().max(1) as f64).sqrt()
}

/// Leaves out what lies farther than `bound` standard deviations from where it should, and takes back what no longer does. Returns how
/// many are left out.
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
