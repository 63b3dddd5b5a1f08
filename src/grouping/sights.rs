//! What single photos show of the wheel's tabs, in a world that the cards define.

use std::collections::BTreeSet;

use nalgebra::{Vector2, Vector3};

use crate::camera::start::{homography, map};
use crate::cards::Pattern;
use crate::job::{Job, Role};
use crate::math::Rigid;
use crate::scene::checks::exceptions::cards_seen_twice;
use crate::scene::model::state::{Ground, TurningPart};
use crate::scene::start::card_size::size_groups;
use crate::scene::start::cards::{StartCards, start_cards};
use crate::scene::start::glimpses::{glimpse, seen_corners};
use crate::scene::start::marks::LEAST_TAB_CORNERS;
use crate::scene::start::pose::candidates;
use crate::scene::start::world_axes::level;
use crate::scene::{Carrier, Hangs, ScenePhoto, SceneSettings};
use crate::sightings::{PatternSighting, PhotoSightings};

/// A tab seen along its face by more than this (cosine of the angle to its normal) gives no turn
/// worth having.
const LEAST_FACING: f64 = 0.15;
/// Two cards of a photo lie as on the bench where their distance (mm, and its share) and the angle
/// between them (radians) agree so far: the lens is not known yet.
const SAME_PLACE_MM: f64 = 20.0;
const SAME_PLACE_SHARE: f64 = 0.04;
const SAME_PLACE_TURN: f64 = 0.09;

/// A tab as one photo shows it.
#[derive(Clone, Debug)]
pub struct TabSight {
    pub photo: usize,
    pub number: u8,
    /// How its print lies turned in the plane x-z of the world, radians, from x towards z.
    pub angle: f64,
    /// Its print faces y (+1) or away from it (-1).
    pub facing: f64,
    /// Where the camera stands, the direction to the tab, and how far away its size puts it, mm.
    pub eye: Vector3<f64>,
    pub ray: Vector3<f64>,
    pub distance: f64,
}

/// Where the photos were taken from, and what each shows.
pub struct Sights {
    /// Whether the photo found its place among the bench's cards.
    pub placed: Vec<bool>,
    /// Whether it shows cards alone: it serves the lens.
    pub cards_only: Vec<bool>,
    /// Whether those cards lie off the bench.
    pub off_bench: Vec<bool>,
    /// Where its camera stands across the bench: y in the world, mm.
    pub across: Vec<Option<f64>>,
    /// Tabs on the wheel.
    pub wheel: Vec<TabSight>,
    /// Tabs on the spindle's ends.
    pub spindle: Vec<TabSight>,
    /// +1 where y points to the bike's left, -1 where to its right; None where no tab shows it.
    pub left: Option<f64>,
}

/// Finds the photos' places by their cards, and looks at the tabs from there.
pub fn sights(photos: &[ScenePhoto], settings: &SceneSettings, job: &Job) -> Sights {
    let on_bench: Vec<ScenePhoto> =
        photos.iter().enumerate().map(|(idx, photo)| as_seen(photo, idx)).collect();
    // Cards of another size than most would place their photos' cameras wrongly.
    let mut left_out: BTreeSet<u8> = cards_seen_twice(photos).into_keys().collect();
    left_out.extend(size_groups(&on_bench, settings).into_iter().skip(1).flatten());
    let mut first = start_cards(&on_bench, settings, &BTreeSet::new(), &left_out);
    level(&mut first, &on_bench);
    let mut out = Sights {
        placed: vec![false; photos.len()],
        cards_only: vec![false; photos.len()],
        off_bench: vec![false; photos.len()],
        across: vec![None; photos.len()],
        wheel: Vec::new(),
        spindle: Vec::new(),
        left: None,
    };
    let mut left_votes = 0.0;
    for (idx, photo) in on_bench.iter().enumerate() {
        if photo.lens_only {
            out.cards_only[idx] = shows_cards(&photo.sightings);
            out.off_bench[idx] = !lies_as_on_bench(&first, photo);
            if !out.off_bench[idx] {
                out.across[idx] = across_bench(&first, idx, photo);
            }
            continue;
        }
        let Some(view) = first.view_of[idx] else { continue };
        out.placed[idx] = true;
        let world_from_camera = first.state.views[view].camera_from_world.inverse();
        out.across[idx] = Some(world_from_camera.t.y);
        let lens = first.state.lens_of(&first.state.views[view]);
        for sighting in tabs_once(&photo.sightings) {
            let number = sighting.pattern.number();
            let role = job.tab(number).role;
            let on_wheel = settings.tabs.iter().any(|tab| {
                tab.number == number && tab.hangs == Hangs::On(Carrier::Turning(TurningPart::Wheel))
            });
            let is_end = matches!(role, Role::SpindleEnd { .. });
            let side = side_of(role);
            if !(on_wheel || is_end || side.is_some()) {
                continue;
            }
            let pitch = settings.pitch_of(number);
            let Some(sight) = tab_sight(idx, sighting, pitch, lens, &world_from_camera) else {
                continue;
            };
            left_votes += side.map_or(0.0, |side| side * sight.facing);
            if on_wheel {
                out.wheel.push(sight);
            } else if is_end {
                out.spindle.push(sight);
            }
        }
    }
    out.left = (left_votes != 0.0).then(|| left_votes.signum());
    out
}

/// +1 for a tab whose face looks to the left, -1 to the right.
fn side_of(role: Role) -> Option<f64> {
    match role {
        Role::RearRim { side }
        | Role::RimPlace { side, .. }
        | Role::SpindleEnd { side }
        | Role::FrontRim { side } => Some(side.sign()),
        _ => None,
    }
}

