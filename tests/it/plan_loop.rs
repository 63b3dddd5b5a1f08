//! The loop closed on every sign: a bike that is out by known amounts is measured from sightings,
//! the plan is carried out on the truth exactly as it says, the bike is photographed and measured
//! again, and must then be in tolerance and as the plan foresaw it.

use crate::common::bike::{Frame, HubFace};
use crate::common::solving::{by_pointer, solved};
use crate::common::workshop::expected_figures;
use crate::common::{SightingKnobs, TruthScene};
use rayon::prelude::*;
use sightcord::bench::Figures;
use sightcord::job::{Job, Side, SpacerKind};
use sightcord::plan::outcome::{Decision, Outcome, StepKind};
use sightcord::plan::{PlanSettings, plan};

const SIDES: [Side; 2] = [Side::Left, Side::Right];
const PACKS: [SpacerKind; 3] = [SpacerKind::Hub, SpacerKind::Sprocket, SpacerKind::Gearbox];

/// Where the mark stands in the first set-up (0 front, 90 top) and by how much the wheel is turned
/// for the next: at axle height and half a turn apart, and at other angles.
const MARKS: [(f64, f64); 4] = [(0.0, 180.0), (32.0, 140.0), (-40.0, -140.0), (15.0, 110.0)];

/// One bike and the choices it is put right with.
#[derive(Clone, Copy, Debug)]
struct Case {
    chain_side: Side,
    draw: Side,
    pack: SpacerKind,
    /// Everything that is out is out the other way round.
    sign: f64,
    mark_deg: f64,
    turn_deg: f64,
    /// Whether plumb lines and stations show the frame.
    frame_seen: bool,
}

impl Case {
    fn job(&self) -> Job {
        let text = format!(
            "schema = \"sightcord-job/1\"\n[print]\nmeasured_along_mm = 250.0\nmeasured_across_mm = 160.0\n[adjusters]\nspacing_mm = 200\n\
             thread_pitch_mm = 1.25\ndraw = \"{}\"\n[spacers]\nkind = \"{}\"\n[bench]\nlevelled = \"spirit level\"\n",
            self.draw.word(),
            self.pack.word()
        );
        Job::parse(&text).expect("a job")
    }

    /// A bike that is out in everything that can be adjusted, and in nothing else.
    fn crooked(&self) -> TruthScene {
        let mut scene = TruthScene::full();
        let (frame_offset, frame_yaw) =
            if self.frame_seen { (-3.4 * self.sign, 0.45 * self.sign) } else { (0.0, 0.0) };
        scene.bike.frame = Frame::in_plane(frame_offset, frame_yaw);
        if !self.frame_seen {
            // The tabs that would show it are not on; one plumb line, not at the frame, still shows
            // up.
            scene.missing_tabs.extend(13..=20);
            scene.bike.frame.plumb_lines.clear();
            scene.bike.frame.backbone = None;
        }
        let wheel = &mut scene.bike.wheel;
        wheel.mark_deg = self.mark_deg;
        wheel.runout_mm = 0.2;
        wheel.yaw_deg = frame_yaw + 0.8 * self.sign;
        wheel.lean_deg = 0.03;
        wheel.centre.y = 4.1 * self.sign;
        scene.bike.gearbox.yaw_deg = frame_yaw + 0.02;
        scene.bike.gearbox.lean_deg = 0.04;
        scene.bike.hub_face = Some(HubFace {
            side: self.chain_side.other(),
            face_mm: 58.0,
            turns: self.sign > 0.0,
            tab_radius_mm: 66.0,
            tab_deg: 60.0,
        });
        // Once the wheel is square the chain line is still out by several millimetres.
        let lever = 560.0 * (0.8 * self.sign).to_radians() * self.chain_side.sign();
        scene = scene.with_chain_on(self.chain_side, 3.6 * self.sign - lever);
        scene.setups[1].wheel_turn_deg = self.turn_deg;
        scene.take_photos();
        scene
    }
}

