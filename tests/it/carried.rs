//! A few photos of one position of the wheel after a step: what they tell of it by the wheel's axis
//! as the evening before found it, and how sure that is, against the truth.

use rayon::prelude::*;
use sightcord::bench::from_job::{bench_settings, scene_settings};
use sightcord::bench::known_wheel::KnownWheel;
use sightcord::bench::{self, BenchSettings, Figures};
use sightcord::figure::{Figure, Side};
use sightcord::job::Job;
use sightcord::measurement::Quality;
use sightcord::plan::asked::{asked_and_done, says_enough};
use sightcord::plan::evening::Evening;
use sightcord::plan::outcome::{PlanStep, StepKind};
use sightcord::plan::progress::{Progress, StepProgress};
use sightcord::plan::since::since;
use sightcord::plan::{PlanSettings, plan};
use sightcord::scene;

use crate::common::scene::TabError;
use crate::common::solving::{scene_photos, solved};
use crate::common::{SightingKnobs, TruthScene};

const JOB: &str = "schema = \"sightcord-job/1\"\n[print]\nmeasured_along_mm = 250.0\nmeasured_across_mm = 160.0\n[adjusters]\n\
                   spacing_mm = 200\n[spacers]\nkind = \"gearbox\"\n[bench]\nlevelled = \"spirit level\"\n";

/// A bike whose wheel, chain line and rim are out, with a rear sprocket that wobbles.
fn crooked(seed: u64, chain_side: Side) -> TruthScene {
    let mut scene = TruthScene { seed, ..TruthScene::default() };
    let sign = if seed.is_multiple_of(2) { 1.0 } else { -1.0 };
    let wheel = &mut scene.bike.wheel;
    wheel.yaw_deg = 0.7 * sign;
    wheel.lean_deg = 0.05;
    wheel.centre.y = 2.4 * sign;
    scene.bike.rear_sprocket.wobble_mm = 0.15;
    scene.with_chain_on(chain_side, 3.2 * sign)
}

/// The evening as a comparison reads it.
fn evening(figures: Figures, job: &Job) -> Evening {
    let outcome = plan(&figures, &PlanSettings::from(job));
    Evening { figures, plan: outcome.plan, verdicts: outcome.verdicts, ..Evening::default() }
}

/// Four photos of one position, three of them from the chain's side, and the wheel not quite as it
/// stood the evening before.
fn few_photos(truth: &TruthScene, position: usize) -> TruthScene {
    let mut scene = truth.clone();
    scene.seed += 100;
    scene.bike.wheel.mark_deg += 9.0;
    scene.take_photos();
    let kept = match scene.bike.chain_side {
        Side::Left => [0, 2, 3, 5],
        Side::Right => [4, 6, 7, 1],
    };
    let mut setup = scene.setups.swap_remove(position);
    setup.photos = setup
        .photos
        .into_iter()
        .enumerate()
        .filter(|(i, _)| kept.contains(i))
        .map(|(_, photo)| photo)
        .collect();
    scene.setups = vec![setup];
    scene
}

/// The figures of few photos, by themselves and with the wheel as it was known before.
fn measured(truth: &TruthScene, job: &Job, wheel: Option<KnownWheel>) -> Figures {
    let (photos, setups, lens_only) = scene_photos(truth, &SightingKnobs::default());
    let solution = scene::solve(&photos, &scene_settings(job, &setups)).expect("a scene");
    let settings = BenchSettings { known_wheel: wheel, ..bench_settings(job, &setups, &lens_only) };
    bench::measure(&solution, &settings)
}

fn step_of(plan: &[PlanStep], kind: StepKind) -> PlanStep {
    plan.iter()
        .find(|step| step.step == kind)
        .unwrap_or_else(|| panic!("no {kind:?}: {plan:?}"))
        .clone()
}

/// A step done to this part of it.
fn partly(step: &PlanStep, share: f64) -> PlanStep {
    let mut step = step.clone();
    step.distance.as_mut().expect("a distance").value *= share;
    step
}

/// What few photos tell of a step that was done to this part, and the true amount of it in the
/// unit in which it is told.
fn told(seed: u64, chain_side: Side, kind: StepKind, share: f64) -> (PlanStep, StepProgress, f64) {
    let job = Job::parse(JOB).expect("a job");
    let truth = crooked(seed, chain_side);
    let (_, figures) = solved(&truth, &SightingKnobs::default(), &job).expect("a scene");
    let before = evening(figures, &job);
    let step = step_of(&before.plan, kind);
    let done = truth.after_step(&partly(&step, share));
    let yaw = |scene: &TruthScene| scene.expected()["/wheel/yaw"];
    let sign = step_sign(&step);
    let true_move = match kind {
        StepKind::Square => yaw(&done) - yaw(&truth),
        _ => sign * share * step.distance.expect("a distance").value,
    };
    let wheel = KnownWheel::of(&before.figures);
    assert!(wheel.is_some(), "the first evening knows its wheel");
    let after = evening(measured(&few_photos(&done, seed as usize / 2 % 2), &job, wheel), &job);
    let compared = since(&before, &after).expect("one bike");
    let told = compared.steps.into_iter().find(|told| told.n == step.n).expect("it is followed");
    (step, told, true_move)
}

