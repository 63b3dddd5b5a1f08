//! What the photos check of each other and of the print: a third set-up the wheel's axis, the
//! set-ups the rim's width, a caliper the print.

use sightcord::bench::Figures;
use sightcord::figure::Figure;
use sightcord::finding::Finding;
use sightcord::job::{Job, Side};

use crate::common;
use crate::common::solving::{by_pointer, solved};
use crate::common::{SetUp, SightingKnobs, TruthScene};

const UNSTEADY: &str = "wheel-axis-unsteady";
const CALIPER: &str = "print-scale-contradicts-caliper";

/// Three set-ups, a third of a turn apart.
fn three_setups(chain_side: Side) -> TruthScene {
    let mut truth = TruthScene::default();
    truth.setups[1].wheel_turn_deg = 120.0;
    truth.setups.push(SetUp::new("3-mark-below", 240.0, Vec::new()));
    truth.with_chain_on(chain_side, 1.1)
}

fn figures(truth: &TruthScene, settings: &str) -> Figures {
    let job = Job::parse(&format!("schema = \"sightcord-job/1\"\n{settings}")).expect("a job");
    solved(truth, &SightingKnobs::default(), &job).expect("a scene").1
}

fn finding<'a>(figures: &'a Figures, id: &str) -> Option<&'a Finding> {
    figures.findings.iter().find(|finding| finding.id == id)
}

fn outside_their_u(truth: &TruthScene, figures: &Figures) -> Vec<String> {
    let measured = by_pointer(figures);
    let told = truth
        .expected()
        .into_iter()
        .filter_map(|(pointer, value)| Some((measured.get(&pointer).copied()?, pointer, value)));
    told.filter(|(figure, _, value)| (figure.value - value).abs() > figure.u)
        .map(|(figure, pointer, value)| {
            format!("{pointer}: {:.3} ± {:.3}, true {value:.3}", figure.value, figure.u)
        })
        .collect()
}

#[test]
fn a_third_set_up_that_agrees_is_quiet_and_tells_the_same_axis() {
    for side in [Side::Left, Side::Right] {
        let truth = three_setups(side);
        let figures = figures(&truth, "");
        assert_eq!(finding(&figures, UNSTEADY), None);
        assert_eq!(outside_their_u(&truth, &figures), [""; 0]);
        let widths =
            figures.measured.table.figures().filter(|figure| matches!(figure, Figure::RimWidth(_)));
        assert_eq!(widths.count(), 3);
    }
}

#[test]
fn end_float_does_no_harm_to_the_axis() {
    let mut truth = three_setups(Side::Left);
    truth.setups[2].end_float_mm = 0.5;
    assert_eq!(finding(&figures(&truth, ""), UNSTEADY), None);
}

#[test]
fn many_good_jobs_are_not_called_unsteady() {
    let called = (1..=8).filter(|&seed| {
        let mut truth = TruthScene { seed, ..three_setups(Side::Left) };
        truth.take_photos();
        finding(&figures(&truth, ""), UNSTEADY).is_some()
    });
    assert_eq!(called.collect::<Vec<u64>>(), [0; 0]);
}

#[test]
fn a_wheel_with_play_in_its_bearings_is_shown_by_the_third_set_up_and_its_uncertainty_raised() {
    let steady = figures(&three_setups(Side::Left), "");
    for (play_deg, figure) in [([0.25, 0.0], "/wheel/yaw"), ([0.0, -0.25], "/wheel/lean")] {
        let mut truth = three_setups(Side::Left);
        truth.setups[2].play_deg = play_deg;
        let loose = figures(&truth, "");
        let told = finding(&loose, UNSTEADY).expect("the third set-up tells it");
        assert!(told.what.contains("degrees"), "{}", told.what);
        let (loose, steady) = (by_pointer(&loose)[figure], by_pointer(&steady)[figure]);
        assert!(loose.u > 2.0 * steady.u, "{figure}: U is {} beside {}", loose.u, steady.u);
        // The axis of any two of the three set-ups is then covered.
        let truth = truth.expected()[figure];
        assert!(
            (loose.value - truth).abs() < loose.u,
            "{figure} {} ± {}, true {truth}",
            loose.value,
            loose.u
        );
    }
}

