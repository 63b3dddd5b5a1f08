//! Which cord runs through the lanes, and where its mid-line is seen in each of them.
//!
//! The light in the lanes shows roughly where a cord may run (`cord_search`): a few candidates,
//! since a shadow may pass for one. Each is then fitted closely, card by card (`cord_fit`), and the
//! one that leaves least of the light unexplained is the cord.

use nalgebra::{DMatrix, DVector, Matrix2, Vector2};
use rayon::prelude::*;

use crate::math::px_mm::Px;
use crate::math::robust::median;
use crate::scene::model::observe::CardSide;
use crate::scene::model::state::{Ground, State};
use crate::scene::model::view::on_plane;
use crate::sightings::LaneEdges;

use super::card_row::in_row;
use super::cord_fit::{GroupFit, cost_without, fit_group, pixel_at};
use super::cord_reading::{Chosen, GroupPlace, best_with_rival};
use super::cord_search::{CordCandidate, cord_candidates};
use super::fine_lane::{FineLane, Place};
use super::lane_light::{LightGroup, LightView};
use super::lane_light_fit::Held;

/// One lane in one photo.
#[derive(Clone, Debug)]
pub struct LaneView {
    pub view: usize,
    pub setup: usize,
    /// The card's number.
    pub card: u8,
    pub edges: LaneEdges,
    light: LightView,
    blur_px: f64,
}

/// Fewest lanes in all photos (our choice).
const FEWEST_LANES: usize = 4;
/// What is taken for the blur where it is not known, px (our choice).
const USUAL_BLUR: f64 = 0.6;
/// How far the close fit may go from where the light bears the cord out: y, z and radius (standard
/// deviations, mm); and from where all groups together have it, a tight cord being straight to the
/// side and hanging through a little.
const NEAR: [f64; 3] = [f64::INFINITY, 1.5, 0.4];
const STRAIGHT: [f64; 3] = [0.2, 0.5, 0.03];
/// How far the paper lies over or under what its card's pose says, mm (our choice).
const PAPER_HIGHER: f64 = 0.25;
/// What a group's place is not better known than in y and z, mm, and from where on a group counts
/// less for the line (Huber).
const LINE_FLOOR: [f64; 2] = [0.04, 0.15];
const LINE_BOUND: f64 = 1.5;
/// Rounds of the first and of the second fit.
const ROUNDS: [usize; 2] = [8, 6];
/// A cord is there when it explains the light this much better than bare paper would: the cost with
/// it over that without.
const THERE: f64 = 0.6;
/// Least and greatest standard uncertainty of a place of the mid-line: paper and pixels are not
/// perfect; what is known worse is no use.
const LEAST_SIGMA: Px = Px(0.04);
const MOST_SIGMA: Px = Px(1.5);

/// How far the cord goes to the side (world y) for each mm along x, as the lanes' strongest edges
/// have it: the world's x only follows the row of cards. 0 without any.
pub fn slope_along(state: &State, lanes: &[(usize, &LaneEdges)]) -> f64 {
    let slopes: Vec<f64> = lanes
        .iter()
        .filter_map(|(view, edges)| {
            let view = &state.views[*view];
            let edge = edges.edges.first()?;
            let lens = state.lens_of(view);
            let end = |t: f64| {
                let at = [edge.at[0] - t * edge.normal[1], edge.at[1] + t * edge.normal[0]];
                on_plane(&lens, view, at, &nalgebra::Vector3::z(), &nalgebra::Vector3::zeros())
            };
            let along = end(20.0)? - end(-20.0)?;
            (along.x.abs() > 0.5 * along.y.abs()).then(|| along.y / along.x)
        })
        .collect();
    median(&slopes).unwrap_or(0.0)
}

impl LaneView {
    /// `slope` as [`slope_along`] finds it; `blur_px` is the photo's (Gaussian sigma). None for a
    /// card that does not lie on the bench.
    pub fn new(
        state: &State,
        view_idx: usize,
        edges: &LaneEdges,
        slope: f64,
        blur_px: f64,
    ) -> Option<Self> {
        let view = &state.views[view_idx];
        let card = edges.pattern.number();
        let pose = state
            .cards
            .iter()
            .find(|c| c.ground == Ground::Bench && state.sheets[c.sheet].number == card)?;
        let bow = state.sheets[pose.sheet].bow;
        let light = LightView::new(state, view, &pose.world_from_card, bow, slope, edges);
        let blur_px = if blur_px.is_finite() { blur_px } else { USUAL_BLUR };
        Some(Self { view: view_idx, setup: view.setup, card, edges: edges.clone(), light, blur_px })
    }
}