fn step_sign(step: &PlanStep) -> f64 {
    use sightcord::plan::outcome::Direction::{Forward, Left, Outboard};
    if matches!(step.direction, Some(Forward | Left | Outboard)) { 1.0 } else { -1.0 }
}

#[test]
fn four_photos_of_one_position_tell_a_step_as_surely_as_they_say() {
    let mut cases = Vec::new();
    for kind in [StepKind::Square, StepKind::Chain, StepKind::Centre] {
        for seed in 1..=6 {
            for side in [Side::Left, Side::Right] {
                cases.push((kind, seed, side));
            }
        }
    }
    let all: Vec<(StepKind, f64, f64, bool, String)> = cases
        .par_iter()
        .map(|&(kind, seed, side)| {
            let share = [1.0, 0.5, 1.0][seed as usize % 3];
            let (step, told, true_move) = told(seed, side, kind, share);
            let found = told.found.unwrap_or_else(|| panic!("{kind:?} {seed} {side:?}: {told:?}"));
            let off = (found.value - true_move).abs() / found.u;
            let words =
                format!("{kind:?} {seed} {side:?} {share}: {:?}", asked_and_done(&step, &told));
            (kind, off, found.u, found.quality == Quality::Good && says_enough(&told), words)
        })
        .collect();
    for kind in [StepKind::Square, StepKind::Chain, StepKind::Centre] {
        let of_kind: Vec<_> = all.iter().filter(|one| one.0 == kind).collect();
        let off: Vec<f64> = of_kind.iter().map(|one| one.1).collect();
        let rms = (off.iter().map(|x| x * x).sum::<f64>() / off.len() as f64).sqrt();
        let enough = of_kind.iter().filter(|one| one.3).count();
        let list: Vec<String> = of_kind
            .iter()
            .map(|one| format!("{:.2} of U {:.3}, {}", one.1, one.2, one.4))
            .collect();
        println!(
            "{kind:?}: rms {rms:.2} of U, {enough} of {} sharp\n  {}",
            off.len(),
            list.join("\n  ")
        );
        // k = 2: the rms of honest errors is half of U.
        assert!(rms < 0.75 && off.iter().all(|x| *x < 1.6), "{kind:?} claims too much: {list:#?}");
        if kind != StepKind::Centre {
            assert!(enough * 4 >= of_kind.len() * 3, "{kind:?} says too little: {list:#?}");
        }
    }
}

#[test]
fn what_is_left_is_said_and_done_is_fine() {
    let said = |share: f64| {
        let (step, told, _) = told(2, Side::Left, StepKind::Square, share);
        (told.progress, asked_and_done(&step, &told).expect("words").to_string())
    };
    let (progress, words) = said(1.0);
    assert_eq!(progress, Progress::Done, "{words}");
    assert!(words.starts_with("asked 2.4") && words.contains(": fine"), "{words}");
    let (progress, words) = said(0.4);
    assert_eq!(progress, Progress::Partly, "{words}");
    assert!(words.contains("mm left") && words.contains(", done "), "{words}");
}

#[test]
fn without_the_evening_before_or_with_tabs_stuck_on_anew_nothing_is_told() {
    let job = Job::parse(JOB).expect("a job");
    let truth = crooked(2, Side::Left);
    let (_, figures) = solved(&truth, &SightingKnobs::default(), &job).expect("a scene");
    let wheel = KnownWheel::of(&figures);
    let few = few_photos(&truth, 0);
    let has_axis = |figures: &Figures| figures.get(&Figure::WheelLean).is_some();
    assert!(!has_axis(&measured(&few, &job, None)), "one position tells no axis by itself");
    assert!(has_axis(&measured(&few, &job, wheel.clone())));
    let mut anew = few.clone();
    anew.tab_errors.insert(9, TabError { sideways_mm: [4.0, 0.0], ..TabError::default() });
    assert!(!has_axis(&measured(&anew, &job, wheel)), "tab 9 was stuck on elsewhere");
    // One position knows no axis for another evening either.
    assert_eq!(KnownWheel::of(&measured(&few, &job, None)), None);
}
