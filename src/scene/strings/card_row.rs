//! Which cards lie in one row: only over them can a cord run.

use std::collections::{BTreeMap, BTreeSet};

/// How far off the row, mm, a card may lie and still belong to it: the cord runs in the lane of
/// each, and lanes are 20 mm wide.
const BESIDE_ROW: f64 = 20.0;
/// Nearer than this, mm, no two cards can lie.
const LEAST_APART: f64 = 40.0;
/// Two cards make a row of themselves: fewer than this tell nothing of the others.
const LEAST_CARDS: usize = 3;

/// Of cards with the places of their middles on the bench, mm: the most that lie along one
/// line through two of them. Cards laid to the side for the bench's level are not among them. All
/// of them where no three lie in a row.
pub fn in_row<Card: Ord + Copy>(cards: &BTreeMap<Card, [f64; 2]>) -> BTreeSet<Card> {
    let mut best = BTreeSet::new();
    for (a, b) in cards.values().flat_map(|a| cards.values().map(move |b| (a, b))) {
        let [along, aside] = [b[0] - a[0], b[1] - a[1]];
        let length = along.hypot(aside);
        if length < LEAST_APART {
            continue;
        }
        let off = |at: &[f64; 2]| ((at[1] - a[1]) * along - (at[0] - a[0]) * aside) / length;
        let row: BTreeSet<Card> = cards
            .iter()
            .filter(|(_, at)| off(at).abs() < BESIDE_ROW)
            .map(|(card, _)| *card)
            .collect();
        if row.len() > best.len() {
            best = row;
        }
    }
    if best.len() < LEAST_CARDS { cards.keys().copied().collect() } else { best }
}
