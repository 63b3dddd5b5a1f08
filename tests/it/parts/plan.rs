//! Words of the plan: what was asked beside what was done, flats in turns.

use sightcord::measurement::{Measurement, Quality};
use sightcord::plan::asked::asked_and_done;
use sightcord::plan::outcome::{PlanStep, StepKind, Unit};
use sightcord::plan::planner::blank;
use sightcord::plan::progress::{Progress, StepProgress};
use sightcord::plan::words::turns_in_words;
use sightcord::text::Sentence;

/// Found 1.1 of 1.4 mm with a ± of 0.85: all of it, or less than a fifth.
#[test]
fn nothing_is_called_fine_with_a_u_above_half_of_what_was_asked() {
    let step = PlanStep { step: StepKind::Chain, ..blank() };
    let told = |u: f64| StepProgress {
        n: 1,
        step: StepKind::Chain,
        unit: Unit::Mm,
        planned: Some(1.4),
        found: Some(Measurement { value: 1.1, u, quality: Quality::Good }),
        progress: Progress::Done,
        why_not_shown: None,
        what: Sentence::default(),
    };
    let words = |u: f64| asked_and_done(&step, &told(u)).expect("words").to_string();
    assert!(words(0.85).ends_with("the photos tell too little"), "{}", words(0.85));
    assert!(words(0.5).ends_with("fine, as far as these photos tell"), "{}", words(0.5));
    assert!(words(0.2).ends_with(": fine"), "{}", words(0.2));
}

#[test]
fn flats_are_said_in_turns() {
    let said = [1, 3, 6, 7, 12, 14].map(turns_in_words);
    assert_eq!(
        said,
        ["1 flat", "3 flats", "1 turn", "1 turn and 1 flat", "2 turns", "2 turns and 2 flats"]
    );
}
