//! Which height, thickness and place of a cord the light in the lanes bears out.
//!
//! Shadows, ticks and stains lie on the paper: seen from anywhere the paper has the same light at
//! the same place. The cord lies above it and hides another piece of the paper in each photo. So a
//! supposed cord is tried thus: what it does not hide must show the same paper in all photos, and
//! what it hides must show one tone, the cord's. A shadow that is taken for the cord leaves the
//! cord itself as a stain that wanders over the paper.

use nalgebra::{Vector2, Vector3};
use rayon::prelude::*;

use super::state::{State, View};
use crate::math::Rigid;
use crate::sightings::LaneEdges;

/// Light across one lane in one photo: each sample with the ray it came along.
#[derive(Clone, Debug)]
pub struct LightView {
    samples: Vec<LightRay>,
    pub mm_per_px: f64,
    /// World x and y of the card's middle.
    pub middle: [f64; 2],
}

/// A line of sight across the cord.
#[derive(Clone, Copy, Debug)]
pub struct Ray {
    /// Unit normal of the ray in (y, z) of the world, and its distance from the origin along it.
    pub normal: [f64; 2],
    pub offset: f64,
    /// Where the ray starts and where it goes, in the world.
    pub eye: Vector3<f64>,
    pub direction: Vector3<f64>,
}

impl Ray {
    /// None where the lens does not reach, and for a ray along the cord, which says nothing across
    /// it.
    pub fn through(state: &State, view: &View, at: [f64; 2]) -> Option<Self> {
        let (eye, direction) = view.ray(&state.lens_of(view), &Vector2::from(at))?;
        let length = direction.y.hypot(direction.z);
        if length < 0.2 * direction.norm() {
            return None;
        }
        let normal = [-direction.z / length, direction.y / length];
        Some(Self { normal, offset: normal[0] * eye.y + normal[1] * eye.z, eye, direction })
    }

    /// Distance of (y, z) from the ray, + along its normal, mm.
    pub fn off(&self, y: f64, z: f64) -> f64 {
        self.normal[0] * y + self.normal[1] * z - self.offset
    }
}

/// Numbers to either side of one, so many times a step as lie within the reach.
pub fn steps(about: f64, (reach, step): (f64, f64)) -> impl Iterator<Item = f64> {
    let n = (reach / step).round() as i32;
    (-n..=n).map(move |i| about + step * f64::from(i))
}

#[derive(Clone, Copy, Debug)]
struct LightRay {
    ray: Ray,
    /// World y where the ray meets the card, and how far that moves for each mm that the paper
    /// lies higher.
    on_paper: f64,
    per_mm_up: f64,
    /// The bare paper's is 1.
    light: f64,
}

/// A line of sight on the fine grid.
#[derive(Clone, Copy, Debug)]
pub struct FineRay {
    pub normal: [f64; 2],
    pub offset: f64,
    pub azimuth: f64,
    pub on_paper: f64,
    pub per_mm_up: f64,
}

/// A group of lanes that see the same piece of the cord: one card in one set-up.
pub struct LightGroup<'a> {
    pub setup: usize,
    pub views: Vec<&'a LightView>,
}

