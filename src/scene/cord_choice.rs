//! Which of the edges in the lanes are the cord's.
//!
//! The light in the lanes tells roughly where the cord runs (`lane_light`); its edges tell it to a few hundredths of a millimetre. Seen
//! across the cord, each edge is a ray in the (y, z) plane of the world. A cord's edges touch a circle: with centre (y, z) and radius r the
//! ray passes the centre at the distance r, on one side or the other. So all edges of all photos vote: for each height and radius near
//! those of the light, each edge says where y would be, once for either side, and the height and radius whose votes agree best, card by
//! card, are the cord's.

use nalgebra::Vector2;

use crate::math::robust::median;
use crate::sightings::LaneEdges;
use crate::sightings::seen::LaneEdge;

use super::lane_light::{LEAST_GAP, LightGroup, LightView, Ray, borne_out, steps};
use super::state::State;

/// One lane in one photo.
#[derive(Clone, Debug)]
pub struct LaneView {
    pub view: usize,
    pub setup: usize,
    /// The card's number: votes are counted card by card, since the cord need not run along the world's x exactly.
    pub card: u8,
    pub edges: LaneEdges,
    rays: Vec<Ray>,
    /// Rays through the pixels one farther along the edges' normals.
    rays_one_px_on: Vec<Ray>,
    light: Option<LightView>,
}

/// Fewest lanes in all photos.
const FEWEST_LANES: usize = 4;
/// Heights and radii that are tried about those the light bears out: how far to either side, and spacing, mm.
const HEIGHTS: (f64, f64) = (0.6, 0.15);
const RADII: (f64, f64) = (0.3, 0.05);
/// Edges vote for places within this of where the light bears the cord out, mm.
const NEAR: f64 = 1.0;
/// Votes within this of each other agree, mm and px, whichever is more.
const AGREE: (f64, f64) = (0.12, 0.3);
/// Agreeing edges for each lane that has any, of two that could agree, for a cord to be there: true cords reach 0.9, chance stays below 0.4.
const LEAST_AGREEMENT: f64 = 0.55;
/// An edge belongs to the cord when it lies within this of where it should, px and mm, whichever is more.
const BELONGS: (f64, f64) = (0.8, 0.2);

impl LaneView {
    /// None when the photo's rays cannot be traced.
    pub fn new(state: &State, view_idx: usize, edges: &LaneEdges) -> Option<Self> {
        let view = &state.views[view_idx];
        let rays_at = |px: f64| -> Vec<Ray> {
            let at = |edge: &LaneEdge| [edge.at[0] + px * edge.normal[0], edge.at[1] + px * edge.normal[1]];
            edges.edges.iter().filter_map(|edge| Ray::through(state, view, at(edge))).collect()
        };
        let (rays, rays_one_px_on) = (rays_at(0.0), rays_at(1.0));
        let card = edges.pattern.number();
        let pose = state.cards.iter().find(|c| c.ground == 0 && state.sheets[c.sheet].number == edges.pattern.number());
        let light = pose.map(|c| LightView::new(state, view, &c.world_from_card, edges));
        (rays.len() == edges.edges.len() && rays_one_px_on.len() == rays.len()).then(|| Self {
            view: view_idx,
            setup: view.setup,
            card,
            edges: edges.clone(),
            rays,
            rays_one_px_on,
            light,
        })
    }

    /// Where along the world's x the lane is seen, at a height.
    fn along(&self, z: f64) -> f64 {
        self.rays.first().map_or(0.0, |ray| ray.eye.x + (z - ray.eye.z) / ray.direction.z * ray.direction.x)
    }
}

/// The cord as light and edges have it.
#[derive(Clone, Debug, PartialEq)]
pub struct Chosen {
    pub radius: f64,
    /// World y, roughly, and z over the card of each group of lanes.
    near: Vec<[f64; 2]>,
    sags: bool,
}

impl Chosen {
    /// Mean height in the world.
    pub fn height(&self) -> f64 {
        self.near.iter().map(|[_, z]| z).sum::<f64>() / self.near.len().max(1) as f64
    }
}