/// The photo for the cards' sake: where no tab is seen, its cards may lie anywhere, and so have a
/// ground of their own.
fn as_seen(photo: &ScenePhoto, idx: usize) -> ScenePhoto {
    let has_tab =
        photo.sightings.patterns.iter().any(|seen| matches!(seen.pattern, Pattern::Tab(_)));
    ScenePhoto { lens_only: photo.lens_only || !has_tab, setup: idx, ..photo.clone() }
}

fn shows_cards(sightings: &PhotoSightings) -> bool {
    sightings.patterns.iter().any(|seen| matches!(seen.pattern, Pattern::Card(_)))
}

/// Tabs that the photo shows once and well enough; one shown twice is no use for either.
fn tabs_once(sightings: &PhotoSightings) -> impl Iterator<Item = &PatternSighting> {
    let of = |seen: &PatternSighting| {
        sightings.patterns.iter().filter(|other| other.pattern == seen.pattern).count()
    };
    sightings.patterns.iter().filter(move |seen| {
        matches!(seen.pattern, Pattern::Tab(_))
            && seen.corners.len() >= LEAST_TAB_CORNERS
            && of(seen) == 1
    })
}

/// Whether a photo without tabs shows the cards as they lie on the bench: a lone card may lie there
/// as well.
fn lies_as_on_bench(first: &StartCards, photo: &ScenePhoto) -> bool {
    let (n_own, pairs) = own_and_on_bench(first, photo);
    let agree = |(a, a_bench): &(Rigid, Rigid), (b, b_bench): &(Rigid, Rigid)| {
        let (here, there) = (a.inverse().then(b), a_bench.inverse().then(b_bench));
        let miss = (here.t - there.t).norm();
        let turned = crate::math::rigid::log(&(here.r * there.r.transpose())).norm();
        miss < SAME_PLACE_MM + SAME_PLACE_SHARE * there.t.norm() && turned < SAME_PLACE_TURN
    };
    pairs.iter().skip(1).all(|pair| agree(&pairs[0], pair)) && pairs.len() == n_own
}

/// How many cards a photo without tabs shows, and those of them that lie on the bench, too: poses
/// on the photo's own ground and on the bench.
fn own_and_on_bench(first: &StartCards, photo: &ScenePhoto) -> (usize, Vec<(Rigid, Rigid)>) {
    let cards = &first.state.cards;
    let number = |card: usize| first.state.sheets[cards[card].sheet].number;
    let own: Vec<usize> =
        (0..cards.len()).filter(|&i| cards[i].ground == Ground::LensOnly(photo.setup)).collect();
    let pairs = own.iter().filter_map(|&card| {
        let there = (0..cards.len())
            .find(|&i| cards[i].ground == Ground::Bench && number(i) == number(card))?;
        Some((cards[card].world_from_card, cards[there].world_from_card))
    });
    (own.len(), pairs.collect())
}

/// Where the camera of a photo without tabs stands across the bench, mm, by a card that lies there.
fn across_bench(first: &StartCards, idx: usize, photo: &ScenePhoto) -> Option<f64> {
    let view = &first.state.views[first.view_of[idx]?];
    let (own, on_bench) = *own_and_on_bench(first, photo).1.first()?;
    let camera = on_bench.then(&own.inverse()).then(&view.camera_from_world.inverse());
    Some(camera.t.y)
}

/// How a tab lies turned, taken to face along y: a wheel stands along the row of cards to a few
/// degrees.
fn tab_sight(
    photo: usize,
    sighting: &PatternSighting,
    pitch: f64,
    lens: crate::camera::Lens,
    world_from_camera: &Rigid,
) -> Option<TabSight> {
    let corners = seen_corners(sighting);
    let seen = glimpse(&corners, [pitch, pitch], lens, Rigid::identity());
    let camera_from_tab = *candidates(&seen).first()?;
    let (mut plane, mut rays) = (Vec::new(), Vec::new());
    for (point, pixel, _) in &seen.corners {
        if let Some(ray) = lens.direction(pixel) {
            plane.push(point.xy());
            rays.push(ray.xy());
        }
    }
    let ray_of = homography(&plane, &rays)?;
    let ray = |x: f64, y: f64| world_from_camera.r * map(&ray_of, &Vector2::new(x, y)).push(1.0);
    let middle = ray(0.0, 0.0);
    let distance = camera_from_tab.t.norm();
    let facing_us = middle.normalize().y;
    if facing_us.abs() < LEAST_FACING || !distance.is_finite() {
        return None;
    }
    // Where the rays meet the plane y = that of the tab's middle.
    let depth = middle.normalize().y * distance;
    let meets = |ray: Vector3<f64>| Vector2::new(ray.x, ray.z) * (depth / ray.y);
    let h = 1.5 * pitch;
    let (x, y) =
        (meets(ray(h, 0.0)) - meets(ray(-h, 0.0)), meets(ray(0.0, h)) - meets(ray(0.0, -h)));
    // Seen from y, x and z lie the other way round.
    let facing = if x.x * y.y - x.y * y.x < 0.0 { 1.0 } else { -1.0 };
    let turned_back = Vector2::new(-facing * y.y, facing * y.x);
    let sum = x + turned_back;
    let angle = sum.y.atan2(sum.x);
    let number = sighting.pattern.number();
    angle.is_finite().then_some(TabSight {
        photo,
        number,
        angle,
        facing,
        eye: world_from_camera.t,
        ray: middle.normalize(),
        distance,
    })
}
