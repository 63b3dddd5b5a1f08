//! Tabs that stand elsewhere in one set-up than in another by too little to stand out.
//!
//! A wheel knocked while it was turned takes the spindle's ends along. Tied to one place, they pull
//! the cameras of the later set-up with them instead: where the hand moved, each photo's sweep
//! gives way, and no residual stands out. So each part is given a place of its own in each later
//! set-up, to first order, everything else being free to follow, and the two places are compared
//! by what their difference's covariance allows.
//!
//! A wheel that is moved while somebody walks from its one side to the other does the same to the
//! tabs of a side, which no photo shows beside those of the other: they are asked whether they
//! stand where they did among the wheel's tabs.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use crate::scene::adjust::solve::{Problem, Trials};
use crate::scene::model::input::SceneSettings;
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::model::state::{Carrier, Tab, TurningPart};
use crate::scene::model::unknowns::Slots;

use super::two_places::TwoPlaces;

/// Squared distance between a tab's two places over its covariance, for each of six unknowns. Over
/// some sixty drawn benches it was 6 at most where nothing was touched, 7 where a card was kicked,
/// and 25 to 350 where the wheel was knocked by 0.05 to 0.9 degrees.
const ELSEWHERE: f64 = 12.0;

/// Still tabs that stand elsewhere in a later set-up than in the first that shows them.
pub fn tabs_elsewhere(solution: &Solution, settings: &SceneSettings) -> BTreeSet<u8> {
    let tied: Vec<usize> =
        (0..solution.state.tabs.len()).filter(|&tab| is_tied(&solution.state.tabs[tab])).collect();
    let part_of = |tab: usize| {
        let number = solution.state.tabs[tab].number;
        settings.moving_as_one.iter().position(|part| part.contains(&number))
    };
    let mut parts: Vec<Vec<usize>> = Vec::new();
    for &tab in &tied {
        let same =
            |part: &&mut Vec<usize>| part_of(tab).is_some() && part_of(part[0]) == part_of(tab);
        match parts.iter_mut().find(same) {
            Some(part) => part.push(tab),
            None => parts.push(vec![tab]),
        }
    }
    let elsewhere = parts
        .into_iter()
        .filter(|part| significance(solution, part).is_some_and(|clear| clear > ELSEWHERE));
    elsewhere.flatten().map(|tab| solution.state.tabs[tab].number).collect()
}

/// Tabs of turning parts, seen from one side alone, that stand elsewhere among the part's tabs in a
/// later set-up than in the first that shows them.
pub fn sides_apart(solution: &Solution) -> Vec<BTreeSet<u8>> {
    let numbers = |side: Vec<usize>| {
        side.into_iter().map(|tab| solution.state.tabs[tab].number).collect::<BTreeSet<u8>>()
    };
    lesser_sides(solution)
        .into_iter()
        .filter(|side| significance(solution, side).is_some_and(|clear| clear > ELSEWHERE))
        .map(numbers)
        .collect()
}

/// Of each turning part whose tabs fall into groups that no photo shows together: all but the one
/// with the most sightings, as indices into `State::tabs`.
fn lesser_sides(solution: &Solution) -> Vec<Vec<usize>> {
    let state = &solution.state;
    let mut lesser = Vec::new();
    for part in TurningPart::ALL {
        // The tabs of the part in each photo that shows any.
        let mut in_view: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
        for block in &solution.blocks {
            if let Shown::Tab { tab, .. } = block.shown
                && state.tabs[tab].carrier == Carrier::Turning(part)
            {
                in_view.entry(block.view).or_default().insert(tab);
            }
        }
        let mut sides: Vec<(BTreeSet<usize>, usize)> = Vec::new();
        for tabs in in_view.into_values() {
            let n_seen = tabs.len();
            let (joined, apart) = sides.into_iter().partition(|(side, _)| !side.is_disjoint(&tabs));
            sides = apart;
            let joined: Vec<(BTreeSet<usize>, usize)> = joined;
            let n_joined: usize = joined.iter().map(|(_, n)| n).sum();
            let all = joined.into_iter().flat_map(|(side, _)| side).chain(tabs).collect();
            sides.push((all, n_seen + n_joined));
        }
        sides.sort_by_key(|(side, n)| (Reverse(*n), side.first().copied()));
        lesser.extend(sides.into_iter().skip(1).map(|(side, _)| side.into_iter().collect()));
    }
    lesser
}

fn is_tied(tab: &Tab) -> bool {
    tab.carrier == Carrier::Still && tab.only_setup.is_none()
}

/// How clearly a part stands elsewhere in any of the later set-ups that show it.
fn significance(solution: &Solution, part: &[usize]) -> Option<f64> {
    let setup_of = |block: &Block| solution.state.views[block.view].setup;
    let shows =
        |block: &&Block| matches!(block.shown, Shown::Tab { tab, .. } if part.contains(&tab));
    let setups: BTreeSet<usize> = solution.blocks.iter().filter(shows).map(setup_of).collect();
    let later = setups.into_iter().skip(1);
    later.filter_map(|setup| in_setup(solution, part, setup)).max_by(f64::total_cmp)
}

/// The same for one of them, with only that set-up's photos free to show the part elsewhere.
fn in_setup(solution: &Solution, part: &[usize], setup: usize) -> Option<f64> {
    let mut state = solution.state.clone();
    let mut blocks = solution.blocks.clone();
    let mut views = BTreeSet::new();
    let mut places: Vec<[usize; 2]> = Vec::new();
    for &tab in part {
        let apart = state.tabs.len();
        let mut shown = false;
        for block in blocks.iter_mut().filter(|block| state.views[block.view].setup == setup) {
            if let Shown::Tab { tab: on, .. } = &mut block.shown
                && *on == tab
            {
                *on = apart;
                views.insert(block.view);
                shown = true;
            }
        }
        if shown {
            state.tabs.push(state.tabs[tab].clone());
            places.push([tab, apart]);
        }
    }
    let slots = Slots::of(&state);
    let problem = |blocks| Problem { blocks, priors: &solution.priors, slots: &slots };
    let views: Vec<usize> = views.into_iter().collect();
    let trials = Trials::of(&state, &problem(&solution.blocks), &problem(&blocks), &views)?;
    let (step, covariance) = trials.step(&views)?;
    state.nudge_kept(&slots, step.as_slice());
    let of_tab = |both: &[usize; 2]| {
        let poses = both.map(|tab| state.tabs[tab].carrier_from_tab);
        TwoPlaces::of(poses, both.map(|tab| slots.tabs[tab]), &covariance).significance()
    };
    places.iter().filter_map(of_tab).max_by(f64::total_cmp)
}