#[test]
fn a_wheel_that_was_set_in_elsewhere_is_shown_by_the_third_set_up() {
    for reseated_mm in [[1.5, 0.0], [0.0, -1.0]] {
        let mut truth = three_setups(Side::Right);
        truth.setups[2].reseated_mm = reseated_mm;
        let figures = figures(&truth, "");
        assert!(finding(&figures, UNSTEADY).is_some(), "{reseated_mm:?}");
        assert!(by_pointer(&figures)["/chain/centres"].u > reseated_mm[0].abs());
    }
}

#[test]
fn two_set_ups_can_tell_nothing_of_the_kind() {
    let mut truth = TruthScene::default();
    truth.setups[1].reseated_mm = [1.5, 0.0];
    assert_eq!(finding(&figures(&truth, ""), UNSTEADY), None);
}

#[test]
fn a_caliper_on_the_rim_reveals_a_print_that_was_fitted_to_the_page() {
    let mut shrunk = TruthScene::default();
    shrunk.print.scale_error = [-0.03, -0.03];
    let shrunk_figures = figures(&shrunk, "[rim]\nwidth_mm = 60.0\n");
    let told = finding(&shrunk_figures, CALIPER).expect("the caliper contradicts");
    assert!(told.what.contains("off by 3.") || told.what.contains("off by 2.9"), "{}", told.what);
    assert!(told.what.contains("97.") || told.what.contains("96.9"), "{}", told.what);
    assert_eq!(told.field.as_deref(), Some("/rim_width/1-mark-forward"));
    // The caliper's value changes no figure.
    let without = figures(&shrunk, "");
    assert_eq!(finding(&without, CALIPER), None);
    assert_eq!(by_pointer(&without), by_pointer(&shrunk_figures));
    // Nor does it contradict a print whose check lines were measured as they are.
    let measured =
        "[rim]\nwidth_mm = 60.0\n[print]\nmeasured_along_mm = 242.5\nmeasured_across_mm = 155.2\n";
    assert_eq!(finding(&figures(&shrunk, measured), CALIPER), None);
    // A rule that was read wrongly is reported as such.
    let misread =
        "[rim]\nwidth_mm = 60.0\n[print]\nmeasured_along_mm = 250.0\nmeasured_across_mm = 160.0\n";
    let misread = figures(&shrunk, misread);
    assert!(
        finding(&misread, CALIPER).expect("the caliper contradicts").advice.contains("once more")
    );
}

#[test]
fn a_print_at_its_size_agrees_with_the_caliper_and_then_has_a_smaller_uncertainty() {
    let truth = TruthScene::default();
    let figures = figures(&truth, "[rim]\nwidth_mm = 60.1\n");
    assert_eq!(finding(&figures, CALIPER), None);
    let print = finding(&figures, "print-not-measured").expect("nobody laid a rule on it");
    assert!(print.what.contains("The caliper's rim width agrees"), "{}", print.what);
}

#[test]
fn rim_widths_that_differ_between_set_ups_are_reported() {
    let truth = TruthScene::default();
    assert_eq!(finding(&figures(&truth, ""), "rim-widths-differ"), None);
    // The left rim tab came off and was stuck on again over something, between the set-ups.
    let mut second = truth.clone();
    second.tab_errors.insert(1, common::TabError { normal_mm: 1.2, ..Default::default() });
    let first = common::solving::scene_photos(&truth, &SightingKnobs::default());
    let (photos, setups, lens_only) =
        common::solving::scene_photos(&second, &SightingKnobs::default());
    let mixed: Vec<_> =
        first.0.into_iter().zip(photos).map(|(a, b)| if a.setup == 0 { a } else { b }).collect();
    let job = Job::default();
    let solution =
        sightcord::scene::solve(&mixed, &sightcord::bench::from_job::scene_settings(&job, &setups))
            .expect("a scene");
    let figures = sightcord::bench::measure(
        &solution,
        &sightcord::bench::from_job::bench_settings(&job, &setups, &lens_only),
    );
    let told = finding(&figures, "rim-widths-differ");
    let told = told.unwrap_or_else(|| {
        panic!("the widths differ: {:?}, {:?}", solution.findings, by_pointer(&figures))
    });
    assert!(told.what.contains("60.0 mm") && told.what.contains("61.2 mm"), "{}", told.what);
}