/// Lanes of one card and set-up: they see the same piece of the cord.
#[derive(Clone, Debug)]
struct Group {
    setup: usize,
    /// World x of the card's middle.
    x: f64,
    lanes: Vec<usize>,
}

fn groups(lanes: &[LaneView]) -> Vec<Group> {
    let row = in_row(&lanes.iter().map(|lane| (lane.card, lane.light.middle)).collect());
    let mut keys: Vec<(usize, u8)> = lanes
        .iter()
        .filter(|lane| row.contains(&lane.card))
        .map(|lane| (lane.setup, lane.card))
        .collect();
    keys.sort_unstable();
    keys.dedup();
    let group = |key: &(usize, u8)| {
        let mine: Vec<usize> =
            (0..lanes.len()).filter(|&i| (lanes[i].setup, lanes[i].card) == *key).collect();
        Group {
            setup: key.0,
            x: mine.first().map_or(0.0, |&i| lanes[i].light.middle[0]),
            lanes: mine,
        }
    };
    keys.iter().map(group).collect()
}

/// The cord that the light supports best; `ground` is the cards' mean height. None with too few
/// lanes.
pub fn choose(lanes: &[LaneView], ground: f64) -> Option<Chosen> {
    if lanes.len() < FEWEST_LANES {
        return None;
    }
    let groups = groups(lanes);
    let light = |group: &Group| LightGroup {
        setup: group.setup,
        views: group.lanes.iter().map(|&i| &lanes[i].light).collect(),
    };
    let candidate = cord_candidates(&groups.iter().map(light).collect::<Vec<LightGroup>>(), ground);
    let fine_of =
        |&i: &usize| FineLane::new(i, &lanes[i].light, lanes[i].edges.noise, lanes[i].blur_px);
    let fine: Vec<Vec<FineLane>> =
        groups.iter().map(|group| group.lanes.iter().filter_map(fine_of).collect()).collect();
    let mut tried: Vec<Chosen> =
        candidate.iter().filter_map(|candidate| fitted(&groups, &fine, candidate)).collect();
    tried.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    let cheapest = tried.first()?;
    let without: f64 = fine.iter().filter_map(|group| cost_without(group)).sum();
    if cheapest.cost > THERE * without {
        return None;
    }
    best_with_rival(tried)
}

/// The close fit of one candidate: each group on its own, then again from where a straight cord
/// through all of them lies, with the common radius; the better of the two counts.
fn fitted(groups: &[Group], fine: &[Vec<FineLane>], candidate: &CordCandidate) -> Option<Chosen> {
    let fit_all = |starts: &[Place], near: [f64; 3], rounds: usize| -> Vec<Option<GroupFit>> {
        let fit = |(group, start): (&Vec<FineLane>, &Place)| {
            let weight = |sigma: f64| if sigma.is_finite() { sigma.powi(-2) } else { 0.0 };
            let held: Held = [
                (start[0], weight(near[0])),
                (start[1], weight(near[1])),
                (start[2], weight(near[2])),
                (0.0, weight(PAPER_HIGHER)),
            ];
            fit_group(group, *start, &held, rounds)
        };
        fine.par_iter().zip(starts.par_iter()).map(fit).collect()
    };
    let starts: Vec<Place> =
        candidate.places.iter().map(|[y, z]| [*y, *z, candidate.radius, 0.0]).collect();
    let mut fits = fit_all(&starts, NEAR, ROUNDS[0]);
    let mut radius = candidate.radius;
    for _ in 0..2 {
        let radii: Vec<f64> = fits.iter().flatten().map(|fit| fit.place[2]).collect();
        radius = median(&radii)?;
        let line = StraightLine::through(groups, &fits)?;
        let start = |(group, fit): (&Group, &Option<GroupFit>)| {
            let [y, z] = line.at(group)?;
            Some([y, z, radius, fit.as_ref().map_or(0.0, |fit| fit.place[3])])
        };
        let starts: Vec<Place> = groups.iter().zip(&fits).map(start).collect::<Option<_>>()?;
        fits = fit_all(&starts, STRAIGHT, ROUNDS[1]);
    }
    let known = groups
        .iter()
        .zip(fits)
        .filter_map(|(group, fit)| Some(GroupPlace { setup: group.setup, x: group.x, fit: fit? }));
    Some(Chosen::new(radius, known.collect()))
}

/// A straight cord through the groups' places: y with a slope of its own in each set-up, z with one
/// slope for all.
struct StraightLine {
    setups: Vec<usize>,
    values: DVector<f64>,
}

