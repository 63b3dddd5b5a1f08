//! Where a photo was taken from, and where it shows the wheel's mark: roughly, from this one photo
//! alone.
//!
//! A card's own image tells where the camera stood over it; the card may lie either way round, but
//! a tab that faces left shows that the camera stood on the left, and with that both of the card's
//! directions are known: y to the bike's left, x to its front. Good to some ten degrees, which is
//! what choosing the next standpoint asks for; no figure ever comes from it.

use nalgebra::{Vector2, Vector3};
use serde::Serialize;

use crate::camera::Lens;
use crate::cards::Pattern;
use crate::figure::Side;
use crate::glance::read_cord::focal;
use crate::job::{Job, Role};
use crate::math::Rigid;
use crate::photo::PhotoFacts;
use crate::scene::start::glimpses::{COARSE, glimpse, seen_corners, thinned};
use crate::scene::start::pose::locate;
use crate::sightings::{PatternSighting, PhotoSightings};

/// Corners of a card that are enough to tell where the camera stood.
const CORNERS: usize = 60;
/// The mark is told to be ahead of the axle or behind it from so far on, mm: half of a small rim's
/// radius is 150.
const CLEARLY_MM: f64 = 90.0;

/// A standpoint, seen from the cards in the picture.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Stand {
    pub side: Side,
    /// Seen from above: 0 straight ahead of the bike, 90 to its left, -90 to its right, 180 behind
    /// it, degrees.
    pub bearing_deg: f64,
    /// The camera's height over the bench as an angle, degrees.
    pub elevation_deg: f64,
}

/// What one photo tells of the camera's place and the wheel's turn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Whence {
    pub stand: Option<Stand>,
    /// Whether the rim's mark is ahead of the axle; None where it can't be told, or is above or
    /// below it.
    pub mark_ahead: Option<bool>,
}

/// Tells both from what was seen. `chain_side` serves where only sprocket tabs show the side.
pub fn whence(
    seen: &PhotoSightings,
    facts: &PhotoFacts,
    job: &Job,
    chain_side: Option<Side>,
) -> Whence {
    let Some(side) = side_of(seen, job, chain_side) else { return Whence::default() };
    let cards: Vec<&PatternSighting> =
        seen.patterns.iter().filter(|p| matches!(p.pattern, Pattern::Card(_))).collect();
    let (focal_px, _) = focal(&cards, facts.width, facts.height, facts.start_focal_px());
    let lens = Lens::pinhole(focal_px, facts.width, facts.height);
    let placed: Vec<Placed> =
        cards.iter().filter_map(|card| Placed::of(card, lens, side)).collect();
    let Some(first) = placed.first() else { return Whence::default() };
    let eye = placed.iter().map(|placed| placed.eye).sum::<Vector3<f64>>() / placed.len() as f64;
    let across = eye.x.hypot(eye.y);
    let stand = (across > 0.0 || eye.z > 0.0).then(|| Stand {
        side,
        bearing_deg: eye.y.atan2(eye.x).to_degrees(),
        elevation_deg: eye.z.atan2(across).to_degrees(),
    });
    let ahead = mark_ahead_mm(seen, job, lens, first);
    Whence { stand, mark_ahead: ahead.filter(|mm| mm.abs() > CLEARLY_MM).map(|mm| mm > 0.0) }
}

/// The side the camera stood on: that which most of the tabs face that can be seen from one side
/// alone.
fn side_of(seen: &PhotoSightings, job: &Job, chain_side: Option<Side>) -> Option<Side> {
    let chain_side = job.bike.chain_side.or(chain_side);
    let sides = seen.patterns.iter().filter_map(|sighting| match sighting.pattern {
        Pattern::Card(_) => None,
        Pattern::Tab(number) => faces(job.tab(number).role, chain_side),
    });
    let balance: f64 = sides.map(Side::sign).sum();
    if balance > 0.0 {
        Some(Side::Left)
    } else if balance < 0.0 {
        Some(Side::Right)
    } else {
        None
    }
}

/// The side to which a tab of this role faces.
pub fn faces(role: Role, chain_side: Option<Side>) -> Option<Side> {
    match role {
        Role::RearRim { side }
        | Role::RimPlace { side, .. }
        | Role::FrontRim { side }
        | Role::SpindleEnd { side } => Some(side),
        Role::GearboxSprocket | Role::RearSprocket => chain_side,
        _ => None,
    }
}

/// A card with the camera over it, in directions of the bike.
struct Placed {
    /// The camera from the card: x to the bike's front, y to its left, z up, mm.
    eye: Vector3<f64>,
    /// The bike's forward direction as the camera has it.
    forward: Vector3<f64>,
}

impl Placed {
    fn of(card: &PatternSighting, lens: Lens, side: Side) -> Option<Self> {
        let corners = thinned(&seen_corners(card), CORNERS);
        let pitch = card.pattern.pitch_mm();
        let (camera_from_card, _) =
            locate(&[glimpse(&corners, [pitch; 2], lens, Rigid::identity())], COARSE)?;
        let eye = camera_from_card.inverse().t;
        // The card lies with its own y to the camera's side of the bike, or the other way round.
        let turn = if (eye.y > 0.0) == (side == Side::Left) { 1.0 } else { -1.0 };
        let eye = Vector3::new(turn * eye.x, turn * eye.y, eye.z);
        let usable = eye.iter().all(|x| x.is_finite()) && eye.z > 0.0;
        usable.then(|| Self { eye, forward: camera_from_card.r.column(0) * turn })
    }
}

/// How far the rim's marked place lies ahead of the axle, mm, as far as one photo tells: both are
/// taken to be equally far away.
fn mark_ahead_mm(seen: &PhotoSightings, job: &Job, lens: Lens, placed: &Placed) -> Option<f64> {
    let place_of = |wanted: &dyn Fn(Role) -> bool| -> Option<(Vector2<f64>, f64)> {
        let tabs = seen.patterns.iter().filter(|sighting| match sighting.pattern {
            Pattern::Tab(number) => wanted(job.tab(number).role),
            Pattern::Card(_) => false,
        });
        let (mut sum, mut mm_per_px, mut n) = (Vector2::zeros(), f64::MAX, 0.0);
        for tab in tabs {
            let Pattern::Tab(number) = tab.pattern else { continue };
            let corners = tab.corners.len().max(1) as f64;
            sum += tab.corners.iter().map(|corner| Vector2::from(corner.at)).sum::<Vector2<f64>>()
                / corners;
            n += 1.0;
            // Along the longer side of its cells a tab is seen least aslant.
            let cell = tab.corners.iter().map(|corner| corner.cell_px).fold(0.0, f64::max);
            if cell > 0.0 {
                mm_per_px =
                    mm_per_px.min(job.tab(number).side_mm / tab.pattern.cols() as f64 / cell);
            }
        }
        (n > 0.0 && mm_per_px < f64::MAX).then(|| (sum / n, mm_per_px))
    };
    let (rim, mm_per_px) = place_of(&|role| matches!(role, Role::RearRim { .. }))?;
    let (axle, _) = place_of(&|role| matches!(role, Role::SpindleEnd { .. }))
        .or_else(|| place_of(&|role| matches!(role, Role::RearSprocket)))?;
    let depth = mm_per_px * lens.fx;
    let at = lens.direction(&axle)? * depth;
    let ahead = lens.project(&(at + placed.forward * 100.0))?;
    let along = ahead - axle;
    let px_per_mm = along.norm() / 100.0;
    (px_per_mm > 0.0).then(|| (rim - axle).dot(&along.normalize()) / px_per_mm)
}