/// The cord that the light bears out, its height and radius those on which most edges agree; `ground` is the cards' mean height. None when
/// nothing runs through the lanes that several photos agree on.
pub fn choose(lanes: &[LaneView], ground: f64) -> Option<Chosen> {
    if lanes.len() < FEWEST_LANES {
        return None;
    }
    let groups = groups(lanes);
    let light = |group: &Vec<usize>| LightGroup {
        setup: lanes[group[0]].setup,
        views: group.iter().filter_map(|&i| lanes[i].light.as_ref()).collect(),
    };
    let borne = borne_out(&groups.iter().map(light).collect::<Vec<LightGroup>>(), ground)?;
    let score = |radius: f64, places: &[[f64; 2]]| -> f64 {
        groups.iter().zip(places).map(|(group, [y, z])| agreement(lanes, group, *z, radius, *y)).sum()
    };
    let mut tried: Vec<(f64, Vec<[f64; 2]>)> = Vec::new();
    for radius in steps(borne.radius, RADII).filter(|radius| *radius > 0.3) {
        for up in steps(0.0, HEIGHTS) {
            let places: Vec<[f64; 2]> = borne.places.iter().map(|[y, z]| [*y, z + up]).collect();
            if places.iter().all(|[_, z]| z - ground - radius >= LEAST_GAP) {
                tried.push((radius, places));
            }
        }
    }
    let (score, (radius, near)) =
        first_best(tried.into_iter().map(|(radius, places)| (score(radius, &places), (radius, places))))?;
    let chosen = Chosen { radius, near, sags: borne.sags };
    let n_showing: usize = groups.iter().zip(&chosen.near).map(|(group, place)| n_showing(lanes, group, *place, radius)).sum();
    (n_showing >= FEWEST_LANES && score >= LEAST_AGREEMENT * n_showing as f64).then_some(chosen)
}

/// Lanes of a group inside which the cord must be seen: where it lies high, many photos show it beside the lane.
fn n_showing(lanes: &[LaneView], group: &[usize], [y, z]: [f64; 2], radius: f64) -> usize {
    let shows = |i: &&usize| lanes[**i].light.as_ref().is_some_and(|light| light.shows(y, z, radius));
    group.iter().filter(shows).count()
}

/// The first of the highest scores.
fn first_best<T>(tried: impl Iterator<Item = (f64, T)>) -> Option<(f64, T)> {
    tried.fold(None, |best: Option<(f64, T)>, next| match best {
        Some(best) if next.0 <= best.0 => Some(best),
        _ => Some(next),
    })
}

/// Lanes of one card and set-up see the same piece of the cord.
fn groups(lanes: &[LaneView]) -> Vec<Vec<usize>> {
    let mut keys: Vec<(usize, u8)> = lanes.iter().map(|lane| (lane.setup, lane.card)).collect();
    keys.sort_unstable();
    keys.dedup();
    keys.iter().map(|key| (0..lanes.len()).filter(|&i| (lanes[i].setup, lanes[i].card) == *key).collect()).collect()
}

/// How many edges of a group (at most two a lane) agree on one y near the given one, near ones counting more.
fn agreement(lanes: &[LaneView], group: &[usize], z: f64, radius: f64, near: f64) -> f64 {
    let scored = scored_votes(lanes, group, z, radius).into_iter().filter(|(y, _)| (y - near).abs() < NEAR);
    scored.map(|(_, score)| score).fold(0.0, f64::max)
}

/// Every y that some edge votes for, with the number of edges that agree.
fn scored_votes(lanes: &[LaneView], group: &[usize], z: f64, radius: f64) -> Vec<(f64, f64)> {
    // (y, lane, side)
    let mut votes: Vec<(f64, usize, bool)> = Vec::new();
    for &idx in group {
        for ray in &lanes[idx].rays {
            for side in [false, true] {
                let r = if side { radius } else { -radius };
                votes.push(((ray.offset + r - ray.normal[1] * z) / ray.normal[0], idx, side));
            }
        }
    }
    votes.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let scales: Vec<f64> = group.iter().map(|&idx| lanes[idx].edges.px_per_mm).collect();
    let agree = median(&scales).map_or(AGREE.0, |px_per_mm| AGREE.0.max(AGREE.1 / px_per_mm));
    let mut scored = Vec::with_capacity(votes.len());
    let mut from = 0;
    for middle in 0..votes.len() {
        let y = votes[middle].0;
        while votes[from].0 < y - agree {
            from += 1;
        }
        // The nearest edge of each lane and side counts, by how near it is.
        let mut nearest: Vec<((usize, bool), f64)> = Vec::new();
        for vote in votes[from..].iter().take_while(|vote| vote.0 <= y + agree) {
            let worth = 1.0 - ((vote.0 - y) / agree).powi(2);
            match nearest.iter_mut().find(|(key, _)| *key == (vote.1, vote.2)) {
                Some((_, most)) => *most = most.max(worth),
                None => nearest.push(((vote.1, vote.2), worth)),
            }
        }
        scored.push((y, nearest.iter().map(|(_, worth)| worth).sum()));
    }
    scored
}

