//! What would decide a verdict that is open: the one photo that brings its U down most, in words.

use super::outcome::{Decision, Outcome, Verdict};
use super::words::amount;
use crate::bench::advice::Advice;
use crate::measurement::{Measurement, Quality};

/// Adds to each undecided verdict the photo that would help it, and says whether that photo alone decides it. What is left of the advice
/// belongs to figures that are decided, or whose U is not what keeps them open.
pub fn name_photos(outcome: &mut Outcome, advice: Vec<Advice>) -> Vec<Advice> {
    let told = |advice: &Advice| {
        let verdict = outcome.verdicts.iter_mut().find(|verdict| verdict.field == advice.field);
        verdict.is_some_and(|verdict| name_photo(verdict, advice))
    };
    let (_, rest) = advice.into_iter().partition(told);
    rest
}

/// Whether the verdict is one that a photo helps and now names it.
fn name_photo(verdict: &mut Verdict, advice: &Advice) -> bool {
    let (Decision::Undecided, Some(figure)) = (verdict.verdict, verdict.value) else { return false };
    let Some(enough) = u_that_decides(verdict, &figure) else { return false };
    let then = amount(advice.u_then, verdict.unit);
    let photo = match advice.u_then <= enough {
        true => format!("One more photo would do, if the value stays: it brings the U to {then}."),
        false => format!("No single photo will do; the one that helps most brings the U to {then}."),
    };
    let before = verdict.decide.take().map_or_else(String::new, |why| format!("{why} "));
    verdict.decide = Some(format!("{before}{photo} {}", advice.words));
    true
}

/// The U from which on the verdict is clear, as far as it hangs on U: None where something else keeps it open.
fn u_that_decides(verdict: &Verdict, figure: &Measurement) -> Option<f64> {
    let enough = (verdict.tolerance - (figure.value - verdict.nominal).abs()).abs();
    (figure.quality == Quality::Single || figure.u > enough).then_some(enough)
}
