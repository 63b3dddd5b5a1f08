//! From exact sightings, without pixels, to figures: the scene and bench stages against known
//! truth, chain on either side, tooth centres, a gearbox that turned, set-ups that are not half a
//! turn apart.

use sightcord::job::{Job, Side};

use crate::common;
use crate::common::bike::FrontWheel;
use crate::common::solving::{by_pointer, solved};
use crate::common::{Card, SightingKnobs, TruthScene, V3, Viewpoint};

/// Exact sightings leave what the cards' own tilt on the bench has to say of up (it weighs a tenth
/// next to a plumb line), and rounding.
fn assert_exact(truth: &TruthScene, job: &Job) {
    let (solution, figures) = solved(truth, &SightingKnobs::exact(), job).expect("a scene");
    assert!(solution.converged);
    let measured = by_pointer(&figures);
    let mut n = 0;
    for (pointer, true_value) in truth.expected() {
        let Some(figure) = measured.get(&pointer) else { continue };
        n += 1;
        let bound = match pointer.as_str() {
            "/chain/centres" | "/chain/offset_at_rear" => 0.03,
            p if p.starts_with("/backbone") => 0.05,
            "/wheel/yaw_from_offsets" => 0.005,
            p if p.contains("yaw") => 0.001,
            p if p.contains("lean") || p.contains("level") => 0.005,
            _ => 0.03,
        };
        let error = (figure.value - true_value).abs();
        assert!(error < bound, "{pointer}: {} for {true_value}", figure.value);
    }
    assert!(n > 25, "only {n} figures were measured");
}

#[test]
fn exact_sightings_give_the_true_figures() {
    assert_exact(&TruthScene::full(), &Job::default());
}

#[test]
fn so_they_do_with_the_chain_on_the_right() {
    assert_exact(&TruthScene::full().with_chain_on(Side::Right, -1.3), &Job::default());
}

#[test]
fn so_they_do_when_the_wheel_is_turned_by_a_third() {
    let mut truth = TruthScene::full();
    truth.setups[1].wheel_turn_deg = truth.setups[0].wheel_turn_deg + 120.0;
    truth.take_photos();
    assert_exact(&truth, &Job::default());
}

/// Not quite half round: the marks lie at other heights, and the wheel's lean moves them sideways.
#[test]
fn so_they_do_when_a_leaning_wheel_is_turned_not_quite_half_round() {
    let mut truth = TruthScene::full();
    truth.bike.wheel.lean_deg = 0.6;
    truth.setups[1].wheel_turn_deg = truth.setups[0].wheel_turn_deg + 166.0;
    truth.take_photos();
    assert!(truth.expected().contains_key("/wheel/yaw_from_offsets"));
    assert!(truth.expected()["/wheel/toe"].abs() > 1.0, "a toe that tells its sign");
    assert_exact(&truth, &Job::default());
}

#[test]
fn so_they_do_when_the_gearbox_turned_between_setups() {
    let mut truth = TruthScene::full();
    truth.setups[1].gearbox_turn_deg = 75.0;
    assert_exact(&truth, &Job::default());
}

/// A lens and a scene are found again without any word of EXIF.
#[test]
fn the_focal_length_is_found_without_exif() {
    let truth = TruthScene::full();
    let (mut photos, setups, _) = common::solving::scene_photos(&truth, &SightingKnobs::default());
    photos.iter_mut().for_each(|photo| photo.start_focal = None);
    let settings = sightcord::bench::from_job::scene_settings(&Job::default(), &setups);
    let solution = sightcord::scene::solve(&photos, &settings).expect("a scene");
    let focal = solution.state.lenses[0].fx;
    assert!((focal / truth.lens.fx - 1.0).abs() < 0.003, "{focal} for {}", truth.lens.fx);
}

