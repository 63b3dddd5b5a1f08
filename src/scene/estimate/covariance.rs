//! How sure a solved scene is: the covariance of its unknowns, what groups of observations add to
//! it, and what makes the cord uncertain.

use crate::scene::adjust::group_spread::of_groups;
use crate::scene::adjust::solve::{Problem, covariance, loose_covariance};
use crate::scene::model::observe::{Block, SeenPoint, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::strings::weak_cord::movement_is_determined;

impl Solution {
    /// Covariance of the unknowns, what groups of observations add to it, and what makes the cord
    /// doubtful.
    pub fn update_covariance(&mut self) {
        self.update_covariance_of_unknowns();
        let problem = Problem { blocks: &self.blocks, priors: &self.priors, slots: &self.slots };
        // Place and direction; a tight cord's shape (the last terms of y and z) is not at stake
        // when a card is left out.
        let straight = |&slot: &usize| [slot, slot + 1, slot + 3, slot + 4];
        let cord_slots: Vec<usize> = self.slots.cords.iter().flat_map(straight).collect();
        let group = |block: &Block, point: &SeenPoint| {
            point.group.filter(|_| matches!(block.shown, Shown::Cord(_)))
        };
        self.group_spreads.clear();
        self.group_spreads.extend(of_groups(
            &self.state,
            &problem,
            &cord_slots,
            "light and shadow on the cord",
            group,
        ));
        self.cord_findings = crate::scene::strings::weak_cord::findings_of_weak_cord(self);
    }

    fn update_covariance_of_unknowns(&mut self) {
        let problem = Problem { blocks: &self.blocks, priors: &self.priors, slots: &self.slots };
        let determined = covariance(&self.state, &problem);
        self.undetermined = determined.is_none();
        self.covariance = determined.or_else(|| loose_covariance(&self.state, &problem));
    }

    /// Whether every set-up's cord is seen from so many places that a movement is determined.
    pub fn cord_movement_is_determined(&self) -> bool {
        (0..self.state.cords.len())
            .all(|cord| movement_is_determined(&self.state, &self.blocks, cord))
    }

    /// Takes all observations for worse by a factor and updates the covariance.
    pub fn raise_noise(&mut self, factor: f64) {
        self.blocks.iter_mut().for_each(|block| block.noise *= factor);
        self.update_covariance_of_unknowns();
    }
}
