//! Tabs that moved on their part.

use std::collections::{BTreeMap, BTreeSet};

use crate::math::robust::median;
use crate::scene::adjust::residual::all_components;
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::model::state::Carrier;

/// A tab whose corners lie this many times as far off as the usual tab's, and in each photo all to
/// one side by this part of it, is held between the places where it was in two set-ups.
const TORN_NOISE: f64 = 4.0;
const TORN_ASIDE: f64 = 0.5;

/// Tabs of turning bodies whose place differs from one set-up to another by so little, or in so
/// even numbers, that the solution holds them in between: their corners are off in all photos, and
/// to one side in each.
pub fn torn_tabs(solution: &Solution) -> BTreeSet<u8> {
    let state = &solution.state;
    let of_tab =
        |block: &Block| if let Shown::Tab { tab, .. } = block.shown { Some(tab) } else { None };
    let noises: Vec<f64> = solution
        .blocks
        .iter()
        .filter(|block| of_tab(block).is_some())
        .map(|block| block.noise)
        .collect();
    let Some(usual) = median(&noises) else { return BTreeSet::new() };
    let is_torn = |tab: usize| {
        let blocks: Vec<&Block> =
            solution.blocks.iter().filter(|block| of_tab(block) == Some(tab)).collect();
        let mut photos_in: BTreeMap<usize, usize> = BTreeMap::new();
        for block in &blocks {
            *photos_in.entry(state.views[block.view].setup).or_default() += 1;
        }
        if photos_in.values().filter(|&&n| n >= 2).count() < 2
            || blocks.iter().any(|block| block.noise < TORN_NOISE * usual)
        {
            return false;
        }
        let (mut aside, mut all) = (0.0, 0.0);
        for block in blocks {
            let off = all_components(state, &solution.slots, block);
            let n = (off.len() / 2).max(1) as f64;
            let mean = [0, 1].map(|way| off.iter().skip(way).step_by(2).sum::<f64>() / n);
            aside += n * (mean[0] * mean[0] + mean[1] * mean[1]);
            all += off.iter().map(|r| r * r).sum::<f64>();
        }
        aside > TORN_ASIDE * all
    };
    (0..state.tabs.len())
        .filter(|&tab| {
            matches!(state.tabs[tab].carrier, Carrier::Turning(_))
                && state.tabs[tab].only_setup.is_none()
                && is_torn(tab)
        })
        .map(|tab| state.tabs[tab].number)
        .collect()
}
