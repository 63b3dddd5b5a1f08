//! The cord told from its shadow, and lines from what runs next to them, where photos make it hard:
//! small pictures, a cord that hangs through.

use std::collections::BTreeMap;

use crate::common::compare::compared;
use crate::common::{RenderKnobs, TruthScene};
use sightcord::figure::Side;
use sightcord::pipeline;

/// What the wheel's offset is known to, mm: most of it is run-out that nobody measured, which no
/// photo of one mark can tell.
const WHEEL_U: f64 = 0.4;

/// Measures a rendered job: for each figure error and U.
fn errors(truth: &TruthScene) -> BTreeMap<String, (f64, f64)> {
    measured(truth).0
}

/// The same with the findings' names.
fn measured(truth: &TruthScene) -> (BTreeMap<String, (f64, f64)>, Vec<String>) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    truth.write_job(folder.path(), &RenderKnobs::quick()).expect("the job can be written");
    let measured = pipeline::measure(pipeline::open(folder.path()).expect("a job"), &|_| {});
    let findings = measured.document.findings.iter().map(|finding| finding.id.clone()).collect();
    let figures = compared(&measured.document, &truth.expected()).into_iter();
    (
        figures
            .map(|figure| (figure.pointer.clone(), (figure.error(), figure.measured.u)))
            .collect(),
        findings,
    )
}

/// What depends on the cord is measured well, and no finding speaks against it.
fn assert_good(truth: &TruthScene, wheel_mm: f64) {
    let (errors, findings) = measured(&truth.clone().at_scale(0.6));
    let (error, u) = errors["/wheel/offset"];
    assert!(error < wheel_mm && u < WHEEL_U, "{error} for {u}");
    assert!(errors.values().all(|(error, u)| error <= u), "{errors:?}");
    assert!(!findings.iter().any(|id| id.starts_with("cord-")), "{findings:?}");
}

/// In grey a yellow cord is as bright as paper, and its own shading as sharp as its shadow's edge.
#[test]
#[ignore = "slow: tests/slow/proofs.sh"]
fn slow_a_yellow_cord_is_told_from_its_shadow() {
    let mut truth = TruthScene::default();
    truth.bench.cord.colour = [0.82, 0.70, 0.12];
    assert_good(&truth, 0.1);
}

/// It fills a good part of the lane, and its shadow, thrown by one lamp, adjoins it as seen from
/// one side.
#[test]
#[ignore = "slow: tests/slow/proofs.sh"]
fn slow_a_thick_dark_cord_lit_from_one_side_is_told_from_its_shadow() {
    let mut truth = TruthScene::default();
    truth.bench.cord.radius_mm = 1.9;
    truth.bench.cord.height_mm = 3.0;
    truth.bench.cord.colour = [0.10, 0.12, 0.16];
    assert_good(&truth, 0.1);
}

/// A cord that somebody touched between the set-ups: how far is reported, and wheel and frame are
/// measured from its first place.
#[test]
fn a_cord_displaced_between_set_ups_is_reported() {
    let mut truth = TruthScene::default();
    truth.setups[1].cord_moved_mm = [1.6, 1.6];
    let (errors, findings) = measured(&truth.at_scale(0.6));
    assert!(findings.iter().any(|id| id == "cord-moved"), "{findings:?}");
    let (error, u) = errors["/wheel/offset"];
    assert!(error < 0.1 && u < WHEEL_U, "{error} for {u}");
    assert!(errors.values().all(|(error, u)| error <= u), "{errors:?}");
}

/// Over the middle cards the cord lies 1.1 mm lower than over the outer ones: no common height fits
/// its edges.
#[test]
#[ignore = "slow: tests/slow/proofs.sh"]
fn slow_a_cord_that_hangs_through_is_told_from_its_shadow() {
    let mut truth = TruthScene::default();
    truth.bench.cord.height_mm = 3.6;
    truth.bench.cord.sag_mm = 1.2;
    let errors = errors(&truth.at_scale(0.6));
    let (error, u) = errors["/wheel/offset"];
    assert!(error < 0.1 && u < WHEEL_U, "{error} for {u}");
    assert!(errors.values().all(|(error, u)| error <= u), "{errors:?}");
}

/// At two megapixels the cord is three pixels wide, flags are read in one photo each, and beside
/// the plumb line runs a tube that was once taken for it: 3.8 mm off.
#[test]
fn at_two_megapixels_no_shadow_and_no_tube_is_taken_for_a_line() {
    let errors = errors(&TruthScene::default().with_chain_on(Side::Right, 2.0).at_scale(0.5));
    assert!(errors.len() >= 20, "{errors:?}");
    assert!(errors.values().all(|(error, u)| *error <= 2.0 * u), "{errors:?}");
}
