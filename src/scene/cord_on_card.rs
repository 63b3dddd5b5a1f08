//! Where the cord runs in each card's lane, read from one photo in the card's own millimetres.
//!
//! The grid of a card is its own measure: what lies in its plane is told in millimetres by the
//! pitch, whatever the lens. The cord lies a little above that plane: at a height h it appears h
//! tan(a) farther from the camera than it is, a being the angle of the view off the card's upright,
//! across the lane. One photo can't tell h; it is taken from what the guide asks for, and what that
//! leaves open is in the uncertainty. tan(a) follows from the card's own image and the focal
//! length.
//!
//! Nor can one photo tell the cord from its shadow beyond doubt. Seen obliquely the cord stands
//! farther from the camera than a shadow on the paper does, unless the lamp stands lower than the
//! camera and on its side; a shadow that is taken for the cord then is like a cord that lies
//! higher. Where several pairs of edges could be the cord's, the reading is the middle of all of
//! them and the uncertainty spans them.

use nalgebra::Vector2;

use super::cards_first::{COARSE, glimpse, seen_corners, thinned};
use super::picture_bend::PictureBend;
use super::pose::locate;
use crate::camera::Lens;
use crate::camera::start::{focal_from_homographies, homography};
use crate::cards::Pattern;
use crate::cards::codes::{CARD_COLS, LANE_ROWS};
use crate::math::Rigid;
use crate::measurement::{Measurement, Quality};
use crate::sightings::lane::Lane;
use crate::sightings::{LaneEdges, PatternSighting, PhotoSightings};

/// Height of the cord's axis above the paper, mm: the guide asks for a cord "a few millimetres
/// above the paper", and no cord's axis can lie lower than the radius of a thin one. The middle,
/// and how far to either side it may lie.
pub const HEIGHT_MM: (f64, f64) = (3.0, 2.0);
/// Beyond this slope of the view across the lane (63 degrees off the upright) the height's share
/// swamps the reading.
const STEEPEST_VIEW: f64 = 2.0;
/// Below this slope (17 degrees) a lamp anywhere may put the shadow to either side of the cord as
/// it is seen.
const FROM_ABOVE: f64 = 0.3;
/// An edge counts when its light changes by this part of the strongest edge's in the lane: weaker
/// ones were unevennesses of the paper and of shadows' rims in the shared photos.
const COUNTS: f64 = 0.25;
/// How thick a cord may be, mm.
const THICKNESS_MM: (f64, f64) = (0.8, 4.5);
/// Expanded uncertainty of the view's slope: a part of itself (a focal length that is up to 7 %
/// off) and a share for the lens's bend.
const VIEW_U: (f64, f64) = (0.10, 0.05);
/// The same where the file tells no focal length and the cards don't either.
const VIEW_U_UNKNOWN_LENS: f64 = 0.25;
/// Usual focal length of a phone as a part of the picture's longer side (26 mm equivalent), where
/// nothing tells it.
const USUAL_FOCAL: f64 = 0.75;
/// Expanded uncertainty of what an edge's fit can't know: a round cord's shading and contact shadow
/// (our estimate), mm.
const EDGE_U_MM: f64 = 0.2;
/// Expanded uncertainty of the angle, degrees: the step of the slope that was looked for, and,
/// times the view's slope, a cord that rises by some tenths of a millimetre over the card.
const ANGLE_U_DEG: f64 = 0.12;
const ANGLE_U_RISE_DEG: f64 = 0.10;
/// What a lane's cord may turn away, over the lane's length, from the line to the next card, mm:
/// over 260 mm one degree, several times what a reading's own angle is uncertain by.
const IN_LINE_MM: f64 = 4.5;
/// Expanded uncertainty of how much higher one card lies than the next, mm (paper on a bench; our
/// estimate).
const UNEVEN_MM: f64 = 0.5;

