//! The cord in one card's lane: which pair of edges is its, and where that puts it.

use nalgebra::{Vector2, Vector3};

use crate::camera::Lens;
use crate::cards::codes::{CARD_COLS, LANE_ROWS};
use crate::math::Rigid;
use crate::measurement::{Measurement, Quality};
use crate::scene::start::glimpses::{COARSE, glimpse, seen_corners, thinned};
use crate::scene::start::pose::locate;
use crate::sightings::lane::Lane;
use crate::sightings::{LaneEdges, PatternSighting};

use super::cord_on_card::{CordOnCard, EDGE_U_MM, HEIGHT_MM, NotRead, VIEW_U_LENS};
use super::cord_straightness::Strip;

/// Beyond this slope of the view across the lane (63 degrees off the upright) the height's share
/// swamps the reading.
const STEEPEST_VIEW: f64 = 2.0;
/// Below this slope (17 degrees) a lamp anywhere may put the shadow to either side of the cord as
/// it is seen.
const FROM_ABOVE: f64 = 0.3;
/// An edge counts when its light changes by this part of the strongest edge's in the lane: weaker
/// ones were unevennesses of the paper and of shadows' rims in the shared photos.
const COUNTS: f64 = 0.25;
/// How thick a cord may be, mm (our choice).
const THICKNESS_MM: (f64, f64) = (0.8, 4.5);

/// Expanded uncertainty of the angle, degrees: the step of the slope that was looked for, and,
/// times the view's slope, a cord that rises by some tenths of a millimetre over the card.
const ANGLE_U_DEG: f64 = 0.12;
const ANGLE_U_RISE_DEG: f64 = 0.10;

/// Column and row of the lattice in the middle of the lane.
const MIDDLE: (f64, f64) = (CARD_COLS as f64 / 2.0, LANE_ROWS[1] as f64);

/// An edge in the lane, in the card's millimetres.
#[derive(Clone, Copy, Debug)]
struct PaperEdge {
    /// Across the lane at the card's middle column, + towards the card's upper edge.
    y: f64,
    /// Rise of y along x.
    slope: f64,
    /// Millimetres on the paper for a pixel across.
    mm_per_px: f64,
    sigma_mm: f64,
    /// Change of light towards the card's upper edge.
    step: f64,
    at: [f64; 2],
    normal: [f64; 2],
}

/// The cord on a card by the edges in its lane, and its strip for the straightness of the whole.
/// `lens_u` is how far the lens's focal length may be off, as a part of it.
pub fn read_lane(
    card: &PatternSighting,
    edges: Option<&LaneEdges>,
    lens: Lens,
    lens_u: f64,
) -> Result<(CordOnCard, Strip), NotRead> {
    let edges = edges.ok_or(NotRead::Nothing)?;
    let lane = Lane::new(card).ok_or(NotRead::Nothing)?;
    let pitch = card.pattern.pitch_mm();
    let eye = eye_over(card, pitch, lens)?;
    let view_of = |y: f64| (eye.y - y) / eye.z;
    let view = view_of(0.0);
    if view.abs() > STEEPEST_VIEW {
        return Err(NotRead::TooFlat);
    }
    let found = strong_edges(&lane, pitch, edges);
    let pairs = pairs_seen(&found, view, edges.px_per_mm)?;
    let middle = |&(a, b): &(usize, usize)| (found[a].y + found[b].y) / 2.0;
    let low = pairs.iter().map(middle).fold(f64::INFINITY, f64::min);
    let high = pairs.iter().map(middle).fold(f64::NEG_INFINITY, f64::max);
    if !low.is_finite() {
        return Err(if found.is_empty() { NotRead::Nothing } else { NotRead::OneEdge });
    }
    let (apparent, open) = ((low + high) / 2.0, (high - low) / 2.0);
    let nearest = |a: &&(usize, usize), b: &&(usize, usize)| {
        (middle(a) - apparent).abs().total_cmp(&(middle(b) - apparent).abs())
    };
    let &(a, b) = pairs.iter().min_by(nearest).ok_or(NotRead::OneEdge)?;
    let (first, second) = (&found[a], &found[b]);
    let view = view_of(apparent);
    let sigma_mm = 0.5 * first.sigma_mm.hypot(second.sigma_mm);
    let slope = (first.slope + second.slope) / 2.0;
    let told_apart = open < EDGE_U_MM;
    let cord = CordOnCard {
        offset: offset_mm(apparent, view, sigma_mm, open, lens_u),
        angle: Measurement {
            value: slope.atan().to_degrees(),
            u: ANGLE_U_DEG.hypot(ANGLE_U_RISE_DEG * view),
            quality: Quality::Single,
        },
        view,
        told_apart,
        path: path(&lane, pitch, apparent, slope),
    };
    let strip = Strip {
        lane: 0,
        card: card.pattern.number(),
        told_apart,
        middle: [0, 1].map(|i| (first.at[i] + second.at[i]) / 2.0),
        mm_per_px: (first.mm_per_px + second.mm_per_px) / 2.0,
        sigma_px: sigma_mm / first.mm_per_px,
        view,
    };
    Ok((cord, strip))
}