/// A cord that the light bears out.
#[derive(Clone, Debug, PartialEq)]
pub struct Borne {
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
const HEIGHTS: (f64, f64, f64) = (0.7, 9.2, 0.5);
const RADII: [f64; 6] = [0.45, 0.7, 1.0, 1.35, 1.75, 2.25];
/// A cord on blocks hangs clear of the cards by this at least, mm. What seems to touch them or to
/// sink in is a shadow.
pub const LEAST_GAP: f64 = 0.15;
/// Places across the lane that are tried, mm from its middle to either side, and their spacing.
const ACROSS: (f64, f64) = (8.4, 0.35);
/// Steepest cord against the world's x.
const STEEPEST: f64 = 0.05;
/// Where along it a cord is seen is told for this height over the paper, mm.
const USUAL_HEIGHT: f64 = 3.0;
/// Samples closer than this are left out in the first search, mm.
const SPARSE: f64 = 0.5;
/// Light is compared on pieces of paper of this width, mm.
const BIN: f64 = 0.4;
const N_BINS: usize = 56;
/// What lies this near to the cord's edge is a mixture: outside and inside it, px.
const MARGIN_PX: (f64, f64) = (0.9, 0.45);
/// Differences beyond this count no more: parts of the paper's light.
const MOST: f64 = 0.15;
/// A sample that can't be compared counts as much as an ordinary difference.
const ORDINARY: f64 = 0.03;
/// Cords that are looked at more closely; and how far apart two must lie to be told apart, mm.
const MOST_KEPT: usize = 6;
const APART: f64 = 1.2;
/// How much higher, lower or to the side the cord may lie over single cards, mm, and the step that
/// is tried; how much a millimetre of it costs, as a part; and by what part of itself the cost must
/// fall for a cord to be taken for one that hangs through.
const SAG: (f64, f64) = (0.9, 0.15);
const SAG_HELD: f64 = 0.05;
const SAGS: f64 = 0.9;
/// Holds the change of light across the cord back, mm^2.
const SPREAD_HELD: f64 = 0.02;
/// Paper that lies higher or lower than its card's pose says, mm: bowed sheets.
const HIGHER: [f64; 5] = [0.0, -0.35, 0.35, -0.7, 0.7];

impl LightView {
    /// `slope` is how far the cord goes to the side (world y) for each mm along x: places are told
    /// as if it ran along x, seen over the card's middle. `bow` is the height of the card's
    /// middle over its edges along x and along y, mm.
    pub fn new(
        state: &State,
        view: &View,
        card: &Rigid,
        bow: [f64; 2],
        slope: f64,
        edges: &LaneEdges,
    ) -> Self {
        let up = card.r.column(2).into_owned();
        let half = edges.pattern.cols() as f64 * edges.pattern.pitch_mm() / 2.0;
        let samples = edges.light.iter().filter_map(|sample| {
            let mut ray = Ray::through(state, view, sample.at)?;
            let steep = up.dot(&ray.direction);
            if !(steep.abs() > 0.05) {
                return None;
            }
            let meet = |higher: f64| -> Vector3<f64> {
                ray.eye + ray.direction * (up.dot(&(card.t - ray.eye)) + higher) / steep
            };
            let flat = card.r.column(0).dot(&(meet(0.0) - card.t)) / half;
            let lift = bow[0] * (1.0 - flat * flat) + bow[1];
            let place = |p: Vector3<f64>| p.y - slope * (p.x - card.t.x);
            let (low, high) = (place(meet(lift)), place(meet(lift + 1.0)));
            ray.offset -= ray.normal[0] * slope * (meet(lift + USUAL_HEIGHT).x - card.t.x);
            Some(LightRay { ray, on_paper: low, per_mm_up: high - low, light: sample.light })
        });
        Self {
            samples: samples.collect(),
            mm_per_px: 1.0 / edges.px_per_mm,
            middle: [card.t.x, card.t.y],
        }
    }

    /// Whether the camera stands on the side of the world's +y.
    pub fn seen_from_left(&self) -> bool {
        self.samples.first().is_some_and(|sample| sample.ray.eye.y > self.middle[1])
    }

    /// Rays on a grid of `each` points a pixel, `beyond` of them before the first sample and behind
    /// the last: normal, offset, azimuth of the camera about the cord (from upright, towards
    /// +y), place on the paper from `middle`, and how it moves for each mm that the paper lies
    /// higher; and the samples' light.
    pub fn fine(&self, each: usize, beyond: usize) -> Option<(Vec<FineRay>, Vec<f64>)> {
        let n = self.samples.len();
        if n < 8 {
            return None;
        }
        let at = |i: usize| {
            let p = i as f64 / each as f64 - beyond as f64 / each as f64;
            let first = (p.max(0.0) as usize).min(n - 2);
            let (a, b, t) = (&self.samples[first], &self.samples[first + 1], p - first as f64);
            let mix = |of: &dyn Fn(&LightRay) -> f64| of(a) + t * (of(b) - of(a));
            FineRay {
                normal: [mix(&|s| s.ray.normal[0]), mix(&|s| s.ray.normal[1])],
                offset: mix(&|s| s.ray.offset),
                azimuth: mix(&|s| (-s.ray.direction.y).atan2(-s.ray.direction.z)),
                on_paper: mix(&|s| s.on_paper) - self.middle[1],
                per_mm_up: mix(&|s| s.per_mm_up),
            }
        };
        let n_fine = (n - 1) * each + 2 * beyond + 1;
        Some(((0..n_fine).map(at).collect(), self.samples.iter().map(|s| s.light).collect()))
    }

