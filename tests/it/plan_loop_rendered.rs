//! The loop closed in pixels: a crooked bike is photographed by the test renderer and measured as a
//! person measures it, the plan is carried out on the truth, and the photos taken anew must show it
//! in tolerance. Among the slow proofs: plan_loop.rs closes the
//! same loop without pixels, and variety.rs measures rendered benches.

use std::fs::OpenOptions;
use std::io::Write;

use crate::common::bike::Frame;
use crate::common::workshop::expected_figures;
use crate::common::{RenderKnobs, TruthScene};
use sightcord::figure::Figure;
use sightcord::job::Side;
use sightcord::pipeline;
use sightcord::plan::outcome::{Decision, StepKind};
use sightcord::report::ResultDocument;

/// What nobody can see in a photo: how the wheel is adjusted, and that a rule was laid on the
/// print.
fn settings(draw: Side, pack: &str) -> String {
    format!(
        "\n[print]\nmeasured_along_mm = 250.0\nmeasured_across_mm = 160.0\n\n[adjusters]\nspacing_mm = 200\ndraw = \"{}\"\n\n[spacers]\n\
         kind = \"{pack}\"\n",
        draw.word()
    )
}

/// Out in everything that can be adjusted; a frame that hangs true is shown by two plumb lines.
fn crooked(chain_side: Side, sign: f64) -> TruthScene {
    let mut scene = TruthScene::default();
    let plumb_lines = Frame::in_plane(0.3, 0.02).plumb_lines;
    scene.bike.frame = Frame { plumb_lines, ..Frame::bare() };
    let wheel = &mut scene.bike.wheel;
    (wheel.yaw_deg, wheel.lean_deg, wheel.centre.y) = (0.7 * sign, 0.03, 3.2 * sign);
    (scene.bike.gearbox.yaw_deg, scene.bike.gearbox.lean_deg) = (0.02, 0.04);
    let lever = 560.0 * (0.7 * sign).to_radians() * chain_side.sign();
    let mut scene = scene.with_chain_on(chain_side, 3.2 * sign - lever);
    scene.setups[1].wheel_turn_deg = 150.0 * sign;
    scene.take_photos();
    // Six tenths of 8 megapixels' width and height: cells of 7 to 20 px, and half the time. At half
    // the size the U of the sprockets' angles came out above their tolerance.
    scene.at_scale(0.6)
}

fn measured(truth: &TruthScene, settings: &str) -> ResultDocument {
    let folder = tempfile::tempdir().expect("a temporary folder");
    truth.write_job(folder.path(), &RenderKnobs::quick()).expect("a job");
    let mut job = OpenOptions::new()
        .append(true)
        .open(folder.path().join("job.toml"))
        .expect("the job's settings");
    job.write_all(settings.as_bytes()).expect("the settings can be written");
    drop(job);
    pipeline::measure(pipeline::open(folder.path()).expect("a job"), &|_| {}).document
}

fn follow(chain_side: Side, draw: Side, pack: &str, sign: f64) {
    let settings = settings(draw, pack);
    let before = crooked(chain_side, sign);
    let first = measured(&before, &settings);
    let kinds: Vec<StepKind> = first.plan.iter().map(|step| step.step).collect();
    assert_eq!(
        kinds,
        [StepKind::Square, StepKind::Chain, StepKind::Centre],
        "{:#?}",
        first.verdicts
    );
    let then = measured(&before.after_plan(&first.plan), &settings);
    let mut wrong: Vec<String> = then
        .verdicts
        .iter()
        .filter(|verdict| verdict.verdict != Decision::In)
        .map(|verdict| {
            format!("{} is {}: {:?}", verdict.field, verdict.verdict.word(), verdict.value)
        })
        .collect();
    for (pointer, foreseen) in expected_figures(&first.expected) {
        let Some(figure) = then.figure(&Figure::at(&pointer)) else { continue };
        if (figure.value - foreseen.value).abs() > foreseen.u {
            wrong.push(format!(
                "{pointer}: expected {:.3} ± {:.3}, found {:.3}",
                foreseen.value, foreseen.u, figure.value
            ));
        }
    }
    assert!(wrong.is_empty(), "{}\n{:#?}", wrong.join("\n"), then.findings);
    assert!(then.plan.is_empty() && then.summary.starts_with("All well"), "{}", then.summary);
}

#[test]
#[ignore = "slow: tests/slow/proofs.sh"]
fn slow_a_bike_with_its_chain_on_the_left_comes_right_by_its_plan() {
    follow(Side::Left, Side::Right, "hub", 1.0);
}

#[test]
#[ignore = "slow: tests/slow/proofs.sh"]
fn slow_a_bike_with_its_chain_on_the_right_comes_right_by_its_plan() {
    follow(Side::Right, Side::Right, "sprocket", -1.0);
}