/// Where the camera stands in the card's frame, mm.
fn eye_over(card: &PatternSighting, pitch: f64, lens: Lens) -> Result<Vector3<f64>, NotRead> {
    let corners = thinned(&seen_corners(card), 60);
    let (camera_from_card, _) =
        locate(&[glimpse(&corners, [pitch; 2], lens, Rigid::identity())], COARSE)
            .ok_or(NotRead::NoPose)?;
    let eye = camera_from_card.inverse().t;
    if eye.z > 1.0 { Ok(eye) } else { Err(NotRead::NoPose) }
}

/// The edges that count, from the card's lower edge to its upper.
fn strong_edges(lane: &Lane, pitch: f64, edges: &LaneEdges) -> Vec<PaperEdge> {
    let mut found: Vec<PaperEdge> =
        edges.edges.iter().filter_map(|edge| paper_edge(lane, pitch, edge)).collect();
    let strongest = found.iter().map(|edge| edge.step.abs()).fold(0.0, f64::max);
    found.retain(|edge| edge.step.abs() >= COUNTS * strongest);
    found.sort_by(|a, b| a.y.total_cmp(&b.y));
    found
}

/// The pairs of edges that may be the cord's, seen under the slope `view` across the lane.
fn pairs_seen(
    found: &[PaperEdge],
    view: f64,
    px_per_mm: f64,
) -> Result<Vec<(usize, usize)>, NotRead> {
    if view.abs() >= FROM_ABOVE {
        // The cord is seen farther from the camera than anything on the paper: towards lower y when
        // the camera is at the upper edge.
        return farthest_strip(found, -view.signum(), px_per_mm);
    }
    let mut pairs = strips_any(found, 1.0, px_per_mm);
    pairs.extend(strips_any(found, -1.0, px_per_mm));
    Ok(pairs)
}

/// The cord's offset in the card's millimetres, from where it appears on the paper: `open_mm` is
/// by how much its edges leave that open.
fn offset_mm(apparent_mm: f64, view: f64, sigma_mm: f64, open_mm: f64, lens_u: f64) -> Measurement {
    let (height, height_u) = HEIGHT_MM;
    let view_u = lens_u * view.abs() + VIEW_U_LENS;
    let parts = [2.0 * sigma_mm, EDGE_U_MM, height_u * view.abs(), height * view_u];
    let u = parts.iter().map(|part| part * part).sum::<f64>().sqrt() + open_mm;
    Measurement { value: apparent_mm + height * view, u, quality: Quality::Single }
}