    fn sparse(&self) -> Self {
        let each = ((SPARSE / self.mm_per_px) as usize).max(1);
        Self {
            samples: self.samples.iter().copied().skip(each / 2).step_by(each).collect(),
            ..self.clone()
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Lies {
    Outside,
    Inside,
    Between,
}

fn lies(view: &LightView, sample: &LightRay, y: f64, z: f64, radius: f64) -> Lies {
    let off = sample.ray.off(y, z).abs() - radius;
    if off > MARGIN_PX.0 * view.mm_per_px {
        Lies::Outside
    } else if off < -MARGIN_PX.1 * view.mm_per_px {
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

/// The cords that the light bears out, best first; `ground` is the cards' mean height.
pub fn borne_out(groups: &[LightGroup], ground: f64) -> Vec<Borne> {
    let sparse: Vec<Vec<LightView>> =
        groups.iter().map(|g| g.views.iter().map(|view| view.sparse()).collect()).collect();
    let sparse: Vec<Vec<&LightView>> = sparse.iter().map(|views| views.iter().collect()).collect();
    let n_heights = ((HEIGHTS.1 - HEIGHTS.0) / HEIGHTS.2) as usize + 1;
    let mut found: Vec<Borne> = (0..n_heights)
        .into_par_iter()
        .flat_map_iter(|i| {
            let z = HEIGHTS.0 + HEIGHTS.2 * i as f64;
            let sparse = &sparse;
            let radii = RADII.into_iter().filter(move |radius| z - radius >= LEAST_GAP);
            radii.map(move |radius| straightest(groups, sparse, z + ground, radius))
        })
        .collect();
    found.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    let mut kept: Vec<Borne> = Vec::new();
    for borne in found {
        if kept.len() < MOST_KEPT && kept.iter().all(|k| apart(k, &borne) > 0.5 * APART) {
            kept.push(borne);
        }
    }
    let mut refined: Vec<Borne> =
        kept.into_par_iter().map(|borne| refined(groups, borne, ground)).collect();
    refined.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    refined
}

/// Mean distance of two cords' places, mm.
pub fn apart(a: &Borne, b: &Borne) -> f64 {
    a.y.iter().zip(&b.y).map(|(a, b)| (a - b).abs()).sum::<f64>() / a.y.len().max(1) as f64
}

/// The straight cord of this height and radius that costs least.
fn straightest(groups: &[LightGroup], views: &[Vec<&LightView>], z: f64, radius: f64) -> Borne {
    let n = (2.0 * ACROSS.0 / ACROSS.1) as usize + 1;
    let middle = |g: usize| groups[g].views.first().map_or([0.0; 2], |view| view.middle);
    let place = |g: usize, i: usize| middle(g)[1] - ACROSS.0 + ACROSS.1 * i as f64;
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
                    let nearest = ((at(g) - place(g, 0)) / ACROSS.1).round();
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
    Borne { z, radius, y, places: Vec::new(), sags: false, cost: total / count.max(1.0) }
}

/// The same with finer steps, each card's place and paper height for itself.
fn refined(groups: &[LightGroup], start: Borne, ground: f64) -> Borne {
    let count: f64 =
        groups.iter().flat_map(|g| &g.views).map(|view| view.samples.len() as f64).sum();
    let mut higher = vec![0.0; groups.len()];
    // The cheapest places of all groups' cord near those of `from`.
    let placed = |from: &Borne, z: f64, radius: f64, reach: f64, higher: &[f64]| {
        let best_of = |g: usize| {
            let steps = (-3..=3).map(|i| from.y[g] + reach * f64::from(i) / 3.0);
            let tried = steps.map(|y| (cost(&groups[g].views, y, z, radius, higher[g]), y));
            tried.min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((0.0, from.y[g]))
        };
        let best: Vec<(f64, f64)> = (0..groups.len()).map(best_of).collect();
        let cost = best.iter().map(|b| b.0).sum::<f64>() / count.max(1.0);
        Borne { z, radius, y: best.iter().map(|b| b.1).collect(), cost, ..from.clone() }
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
        return Borne { places: own.iter().map(|o| o.1).collect(), sags: true, cost, ..best };
    }
    best
}
