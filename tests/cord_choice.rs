//! The cord told from its shadow, and lines from what runs beside them, where photos make it hard: small pictures, a cord that hangs through.

mod common;

use std::collections::BTreeMap;

use common::{RenderKnobs, TruthScene};
use sightcord::bench::figures::Side;
use sightcord::pipeline;

/// Measures a rendered job: for each figure error and U.
fn errors(truth: &TruthScene) -> BTreeMap<String, (f64, f64)> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    truth.write_job(folder.path(), &RenderKnobs::default()).expect("the job can be written");
    let measured = pipeline::measure(pipeline::open(folder.path()).expect("a job"), &|_| {});
    let expected: BTreeMap<String, f64> = truth.expected().into_iter().collect();
    let told = |(pointer, figure): (String, Option<sightcord::measurement::Measurement>)| {
        let (figure, truth) = (figure?, expected.get(&pointer)?);
        Some((pointer, ((figure.value - truth).abs(), figure.u)))
    };
    measured.document.figures().into_iter().filter_map(told).collect()
}

/// Over the middle cards the cord lies 1.1 mm lower than over the outer ones: no common height fits its edges.
#[test]
fn a_cord_that_hangs_through_is_told_from_its_shadow() {
    let mut truth = TruthScene::default();
    truth.bench.cord.height_mm = 3.6;
    truth.bench.cord.sag_mm = 1.2;
    let errors = errors(&truth.at_scale(0.7));
    let (error, u) = errors["/wheel/offset"];
    assert!(error < 0.1 && u < 0.3, "{error} for {u}");
    assert!(errors.values().all(|(error, u)| error <= u), "{errors:?}");
}

/// At two megapixels the cord is three pixels wide, flags are read in one photo each, and beside the plumb line runs a tube that was once
/// taken for it: 3.8 mm off.
#[test]
fn at_two_megapixels_no_shadow_and_no_tube_is_taken_for_a_line() {
    let errors = errors(&TruthScene::default().with_chain_on(Side::Right, 2.0).at_scale(0.5));
    assert!(errors.len() >= 20, "{errors:?}");
    assert!(errors.values().all(|(error, u)| *error <= 2.0 * u), "{errors:?}");
}
