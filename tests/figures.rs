//! From exact sightings, without pixels, to figures: the scene and bench stages against known truth, chain on either side, tooth centres, a
//! gearbox that turned, set-ups that are not half a turn apart.

mod common;

use common::solving::{by_pointer, solved};
use common::{SightingKnobs, TruthScene};
use sightcord::job::{Job, Side};

/// Exact sightings leave what the cards' own tilt on the bench has to say of up (it weighs a tenth beside a plumb line), and rounding.
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
