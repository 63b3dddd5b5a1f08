//! X-corners linked with their neighbours along the edges of whole cells.
//!
//! Two corners are linked when an edge runs from one to the other with the dark side staying on its
//! side, and when each is the other's nearest such neighbour. Only links that bound a whole cell
//! (four links in a ring) carry coordinates on: the saddle points between the tick marks of a
//! card's lane never close a cell.

use crate::math::lanes::LANES;

use super::pyramid::Level;
use super::x_corners::{CornerIndex, XCorner};

/// Least cosine between an edge's direction at a corner and the link: 20 degrees. Directions are
/// read from a ring of 2 px radius, where noise turns them by up to a quarter of this.
pub(super) const MIN_COSINE: f64 = 0.94;
/// Shortest link, px: cells of 3 px can't be told from noise.
const MIN_LINK: f64 = 3.0;
/// Longest link in pixels of the coarsest level on which the corner was seen. A cell whose shorter
/// side has more than 12 px of a level shows its corners there, and tilt of 70 degrees makes the
/// other side three times as long.
const MAX_LINK_OF_SCALE: f64 = 45.0;
/// Corners looked at around one before it is left with fewer than four links.
const MAX_LOOKED_AT: usize = 250;
/// Places along a link where the tones on both sides are compared, as parts of its length (our
/// choice).
const STATIONS: [f64; 5] = [0.2, 0.35, 0.5, 0.65, 0.8];
/// Stations that may fail: a thin line or a dot of dirt may lie across.
const MAX_FAILED: usize = 1;
/// Distance of the compared places from the link, as a part of its length and at least, px. Cells
/// foreshortened three-fold are then left at a fifth of their width, before a dot begins.
const SIDE_STEP: f64 = 0.07;
const MIN_SIDE_STEP: f64 = 1.0;
/// Least difference of tone across a link, as a part of the weaker corner's contrast (our choice).
const MIN_TONE_STEP: f32 = 0.25;

/// A link: the corner it leads to and that corner's ray back.
pub(super) type Link = Option<(usize, usize)>;

/// Each corner's nearest neighbour along each of its four rays, where both agree.
pub(super) fn mutual(levels: &[Level], corners: &[XCorner], index: &CornerIndex) -> Vec<[Link; 4]> {
    let one_way = pulp::Arch::new().dispatch(OneWay {
        levels,
        corners,
        index,
        abreast: Abreast::new(corners, index),
    });
    let agreed = |i: usize, slot: usize| {
        one_way[i][slot].filter(|&(j, back)| one_way[j][back] == Some((i, slot)))
    };
    (0..corners.len()).map(|i| std::array::from_fn(|slot| agreed(i, slot))).collect()
}

/// The search for every corner's neighbours, compiled for the registers that the processor has.
struct OneWay<'a> {
    levels: &'a [Level<'a>],
    corners: &'a [XCorner],
    index: &'a CornerIndex,
    abreast: Abreast,
}

impl pulp::NullaryFnOnce for OneWay<'_> {
    type Output = Vec<[Link; 4]>;

    #[inline(always)]
    fn call(self) -> Self::Output {
        let mut links = Vec::with_capacity(self.corners.len());
        let mut waiting = Vec::new();
        for i in 0..self.corners.len() {
            links.push(self.nearest(i, &mut waiting));
        }
        links
    }
}

impl OneWay<'_> {
    /// `waiting` is room to work in.
    #[inline(always)]
    fn nearest(&self, i: usize, waiting: &mut Vec<(f64, usize, usize, usize)>) -> [Link; 4] {
        let Self { levels, corners, index, abreast } = self;
        let corner = &corners[i];
        let order = index.order();
        let mut links = [None; 4];
        let longest = MAX_LINK_OF_SCALE * corner.scale;
        // Neighbours whose rays match, from whole rings of squares; those beyond the ring's reach
        // wait for the next one.
        waiting.clear();
        let mut looked_at = 0;
        for ring in 0..=index.n_rings() {
            for part in index.ring(corner.at, ring) {
                looked_at += part.len();
                let mut from = part.start;
                while from < part.end {
                    let may_match = abreast.may_match(corner, from);
                    let n = LANES.min(part.end - from);
                    for (&j, may_match) in order[from..from + n].iter().zip(may_match) {
                        if may_match
                            && let Some((distance, slot, back)) = matching_rays(corner, &corners[j])
                            && distance <= longest
                            && links[slot].is_none()
                        {
                            waiting.push((distance, j, slot, back));
                        }
                    }
                    from += n;
                }
            }
            waiting.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            let n_ready = waiting.partition_point(|link| link.0 <= CornerIndex::complete_to(ring));
            for (distance, j, slot, back) in waiting.drain(..n_ready) {
                if links[slot].is_none() && edge_runs(levels, corner, &corners[j], slot, distance) {
                    links[slot] = Some((j, back));
                }
            }
            let all_seen = CornerIndex::complete_to(ring) >= longest || looked_at > MAX_LOOKED_AT;
            if all_seen || links.iter().all(Option::is_some) {
                break;
            }
        }
        links
    }
}

/// What rounding may do to a squared cosine in single precision, generously.
const ROUNDING: f32 = 1e-3;

/// All corners in the order of their squares, column by column: the place and the edges of each.
struct Abreast {
    at: [Vec<f32>; 2],
    edges: [[Vec<f32>; 2]; 2],
    dark_between: Vec<bool>,
}