/// The best few places of a group's cord that lie apart from each other: y and score.
fn peaks(lanes: &[LaneView], group: &[usize], radius: f64, near: [f64; 2]) -> Vec<(f64, f64)> {
    let mut scored = scored_votes(lanes, group, near[1], radius);
    scored.retain(|(y, _)| (y - near[0]).abs() < NEAR);
    scored.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.total_cmp(&b.0)));
    let mut peaks: Vec<(f64, f64)> = Vec::new();
    for (y, score) in scored {
        if peaks.len() < MOST_PEAKS && peaks.iter().all(|(other, _)| (other - y).abs() > 2.0 * AGREE.0) {
            peaks.push((y, score));
        }
    }
    peaks
}

/// Places of one group's cord that are looked at, and how far from a straight cord they may lie, mm: cards lie some tenths higher or lower than
/// each other, which shifts what is told at one height.
const MOST_PEAKS: usize = 6;
const STRAIGHT: f64 = 0.35;

/// For each group its cord's y: of the places each group's edges agree on, those of a set-up that lie on one straight line and have
/// most agreement together.
fn straight_places(lanes: &[LaneView], chosen: &Chosen) -> Vec<(Vec<usize>, f64, f64)> {
    let groups = groups(lanes);
    let all: Vec<(usize, f64, Vec<(f64, f64)>)> = groups
        .iter()
        .zip(&chosen.near)
        .map(|(group, near)| {
            let along: Vec<f64> = group.iter().map(|&i| lanes[i].along(near[1])).collect();
            (lanes[group[0]].setup, median(&along).unwrap_or(0.0), peaks(lanes, group, chosen.radius, *near))
        })
        .collect();
    let mut setups: Vec<usize> = all.iter().map(|(setup, ..)| *setup).collect();
    setups.dedup();
    let mut placed = Vec::new();
    for setup in setups {
        let mine: Vec<usize> = (0..all.len()).filter(|&g| all[g].0 == setup).collect();
        let on_line = |at: f64, slope: f64, x0: f64, g: usize| {
            let (_, x, peaks) = &all[g];
            let near = peaks.iter().filter(|(y, _)| (y - at - slope * (x - x0)).abs() < STRAIGHT);
            near.max_by(|a, b| a.1.total_cmp(&b.1)).copied()
        };
        let mut best: Option<(f64, f64, f64, f64)> = None;
        for &a in &mine {
            for &(ya, own) in &all[a].2 {
                let mut lines = vec![(0.0, if mine.len() == 1 { own } else { 0.0 })];
                for &b in mine.iter().filter(|&&b| (all[b].1 - all[a].1).abs() > 100.0) {
                    lines.extend(all[b].2.iter().map(|(yb, _)| ((yb - ya) / (all[b].1 - all[a].1), 0.0)));
                }
                // A cord within three degrees of the row of cards.
                for (slope, _) in lines.into_iter().filter(|(slope, _)| slope.abs() < 0.05) {
                    let total: f64 = mine.iter().filter_map(|&g| on_line(ya, slope, all[a].1, g)).map(|(_, score)| score).sum();
                    if best.is_none_or(|(most, ..)| total > most) {
                        best = Some((total, ya, slope, all[a].1));
                    }
                }
            }
        }
        let Some((_, y, slope, x0)) = best else { continue };
        for &g in &mine {
            if let Some((y, score)) = on_line(y, slope, x0, g)
                && score >= LEAST_AGREEMENT * n_showing(lanes, &groups[g], [y, chosen.near[g][1]], chosen.radius) as f64
            {
                placed.push((groups[g].clone(), y, chosen.near[g][1]));
            }
        }
    }
    placed
}

/// A point of the cord's mid-line in a photo: pixel, unit normal, standard uncertainty.
pub struct MidPoint {
    pub view: usize,
    pub setup: usize,
    pub at: Vector2<f64>,
    pub normal: Vector2<f64>,
    pub sigma: f64,
}

/// Two edges of a lane that are the cord's.
struct Pair {
    lane: usize,
    a: usize,
    b: usize,
    /// Half of what lies between their rays, mm.
    radius: f64,
}

