//! Which height, thickness and place of a cord the light in the lanes supports.
//!
//! Shadows, ticks and stains lie on the paper: seen from anywhere the paper has the same light at
//! the same place. The cord lies above it and hides another piece of the paper in each photo. So a
//! supposed cord is tried thus: what it does not hide must show the same paper in all photos, and
//! what it hides must show one tone, the cord's. A shadow that is taken for the cord leaves the
//! cord itself as a stain that wanders over the paper.

use rayon::prelude::*;

use crate::math::px_mm::{Mm, Px};

use super::lane_light::{LightGroup, LightRay, LightView, steps};

/// A cord that the light supports.
#[derive(Clone, Debug, PartialEq)]
pub struct CordCandidate {
    /// Height in the world, where the cord hangs level.
    z: f64,
    pub radius: f64,
    /// World y over each group's card, for that height.
    y: Vec<f64>,
    /// World y and z over each group's card.
    pub places: Vec<[f64; 2]>,
    /// Whether it hangs through, so that each group has a height of its own.
    pub sags: bool,
    /// Mean cost of a sample.
    pub cost: f64,
}

/// Heights above the cards and radii that are tried first, mm: a cord on blocks lies within a
/// centimetre of the paper, and is 0.8 to 5 mm thick.
const LOWEST: f64 = 0.7;
const HIGHEST: f64 = 9.2;
const HEIGHT_STEP: f64 = 0.5;
const RADII: [f64; 6] = [0.45, 0.7, 1.0, 1.35, 1.75, 2.25];
/// A cord on blocks hangs clear of the cards by this at least, mm. What seems to touch them or to
/// sink in is a shadow (our choice).
pub const LEAST_GAP: f64 = 0.15;
/// Places across the lane that are tried, mm from its middle to either side, and their spacing (our
/// choice).
const ACROSS_REACH: f64 = 8.4;
const ACROSS_STEP: f64 = 0.35;
/// Steepest cord against the world's x (our choice).
const STEEPEST: f64 = 0.05;

/// Light is compared on pieces of paper of this width, mm (our choice).
const BIN: f64 = 0.4;
const N_BINS: usize = 56;
/// What lies this near to the cord's edge is a mixture: outside and inside it.
const OUTER_MARGIN: Px = Px(0.9);
const INNER_MARGIN: Px = Px(0.45);
/// Differences beyond this count no more: parts of the paper's light.
const MOST: f64 = 0.15;
/// A sample that can't be compared counts as much as an ordinary difference (our choice).
const ORDINARY: f64 = 0.03;
/// Cords that are looked at more closely; and how far apart two must lie to count as two, mm.
const MOST_KEPT: usize = 6;
const APART: f64 = 1.2;
/// How much higher, lower or to the side the cord may lie over single cards, mm, and the step that
/// is tried; how much a millimetre of it costs, as a part; and by what part of itself the cost must
/// fall for a cord to be taken for one that hangs through.
const SAG: (f64, f64) = (0.9, 0.15);
const SAG_HELD: f64 = 0.05;
const SAGS: f64 = 0.9;
/// Holds the change of light across the cord back, mm^2 (our choice).
const SPREAD_HELD: f64 = 0.02;
/// Paper that lies higher or lower than its card's pose says, mm: bowed sheets.
const HIGHER: [f64; 5] = [0.0, -0.35, 0.35, -0.7, 0.7];

#[derive(Clone, Copy, Debug, PartialEq)]
enum Lies {
    Outside,
    Inside,
    Between,
}

fn lies(view: &LightView, sample: &LightRay, y: f64, z: f64, radius: f64) -> Lies {
    let off = Mm(sample.ray.off(y, z).abs() - radius);
    if off > OUTER_MARGIN * view.scale {
        Lies::Outside
    } else if Mm(-off.0) > INNER_MARGIN * view.scale {
        Lies::Inside
    } else {
        Lies::Between
    }
}

