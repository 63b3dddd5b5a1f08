//! Parts of the scene: a sensor's rows, cards in one row, a cord that moved, what groups of
//! sightings add to the covariance.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{DMatrix, Matrix3, SMatrix, SVector, Vector2, Vector3};

use sightcord::job::Job;
use sightcord::math::Rigid;
use sightcord::scene::adjust::group_spread::beyond;
use sightcord::scene::adjust::solve::{Problem, adjust};
use sightcord::scene::checks::cord_moved::lay_as_elsewhere;
use sightcord::scene::model::state::{Cord, State};
use sightcord::scene::model::view::View;
use sightcord::scene::strings::card_row::in_row;
use sightcord::scene::strings::cord_fit::GroupFit;
use sightcord::scene::strings::cord_reading::{Chosen, GroupPlace, best_with_rival};

use crate::common::solving::solved;
use crate::common::{SightingKnobs, TruthScene};

/// Photos don't tell how large the whole is; a scene that was led astray is brought back to what the
/// print says, not by steps of thousandths.
#[test]
fn a_scene_comes_back_to_the_size_of_its_print() {
    let (solution, _) =
        solved(&TruthScene::full(), &SightingKnobs::default(), &Job::default()).expect("a scene");
    let problem =
        Problem { blocks: &solution.blocks, priors: &solution.priors, slots: &solution.slots };
    let cost = problem.cost(&solution.state);
    let mut astray = solution.state.enlarged(1.07);
    let print_alone: f64 = (0..2)
        .map(|i| {
            let (print, sigma) = (solution.priors.print[i], solution.priors.print_sigma[i]);
            let off = |state: &State| ((state.print[i] - print) / sigma).powi(2) / 2.0;
            off(&astray) - off(&solution.state)
        })
        .sum();
    let dearer = problem.cost(&astray) - cost;
    assert!((dearer / print_alone - 1.0).abs() < 0.02, "{dearer} instead of {print_alone}");
    // By few steps: the damped ones alone come back by parts of it.
    let ended = adjust(&mut astray, &problem, 2);
    assert!(ended.cost - cost < 1.0, "{} instead of {cost}", ended.cost);
    for (found, was) in astray.print.iter().zip(solution.state.print) {
        assert!((found - was).abs() < 5e-4, "{found} instead of {was}");
    }
}

#[test]
fn a_sensors_rows_lie_along_the_longer_side() {
    let pose = Rigid::new(Matrix3::identity(), Vector3::zeros());
    let (wide, tall) = (View::still(0, 0, pose, [400, 300]), View::still(0, 0, pose, [300, 400]));
    assert_eq!(wide.time(&Vector2::new(7.0, 299.5)), 0.5);
    assert_eq!(tall.time(&Vector2::new(-0.5, 7.0)), -0.5);
}

#[test]
fn cards_laid_beside_the_cord_are_in_no_row() {
    let cards = [(1, [0.0, 1.0]), (5, [330.0, -2.0]), (6, [660.0, 3.0])];
    let off_row = [(4, [150.0, 300.0]), (11, [400.0, -300.0])];
    let all: BTreeMap<u8, [f64; 2]> = cards.into_iter().chain(off_row).collect();
    assert_eq!(in_row(&all), BTreeSet::from([1, 5, 6]));
    let two: BTreeMap<u8, [f64; 2]> = cards[..2].iter().copied().collect();
    assert_eq!(in_row(&two), BTreeSet::from([1, 5]));
}

fn cord(setup: usize, y: f64) -> Cord {
    Cord { setup, middle: 200.0, half: 500.0, y: [y, 0.0, 0.0], z: [4.0, 0.0, 0.0] }
}

/// One cord for all photos of the first set-up lies between its two places; the second set-up
/// shows it at one or the other.
#[test]
fn the_place_that_another_set_up_shows_is_the_first() {
    let lay_as = |y: f64| State { cords: vec![cord(0, 0.8), cord(1, y)], ..State::default() };
    // It lay at 0 mm, and at 1.5 mm from some photo on.
    let values = SVector::from([-0.8, 0.0, 0.0, 0.0, 1.5, 0.0]);
    assert!(lay_as_elsewhere(&lay_as(0.1), 0, &values));
    assert!(!lay_as_elsewhere(&lay_as(1.4), 0, &values));
    assert!(!lay_as_elsewhere(&lay_as(0.7), 0, &values));
    assert!(!lay_as_elsewhere(
        &State { cords: vec![cord(0, 0.8)], ..State::default() },
        0,
        &values
    ));
}

/// In the first direction the groups show no more than the points, in the second three times as
/// much.
#[test]
fn only_what_exceeds_the_points_own_is_added() {
    let own = DMatrix::from_row_slice(2, 2, &[4.0, 0.0, 0.0, 1.0]);
    let spread = DMatrix::from_row_slice(2, 2, &[1.0, 0.0, 0.0, 9.0]);
    let more = beyond(&own, &spread).expect("positive definite");
    let expected = DMatrix::from_row_slice(2, 2, &[0.0, 0.0, 0.0, 8.0]);
    assert!((more - expected).norm() < 1e-12);
}

/// A reading of the light with a place over each of four cards in two set-ups.
fn reading(cost: f64, y: [[f64; 4]; 2]) -> Chosen {
    let place = |setup: usize, i: usize| GroupPlace {
        setup,
        x: 330.0 * i as f64,
        fit: GroupFit {
            place: [y[setup][i], 4.0, 1.0, 0.0],
            covariance: SMatrix::identity(),
            cost: cost / 8.0,
            shifts: Vec::new(),
        },
    };
    let places = (0..8).map(|i| place(i / 4, i % 4));
    Chosen::new(1.0, places.collect())
}

/// A cord that was moved lies in two lines, an edge that wanders in none; and such an edge is no
/// rival of a straight cord, as a straight one beside it is.
#[test]
fn a_reading_that_is_crooked_where_the_best_is_straight_is_no_rival() {
    let straight = [0.0, 0.1, 0.2, 0.3];
    let moved = reading(1.0, [straight, straight.map(|y| y + 1.0)]);
    assert!((moved.off_one_line().expect("eight places") - 0.5).abs() < 1e-9);
    assert!(moved.off_own_lines().expect("four places a set-up") < 1e-9);
    let apart_of_rival = |y: [f64; 4], cost: f64| {
        let tried = vec![reading(100.0, [straight; 2]), reading(cost, [y; 2])];
        best_with_rival(tried).expect("a reading").rival.map(|rival| rival.apart_mm)
    };
    assert_eq!(apart_of_rival([0.5, 1.9, 0.0, 1.2], 101.0), None);
    let beside = apart_of_rival(straight.map(|y| y + 0.7), 101.0).expect("a rival");
    assert!((beside - 0.7).abs() < 1e-9);
    assert_eq!(apart_of_rival(straight.map(|y| y + 0.7), 130.0), None);
}