/// An edge from the photo to the card; None where the lane's map can't be followed back.
fn paper_edge(lane: &Lane, pitch: f64, edge: &crate::sightings::LaneEdge) -> Option<PaperEdge> {
    let (middle_col, middle_row) = MIDDLE;
    let (mut col, mut row) = (middle_col, middle_row);
    let to_lattice = |[along, down]: [[f64; 2]; 2], d: [f64; 2]| {
        let det = along[0] * down[1] - along[1] * down[0];
        [(d[0] * down[1] - d[1] * down[0]) / det, (along[0] * d[1] - along[1] * d[0]) / det]
    };
    // Newton's iteration; the map is nearly a plane's, and the first steps do most of it.
    for _ in 0..12 {
        let at = lane.at(col, row)?;
        let [dc, dr] = to_lattice(lane.steps(col, row)?, [edge.at[0] - at[0], edge.at[1] - at[1]]);
        col = (col + dc).clamp(-2.0, CARD_COLS as f64 + 2.0);
        row = (row + dr).clamp(middle_row - 3.0, middle_row + 3.0);
    }
    let steps = lane.steps(col, row)?;
    let [dc, dr] = to_lattice(steps, [-edge.normal[1], edge.normal[0]]);
    let slope = -dr / dc;
    let across = edge.normal[0] * steps[1][0] + edge.normal[1] * steps[1][1];
    let mm_per_px = pitch / across.abs();
    let reached = lane.at(col, row)?;
    let miss = (reached[0] - edge.at[0]).hypot(reached[1] - edge.at[1]);
    let y = (middle_row - row) * pitch - slope * (col - middle_col) * pitch;
    let usable = miss < 0.1 && slope.abs() < 0.5 && y.is_finite() && mm_per_px.is_finite();
    usable.then_some(PaperEdge {
        y,
        slope,
        mm_per_px,
        sigma_mm: edge.sigma * mm_per_px,
        // Rows rise towards the lower edge.
        step: -edge.step * across.signum(),
        at: edge.at,
        normal: edge.normal,
    })
}

/// Pairs of edges that may be the cord's, seen from the strip's outer edge at `far` inwards: up to
/// the first edge beyond which it gets brighter again. Between them a bright cord may border on its
/// own shadow, so each of them may be the cord's nearer edge.
fn pairs_from(
    found: &[PaperEdge],
    far: usize,
    outward: f64,
    px_per_mm: f64,
) -> Vec<(usize, usize)> {
    let mut pairs = Vec::new();
    let inwards: Vec<usize> =
        if outward > 0.0 { (0..far).rev().collect() } else { (far + 1..found.len()).collect() };
    for near in inwards {
        let (a, b) = (&found[far], &found[near]);
        let apart = (Vector2::from(b.at) - Vector2::from(a.at)).dot(&Vector2::from(a.normal)).abs()
            / px_per_mm;
        if apart > THICKNESS_MM.1 {
            break;
        }
        if apart >= THICKNESS_MM.0 {
            pairs.push((far, near));
        }
        if b.step * outward < 0.0 && apart >= THICKNESS_MM.0 {
            break;
        }
    }
    pairs
}

/// The pairs of the strip that lies farthest outward.
fn farthest_strip(
    found: &[PaperEdge],
    outward: f64,
    px_per_mm: f64,
) -> Result<Vec<(usize, usize)>, NotRead> {
    let outermost =
        if outward > 0.0 { found.len().checked_sub(1) } else { (!found.is_empty()).then_some(0) };
    let far = outermost.ok_or(NotRead::Nothing)?;
    // Outward of the cord lies bright paper; a strip that is still dark there goes on beyond what
    // is seen.
    if found[far].step * outward < 0.0 {
        return Err(NotRead::LeavesLane);
    }
    Ok(pairs_from(found, far, outward, px_per_mm))
}

/// The pairs of every strip.
fn strips_any(found: &[PaperEdge], outward: f64, px_per_mm: f64) -> Vec<(usize, usize)> {
    let brighter_outside = (0..found.len()).filter(|&i| found[i].step * outward > 0.0);
    brighter_outside.flat_map(|far| pairs_from(found, far, outward, px_per_mm)).collect()
}

/// The cord's image along the lane.
pub fn path(lane: &Lane, pitch: f64, y: f64, slope: f64) -> Vec<[f64; 2]> {
    let (middle_col, middle_row) = MIDDLE;
    let row = |col: f64| middle_row - (y / pitch + slope * (col - middle_col));
    (0..=CARD_COLS / 2).map(|i| 2.0 * i as f64).filter_map(|col| lane.at(col, row(col))).collect()
}
