//! Which figures the plan changes: the measured one next to the expected one.

use super::result::ResultDocument;
use crate::figure::Figure;
use crate::measurement::Measurement;

/// A figure before and after the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    pub figure: Figure,
    pub now: Measurement,
    pub then: Measurement,
}

/// Less than this is no change: half of the last place shown, 0.01 mm or 0.01 degree.
const LEAST_CHANGE: f64 = 0.005;

/// Every figure that the plan as a whole is expected to change, in the order of the document, but
/// the rim's offsets last, and of these only those at the marked place.
pub fn changes(document: &ResultDocument) -> Vec<Change> {
    let changed = |change: &Change| (change.now.value - change.then.value).abs() >= LEAST_CHANGE;
    let all = document.measured.table.measured().filter_map(|(figure, now)| {
        let then = document.expected.table.stored(figure)?;
        Some(Change { figure: figure.clone(), now, then })
    });
    let is_elsewhere = |figure: &Figure| matches!(figure, Figure::RimOffset(at) if at.place != 0);
    let shown = all.filter(|change| changed(change) && !is_elsewhere(&change.figure));
    let (rim, others): (Vec<Change>, Vec<Change>) =
        shown.partition(|change| matches!(change.figure, Figure::RimOffset(_)));
    others.into_iter().chain(rim).collect()
}