/// Sum of the samples' costs, for a cord of this radius at (y, z) over paper that lies `higher`
/// than the card's pose says.
fn cost(views: &[&LightView], y: f64, z: f64, radius: f64, higher: f64) -> f64 {
    let mut bins = [(0.0f64, 0.0f64); N_BINS];
    let first = views.first().map_or(0.0, |view| view.middle[1]) - BIN * N_BINS as f64 / 2.0;
    let bin = |ray: &LightRay| {
        let at = (ray.on_paper + ray.per_mm_up * higher - first) / BIN;
        (at >= 0.0 && at < N_BINS as f64).then_some(at as usize)
    };
    for view in views {
        for ray in &view.samples {
            if lies(view, ray, y, z, radius) == Lies::Outside
                && let Some(bin) = bin(ray)
            {
                bins[bin].0 += 1.0;
                bins[bin].1 += ray.light;
            }
        }
    }
    let bound = |difference: f64| (difference * difference).min(MOST * MOST);
    let mut sum = 0.0;
    // Samples inside the cord: distance from its axis as it is seen, and light.
    let mut inside: Vec<(f64, f64)> = Vec::new();
    for view in views {
        inside.clear();
        for ray in &view.samples {
            sum += match lies(view, ray, y, z, radius) {
                Lies::Outside => match bin(ray).map(|bin| bins[bin]) {
                    Some((n, light)) if n > 1.5 => {
                        bound((ray.light - light / n) * (n / (n - 1.0)).sqrt())
                    }
                    _ => ORDINARY * ORDINARY,
                },
                Lies::Inside => {
                    inside.push((ray.ray.off(y, z), ray.light));
                    ORDINARY * ORDINARY
                }
                Lies::Between => ORDINARY * ORDINARY,
            };
        }
        // A round cord is lit from one side: its light changes evenly across it.
        let n = inside.len() as f64;
        if n > 0.0 {
            let mean = |of: &dyn Fn(&(f64, f64)) -> f64| inside.iter().map(of).sum::<f64>() / n;
            let (t, light) = (mean(&|s| s.0), mean(&|s| s.1));
            let spread = mean(&|s| (s.0 - t).powi(2)) + SPREAD_HELD;
            let slope = mean(&|s| (s.0 - t) * (s.1 - light)) / spread;
            sum += inside.iter().map(|s| bound(s.1 - light - slope * (s.0 - t))).sum::<f64>();
        }
    }
    sum
}

/// The cords that the light supports, best first; `ground` is the cards' mean height.
pub fn cord_candidates(groups: &[LightGroup], ground: f64) -> Vec<CordCandidate> {
    let sparse: Vec<Vec<LightView>> =
        groups.iter().map(|g| g.views.iter().map(|view| view.sparse()).collect()).collect();
    let sparse: Vec<Vec<&LightView>> = sparse.iter().map(|views| views.iter().collect()).collect();
    let n_heights = ((HIGHEST - LOWEST) / HEIGHT_STEP) as usize + 1;
    let mut found: Vec<CordCandidate> = (0..n_heights)
        .into_par_iter()
        .flat_map_iter(|i| {
            let z = LOWEST + HEIGHT_STEP * i as f64;
            let sparse = &sparse;
            let radii = RADII.into_iter().filter(move |radius| z - radius >= LEAST_GAP);
            radii.map(move |radius| straightest(groups, sparse, z + ground, radius))
        })
        .collect();
    found.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    let mut kept: Vec<CordCandidate> = Vec::new();
    for candidate in found {
        if kept.len() < MOST_KEPT && kept.iter().all(|k| apart(k, &candidate) > 0.5 * APART) {
            kept.push(candidate);
        }
    }
    let mut refined: Vec<CordCandidate> =
        kept.into_par_iter().map(|candidate| refined(groups, candidate, ground)).collect();
    refined.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    refined
}

/// Mean distance of two cords' places, mm.
pub fn apart(a: &CordCandidate, b: &CordCandidate) -> f64 {
    a.y.iter().zip(&b.y).map(|(a, b)| (a - b).abs()).sum::<f64>() / a.y.len().max(1) as f64
}

