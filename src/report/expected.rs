//! Which figures the plan changes: the measured one beside the expected one.

use super::result::ResultDocument;
use crate::measurement::Measurement;

/// A figure before and after the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// JSON pointer of the measured figure; the expected one stands at the same below `/expected`.
    pub pointer: String,
    pub now: Measurement,
    pub then: Measurement,
}

/// Less than this is no change: half of the last place shown, 0.01 mm or 0.01 degree.
const LEAST_CHANGE: f64 = 0.005;

/// Every figure that the plan as a whole is expected to change, in the order of the document, but the rim's offsets last, and
/// of these only those at the marked place.
pub fn changes(document: &ResultDocument) -> Vec<Change> {
    let expected = &document.expected;
    // The expected figures have the shape of measured ones, so the document's own list of pointers serves for both.
    let after = ResultDocument {
        wheel: expected.wheel.clone(),
        frame: expected.frame.clone(),
        wheel_in_frame: expected.wheel_in_frame.clone(),
        chain: expected.chain.clone(),
        hub: expected.hub.clone(),
        rim: expected_rim(document),
        ..document.clone()
    };
    let changed = |change: &Change| (change.now.value - change.then.value).abs() >= LEAST_CHANGE;
    let elsewhere: Vec<String> =
        document.rim.iter().filter(|rim| rim.place != 0).map(|rim| format!("/rim/{}/offset", rim.id)).collect();
    let both = document.figures().into_iter().zip(after.figures());
    let all = both.filter_map(|((pointer, now), (_, then))| Some(Change { pointer, now: now?, then: then? }));
    let shown = all.filter(|change| changed(change) && !elsewhere.contains(&change.pointer));
    let (rim, others): (Vec<Change>, Vec<Change>) = shown.partition(|change| change.pointer.starts_with("/rim/"));
    others.into_iter().chain(rim).collect()
}

fn expected_rim(document: &ResultDocument) -> Vec<crate::bench::figures::RimFigure> {
    let expected = |id: &str| document.expected.rim.iter().find(|rim| rim.id == id).and_then(|rim| rim.offset);
    document.rim.iter().map(|rim| crate::bench::figures::RimFigure { offset: expected(&rim.id), ..rim.clone() }).collect()
}