/// Passes of matching and fitting: the first place of each card may be a shadow's, the straight line through all is the cord's.
const PASSES: usize = 3;
/// Bound of the line fit, mm: pairs farther off count less (Huber).
const FIT_BOUND: f64 = 0.08;
/// A lone edge belongs to the cord when it lies within this of where the other photos have it, px and mm, whichever is more: half as far
/// as an edge of two.
const LONE_BELONGS: (f64, f64) = (0.4, 0.1);
/// Standard uncertainty of the mid-line that a lone edge tells, besides its own, mm: the radius, and the light on one side of the cord.
/// Both are common to all lone edges of a side and do not average out, so it is larger than the 0.03 mm by which rendered edges scatter.
const LONE_SIGMA: f64 = 0.08;
/// Lone edges count once pairs are seen along rays so far apart (sine of 9 degrees): seen along one alone the cord may lie higher as well as
/// farther.
const APART_ENOUGH: f64 = 0.15;

/// The mid-line in each lane that shows the chosen cord: between its two edges, or a radius beside the one that is seen where the cord's
/// shadow adjoins the other.
pub fn mid_points(lanes: &[LaneView], chosen: &Chosen) -> Vec<MidPoint> {
    let mut places: Vec<(usize, f64, f64)> = Vec::new();
    for (group, y, z) in straight_places(lanes, chosen) {
        places.extend(group.into_iter().map(|lane| (lane, y, z)));
    }
    let mut radius = chosen.radius;
    let mut fitted = false;
    let matched = |places: &[(usize, f64, f64)], radius: f64| -> Vec<Pair> {
        places.iter().filter_map(|&(lane, y, z)| pair(lanes, lane, y, z, radius)).collect()
    };
    for _ in 0..PASSES {
        let pairs = matched(&places, radius);
        // The radius that the pairs show is better than the grid's.
        radius = median(&pairs.iter().map(|p| p.radius).collect::<Vec<f64>>()).unwrap_or(radius);
        let line = straight_fit(lanes, &pairs, chosen);
        fitted = line.is_some();
        let Some(line) = line else { break };
        places = (0..lanes.len()).filter_map(|lane| line.at(lanes, lane).map(|(y, z)| (lane, y, z))).collect();
    }
    let mut pairs = matched(&places, radius);
    pairs.retain(|p| (p.radius - radius).abs() < BELONGS.1);
    let mut points: Vec<MidPoint> = pairs.iter().map(|p| mid_of_pair(&lanes[p.lane], p)).collect();
    if fitted && seen_from_apart(lanes, &pairs) {
        let unpaired = places.iter().filter(|(lane, ..)| pairs.iter().all(|p| p.lane != *lane));
        points.extend(unpaired.filter_map(|&(lane, y, z)| mid_of_lone_edge(&lanes[lane], y, z, radius)));
    }
    points
}

fn seen_from_apart(lanes: &[LaneView], pairs: &[Pair]) -> bool {
    let normals: Vec<[f64; 2]> = pairs.iter().map(|p| lanes[p.lane].rays[p.a].normal).collect();
    normals.iter().any(|a| normals.iter().any(|b| (a[0] * b[1] - a[1] * b[0]).abs() > APART_ENOUGH))
}

fn mid_of_pair(lane: &LaneView, pair: &Pair) -> MidPoint {
    let (a, b) = (&lane.edges.edges[pair.a], &lane.edges.edges[pair.b]);
    let at = (Vector2::from(a.at) + Vector2::from(b.at)) / 2.0;
    MidPoint { view: lane.view, setup: lane.setup, at, normal: Vector2::from(a.normal), sigma: 0.5 * a.sigma.hypot(b.sigma) }
}

/// None when no edge, or more than one, lies where one of the cord's should.
fn mid_of_lone_edge(lane: &LaneView, y: f64, z: f64, radius: f64) -> Option<MidPoint> {
    // Farther than half a radius from its place an edge may be the other side's.
    let bound = LONE_BELONGS.1.max(LONE_BELONGS.0 / lane.edges.px_per_mm).min(radius / 2.0);
    let near: Vec<usize> = (0..lane.rays.len()).filter(|&i| (lane.rays[i].off(y, z).abs() - radius).abs() < bound).collect();
    let &[idx] = &near[..] else { return None };
    let (edge, off) = (&lane.edges.edges[idx], lane.rays[idx].off(y, z));
    let mm_per_px = lane.rays_one_px_on[idx].off(y, z) - off;
    let normal = Vector2::from(edge.normal);
    let at = Vector2::from(edge.at) - normal * (radius.copysign(off) / mm_per_px);
    let sigma = edge.sigma.hypot(LONE_SIGMA / mm_per_px.abs());
    (at.iter().all(|x| x.is_finite()) && sigma.is_finite()).then_some(MidPoint {
        view: lane.view,
        setup: lane.setup,
        at,
        normal,
        sigma,
    })
}

