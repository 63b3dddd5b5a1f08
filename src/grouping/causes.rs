//! What keeps a job from being finished, named once with its remedy, and the findings that only
//! follow from it.

use std::collections::BTreeSet;

use super::positions::{Shows, Sorted};
use super::setups::Grouping;
use crate::figure::Side;
use crate::finding::Finding;

/// Fewer photos than this do not show how the person went about it.
const LEAST_PHOTOS: usize = 3;

/// For each cause the findings that follow from it: they tell a person nothing besides.
const FOLLOWS: [(&str, &[&str]); 5] = [
    // That nobody measured the print is little beside what a caliper says of it.
    ("print-scale-contradicts-caliper", &["print-not-measured"]),
    ("one-setup", &["no-wheel-axis", "wheel-not-measured"]),
    // A folder's name is neither right nor wrong before the wheel was turned.
    ("wheel-not-turned", &["no-wheel-axis", "wheel-not-measured", "setup-names-swapped"]),
    (
        "one-side-only",
        &[
            "cord-not-seen",
            "rim-tab-not-seen",
            "rim-width-not-measured",
            "wheel-not-measured",
            "no-wheel-axis",
        ],
    ),
    (
        "wheel-turned-between-sides",
        &[
            "rim-tab-not-seen",
            "rim-not-measured",
            "rim-width-not-measured",
            "wheel-not-measured",
            "no-wheel-axis",
        ],
    ),
];

/// What the photos as a whole lack.
pub fn causes(sorted: &Sorted, grouping: &Grouping) -> Vec<Finding> {
    let mut findings = Vec::new();
    let on_bench: Vec<usize> = (0..sorted.shows.len())
        .filter(|photo| matches!(sorted.shows[*photo], Shows::Wheel(_) | Shows::BenchOnly))
        .filter(|photo| {
            grouping.setups.get(grouping.of_photo[*photo]).is_some_and(|setup| !setup.lens_only)
        })
        .collect();
    // A photo whose side is not known may be from the other one.
    let all_known = on_bench.iter().all(|photo| sorted.from[*photo].is_some());
    let sides: BTreeSet<Side> = on_bench.iter().filter_map(|photo| sorted.from[*photo]).collect();
    if let ([only], true) =
        (Vec::from_iter(sides).as_slice(), all_known && on_bench.len() >= LEAST_PHOTOS)
    {
        let (this, other) = (only.word(), only.other().word());
        let tab = if *only == Side::Left { 2 } else { 1 };
        findings.push(Finding::refused(
            "one-side-only",
            format!("All photos were taken from the {this}: the rim's {other} side, tab {tab} on it and the cord's other edge are in none."),
            format!(
                "Move nothing, and take three photos more from the {other} in each wheel position, with tab {tab} and two cards in each."
            ),
        ));
    }
    let shown: Vec<(usize, usize)> = (0..sorted.shows.len())
        .filter_map(|photo| match sorted.shows[photo] {
            Shows::Wheel(position) => Some((grouping.of_photo[photo], position)),
            _ => None,
        })
        .collect();
    let setups: BTreeSet<usize> = shown.iter().map(|(setup, _)| *setup).collect();
    let positions: BTreeSet<usize> = shown.iter().map(|(_, position)| *position).collect();
    if setups.len() > 1 && positions.len() == 1 {
        let names: Vec<&str> = setups
            .iter()
            .filter_map(|setup| Some(grouping.setups.get(*setup)?.name.as_str()))
            .collect();
        findings.push(Finding::refused(
            "wheel-not-turned",
            format!("The wheel is in the same position in the photos of {}: it was not turned between them.", names.join(" and ")),
            "Turn the wheel half round, and take six photos more: three from the left, three from the right.",
        ));
    }
    findings
}

/// Takes out what only follows from a cause that is named in `named` or among the findings
/// themselves.
pub fn leave_out_what_follows(named: &[Finding], findings: &mut Vec<Finding>) {
    let has = |id: &str| named.iter().chain(findings.iter()).any(|finding| finding.id == id);
    let follows: BTreeSet<&str> = FOLLOWS
        .iter()
        .filter(|(cause, _)| has(cause))
        .flat_map(|(_, follows)| follows.iter().copied())
        .collect();
    findings.retain(|finding| !follows.contains(finding.id.as_str()));
}
