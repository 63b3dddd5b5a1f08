//! Lines whose pictures contradict each other.

use crate::figure::part::Letter;
use crate::finding::Finding;
use crate::scene::Solution;
use crate::scene::model::observe::Shown;
use crate::scene::start::lines::too_thick;
use crate::sightings::StringKind;

use super::SeenPhoto;

/// Three pictures can as a rule be met by one line; more that can't contradict each other.
const LEAST: usize = 4;

/// A finding for each line whose pictures were left out, all of them.
pub fn contradictions(photos: &[SeenPhoto], solution: &Solution) -> Vec<Finding> {
    let state = &solution.state;
    let mut findings = Vec::new();
    for (idx, line) in state.lines.iter().enumerate() {
        let is_used = solution.blocks.iter().any(|block| block.shown == Shown::Line(idx));
        let seen = photos.iter().zip(&solution.view_of).filter(|(photo, view)| {
            let Some(view) = view else { return false };
            photo
                .sightings
                .lines
                .iter()
                .any(|seen| seen.kind == line.kind && !too_thick(state, *view, idx, seen))
        });
        let seen: Vec<&str> = seen.map(|(photo, _)| photo.file.id.as_str()).collect();
        if is_used || seen.len() < LEAST {
            continue;
        }
        let name = match line.kind {
            StringKind::Cord => "cord".to_owned(),
            StringKind::Plumb(letter) => format!("plumb line {}", Letter::of(letter)),
            StringKind::Backbone => "backbone cord".to_owned(),
        };
        findings.push(Finding::warning(
            "line-contradicts-itself",
            format!(
                "The {} pictures of the {name} contradict each other (first in {}): no one line fits them, so its flags alone show where it \
                 hangs.",
                seen.len(),
                seen[0]
            ),
            "Let the bob come to rest out of draughts, see that no tube or cable runs along the line behind it, and take the photos again.",
        ));
    }
    findings
}