impl Abreast {
    fn new(corners: &[XCorner], index: &CornerIndex) -> Self {
        let column = |of: &dyn Fn(&XCorner) -> f64| {
            let values = index.order().iter().map(|&i| of(&corners[i]) as f32);
            // The last lanes may reach beyond the end.
            values.chain([0.0; LANES]).collect::<Vec<f32>>()
        };
        let dark = index.order().iter().map(|&i| corners[i].dark_between);
        Self {
            at: [column(&|c| c.at[0]), column(&|c| c.at[1])],
            edges: [
                [column(&|c| c.edges[0][0]), column(&|c| c.edges[0][1])],
                [column(&|c| c.edges[1][0]), column(&|c| c.edges[1][1])],
            ],
            dark_between: dark.chain([false; LANES]).collect(),
        }
    }

    /// Which of the eight corners from place `from` of the order on may be linked with a corner, as
    /// [`matching_rays`] has it: all that it would link, and few besides.
    #[inline(always)]
    fn may_match(&self, corner: &XCorner, from: usize) -> [bool; LANES] {
        const LEAST: f32 = (MIN_COSINE * MIN_COSINE) as f32 - ROUNDING;
        let lanes = from..from + LANES;
        let (x, y) = (&self.at[0][lanes.clone()], &self.at[1][lanes.clone()]);
        let (ax, ay) = (&self.edges[0][0][lanes.clone()], &self.edges[0][1][lanes.clone()]);
        let (bx, by) = (&self.edges[1][0][lanes.clone()], &self.edges[1][1][lanes.clone()]);
        let dark = &self.dark_between[lanes];
        let [u, v] = corner.at.map(|x| x as f32);
        let [own_a, own_b] = corner.edges.map(|edge| edge.map(|x| x as f32));
        let own_dark = corner.dark_between;
        let mut may_match = [false; LANES];
        for (k, may_match) in may_match.iter_mut().enumerate() {
            let (du, dv) = (x[k] - u, y[k] - v);
            let least = LEAST * (du * du + dv * dv);
            let (a, b) = (own_a[0] * du + own_a[1] * dv, own_b[0] * du + own_b[1] * dv);
            let (c, d) = (ax[k] * du + ay[k] * dv, bx[k] * du + by[k] * dv);
            let (a, b, c, d) = (a * a, b * b, c * c, d * d);
            let aligned = (a.max(b) >= least) & (c.max(d) >= least);
            // Tones match when the number of second edges and of dark sectors between them is odd.
            *may_match = aligned & ((a < b) ^ (c < d) ^ own_dark ^ dark[k]);
        }
        may_match
    }
}

/// The distance between two corners, the ray of `from` that leads to `to` and the ray back, if
/// directions and tones fit.
fn matching_rays(from: &XCorner, to: &XCorner) -> Option<(f64, usize, usize)> {
    let along = [to.at[0] - from.at[0], to.at[1] - from.at[1]];
    let distance2 = along[0] * along[0] + along[1] * along[1];
    // Nearly all pairs end here, so the root waits.
    let (slot, reach) = from.nearest_ray(along);
    if reach * reach < MIN_COSINE * MIN_COSINE * distance2 || distance2 < MIN_LINK * MIN_LINK {
        return None;
    }
    let distance = distance2.sqrt();
    let (back, reach) = to.nearest_ray(along.map(|x| -x));
    // Seen from the other end the sector after the ray lies on the other side of the edge; the
    // chequer swaps tones from corner to corner, so the sector after the ray must be dark at
    // one end and bright at the other.
    (reach >= MIN_COSINE * distance && from.dark_after(slot) != to.dark_after(back))
        .then_some((distance, slot, back))
}

/// Whether one edge with the same dark side runs from corner to corner.
fn edge_runs(levels: &[Level], from: &XCorner, to: &XCorner, slot: usize, distance: f64) -> bool {
    let along = [to.at[0] - from.at[0], to.at[1] - from.at[1]];
    let step = (SIDE_STEP * distance).max(MIN_SIDE_STEP) / distance;
    // Turned from u towards v: the side of the sector after the ray.
    let side = [-along[1] * step, along[0] * step];
    let least = MIN_TONE_STEP * from.contrast.min(to.contrast);
    let dark_side = if from.dark_after(slot) { 1.0 } else { -1.0 };
    let mut n_failed = 0;
    for t in STATIONS {
        let at = [from.at[0] + t * along[0], from.at[1] + t * along[1]];
        let after = levels[0].sample(at[0] + side[0], at[1] + side[1]);
        let before = levels[0].sample(at[0] - side[0], at[1] - side[1]);
        n_failed += usize::from(dark_side * (before - after) < least);
        if n_failed > MAX_FAILED {
            return false;
        }
    }
    true
}

/// Only those links that are sides of a whole cell.
pub(super) fn whole_cells(links: &[[Link; 4]]) -> Vec<[Link; 4]> {
    let mut kept = vec![[None; 4]; links.len()];
    for start in 0..links.len() {
        for first in 0..4 {
            let mut steps = [(0, 0); 4];
            let (mut i, mut slot) = (start, first);
            let closed = (0..4).all(|k| {
                let Some((j, back)) = links[i][slot] else { return false };
                steps[k] = (i, slot);
                // Turning to the ray before the one just come by keeps the cell on the same side.
                (i, slot) = (j, (back + 3) % 4);
                true
            });
            if closed && (i, slot) == (start, first) {
                for (i, slot) in steps {
                    let link = links[i][slot];
                    kept[i][slot] = link;
                    if let Some((j, back)) = link {
                        kept[j][back] = Some((i, slot));
                    }
                }
            }
        }
    }
    kept
}
