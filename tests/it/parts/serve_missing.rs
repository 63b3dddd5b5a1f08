//! Which photos the bench page says are still missing to tell what became of a step.

use sightcord::figure::Side;
use sightcord::glance::seen::{Glance, SeenPattern};
use sightcord::job::Job;
use sightcord::plan::outcome::{PlanStep, StepKind};
use sightcord::plan::planner::blank;
use sightcord::serve::still_missing::SoFar;

fn photo(tabs: &[u8]) -> Glance {
    let pattern = |number: u8| SeenPattern {
        number,
        role: None,
        corners: 100,
        cell_px: 12.0,
        mm_per_px: 0.8,
    };
    Glance { tabs: tabs.iter().map(|n| pattern(*n)).collect(), ..Glance::default() }
}

/// What is said to be missing for a step of a bike with its chain on the left.
fn missing(
    step: StepKind,
    photos: [&[Glance]; 2],
    wheel_is_known: bool,
    was_measured: bool,
) -> Option<String> {
    let positions = photos.map(|of_position| of_position.iter().collect()).into();
    let job = Job::default();
    let so_far = SoFar {
        positions,
        job: &job,
        chain_side: Some(Side::Left),
        wheel_is_known,
        in_frame: None,
    };
    so_far.still_missing(&PlanStep { step, ..blank() }, was_measured)
}

fn left() -> Glance {
    photo(&[1, 5, 6, 7, 8, 9, 10])
}

fn right() -> Glance {
    photo(&[2])
}

#[test]
fn one_position_is_enough_where_the_wheel_is_known() {
    let said = |photos: &[Glance]| missing(StepKind::Square, [photos, &[]], true, false);
    assert_eq!(
        said(&[]).as_deref(),
        Some(
            "still missing: four photos: three from the left, a pace apart, with tabs 1, 8 to 10 in them, and one from the right."
        )
    );
    assert_eq!(
        said(&[left()]).as_deref(),
        Some(
            "still missing: three more photos: two from the left, a pace apart, with tabs 1, 8 to 10 in them, and one from the right."
        )
    );
    assert_eq!(
        said(&[left(), left(), left()]).as_deref(),
        Some("still missing: one more photo from the right."),
        "the cord is seen from the left alone"
    );
    assert_eq!(said(&[left(), left(), left(), right()]), None, "it is being measured");
    let chain = missing(StepKind::Chain, [&[], &[]], true, false);
    assert!(chain.as_deref().is_some_and(|words| words.contains("tabs 1, 5 to 10")), "{chain:?}");
    let rim = |photos: &[Glance]| missing(StepKind::Centre, [photos, &[]], true, false);
    assert_eq!(
        rim(&[left(), left()]).as_deref(),
        Some("still missing: two more photos from the right, a pace apart, with tab 2 in them.")
    );
    assert_eq!(
        rim(&[left(), left(), left(), right()]).as_deref(),
        Some("still missing: one more photo from the right with tab 2 in it.")
    );
}

#[test]
fn what_one_position_leaves_open_asks_for_the_wheel_turned_half_round() {
    let here = [left(), left(), right(), right()];
    let wanted = Some(
        "still missing: four photos, two from each side, a pace apart, with tabs 1, 2, 8 to 10 in them, the wheel turned half round."
            .to_owned(),
    );
    assert_eq!(missing(StepKind::Square, [&here, &[]], true, true), wanted);
    assert_eq!(missing(StepKind::Square, [&here, &[]], false, false), wanted);
    assert_eq!(missing(StepKind::Square, [&[], &here], false, false), wanted);
    let both = missing(StepKind::Square, [&here, &here], true, true);
    assert_eq!(both, None, "there is nothing more to ask for");
    let first = missing(StepKind::Square, [&[], &[]], false, false);
    assert_eq!(
        first.as_deref(),
        Some(
            "still missing: four photos, two from each side, a pace apart, with tabs 1, 2, 8 to 10 in them, and as many with the wheel \
             turned half round."
        )
    );
    let there = [&here[..], &[right(), right()][..]];
    assert_eq!(
        missing(StepKind::Square, there, false, false).as_deref(),
        Some(
            "still missing: two more photos from the left, a pace apart, with tabs 1, 8 to 10 in them, the wheel turned half round."
        )
    );
}
