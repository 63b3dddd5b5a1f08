//! Where a photo was taken from: roughly, from this one photo alone.
//!
//! A card's own image shows where the camera stood over it; the card may lie either way round, but
//! a tab that faces left shows that the camera stood on the left, and with that both of the card's
//! directions are known: y to the bike's left, x to its front. Good to some ten degrees, which is
//! what choosing the next standpoint asks for; no figure ever comes from it.

use nalgebra::Vector3;
use serde::Serialize;

use crate::camera::Lens;
use crate::cards::Pattern;
use crate::figure::Side;
use crate::glance::read_cord::focal;
use crate::glance::seen::Glance;
use crate::job::{Job, Role};
use crate::math::Rigid;
use crate::photo::PhotoFacts;
use crate::scene::start::glimpses::{COARSE, glimpse, seen_corners, thinned};
use crate::scene::start::pose::locate;
use crate::sightings::{PatternSighting, PhotoSightings};

/// Corners of a card that are enough to tell where the camera stood.
const CORNERS: usize = 60;

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

/// Tells it from what was seen. `chain_side` serves where only sprocket tabs show the side.
pub fn stand(
    seen: &PhotoSightings,
    facts: &PhotoFacts,
    job: &Job,
    chain_side: Option<Side>,
) -> Option<Stand> {
    let side = side_of(seen, job, chain_side)?;
    let cards: Vec<&PatternSighting> =
        seen.patterns.iter().filter(|p| matches!(p.pattern, Pattern::Card(_))).collect();
    let (focal_px, _) = focal(&cards, facts.width, facts.height, facts.start_focal_px());
    let lens = Lens::pinhole(focal_px, facts.width, facts.height);
    let placed: Vec<Vector3<f64>> =
        cards.iter().filter_map(|card| eye_over(card, lens, side)).collect();
    let eye = placed.iter().sum::<Vector3<f64>>() / placed.len().max(1) as f64;
    let across = eye.x.hypot(eye.y);
    (!placed.is_empty()).then(|| Stand {
        side,
        bearing_deg: eye.y.atan2(eye.x).to_degrees(),
        elevation_deg: eye.z.atan2(across).to_degrees(),
    })
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

/// The side on which a photo shows sprocket tabs together with tabs that tell the side.
pub fn chain_side_in(glance: &Glance, job: &Job) -> Option<Side> {
    let roles = || glance.tabs.iter().map(|tab| job.tab(tab.number).role);
    if !roles().any(|role| matches!(role, Role::GearboxSprocket | Role::RearSprocket)) {
        return None;
    }
    roles().find_map(|role| match role {
        Role::RearRim { side } | Role::SpindleEnd { side } => Some(side),
        _ => None,
    })
}

/// The camera over a card, in directions of the bike: x to its front, y to its left, z up, mm.
fn eye_over(card: &PatternSighting, lens: Lens, side: Side) -> Option<Vector3<f64>> {
    let corners = thinned(&seen_corners(card), CORNERS);
    let pitch = card.pattern.pitch_mm();
    let (camera_from_card, _) =
        locate(&[glimpse(&corners, [pitch; 2], lens, Rigid::identity())], COARSE)?;
    let eye = camera_from_card.inverse().t;
    // The card lies with its own y to the camera's side of the bike, or the other way round.
    let turn = if (eye.y > 0.0) == (side == Side::Left) { 1.0 } else { -1.0 };
    let eye = Vector3::new(turn * eye.x, turn * eye.y, eye.z);
    (eye.iter().all(|x| x.is_finite()) && eye.z > 0.0).then_some(eye)
}