/// Every level of every choice with the chain on both sides; marks and turns go round along with
/// them.
fn cases() -> Vec<Case> {
    let mut cases = Vec::new();
    for (i, chain_side) in SIDES.into_iter().enumerate() {
        for (j, draw) in SIDES.into_iter().enumerate() {
            for (k, pack) in PACKS.into_iter().enumerate() {
                let n = 3 * j + k;
                let (mark_deg, turn_deg) = MARKS[(n + i) % MARKS.len()];
                let sign = if (n + i) % 2 == 0 { 1.0 } else { -1.0 };
                cases.push(Case {
                    chain_side,
                    draw,
                    pack,
                    sign,
                    mark_deg,
                    turn_deg,
                    frame_seen: n != 4,
                });
            }
        }
    }
    cases
}

fn measured(truth: &TruthScene, job: &Job) -> (Figures, Outcome) {
    let (_, figures) = solved(truth, &SightingKnobs::default(), job).expect("a scene");
    let outcome = plan(&figures, &PlanSettings::from(job));
    (figures, outcome)
}

/// What is wrong after the plan was followed; empty where all is well.
fn complaints(case: &Case) -> Vec<String> {
    let job = case.job();
    let before = case.crooked();
    let (_, outcome) = measured(&before, &job);
    let mut wrong = Vec::new();
    let kinds: Vec<StepKind> = outcome.plan.iter().map(|step| step.step).collect();
    let whole = [StepKind::Rehang, StepKind::Square, StepKind::Chain, StepKind::Centre];
    if kinds != whole[usize::from(!case.frame_seen)..] {
        wrong.push(format!("the plan is {kinds:?}: {:#?}", outcome.verdicts));
        return wrong;
    }
    // Step by step against the truth: an error that a later step makes good shows all the same.
    let mut truth = before.clone();
    for step in &outcome.plan {
        truth = truth.after_step(step);
        let true_values = truth.expected();
        for (pointer, foreseen) in expected_figures(&step.after) {
            let Some(true_value) = true_values.get(&pointer) else { continue };
            if (foreseen.value - true_value).abs() > foreseen.u {
                wrong.push(format!(
                    "after step {}: {pointer} {:.3} ± {:.3}, true {true_value:.3}",
                    step.n, foreseen.value, foreseen.u
                ));
            }
        }
    }
    let (figures, again) = measured(&before.after_plan(&outcome.plan), &job);
    for verdict in again.verdicts.iter().filter(|verdict| verdict.verdict != Decision::In) {
        wrong.push(format!(
            "{} is {}: {:?} of {}",
            verdict.field,
            verdict.verdict.word(),
            verdict.value,
            verdict.tolerance
        ));
    }
    let found = by_pointer(&figures);
    let mut n_compared = 0;
    for (pointer, foreseen) in expected_figures(&outcome.expected) {
        let Some(figure) = found.get(&pointer) else { continue };
        n_compared += 1;
        if (figure.value - foreseen.value).abs() > foreseen.u {
            wrong.push(format!(
                "{pointer}: expected {:.3} ± {:.3}, found {:.3}",
                foreseen.value, foreseen.u, figure.value
            ));
        }
    }
    if n_compared < 16 {
        wrong.push(format!("only {n_compared} figures were compared"));
    }
    if !again.plan.is_empty() || !again.summary.starts_with("All well") {
        wrong.push(again.summary);
    }
    wrong
}

#[test]
fn following_the_plan_and_measuring_again_finds_everything_in_tolerance() {
    follow_all(&cases().into_iter().step_by(2).collect::<Vec<Case>>());
}

#[test]
#[ignore = "slow: tests/slow/proofs.sh"]
fn slow_the_other_half_of_the_plans_comes_right_as_well() {
    follow_all(&cases().into_iter().skip(1).step_by(2).collect::<Vec<Case>>());
}

fn follow_all(cases: &[Case]) {
    let failures: Vec<String> = cases
        .par_iter()
        .map(|case| (case, complaints(case)))
        .filter(|(_, wrong)| !wrong.is_empty())
        .map(|(case, wrong)| format!("{case:?}\n  {}", wrong.join("\n  ")))
        .collect();
    assert!(
        failures.is_empty(),
        "{} of {} cases:\n{}",
        failures.len(),
        cases.len(),
        failures.join("\n")
    );
}
