//! Where tabs and axle are in the world of the cards, and in which direction from the axle the
//! marked place lies.

use std::f64::consts::FRAC_PI_2;

use nalgebra::{Matrix2, Matrix3, Rotation2, Vector2, Vector3};

use super::sights::{Sights, TabSight, sights};
use crate::bench::from_job::scene_settings;
use crate::figure::Side;
use crate::job::{Job, Role};
use crate::scene::ScenePhoto;

/// Weight of the size's word on a tab's distance, over that of the rays' crossing (our choice).
const BY_SIZE: f64 = 1e-3;
/// A turn smaller than this (radians) between two positions gives no axle.
const LEAST_TURN: f64 = 0.5;
/// A mark nearer to the axle than this, mm, has no direction.
const LEAST_RADIUS: f64 = 80.0;

/// Which way from the axle the marked place lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mark {
    Forward,
    Rearward,
    Up,
    Down,
}

impl Mark {
    /// By the direction from the axle, radians: 0 is forward, a quarter turn is up.
    pub fn of_angle(angle: f64) -> Self {
        let quarters = (super::angles::wrap(angle) / FRAC_PI_2).round();
        match quarters as i32 {
            0 => Self::Forward,
            1 => Self::Up,
            -1 => Self::Down,
            _ => Self::Rearward,
        }
    }

    pub fn word(self) -> &'static str {
        match self {
            Self::Forward => "forward",
            Self::Rearward => "rearward",
            Self::Up => "up",
            Self::Down => "down",
        }
    }
}

/// Where one photo's camera stood and which way the wheel stands in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct WheelShown {
    /// The side of the bike from which it was taken.
    pub from: Option<Side>,
    /// Where the marked place is; None where the photo shows too little to tell: it takes a rim
    /// tab, two cards, and the rear sprocket's tabs or one on a spindle's end.
    pub mark: Option<Mark>,
}

/// What a single photo shows of the wheel. Many photos together show more: see [`super::sort`].
pub fn wheel_shown(photo: &ScenePhoto, job: &Job) -> WheelShown {
    let settings = scene_settings(job, std::slice::from_ref(&"photo".to_owned()));
    let alone = ScenePhoto { setup: 0, ..photo.clone() };
    let sights = sights(std::slice::from_ref(&alone), &settings, job);
    let all: Vec<&TabSight> = sights.wheel.iter().collect();
    let mark = mark_of(&all, job)
        .zip(axle_from_tabs(&sights, &all, job))
        .and_then(|(mark, axle)| direction(mark - axle, &sights));
    WheelShown { from: side_of_camera(&sights, 0), mark: mark.map(Mark::of_angle) }
}

/// The side from which a photo was taken.
pub(super) fn side_of_camera(sights: &Sights, photo: usize) -> Option<Side> {
    let across = sights.across[photo]? * sights.left?;
    Some(Side::of_sign(across))
}

/// The angle of a direction in the wheel's plane, 0 forward and a quarter turn up. In the world y
/// points to the left or to the right.
pub(super) fn direction(from_axle: Vector2<f64>, sights: &Sights) -> Option<f64> {
    let forward = sights.left?;
    (from_axle.norm() > LEAST_RADIUS).then(|| from_axle.y.atan2(forward * from_axle.x))
}

/// Where a tab stands: nearest to the rays to it, with the distance weighed in from its size.
fn tab_centre(seen: &[&TabSight]) -> Option<Vector3<f64>> {
    let (mut near, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for sight in seen {
        let along = sight.ray * sight.ray.transpose();
        let weight = Matrix3::identity() - along + along * BY_SIZE;
        near += weight;
        right += weight * (sight.eye + sight.ray * sight.distance);
    }
    near.try_inverse().map(|inverse| inverse * right)
}

/// The mean place of the tabs that `wanted` names, in the plane x-z.
fn mean_place(
    seen: &[&TabSight],
    least: usize,
    wanted: &dyn Fn(u8) -> bool,
) -> Option<Vector2<f64>> {
    let mut numbers: Vec<u8> =
        seen.iter().map(|sight| sight.number).filter(|number| wanted(*number)).collect();
    numbers.sort_unstable();
    numbers.dedup();
    let places: Vec<Vector2<f64>> = numbers
        .iter()
        .filter_map(|number| {
            tab_centre(
                &seen.iter().copied().filter(|sight| sight.number == *number).collect::<Vec<_>>(),
            )
        })
        .map(|place| Vector2::new(place.x, place.z))
        .collect();
    (places.len() >= least.max(1))
        .then(|| places.iter().sum::<Vector2<f64>>() / places.len() as f64)
}

/// Where the marked place is, by the rim tabs there.
pub(super) fn mark_of(seen: &[&TabSight], job: &Job) -> Option<Vector2<f64>> {
    mean_place(seen, 1, &|number| matches!(job.tab(number).role, Role::RearRim { .. }))
}

/// The axle from tabs on the spindle's ends, or from the middle of the rear sprocket's tabs in
/// photos of one position.
pub(super) fn axle_from_tabs(
    sights: &Sights,
    one_position: &[&TabSight],
    job: &Job,
) -> Option<Vector2<f64>> {
    let ends: Vec<&TabSight> = sights.spindle.iter().collect();
    mean_place(&ends, 1, &|_| true).or_else(|| {
        mean_place(one_position, 3, &|number| job.tab(number).role == Role::RearSprocket)
    })
}

/// The axle from the places of one mark in several positions of the wheel, with the wheel's turn in
/// each: p_b - c = R(b - a) (p_a - c), least squares over all pairs.
pub(super) fn axle_from_turns(marks: &[Vec<(f64, Vector2<f64>)>]) -> Option<Vector2<f64>> {
    let (mut normal, mut right) = (Matrix2::zeros(), Vector2::zeros());
    for of_one in marks {
        for (i, (turn_a, a)) in of_one.iter().enumerate() {
            for (turn_b, b) in &of_one[i + 1..] {
                if super::angles::wrap(turn_b - turn_a).abs() < LEAST_TURN {
                    continue;
                }
                let rotation = Rotation2::new(turn_b - turn_a).into_inner();
                let m = Matrix2::identity() - rotation;
                normal += m.transpose() * m;
                right += m.transpose() * (b - rotation * a);
            }
        }
    }
    normal.try_inverse().map(|inverse| inverse * right)
}
