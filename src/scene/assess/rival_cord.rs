//! The same photos with the other reading of the cord, where the light allows two.

use crate::scene::adjust::solve::{Problem, adjust};
use crate::scene::estimate::refine::refine;
use crate::scene::model::observe::Shown;
use crate::scene::model::solution::Solution;
use crate::scene::model::state::Cord;

impl Solution {
    /// Solves with the rival cord as the cord: what depends on the cord then holds for either.
    /// None where there is no rival, or where it was not seen in the same set-ups.
    pub fn with_rival_cord(&self) -> Option<Self> {
        let rival = self.cord_reading.rival.as_ref()?;
        let setups = |cords: &[Cord]| cords.iter().map(|cord| cord.setup).collect::<Vec<usize>>();
        if setups(&rival.cords) != setups(&self.state.cords) {
            return None;
        }
        let mut other = self.clone();
        other.state.cords.clone_from(&rival.cords);
        other.blocks.retain(|block| !matches!(block.shown, Shown::Cord(_)));
        other.blocks.extend(rival.blocks.iter().cloned());
        adjust(
            &mut other.state,
            &Problem { blocks: &other.blocks, priors: &other.priors, slots: &other.slots },
            10,
        );
        refine(&mut other.state, &other.slots, &mut other.blocks, &mut other.priors, 2);
        other.update_covariance();
        Some(other)
    }
}
