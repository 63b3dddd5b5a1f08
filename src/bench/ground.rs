//! Up, the cards' plane and the bench frame.

use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

use crate::cards::Pattern;
use crate::scene::State;
use crate::scene::model::state::Cord;
use crate::sightings::StringKind;

use super::nuisance::{Nuisance, Shift};
use super::settings::BenchSettings;

/// One source of up: slopes (x and y part over z) of the direction it calls up, in the world frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UpEstimate {
    pub slopes: Vector2<f64>,
}

/// The cards' common plane: least squares through the four corners of every card's pattern.
/// `normal` points up.
#[derive(Clone, Copy, Debug)]
pub struct CardPlane {
    pub normal: Vector3<f64>,
    pub point: Vector3<f64>,
    /// Largest distance of a place on a pattern from the plane, its bow counted, mm.
    pub flatness: f64,
}

/// Corners of the patterns of the cards `cards`, in the world.
fn pattern_corners(state: &State, cards: &[usize]) -> Vec<Vector3<f64>> {
    let mut points = Vec::new();
    for &idx in cards {
        let card = &state.cards[idx];
        let pattern = Pattern::Card(state.sheets[card.sheet].number);
        let (w, h) = (
            pattern.cols() as f64 * pattern.pitch_mm() / 2.0,
            pattern.rows() as f64 * pattern.pitch_mm() / 2.0,
        );
        for (x, y) in [(w, h), (-w, h), (-w, -h), (w, -h)] {
            points.push(card.world_from_card.apply(&Vector3::new(x, y, 0.0)));
        }
    }
    points
}

/// Corners, middles of the edges and middles of the patterns, bow counted, in the world.
fn pattern_places(state: &State, cards: &[usize]) -> Vec<Vector3<f64>> {
    let mut points = Vec::new();
    for &idx in cards {
        let card = &state.cards[idx];
        let sheet = &state.sheets[card.sheet];
        let pattern = Pattern::Card(sheet.number);
        let (w, h) = (
            pattern.cols() as f64 * pattern.pitch_mm() / 2.0,
            pattern.rows() as f64 * pattern.pitch_mm() / 2.0,
        );
        for (x, y) in [-1.0, 0.0, 1.0].into_iter().flat_map(|x| [-1.0, 0.0, 1.0].map(|y| (x, y))) {
            let lift = sheet.bow[0] * (1.0 - x * x) + sheet.bow[1] * (1.0 - y * y);
            points.push(card.world_from_card.apply(&Vector3::new(x * w, y * h, lift)));
        }
    }
    points
}

/// None without cards.
pub fn card_plane(state: &State, cards: &[usize]) -> Option<CardPlane> {
    let points = pattern_corners(state, cards);
    if points.len() < 4 {
        return None;
    }
    let middle = points.iter().sum::<Vector3<f64>>() / points.len() as f64;
    let (mut normal, mut right) = (Matrix2::zeros(), Vector2::zeros());
    for p in &points {
        let d = p - middle;
        normal += d.xy() * d.xy().transpose();
        right += d.xy() * d.z;
    }
    let slopes = normal.try_inverse()? * right;
    let up = Vector3::new(-slopes.x, -slopes.y, 1.0).normalize();
    let flatness = pattern_places(state, cards)
        .iter()
        .map(|p| (p - middle).dot(&up).abs())
        .fold(0.0, f64::max);
    Some(CardPlane { normal: up, point: middle, flatness })
}

/// Slopes of up as the cards' plane gives it, with the bench's own slope taken off.
pub fn up_from_cards(
    plane: &CardPlane,
    along: &Vector2<f64>,
    settings: &BenchSettings,
    shift: &Shift,
) -> Vector2<f64> {
    let across = Vector2::new(-along.y, along.x);
    // The bench rises by `level` along the cord: its normal leans back, so up lies forward of the
    // normal.
    let rise = |i: usize| {
        let off = shift.of(Nuisance::Level(i as u8)) + shift.of(Nuisance::CardTilt(i as u8));
        (settings.level[i] + off).to_radians()
    };
    plane.normal.xy() / plane.normal.z + along * rise(0) + across * rise(1)
}