/// The cord in one card's lane.
#[derive(Clone, Debug, PartialEq)]
pub struct CordOnCard {
    /// From the lane's middle to the cord at the card's middle column, + towards the card's upper
    /// edge, mm.
    pub offset: Measurement,
    /// Of the cord to the lane, + anticlockwise as the card is read upright, degrees.
    pub angle: Measurement,
    /// Slope of the view across the lane: how far, in millimetres, a point one millimetre up
    /// appears from its place; + when the camera stands on the side of the card's upper edge.
    pub view: f64,
    /// False where several pairs of edges could be the cord's.
    pub told_apart: bool,
    /// The cord as it appears, px: its mid-line along the lane, in order of columns.
    pub path: Vec<[f64; 2]>,
}

/// Why a lane gives no reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotRead {
    #[error("nothing is seen to run along it")]
    Nothing,
    #[error("only one edge of the cord is seen")]
    OneEdge,
    #[error("what runs along it leaves the lane, or is cut off by its edge")]
    LeavesLane,
    #[error("it is seen too flatly, so that the cord's height would swamp the reading")]
    TooFlat,
    #[error("what runs along it is not in line with the cord at the other cards")]
    OutOfLine,
    #[error("how the card lies in the photo is not clear")]
    NoPose,
}

impl NotRead {
    /// What to do about it.
    pub fn advice(self) -> &'static str {
        match self {
            Self::Nothing => {
                "If the cord runs there, make it clearly brighter or darker than the paper."
            }
            Self::OneEdge | Self::NoPose => {
                "Go closer, and let light fall on the lane from both sides."
            }
            Self::LeavesLane => {
                "Shift the card so that the cord runs in the middle of its lane, or look from higher up."
            }
            Self::OutOfLine => {
                "Take away what lies on the card or throws its shadow there, or stretch the cord straight."
            }
            Self::TooFlat => "Take a photo from higher up, nearly straight down on the lane.",
        }
    }
}

/// One card's lane.
#[derive(Clone, Debug, PartialEq)]
pub struct LaneReading {
    pub card: u8,
    pub cord: Result<CordOnCard, NotRead>,
}

/// How far the cord at one card lies off the straight line from its place at one card to that at
/// another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Straightness {
    pub card: u8,
    pub from: u8,
    pub to: u8,
    /// Across the lane, in the card's plane, never negative, mm.
    pub off: Measurement,
}

/// All that one photo tells of the cord.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CordReading {
    /// In the order of the cards' numbers.
    pub lanes: Vec<LaneReading>,
    /// For each card between two others, where three are read in one photo.
    pub straightness: Vec<Straightness>,
}

/// Reads the cord in every card's lane. `focal_px` is a start value of the focal length, if the
/// file tells one.
pub fn read_cord(
    sightings: &PhotoSightings,
    width: usize,
    height: usize,
    focal_px: Option<f64>,
) -> CordReading {
    let cards: Vec<&PatternSighting> =
        sightings.patterns.iter().filter(|seen| matches!(seen.pattern, Pattern::Card(_))).collect();
    let (focal, lens_u) = focal(&cards, width, height, focal_px);
    let lens = Lens::pinhole(focal, width, height);
    let bend = PictureBend::of(sightings, width, height);
    let mut strips: Vec<Strip> = Vec::new();
    let mut lanes: Vec<LaneReading> = Vec::new();
    for card in cards {
        let number = card.pattern.number();
        let edges = sightings.lanes.iter().find(|lane| lane.pattern == card.pattern);
        let read = read_lane(card, edges, lens, lens_u);
        if let Ok((cord, strip)) = &read {
            strips.push(Strip {
                lane: lanes.len(),
                card: number,
                told_apart: cord.told_apart,
                ..*strip
            });
        }
        lanes.push(LaneReading { card: number, cord: read.map(|(cord, _)| cord) });
    }
    for lane in out_of_line(&strips, &lanes, &bend) {
        strips.retain(|strip| strip.lane != lane);
        lanes[lane].cord = Err(NotRead::OutOfLine);
    }
    strips.retain(|strip| strip.told_apart);
    let straightness = straightness(&strips, &bend);
    CordReading { lanes, straightness }
}