/// Slopes are counted for each this many mm along the cord: of the size of the places themselves.
const HALF_METRE: f64 = 500.0;

impl StraightLine {
    fn through(groups: &[Group], fits: &[Option<GroupFit>]) -> Option<Self> {
        let mut setups: Vec<usize> = groups.iter().map(|group| group.setup).collect();
        setups.dedup();
        let mut line = Self { values: DVector::zeros(2 * setups.len() + 2), setups };
        let n = line.values.len();
        for pass in 0..8 {
            let (mut normal, mut right) = (DMatrix::zeros(n, n), DVector::zeros(n));
            for i in 0..n {
                // Slopes (for each half metre) of more than some millimetres are not believed of
                // few groups.
                normal[(i, i)] += if i % 2 == 1 { 0.1 } else { 1e-6 };
            }
            for (group, fit) in groups
                .iter()
                .zip(fits)
                .filter_map(|(group, fit)| fit.as_ref().map(|fit| (group, fit)))
            {
                let floor = Matrix2::new(LINE_FLOOR[0].powi(2), 0.0, 0.0, LINE_FLOOR[1].powi(2));
                let Some(weight) = (fit.covariance.fixed_view::<2, 2>(0, 0) + floor).try_inverse()
                else {
                    continue;
                };
                let (Some(at), Some(rows)) = (line.at(group).map(Vector2::from), line.rows(group))
                else {
                    continue;
                };
                let miss = Vector2::new(fit.place[0], fit.place[1]) - at;
                let length = miss.dot(&(weight * miss)).sqrt();
                let robust =
                    if pass == 0 || length < LINE_BOUND { 1.0 } else { LINE_BOUND / length };
                for (i, a) in rows.iter().enumerate() {
                    for (k, b) in rows.iter().enumerate() {
                        let w = robust * weight[(i, k)];
                        for (slot, x) in a {
                            right[*slot] += w * x * fit.place[k];
                            for (other, z) in b {
                                normal[(*slot, *other)] += w * x * z;
                            }
                        }
                    }
                }
            }
            line.values = normal.cholesky()?.solve(&right);
        }
        Some(line)
    }

    /// Slots and factors of y and of z over a group; None in a set-up that is not among these.
    fn rows(&self, group: &Group) -> Option<[[(usize, f64); 2]; 2]> {
        let setup = self.setups.iter().position(|s| *s == group.setup)?;
        let z = 2 * self.setups.len();
        let x = group.x / HALF_METRE;
        Some([[(2 * setup, 1.0), (2 * setup + 1, x)], [(z, 1.0), (z + 1, x)]])
    }

    fn at(&self, group: &Group) -> Option<[f64; 2]> {
        let value =
            |row: [(usize, f64); 2]| row.iter().map(|(slot, x)| self.values[*slot] * x).sum();
        Some(self.rows(group)?.map(value))
    }
}

/// A point of the cord's mid-line in a photo: pixel, unit normal, standard uncertainty along it.
#[derive(Clone, Debug)]
pub struct MidPoint {
    pub view: usize,
    pub setup: usize,
    /// The card's number.
    pub card: u8,
    pub at: Vector2<f64>,
    pub normal: Vector2<f64>,
    pub sigma_px: f64,
    /// Whether it was found by one edge alone.
    pub lone: bool,
    /// Whether the camera stands on the side of the world's +y.
    pub left: bool,
}

impl MidPoint {
    /// What shares light and shadow with it: one card seen from one side, in all set-ups.
    pub fn group(&self) -> CardSide {
        CardSide { card: self.card, from_left: self.left }
    }
}

/// The mid-line in each lane that shows the chosen cord.
pub fn mid_points(lanes: &[LaneView], chosen: &Chosen) -> Vec<MidPoint> {
    let shifts = chosen.shifts();
    let points = shifts.filter_map(|shift| {
        let lane = &lanes[shift.lane];
        let samples: Vec<[f64; 2]> = lane.edges.light.iter().map(|light| light.at).collect();
        let at = pixel_at(&samples, shift.middle)?;
        let normal = Vector2::from(lane.edges.edges.first()?.normal);
        let sigma = if shift.sigma > LEAST_SIGMA { shift.sigma } else { LEAST_SIGMA };
        (sigma < MOST_SIGMA).then_some(MidPoint {
            view: lane.view,
            setup: lane.setup,
            card: lane.card,
            at,
            normal,
            sigma_px: sigma.0,
            lone: shift.lone,
            left: lane.light.seen_from_left(),
        })
    });
    points.collect()
}
