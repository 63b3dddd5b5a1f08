//! What is upright: from a plumb line with one flag, from a bench that was levelled, or from
//! nobody; and a wheel knocked within a set-up.

use crate::common::compare::assert_honest;
use crate::common::solving::{by_pointer, scene_photos, solved};
use crate::common::{SightingKnobs, TruthScene};
use sightcord::bench::from_job::{bench_settings, scene_settings};
use sightcord::bench::{self, Figures};
use sightcord::cards::Pattern;
use sightcord::figure::Figure;
use sightcord::figure::facts::UpFrom;
use sightcord::job::Job;
use sightcord::job::settings::Levelled;
use sightcord::plan::outcome::{Decision, Outcome};
use sightcord::plan::{PlanSettings, plan};
use sightcord::scene::{self, ScenePhoto};
use sightcord::sightings::StringKind;

fn without_lines() -> TruthScene {
    let mut truth = TruthScene::full();
    truth.bike.frame.plumb_lines.clear();
    truth
}

fn judged(figures: &Figures, job: &Job) -> Outcome {
    plan(figures, &PlanSettings::from(job))
}

fn verdict(outcome: &Outcome, field: &str) -> Decision {
    outcome
        .verdicts
        .iter()
        .find(|verdict| verdict.field == field)
        .unwrap_or_else(|| panic!("no verdict on {field}"))
        .verdict
}

/// Lean, rim and wheel offset of a bench nobody levelled hold relative to it and are not judged;
/// squareness is.
#[test]
fn a_bench_of_unknown_level_gives_figures_and_no_verdicts() {
    let job = Job::default();
    let (_, figures) = solved(&without_lines(), &SightingKnobs::exact(), &job).expect("a scene");
    assert_eq!(figures.measured.up.from, UpFrom::Bench);
    assert!(
        figures.get(&Figure::LevelAlong).is_none() && figures.get(&Figure::LevelAcross).is_none()
    );
    let lean = figures.get(&Figure::WheelLean).expect("a lean");
    assert!((0.28..0.45).contains(&lean.u), "{lean:?}");
    for field in ["/wheel/lean", "/wheel/offset", "/rim/1-mark-forward/left/offset"] {
        assert!(
            figures.measured.up.relative_to_bench.iter().any(|f| *f == field),
            "{field}: {:?}",
            figures.measured.up.relative_to_bench
        );
    }
    assert!(!figures.measured.up.relative_to_bench.contains(&Figure::WheelYaw));
    let finding =
        figures.findings.iter().find(|f| f.id == "bench-level-unknown").expect("a finding");
    assert!(
        finding.advice.contains("spirit level") && finding.advice.contains("plumb line"),
        "{finding:?}"
    );
    assert!(figures.findings.iter().any(|f| f.field.as_deref() == Some("/plumb/A/offset")));
    let outcome = judged(&figures, &job);
    assert_eq!(verdict(&outcome, "/wheel/lean"), Decision::Undecided);
    let lean =
        outcome.verdicts.iter().find(|verdict| verdict.field == "/wheel/lean").expect("a verdict");
    assert!(
        lean.blocked && lean.decide.as_ref().is_some_and(|why| why.contains("spirit level")),
        "{lean:?}"
    );
}

#[test]
fn a_laid_spirit_level_is_judged_by_with_its_own_uncertainty() {
    let mut job = Job::default();
    job.bench.levelled = Some(Levelled::SpiritLevel);
    let (_, figures) = solved(&without_lines(), &SightingKnobs::exact(), &job).expect("a scene");
    assert_eq!(figures.measured.up.from, UpFrom::SpiritLevel);
    let lean = figures.get(&Figure::WheelLean).expect("a lean");
    assert!((0.09..0.2).contains(&lean.u), "{lean:?}");
    assert!(figures.get(&Figure::LevelAcross).is_none());
    assert!(
        judged(&figures, &job)
            .verdicts
            .iter()
            .all(|verdict| !verdict.blocked || verdict.field == "/wheel_in_frame/yaw")
    );
}

#[test]
fn a_reading_of_a_level_tells_the_benchs_level() {
    let mut job = Job::default();
    job.bench.level_across_deg = Some(0.2);
    let (_, figures) = solved(&without_lines(), &SightingKnobs::exact(), &job).expect("a scene");
    assert_eq!(figures.measured.up.from, UpFrom::Reading);
    assert!((figures.get(&Figure::LevelAcross).expect("a level").value - 0.2).abs() < 0.01);
    assert!(figures.measured.up.relative_to_bench.is_empty());
}