/// Focal length, px, and what its uncertainty adds to the view's slope.
pub fn focal(
    cards: &[&PatternSighting],
    width: usize,
    height: usize,
    told: Option<f64>,
) -> (f64, f64) {
    if let Some(told) = told {
        return (told, VIEW_U.0);
    }
    let maps: Vec<nalgebra::Matrix3<f64>> = cards
        .iter()
        .filter_map(|card| {
            let corners = thinned(&seen_corners(card), 60);
            let plane: Vec<Vector2<f64>> = corners.iter().map(|c| Vector2::from(c.cells)).collect();
            let pixels: Vec<Vector2<f64>> = corners.iter().map(|c| c.at).collect();
            homography(&plane, &pixels)
        })
        .collect();
    match focal_from_homographies(&maps, width, height) {
        Some(focal) => (focal, VIEW_U_UNKNOWN_LENS),
        None => (USUAL_FOCAL * width.max(height) as f64, VIEW_U_UNKNOWN_LENS),
    }
}

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

/// The two edges that were taken for the cord's, in the photo: for its straightness.
#[derive(Clone, Copy, Debug)]
struct Strip {
    /// Its place among the lanes, the card's number, and whether it was told from its shadow.
    lane: usize,
    card: u8,
    told_apart: bool,
    middle: [f64; 2],
    mm_per_px: f64,
    sigma_px: f64,
    view: f64,
}