/// The straight cord of this height and radius that costs least.
fn straightest(
    groups: &[LightGroup],
    views: &[Vec<&LightView>],
    z: f64,
    radius: f64,
) -> CordCandidate {
    let n = (2.0 * ACROSS_REACH / ACROSS_STEP) as usize + 1;
    let middle = |g: usize| groups[g].views.first().map_or([0.0; 2], |view| view.middle);
    let place = |g: usize, i: usize| middle(g)[1] - ACROSS_REACH + ACROSS_STEP * i as f64;
    let costs: Vec<Vec<f64>> = (0..groups.len())
        .map(|g| (0..n).map(|i| cost(&views[g], place(g, i), z, radius, 0.0)).collect())
        .collect();
    let count: f64 = views.iter().flatten().map(|view| view.samples.len() as f64).sum();
    let mut y = vec![0.0; groups.len()];
    let mut total = 0.0;
    let mut setups: Vec<usize> = groups.iter().map(|g| g.setup).collect();
    setups.sort_unstable();
    setups.dedup();
    for setup in setups {
        let mine: Vec<usize> = (0..groups.len()).filter(|&g| groups[g].setup == setup).collect();
        let by_x = |&a: &usize, &b: &usize| middle(a)[0].total_cmp(&middle(b)[0]);
        let (Some(first), Some(last)) =
            (mine.iter().copied().min_by(by_x), mine.iter().copied().max_by(by_x))
        else {
            continue;
        };
        let length = middle(last)[0] - middle(first)[0];
        let mut best: Option<(f64, f64, f64)> = None;
        for i in 0..n {
            for k in 0..n {
                let (a, b) = (place(first, i), place(last, k));
                let slope = if length > 1.0 { (b - a) / length } else { 0.0 };
                if slope.abs() > STEEPEST || (length <= 1.0 && k > 0) {
                    continue;
                }
                let at = |g: usize| a + slope * (middle(g)[0] - middle(first)[0]);
                let cost_at = |&g: &usize| {
                    let nearest = ((at(g) - place(g, 0)) / ACROSS_STEP).round();
                    costs[g][(nearest.max(0.0) as usize).min(n - 1)]
                };
                let sum: f64 = mine.iter().map(cost_at).sum();
                if best.is_none_or(|(least, ..)| sum < least) {
                    best = Some((sum, a, slope));
                }
            }
        }
        if let Some((sum, a, slope)) = best {
            total += sum;
            for &g in &mine {
                y[g] = a + slope * (middle(g)[0] - middle(first)[0]);
            }
        }
    }
    CordCandidate { z, radius, y, places: Vec::new(), sags: false, cost: total / count.max(1.0) }
}

/// The same with finer steps, each card's place and paper height on its own.
fn refined(groups: &[LightGroup], start: CordCandidate, ground: f64) -> CordCandidate {
    let count: f64 =
        groups.iter().flat_map(|g| &g.views).map(|view| view.samples.len() as f64).sum();
    let mut higher = vec![0.0; groups.len()];
    // The cheapest places of all groups' cord near those of `from`.
    let placed = |from: &CordCandidate, z: f64, radius: f64, reach: f64, higher: &[f64]| {
        let best_of = |g: usize| {
            let steps = (-3..=3).map(|i| from.y[g] + reach * f64::from(i) / 3.0);
            let tried = steps.map(|y| (cost(&groups[g].views, y, z, radius, higher[g]), y));
            tried.min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((0.0, from.y[g]))
        };
        let best: Vec<(f64, f64)> = (0..groups.len()).map(best_of).collect();
        let cost = best.iter().map(|b| b.0).sum::<f64>() / count.max(1.0);
        CordCandidate { z, radius, y: best.iter().map(|b| b.1).collect(), cost, ..from.clone() }
    };
    let mut best = placed(&start, start.z, start.radius, 0.45, &higher);
    for (step_z, step_r, reach) in [(0.25, 0.15, 0.45), (0.12, 0.08, 0.2), (0.06, 0.05, 0.1)] {
        for k in -2..=2 {
            for m in -2..=2 {
                let (z, radius) =
                    (best.z + step_z * f64::from(k), best.radius + step_r * f64::from(m));
                if radius < 0.35 || z - ground - radius < LEAST_GAP {
                    continue;
                }
                let tried = placed(&best, z, radius, reach, &higher);
                if tried.cost < best.cost {
                    best = tried;
                }
            }
        }
        for g in 0..groups.len() {
            let cost_of = |h: f64| cost(&groups[g].views, best.y[g], best.z, best.radius, h);
            higher[g] = HIGHER
                .into_iter()
                .min_by(|a, b| cost_of(*a).total_cmp(&cost_of(*b)))
                .unwrap_or(0.0);
        }
        best = placed(&best, best.z, best.radius, reach / 3.0, &higher);
    }
    best.places = best.y.iter().map(|y| [*y, best.z]).collect();
    // A cord that hangs through lies lower over the middle cards.
    let own = |g: usize| {
        let clear = move |up: &f64| best.z + up - ground - best.radius >= LEAST_GAP;
        let tried = steps(0.0, SAG)
            .filter(clear)
            .flat_map(|up| steps(0.0, SAG).map(move |aside| (up, aside)));
        let costs = tried.map(|(up, aside)| {
            let sum =
                cost(&groups[g].views, best.y[g] + aside, best.z + up, best.radius, higher[g]);
            (sum * (1.0 + SAG_HELD * up * up), [best.y[g] + aside, best.z + up])
        });
        costs.min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((f64::MAX, [best.y[g], best.z]))
    };
    let own: Vec<(f64, [f64; 2])> = (0..groups.len()).map(own).collect();
    let cost = own.iter().map(|o| o.0).sum::<f64>() / count.max(1.0);
    if cost < SAGS * best.cost {
        return CordCandidate {
            places: own.iter().map(|o| o.1).collect(),
            sags: true,
            cost,
            ..best
        };
    }
    best
}
