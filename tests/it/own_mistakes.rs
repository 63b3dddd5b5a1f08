//! A mistake of the program itself, wherever it happens, is a finding, and what was measured is not
//! lost with it.

use crate::common::kept::small_job;
use sightcord::guarded::guarded;
use sightcord::pictures::or_result_alone;
use sightcord::pipeline::{self, Measured, Progress};

/// Measures a small job and makes a mistake at this moment.
fn measured_with_mistake(at: &Progress) -> Measured {
    let job = small_job();
    let opened = pipeline::open(job.path()).unwrap();
    pipeline::measure(opened, &|progress| assert!(progress != *at, "a mistake on purpose"))
}

fn mistakes(measured: &Measured) -> Vec<String> {
    let findings =
        measured.document.findings.iter().filter(|finding| finding.id == "program-mistake");
    findings.map(|finding| finding.what.to_string()).collect()
}

#[test]
fn a_mistake_in_the_solver_or_the_plan_is_a_finding() {
    for (at, lost) in [
        (Progress::Solving, "No scene could be solved"),
        (Progress::Planning, "Nothing is judged and nothing planned"),
    ] {
        let measured = measured_with_mistake(&at);
        let told = mistakes(&measured);
        assert!(
            told.len() == 1
                && told[0].starts_with(lost)
                && told[0].contains("a mistake on purpose"),
            "{told:?}"
        );
        assert_eq!(measured.document.photos.len(), 3);
    }
}

#[test]
fn a_report_that_cannot_be_drawn_leaves_the_result_with_a_finding() {
    let job = small_job();
    let mut measured = pipeline::measure(pipeline::open(job.path()).unwrap(), &|_| {});
    let (text, files) = or_result_alone(&mut measured, |_| panic!("a mistake on purpose"));
    assert!(
        text.contains("the figures stand in result.json alone") && text.contains("report it"),
        "{text}"
    );
    assert_eq!(files.len(), 1);
    let result = String::from_utf8(files[0].bytes.clone()).unwrap();
    assert!(files[0].path == "result.json" && result.contains("program-mistake"), "{result}");
}

#[test]
fn a_panic_becomes_a_finding_that_says_what_was_lost_and_where_to_report_it() {
    let finding = guarded("a.jpg is not used.", || assert_eq!(1, 2, "one is not two")).unwrap_err();
    assert!(
        finding.what.starts_with("a.jpg is not used.") && finding.what.contains("one is not two"),
        "{finding:?}"
    );
    assert!(finding.advice.contains("report"), "{finding:?}");
    assert_eq!(guarded("", || 7).ok(), Some(7));
}