fn read_lane(
    card: &PatternSighting,
    edges: Option<&LaneEdges>,
    lens: Lens,
    lens_u: f64,
) -> Result<(CordOnCard, Strip), NotRead> {
    let edges = edges.ok_or(NotRead::Nothing)?;
    let lane = Lane::new(card).ok_or(NotRead::Nothing)?;
    let pitch = card.pattern.pitch_mm();
    let corners = thinned(&seen_corners(card), 60);
    let (card_from_camera, _) =
        locate(&[glimpse(&corners, [pitch; 2], lens, Rigid::identity())], COARSE)
            .ok_or(NotRead::NoPose)?;
    let eye = card_from_camera.inverse().t;
    if !(eye.z > 1.0) {
        return Err(NotRead::NoPose);
    }
    let view_of = |y: f64| (eye.y - y) / eye.z;
    let view = view_of(0.0);
    if view.abs() > STEEPEST_VIEW {
        return Err(NotRead::TooFlat);
    }
    let mut found: Vec<PaperEdge> =
        edges.edges.iter().filter_map(|edge| paper_edge(&lane, pitch, edge)).collect();
    let strongest = found.iter().map(|edge| edge.step.abs()).fold(0.0, f64::max);
    found.retain(|edge| edge.step.abs() >= COUNTS * strongest);
    found.sort_by(|a, b| a.y.total_cmp(&b.y));
    let pairs = if view.abs() >= FROM_ABOVE {
        // The cord is seen farther from the camera than anything on the paper: towards lower y when
        // the camera is at the upper edge.
        let outward = -view.signum();
        farthest_strip(&found, outward, edges.px_per_mm)?
    } else {
        let mut pairs = strips_any(&found, 1.0, edges.px_per_mm);
        pairs.extend(strips_any(&found, -1.0, edges.px_per_mm));
        pairs
    };
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
    let sigma = 0.5 * first.sigma_mm.hypot(second.sigma_mm);
    let (height, height_u) = HEIGHT_MM;
    let view_u = lens_u * view.abs() + VIEW_U.1;
    let parts = [2.0 * sigma, EDGE_U_MM, height_u * view.abs(), height * view_u];
    let u = parts.iter().map(|part| part * part).sum::<f64>().sqrt() + open;
    let slope = (first.slope + second.slope) / 2.0;
    let told_apart = open < EDGE_U_MM;
    let cord = CordOnCard {
        offset: Measurement { value: apparent + height * view, u, quality: Quality::Single },
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
        sigma_px: sigma / first.mm_per_px,
        view,
    };
    Ok((cord, strip))
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
fn path(lane: &Lane, pitch: f64, y: f64, slope: f64) -> Vec<[f64; 2]> {
    let (middle_col, middle_row) = MIDDLE;
    let row = |col: f64| middle_row - (y / pitch + slope * (col - middle_col));
    (0..=CARD_COLS / 2).map(|i| 2.0 * i as f64).filter_map(|col| lane.at(col, row(col))).collect()
}

/// Lanes in which something other than the cord was read (a cable, the shadow of a tube): a cord is
/// straight, so that it points from each card to the next, in the straightened picture. Two cards
/// that point to each other vouch for each other; where there are several cards and one has nobody
/// to vouch for it, its reading is not the cord's. With a single card there is nobody to ask.
fn out_of_line(strips: &[Strip], lanes: &[LaneReading], bend: &PictureBend) -> Vec<usize> {
    let points_to = |from: &Strip, to: &Strip| {
        let (here, there) = (bend.straightened(from.middle), bend.straightened(to.middle));
        let along = (there - here).normalize();
        let normal = Vector2::new(-along.y, along.x);
        let Ok(cord) = &lanes[from.lane].cord else { return false };
        // The path may lie beside the strip's middle where several pairs were possible: only its
        // direction counts.
        let (Some(first), Some(last)) = (cord.path.first(), cord.path.last()) else { return false };
        let turn = normal.dot(&(bend.straightened(*last) - bend.straightened(*first)));
        turn.abs() * from.mm_per_px < IN_LINE_MM
    };
    let vouched =
        |a: &Strip| strips.iter().any(|b| b.lane != a.lane && points_to(a, b) && points_to(b, a));
    if strips.len() < 2 {
        Vec::new()
    } else {
        strips.iter().filter(|a| !vouched(a)).map(|a| a.lane).collect()
    }
}

/// Each card's cord against the straight line between the outermost ones, in the straightened
/// picture.
fn straightness(strips: &[Strip], bend: &PictureBend) -> Vec<Straightness> {
    let places: Vec<Vector2<f64>> =
        strips.iter().map(|strip| bend.straightened(strip.middle)).collect();
    let mut ends: Option<(f64, usize, usize)> = None;
    for i in 0..strips.len() {
        for k in i + 1..strips.len() {
            let apart = (places[i] - places[k]).norm();
            if ends.is_none_or(|(most, ..)| apart > most) {
                ends = Some((apart, i, k));
            }
        }
    }
    let Some((apart, from, to)) = ends.filter(|_| strips.len() >= 3) else { return Vec::new() };
    let along = (places[to] - places[from]) / apart;
    let normal = Vector2::new(-along.y, along.x);
    let mut told = Vec::new();
    for (i, strip) in strips.iter().enumerate().filter(|(i, _)| *i != from && *i != to) {
        let part = along.dot(&(places[i] - places[from])) / apart;
        // off = n . (p_i - (1 - part) p_from - part p_to)
        let off = normal.dot(&(places[i] - places[from]));
        let shares = [(i, 1.0), (from, part - 1.0), (to, -part)];
        let bend_sigma =
            bend.sigma_of(&shares.map(|(k, share)| (normal * share, strips[k].middle)));
        let edges =
            shares.map(|(k, share)| (share * strips[k].sigma_px).powi(2)).iter().sum::<f64>();
        let sigma_px = (bend_sigma * bend_sigma + edges).sqrt();
        let parts = [2.0 * sigma_px * strip.mm_per_px, EDGE_U_MM, UNEVEN_MM * strip.view];
        let u = parts.iter().map(|x| x * x).sum::<f64>().sqrt();
        let off = Measurement { value: off.abs() * strip.mm_per_px, u, quality: Quality::Single };
        told.push(Straightness {
            card: strip.card,
            from: strips[from].card,
            to: strips[to].card,
            off,
        });
    }
    told
}
