//! A scene solved again after a second look at the same photos.

use crate::cards::Pattern;
use crate::scene::checks::between_setups::sides_apart;
use crate::scene::checks::exceptions::Exceptions;
use crate::scene::checks::outliers::find_outliers;
use crate::scene::model::input::{ScenePhoto, SceneSettings};
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::start::card_size;
use crate::scene::start::glimpses::{LEAST_CORNERS, seen_corners, seen_points};
use crate::scene::start::lines::too_thick;
use crate::scene::start::marks::LEAST_TAB_CORNERS;
use crate::sightings::StringKind;

use super::refine::refine;
use super::solve_scene::solve_without_covariance;

/// Solves a scene again after a second look at the same photos. Starts from the first solution
/// where the second look only added to what was there; otherwise from the beginning.
pub fn solve_again(
    first: &Solution,
    photos: &[ScenePhoto],
    settings: &SceneSettings,
) -> Option<Solution> {
    let unlike = &first.cards_of_unlike_size;
    let photos = &card_size::without(photos, unlike)[..];
    let none = Exceptions::default();
    let mut next = added_to(first, photos, settings)
        .or_else(|| solve_without_covariance(photos, settings, &none))?;
    // What moved at a moment that the photos show is not for tabs to explain.
    if !next.split_setups(photos, settings) {
        let sides_apart = sides_apart(&next);
        if !sides_apart.is_empty() {
            let split_tabs = sides_apart.iter().flatten().copied().collect();
            let known = Exceptions { split_tabs, sides_apart, ..none };
            next = solve_without_covariance(photos, settings, &known)?;
        }
    }
    next.update_covariance();
    Some(next.with_cards_of_unlike_size(unlike.clone()))
}

/// The first solution with what a second look added. None where that contradicts it.
fn added_to(first: &Solution, photos: &[ScenePhoto], settings: &SceneSettings) -> Option<Solution> {
    let blocks = first.regular.then(|| reblock(first, photos)).flatten()?;
    let mut next = Solution { blocks, covariance: None, ..first.clone() };
    refine(&mut next.state, &next.slots, &mut next.blocks, &mut next.priors, 2);
    let mut exceptions = Exceptions::default();
    (!find_outliers(&next, photos, settings, &mut exceptions)).then_some(next)
}

/// The new sightings as observations of what the first solution knows; None when they show
/// something that it does not.
fn reblock(first: &Solution, photos: &[ScenePhoto]) -> Option<Vec<Block>> {
    let mut blocks = Vec::new();
    for (idx, photo) in photos.iter().enumerate() {
        let Some(view) = first.view_of.get(idx).copied().flatten() else {
            let shows_card =
                photo.sightings.patterns.iter().any(|p| matches!(p.pattern, Pattern::Card(_)));
            if shows_card {
                return None;
            }
            continue;
        };
        patterns_again(first, photo, view, &mut blocks)?;
        if !photo.lens_only {
            strings_again(first, photo, view, &mut blocks)?;
        }
    }
    Some(blocks)
}

/// The cards and tabs of one photo.
fn patterns_again(
    first: &Solution,
    photo: &ScenePhoto,
    view: usize,
    blocks: &mut Vec<Block>,
) -> Option<()> {
    let of_setup = |block: &&Block| first.state.views[block.view].setup == photo.setup;
    let of_view = |block: &&Block| block.view == view;
    for sighting in &photo.sightings.patterns {
        let corners = seen_corners(sighting);
        let same = |block: &&Block| first.pattern(block) == Some(sighting.pattern);
        let is_card = matches!(sighting.pattern, Pattern::Card(_));
        if photo.lens_only && !is_card
            || corners.len() < if is_card { LEAST_CORNERS } else { LEAST_TAB_CORNERS }
        {
            continue;
        }
        let mut push = |shown: Shown, noise: f64| {
            let corners = corners.clone();
            blocks.push(Block { view, shown, corners, points: Vec::new(), noise });
        };
        if let Some(block) = first.blocks.iter().filter(of_view).find(same) {
            push(block.shown, block.noise);
            continue;
        }
        // Seen in another photo of the set-up: the same card or tab; a flag hangs differently in
        // each.
        match first.blocks.iter().filter(of_setup).find(same) {
            Some(block) if !matches!(block.shown, Shown::Flag { .. }) => {
                push(block.shown, block.noise);
            }
            _ => {
                let is_known = first.blocks.iter().any(|block| same(&block));
                let is_tab =
                    first.state.tabs.iter().any(|tab| tab.number == sighting.pattern.number());
                if is_known || is_card || is_tab {
                    return None;
                }
            }
        }
    }
    Some(())
}

/// The cord and the lines of one photo.
fn strings_again(
    first: &Solution,
    photo: &ScenePhoto,
    view: usize,
    blocks: &mut Vec<Block>,
) -> Option<()> {
    // The cord's mid-line was chosen from all photos together; it stays as it was chosen.
    let chosen = first
        .blocks
        .iter()
        .filter(|block| block.view == view && matches!(block.shown, Shown::Cord(_)));
    let from_lanes = !photo.sightings.lines.iter().any(|line| line.kind == StringKind::Cord);
    blocks.extend(chosen.filter(|_| from_lanes).cloned());
    for line in &photo.sightings.lines {
        let shown = match line.kind {
            StringKind::Cord => {
                Shown::Cord(first.state.cords.iter().position(|cord| cord.setup == photo.setup)?)
            }
            kind => match first.state.lines.iter().position(|known| known.kind == kind) {
                Some(idx) if !too_thick(&first.state, view, idx, line) => Shown::Line(idx),
                _ => continue,
            },
        };
        let known = first.blocks.iter().find(|block| block.shown == shown);
        let noise = known.map_or(1.0, |block| block.noise);
        let points = seen_points(line);
        blocks.push(Block { view, shown, corners: Vec::new(), points, noise });
    }
    Some(())
}