/// The two edges of a lane that touch a circle, if both are there.
fn pair(lanes: &[LaneView], lane_idx: usize, y: f64, z: f64, radius: f64) -> Option<Pair> {
    let lane = &lanes[lane_idx];
    let bound = BELONGS.1.max(BELONGS.0 / lane.edges.px_per_mm);
    let side = |r: f64| {
        let miss = |ray: &Ray| (ray.off(y, z) - r).abs();
        let nearest = (0..lane.rays.len()).min_by(|&a, &b| miss(&lane.rays[a]).total_cmp(&miss(&lane.rays[b])))?;
        (miss(&lane.rays[nearest]) < bound).then_some(nearest)
    };
    match (side(-radius), side(radius)) {
        (Some(a), Some(b)) if a != b => {
            let radius = (lane.rays[a].off(y, z) - lane.rays[b].off(y, z)).abs() / 2.0;
            Some(Pair { lane: lane_idx, a, b, radius })
        }
        _ => None,
    }
}

/// A straight cord: y by set-up, a line in x, and z for all, which may hang through.
struct StraightCord {
    setups: Vec<usize>,
    /// Per set-up y at x = 0 and slope; then z at x = 0, its slope and its bend. Slopes for each metre.
    values: nalgebra::DVector<f64>,
    height: f64,
}

impl StraightCord {
    fn at(&self, lanes: &[LaneView], lane: usize) -> Option<(f64, f64)> {
        let setup = self.setups.iter().position(|s| *s == lanes[lane].setup)?;
        let x = lanes[lane].along(self.height) / 1000.0;
        let (v, z) = (&self.values, 2 * self.setups.len());
        Some((v[2 * setup] + v[2 * setup + 1] * x, v[z] + v[z + 1] * x + v[z + 2] * x * x))
    }
}

/// Robust least squares through the middles of all pairs. None with too few of them.
fn straight_fit(lanes: &[LaneView], pairs: &[Pair], chosen: &Chosen) -> Option<StraightCord> {
    let mut setups: Vec<usize> = pairs.iter().map(|p| lanes[p.lane].setup).collect();
    setups.sort_unstable();
    setups.dedup();
    let n = 2 * setups.len() + 3;
    let height = chosen.height();
    if pairs.len() + 1 < n {
        return None;
    }
    let rows: Vec<(nalgebra::DVector<f64>, f64)> = pairs
        .iter()
        .map(|p| {
            let lane = &lanes[p.lane];
            let (a, b) = (&lane.rays[p.a], &lane.rays[p.b]);
            let normal = [(a.normal[0] + b.normal[0]) / 2.0, (a.normal[1] + b.normal[1]) / 2.0];
            let x = lane.along(height) / 1000.0;
            let setup = setups.iter().position(|s| *s == lane.setup).unwrap_or(0);
            let mut row = nalgebra::DVector::zeros(n);
            (row[2 * setup], row[2 * setup + 1]) = (normal[0], normal[0] * x);
            (row[n - 3], row[n - 2], row[n - 1]) = (normal[1], normal[1] * x, normal[1] * x * x);
            (row, (a.offset + b.offset) / 2.0)
        })
        .collect();
    let mut values = nalgebra::DVector::zeros(n);
    for pass in 0..6 {
        let (mut normal, mut right) = (nalgebra::DMatrix::zeros(n, n), nalgebra::DVector::zeros(n));
        // Weak ties hold what few lanes leave open: slopes of some hundredths, and the height that was chosen.
        for i in 0..n {
            normal[(i, i)] += 1e-6;
        }
        normal[(n - 3, n - 3)] += 1.0;
        right[n - 3] += height;
        normal[(n - 2, n - 2)] += 0.1;
        normal[(n - 1, n - 1)] += if chosen.sags { 0.01 } else { 1e6 };
        for (row, offset) in &rows {
            let miss = (row.dot(&values) - offset).abs();
            let weight = if pass == 0 || miss < FIT_BOUND { 1.0 } else { FIT_BOUND / miss };
            normal += row * row.transpose() * weight;
            right += row * (*offset * weight);
        }
        values = normal.cholesky()?.solve(&right);
    }
    Some(StraightCord { setups, values, height })
}