/// A bike with its front wheel 18 mm to the left of the rear one's plane at its axle, two cards
/// more below it and photos of it.
fn with_front_wheel(chain_side: Side, offset_mm: f64, turn_deg: f64) -> TruthScene {
    let mut truth = TruthScene::default().with_chain_on(chain_side, -0.8);
    truth.setups[1].wheel_turn_deg = turn_deg;
    let rear = truth.bike.wheel.clone();
    let mut front = FrontWheel {
        centre: rear.centre + V3::new(1290.0, offset_mm, -6.0),
        yaw_deg: -0.7,
        lean_deg: 0.5,
        rim_radius_mm: 260.0,
        tab_radius_mm: 248.0,
        rim_width_mm: 54.0,
    };
    // Told from the rear wheel's plane, which runs on forward as the rear wheel points.
    front.centre.y += 1290.0 * rear.yaw_deg.to_radians().tan();
    truth.bike.front_wheel = Some(front);
    truth.bench.cord.to_x_mm = 1700.0;
    truth
        .bench
        .cards
        .extend([Card::lying(5, 991.0, 0.9, 0.4), Card::lying(6, 1320.0, -1.2, 179.5)]);
    for setup in &mut truth.setups {
        for side in [1.0, -1.0] {
            for (i, [x, y, z, toward]) in [
                [900.0, 850.0, 480.0, 1080.0],
                [1300.0, 800.0, 520.0, 1200.0],
                [1750.0, 700.0, 450.0, 1250.0],
            ]
            .into_iter()
            .enumerate()
            {
                let file = format!("front-{}-{i}.jpg", if side > 0.0 { "left" } else { "right" });
                let (eye, target) = (V3::new(x, side * y, z), V3::new(toward, 0.0, 190.0));
                setup.photos.push(Viewpoint::looking(&file, eye, target, 1.0));
            }
        }
    }
    truth
}

#[test]
fn a_front_wheel_is_measured_from_the_rear_wheels_plane_with_the_chain_on_either_side() {
    front_wheels_are_measured(&[(Side::Left, 18.0, 180.0), (Side::Right, 9.0, 120.0)]);
}

#[test]
#[ignore = "slow: tests/slow/proofs.sh"]
fn slow_other_front_wheels_are_measured_from_the_rear_wheels_plane() {
    front_wheels_are_measured(&[(Side::Right, -11.0, 180.0), (Side::Left, -7.0, 130.0)]);
}

fn front_wheels_are_measured(wheels: &[(Side, f64, f64)]) {
    for &(chain_side, offset_mm, turn_deg) in wheels {
        let context =
            format!("chain on the {}, {offset_mm} mm, turned by {turn_deg}", chain_side.word());
        let truth = with_front_wheel(chain_side, offset_mm, turn_deg);
        let (_, exact) = solved(&truth, &SightingKnobs::exact(), &Job::default()).expect("a scene");
        let (_, noisy) =
            solved(&truth, &SightingKnobs::default(), &Job::default()).expect("a scene");
        let (exact, noisy) = (by_pointer(&exact), by_pointer(&noisy));
        let expected = truth.expected();
        assert!(
            (expected["/track/offset"] - offset_mm).abs() < 0.5,
            "{context}: {}",
            expected["/track/offset"]
        );
        for (pointer, true_value) in
            [("/track/offset", expected["/track/offset"]), ("/track/lean", 0.5)]
        {
            let (exact, noisy) = (exact[pointer], noisy[pointer]);
            assert!(
                (exact.value - true_value).abs() < 0.05,
                "{context}: {pointer} {} for {true_value}",
                exact.value
            );
            assert!(
                (noisy.value - true_value).abs() < noisy.u,
                "{context}: {pointer} {} ± {}",
                noisy.value,
                noisy.u
            );
        }
        for (setup, side) in [("1-mark-forward", "left"), ("2-mark-rearward", "right")] {
            assert!(
                exact.contains_key(&format!("/rim/{setup}/{side}/front-wheel/offset")),
                "{context}: {setup} {side}"
            );
        }
    }
}

#[test]
fn a_front_wheel_that_was_not_turned_has_no_track() {
    let mut truth = with_front_wheel(Side::Left, 18.0, 180.0);
    truth.setups[1].photos.retain(|photo| !photo.file.starts_with("front"));
    let (_, figures) = solved(&truth, &SightingKnobs::default(), &Job::default()).expect("a scene");
    assert!(!by_pointer(&figures).contains_key("/track/offset"));
    assert!(
        figures.findings.iter().any(|finding| finding.id == "track-not-measured"),
        "{:?}",
        figures.findings
    );
}

#[test]
fn the_wheel_stands_where_it_does_on_average_when_it_floats_along_its_spindle() {
    let mut truth = TruthScene::full();
    truth.setups[1].end_float_mm = 0.6;
    assert_exact(&truth, &Job::default());
}