/// Photos without the upper flags: the lower one says which line it is, its images how it hangs.
#[test]
fn one_flag_and_the_lines_own_images_tell_upright() {
    let truth = TruthScene::full();
    let job = Job::default();
    let (mut photos, setups, lens_only) = scene_photos(&truth, &SightingKnobs::exact());
    for photo in &mut photos {
        photo.sightings.patterns.retain(|seen| !matches!(seen.pattern, Pattern::Tab(21 | 23)));
    }
    let figures = told(&photos, &setups, &lens_only, &job);
    assert_eq!(figures.measured.up.from, UpFrom::PlumbLine);
    let expected = truth.expected();
    let measured = by_pointer(&figures);
    for field in ["/wheel/lean", "/plumb/A/offset", "/bench/level_across"] {
        let (figure, expected) = (measured[field], expected[field]);
        assert!((figure.value - expected).abs() <= figure.u, "{field}: {figure:?} for {expected}");
    }
    assert!(measured["/wheel/lean"].u < 0.05, "{:?}", measured["/wheel/lean"]);
}

/// A flag without a line shows where the line hangs and nothing of upright, which is reported.
#[test]
fn a_flag_alone_tells_nothing_of_upright() {
    let truth = TruthScene::full();
    let job = Job::default();
    let (mut photos, setups, lens_only) = scene_photos(&truth, &SightingKnobs::exact());
    for photo in &mut photos {
        photo.sightings.patterns.retain(|seen| !matches!(seen.pattern, Pattern::Tab(21 | 23)));
        photo.sightings.lines.retain(|line| !matches!(line.kind, StringKind::Plumb(_)));
    }
    let figures = told(&photos, &setups, &lens_only, &job);
    assert_eq!(figures.measured.up.from, UpFrom::Bench);
    let finding =
        figures.findings.iter().find(|f| f.id == "plumb-line-not-read").expect("a finding");
    assert!(finding.what.contains("in none"), "{finding:?}");
}

fn told(photos: &[ScenePhoto], setups: &[String], lens_only: &[bool], job: &Job) -> Figures {
    let solution = scene::solve(photos, &scene_settings(job, setups)).expect("a scene");
    bench::measure(&solution, &bench_settings(job, setups, lens_only))
}

/// The photos of a job as the wheel stood first, and all of them again as it stood after a knock.
struct Knocked {
    truth: TruthScene,
    photos: Vec<ScenePhoto>,
    others: Vec<ScenePhoto>,
    setups: Vec<String>,
    lens_only: Vec<bool>,
}

impl Knocked {
    fn wheel() -> Self {
        let truth = TruthScene::full();
        let mut knocked = truth.clone();
        knocked.bike.wheel.yaw_deg += 0.24;
        knocked.bike.wheel.centre.y += 0.8;
        let (photos, setups, lens_only) = scene_photos(&truth, &SightingKnobs::ordinary());
        let (others, ..) = scene_photos(&knocked, &SightingKnobs::ordinary());
        Self { truth, photos, others, setups, lens_only }
    }
}

/// Somebody leans on the wheel while the second set-up is photographed.
#[test]
fn a_wheel_knocked_within_a_setup_is_reported_and_harms_no_figure() {
    let Knocked { truth, mut photos, others, setups, lens_only } = Knocked::wheel();
    let job = Job::default();
    let last = setups.len() - 1;
    let of_last: Vec<usize> = (0..photos.len()).filter(|&i| photos[i].setup == last).collect();
    let from = of_last[of_last.len() - of_last.len() / 3];
    for i in of_last.into_iter().filter(|&i| i >= from) {
        photos[i] = others[i].clone();
    }
    let solution = scene::solve(&photos, &scene_settings(&job, &setups)).expect("a scene");
    let finding =
        solution.findings.iter().find(|f| f.id == "moved-within-setup").expect("a finding");
    // A photo or two from there on may fit both places.
    let named = photos
        .iter()
        .position(|photo| Some(photo.file.as_str()) == finding.photo.as_deref())
        .expect("a photo of the job");
    assert!((from..from + 3).contains(&named), "{finding:?}");
    let figures = bench::measure(&solution, &bench_settings(&job, &setups, &lens_only));
    assert_honest(&figures, &truth, 2.0);
}

