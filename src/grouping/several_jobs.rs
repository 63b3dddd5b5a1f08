//! Folders that each hold a whole job: two bikes, or two evenings of one, given as one job.

use std::collections::BTreeSet;

use super::clock::in_time;
use super::misfiled::NO_SLIP;
use super::positions::{Shows, Sorted};
use super::setups::Listed;
use crate::figure::Side;
use crate::finding::Finding;
use crate::text::listed;

/// The finding that a folder holds several jobs, so that nothing is measured.
pub const SEVERAL_JOBS: &str = "several-jobs-in-folder";

/// The finding that the photos show two benches, so that nothing is measured.
pub const TWO_BENCHES: &str = "two-benches";
/// Findings by which photos are not of one job: nothing else that they show is reported.
pub const NOT_ONE_JOB: [&str; 2] = [SEVERAL_JOBS, TWO_BENCHES];

/// What is said of photos that show two benches or more, each with its photos.
pub fn two_layouts(photos: &[Listed], benches: &[Vec<usize>]) -> Finding {
    let all: Vec<usize> = (0..photos.len()).collect();
    let order = in_time(photos, &all);
    let mut parts: Vec<(usize, String)> = Vec::new();
    for own in benches {
        let mut ranks = (0..order.len()).filter(|rank| own.contains(&order[*rank]));
        let Some(first) = ranks.next() else { continue };
        let last = ranks.next_back().unwrap_or(first);
        let [from, to] = [first, last].map(|rank| &photos[order[rank]].id);
        parts.push((first, format!("{from} to {to} ({} photos)", own.len())));
    }
    parts.sort();
    let parts: Vec<&str> = parts.iter().map(|(_, words)| words.as_str()).collect();
    let number = if parts.len() == 2 { "two" } else { "several" };
    Finding::refused(
        TWO_BENCHES,
        format!(
            "These photos show {number} bikes, or {number} layouts of the cards: {}. Cards or tabs lie differently to each other in the ones \
             than in the others. A photo or two that tell little may be on the wrong list. Nothing is measured and no step is given.",
            listed(&parts)
        ),
        "Make a job folder for each of them, and measure one at a time. If it is one bike whose cards were laid anew, take both positions \
         of the wheel with the cards as they lie now. If nothing was touched, name every photo of each position under [[setup]] in job.toml: \
         that is believed.",
    )
}

/// The folders that are jobs of their own, where there are two or more. Each comes with what its
/// photos show on their own: tabs of the same number are in other places on
/// another bike, so that all folders together show no position at all.
pub fn several_jobs(folders: &[(String, Sorted)]) -> Option<Finding> {
    let whole: Vec<&str> = folders
        .iter()
        .filter(|(_, sorted)| is_whole(sorted))
        .map(|(name, _)| name.as_str())
        .collect();
    let first = whole.first().filter(|_| whole.len() > 1)?;
    Some(Finding::refused(
        SEVERAL_JOBS,
        format!(
            "{} are jobs of their own: each holds two positions of the wheel, photographed from both sides. Measured as one bike their \
             figures would be wrong, so nothing is measured.",
            listed(&whole)
        ),
        format!(
            "Measure one at a time: name its folder, such as {first}, instead of the one around it. If all of it is one bike that nobody \
             touched meanwhile, put the photos into one folder: the program sorts them."
        ),
    ))
}

/// Whether photos are a job on their own: the wheel in two positions, and each of them from the
/// left and from the right. A folder for each side, or the wheel turned between the sides, is no
/// such thing.
fn is_whole(sorted: &Sorted) -> bool {
    let positions = (0..sorted.positions.len()).filter(|&position| {
        let photos: Vec<usize> = (0..sorted.shows.len())
            .filter(|&photo| sorted.shows[photo] == Shows::Wheel(position))
            .collect();
        let sides: BTreeSet<Side> = photos.iter().filter_map(|&photo| sorted.from[photo]).collect();
        photos.len() >= NO_SLIP && sides.len() == 2
    });
    let marks: Vec<_> = positions.map(|position| sorted.positions[position].mark).collect();
    // A wheel that was knocked stands twice at nearly the same place: that is no second position.
    marks.len() > 1 && marks.iter().any(|mark| mark.is_none() || *mark != marks[0])
}