/// Slopes of a plumb line's direction, pointing up.
pub fn up_from_line(direction: &Vector3<f64>) -> Vector2<f64> {
    direction.xy() / direction.z
}

/// How sources of up are weighed: each source's information (inverse covariance of its slopes),
/// fixed once.
#[derive(Clone, Debug, Default)]
pub struct UpWeights {
    /// For plumb lines: index into `State::lines` and weight.
    pub lines: Vec<(usize, Matrix2<f64>)>,
    pub cards: Option<Matrix2<f64>>,
    /// Plumb lines whose images contradict each other: they tell neither upright nor a place.
    pub contradicted: Vec<usize>,
    /// What each of the lines is off by where they are not parallel, a standard deviation in radians.
    pub apart: f64,
}

impl UpWeights {
    /// The weighted up direction (unit vector), or the world's z where nothing shows it.
    pub fn up(
        &self,
        state: &State,
        plane: Option<&CardPlane>,
        along: &Vector2<f64>,
        settings: &BenchSettings,
        shift: &Shift,
    ) -> Vector3<f64> {
        let (mut normal, mut right) = (Matrix2::zeros(), Vector2::zeros());
        for (line, weight) in &self.lines {
            normal += weight;
            let hang = Vector2::new(
                shift.of(Nuisance::Hang(*line, 0)),
                shift.of(Nuisance::Hang(*line, 1)),
            );
            right +=
                weight * (up_from_line(&state.lines[*line].direction) + hang.map(f64::to_radians));
        }
        if let (Some(weight), Some(plane)) = (self.cards, plane) {
            normal += weight;
            right += weight * up_from_cards(plane, along, settings, shift);
        }
        let slopes = normal.try_inverse().map_or(Vector2::zeros(), |inverse| inverse * right);
        Vector3::new(slopes.x, slopes.y, 1.0).normalize()
    }
}

/// Indices of plumb lines in the state.
pub fn plumb_lines(state: &State) -> Vec<usize> {
    (0..state.lines.len())
        .filter(|&i| matches!(state.lines[i].kind, StringKind::Plumb(_)))
        .collect()
}

/// The upright plane through a cord, and directions seen from it.
#[derive(Clone, Copy, Debug)]
pub struct Datum {
    pub up: Vector3<f64>,
    /// Horizontal, along the cord, forward.
    pub forward: Vector3<f64>,
    /// Horizontal, to the bike's left.
    pub left: Vector3<f64>,
    /// A point of the cord, or of the cards where there is none.
    pub on_cord: Vector3<f64>,
}

impl Datum {
    /// The datum plane of a cord. `left_hint` roughly points to the bike's left.
    pub fn of(cord: &Cord, up: &Vector3<f64>, left_hint: &Vector3<f64>) -> Self {
        // The straight part of the cord: what is left over is free of offset and slope by its
        // definition.
        let direction = Vector3::new(1.0, cord.y[1] / cord.half, cord.z[1] / cord.half);
        Self::along(&direction, Vector3::new(cord.middle, cord.y[0], cord.z[0]), up, left_hint)
    }

    /// The upright plane through a point along a direction that is not upright, turned about so
    /// that its left agrees with `left_hint`.
    pub fn along(
        direction: &Vector3<f64>,
        point: Vector3<f64>,
        up: &Vector3<f64>,
        left_hint: &Vector3<f64>,
    ) -> Self {
        let flat = direction - up * direction.dot(up);
        let along = flat.normalize();
        let across = up.cross(&along);
        let (forward, left) =
            if across.dot(left_hint) < 0.0 { (-along, -across) } else { (along, across) };
        Self { up: *up, forward, left, on_cord: point }
    }

    /// Signed horizontal distance from the datum plane, + to the left.
    pub fn offset(&self, p: &Vector3<f64>) -> f64 {
        (p - self.on_cord).dot(&self.left)
    }

    /// Components of a direction: forward, left, up.
    pub fn components(&self, v: &Vector3<f64>) -> Vector3<f64> {
        Vector3::new(v.dot(&self.forward), v.dot(&self.left), v.dot(&self.up))
    }

    /// Rows forward, left, up.
    pub fn rotation(&self) -> Matrix3<f64> {
        Matrix3::from_rows(&[self.forward.transpose(), self.left.transpose(), self.up.transpose()])
    }
}
