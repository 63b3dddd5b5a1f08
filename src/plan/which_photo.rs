//! What would decide a verdict that is open: where its uncertainty comes from, and the one photo
//! that brings it down most.

use super::outcome::{Decision, Outcome, Verdict};
use crate::bench::Figures;
use crate::bench::advice::Advice;
use crate::figure::Figure;
use crate::finding::Finding;
use crate::measurement::Quality;
use crate::say;
use crate::text::units::Show;
use crate::text::{Amount, Sentence};

/// What the budget calls the noise of the photos themselves.
const PHOTOS: &str = "photos";

/// How a sentence begins that says what one more photo does for a verdict.
pub const BRINGS: [&str; 2] =
    ["One more photo brings it to ", "No single photo is enough. The best one brings it to "];
/// The finding that names a photo which would help a figure.
pub const WOULD_HELP: &str = "photo-would-help";

/// Adds to a verdict that its uncertainty keeps open where the largest part of it comes from.
pub fn name_source(verdict: &mut Verdict, input: &Figures) {
    if u_that_decides(verdict).is_none() {
        return;
    }
    let of_field = input.budget.iter().filter(|entry| entry.field == verdict.field);
    let Some(most) = of_field.max_by(|a, b| a.u.total_cmp(&b.u)) else { return };
    let from = if most.from == PHOTOS { "the photos' own noise" } else { &most.from };
    add(verdict, say![format!("Most of the ± comes from {from}.")]);
}

/// Adds to each verdict that its uncertainty keeps open the photo that helps it most, and whether
/// that photo alone decides it. Advice on other figures becomes findings.
pub fn name_photos(outcome: &mut Outcome, advice: &[Advice]) -> Vec<Finding> {
    for verdict in &mut outcome.verdicts {
        let Some(enough) = u_that_decides(verdict) else { continue };
        let photo = match advice.iter().find(|advice| advice.field == verdict.field) {
            None => say!["One more photo would hardly help."],
            Some(photo) => {
                let then = Amount::at_least(photo.u_then, verdict.unit);
                let enough = match photo.u_then <= enough {
                    true => say![BRINGS[0], then, ": enough, if the value stays."],
                    false => say![BRINGS[1], then, "."],
                };
                enough.and(&photo.words)
            }
        };
        add(verdict, photo);
    }
    let named = |field: &Figure| {
        outcome.verdicts.iter().any(|v| v.field == *field && u_that_decides(v).is_some())
    };
    // What people read must differ, or the photo is not worth the walk.
    let shown = |advice: &Advice, u: f64| Amount::at_least(u, advice.field.unit()).shown(Show::Mm);
    let helps = |advice: &&Advice| shown(advice, advice.u_now) != shown(advice, advice.u_then);
    advice.iter().filter(|advice| !named(&advice.field)).filter(helps).map(finding).collect()
}

fn finding(advice: &Advice) -> Finding {
    let unit = advice.field.unit();
    let what = say![
        format!("One more photo would bring the ± of {} from ", advice.field.name()),
        Amount::at_least(advice.u_now, unit),
        " to ",
        Amount::at_least(advice.u_then, unit),
        ".",
    ];
    Finding::note(WOULD_HELP, what, advice.words.clone()).about(advice.field.clone())
}

/// The U from which on an undecided verdict is clear; None where it is decided, or open for another
/// reason than its U.
fn u_that_decides(verdict: &Verdict) -> Option<f64> {
    let figure =
        verdict.value.filter(|_| verdict.verdict == Decision::Undecided && !verdict.blocked)?;
    let enough = (verdict.tolerance - (figure.value - verdict.nominal).abs()).abs();
    (figure.quality == Quality::Good && figure.u > enough).then_some(enough)
}

fn add(verdict: &mut Verdict, sentence: Sentence) {
    verdict.decide = Some(verdict.decide.take().unwrap_or_default().and(sentence));
}
