//! A moving hand: smeared photos, and rows read out one after another while the camera moves. Only
//! pixels can show these.

use crate::common::compare::{Compared, compared};
use crate::common::{Random, RenderKnobs, RollingShutter, TruthScene};
use sightcord::pipeline::{self, Measured};

/// Renders a job with knobs of its own for every photo, and measures it. SEED draws others than
/// those of every day.
fn measured(truth: &TruthScene, knobs_of: impl Fn(usize, &mut Random) -> RenderKnobs) -> Measured {
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("job.toml"), truth.job_toml()).expect("a job");
    let mut random =
        Random::new(std::env::var("SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(5));
    for (i, (setup, photo)) in truth.photo_indices().into_iter().enumerate() {
        let knobs = knobs_of(i, &mut random);
        truth.write_photo(folder.path(), setup, photo, &knobs).expect("the photo can be written");
    }
    pipeline::measure(pipeline::open(folder.path()).expect("a job"), &|_| {})
}

/// Figures that lie beyond twice their U, and how many were given.
fn beyond_two_u(truth: &TruthScene, measured: &Measured) -> (Vec<String>, usize) {
    let figures = compared(&measured.document, &truth.expected());
    let worst = figures.iter().map(Compared::ratio).fold(0.0, f64::max);
    let beyond =
        figures.iter().filter(|figure| figure.ratio() > 2.0).map(Compared::to_string).collect();
    let n = figures.len();
    let ids: Vec<&str> = measured.document.findings.iter().map(|f| f.id.as_str()).collect();
    println!(
        "{n} figures, worst {worst:.2} U, odd and even {:?}, findings {ids:?}",
        measured.document.crosscheck.ratio
    );
    (beyond, n)
}

#[test]
#[ignore = "slow: tests/slow/proofs.sh"]
fn slow_every_fourth_photo_smeared_by_the_hand_spoils_nothing() {
    let truth = TruthScene::default().at_scale(0.5);
    let measured = measured(&truth, |i, _| RenderKnobs {
        motion_px: if i % 4 == 1 { [7.0, 3.0] } else { [0.0, 0.0] },
        ..RenderKnobs::default()
    });
    let (beyond, n) = beyond_two_u(&truth, &measured);
    assert!(n >= 20 && beyond.is_empty(), "{n} figures; {beyond:?}");
}

/// A hand that drifts by a millimetre and turns by a twentieth of a degree while a frame is read
/// out, otherwise in every photo: every figure is right within its U, raised if need be.
#[test]
#[ignore = "slow: tests/slow/proofs.sh"]
fn slow_a_rolling_shutter_in_an_unsteady_hand_gives_no_confident_nonsense() {
    let truth = TruthScene::default().at_scale(0.5);
    let measured = measured(&truth, |_, random| RenderKnobs {
        rolling_shutter: Some(RollingShutter::drawn(random, [1.0, 0.05])),
        ..RenderKnobs::default()
    });
    let (beyond, n) = beyond_two_u(&truth, &measured);
    assert!(n >= 20 && beyond.is_empty(), "{n} figures; {beyond:?}");
}