/// The wheel is knocked while somebody walks round to the other side: no photo contradicts its
/// neighbours, only both sides together do.
#[test]
fn a_wheel_knocked_between_both_sides_photos_is_reported_and_harms_no_figure() {
    let Knocked { truth, mut photos, others, setups, lens_only } = Knocked::wheel();
    let job = Job::default();
    let last = setups.len() - 1;
    for (i, (setup, photo)) in truth.photo_indices().into_iter().enumerate() {
        if setup == last && truth.setups[setup].photos[photo].centre.y < 0.0 {
            photos[i] = others[i].clone();
        }
    }
    // Where only both sides together contradict each other, the second solution looks for a second
    // place.
    let first = scene::solve(&photos, &scene_settings(&job, &setups)).expect("a scene");
    let solution =
        scene::solve_again(&first, &photos, &scene_settings(&job, &setups)).expect("a scene");
    let figures = bench::measure(&solution, &bench_settings(&job, &setups, &lens_only));
    let findings: Vec<&str> =
        solution.findings.iter().chain(&figures.findings).map(|f| f.id.as_str()).collect();
    let tells = ["moved-within-setup", "tab-moved", "part-moved", "wheel-moved"];
    assert!(findings.iter().any(|id| tells.contains(id)), "{findings:?}");
    assert_honest(&figures, &truth, 2.0);
}

/// The wheel is taken out and set in elsewhere while it is turned: both ends of its spindle went
/// along, whichever of their tabs shows it, and none ties the set-ups together.
#[test]
fn a_wheel_set_in_elsewhere_takes_both_ends_of_its_spindle_along() {
    let Knocked { mut photos, others, setups, .. } = Knocked::wheel();
    let settings = scene_settings(&Job::default(), &setups);
    let last = setups.len() - 1;
    for (i, photo) in others.into_iter().enumerate().filter(|(_, photo)| photo.setup == last) {
        photos[i] = photo;
    }
    // Of the right end one photo a set-up is left: by itself it would not be enough to tell.
    for setup in 0..setups.len() {
        let shows = |photo: &ScenePhoto| {
            photo.setup == setup
                && photo.sightings.patterns.iter().any(|s| s.pattern == Pattern::Tab(12))
        };
        for i in (0..photos.len()).filter(|&i| shows(&photos[i])).skip(1).collect::<Vec<usize>>() {
            photos[i].sightings.patterns.retain(|s| s.pattern != Pattern::Tab(12));
        }
    }
    let solution = scene::solve(&photos, &settings).expect("a scene");
    let told = solution.findings.iter().find(|f| f.id == "part-moved").expect("a finding");
    assert!(told.what.to_string().contains("Tabs 11 and 12 moved together"), "{told:?}");
}

/// The same by a tenth of a degree or two, seen by an unsteady hand: no corner stands out, for each
/// photo's own movement gives way.
#[test]
fn a_wheel_knocked_a_little_between_setups_is_told_in_an_unsteady_hand() {
    for seed in 1..=4 {
        let truth = TruthScene { seed, ..TruthScene::default() };
        let mut knocked = truth.clone();
        knocked.bike.wheel.yaw_deg -= 0.18;
        knocked.bike.wheel.centre.y += 0.4;
        let knobs = SightingKnobs { hand: Some([1.5, 0.03]), ..SightingKnobs::ordinary() };
        let (mut photos, setups, lens_only) = scene_photos(&truth, &knobs);
        let (others, ..) = scene_photos(&knocked, &knobs);
        let last = setups.len() - 1;
        for (i, photo) in others.into_iter().enumerate().filter(|(_, photo)| photo.setup == last) {
            photos[i] = photo;
        }
        let job = Job::default();
        let solution = scene::solve(&photos, &scene_settings(&job, &setups)).expect("a scene");
        let ids: Vec<&str> = solution.findings.iter().map(|f| f.id.as_str()).collect();
        assert!(ids.contains(&"part-moved"), "seed {seed}: {ids:?}");
        // The first set-up's truth; the second's rim stands where the knock left it.
        let figures = bench::measure(&solution, &bench_settings(&job, &setups, &lens_only));
        let yaw = figures.get(&Figure::WheelYaw);
        if let Some(yaw) = yaw {
            let [a, b] = [&truth, &knocked].map(|t| t.expected()["/wheel/yaw"]);
            let off = (a.min(b) - yaw.value).max(yaw.value - a.max(b));
            assert!(off <= 2.0 * yaw.u, "seed {seed}: {yaw:?} for {a} and {b}");
        }
    }
}
