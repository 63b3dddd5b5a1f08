//! A solved scene: where everything is, how sure that is, and what was noticed.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::DMatrix;

use crate::cards::Pattern;
use crate::finding::Finding;

use super::observe::{Block, Shown};
use super::priors::Priors;
use super::state::{Cord, State};
use super::unknowns::Slots;

/// An addition to the covariance of some kept unknowns.
#[derive(Clone, Debug)]
pub struct GroupSpread {
    /// Places among the kept unknowns.
    pub slots: Vec<usize>,
    /// Positive semidefinite, k = 1.
    pub covariance: DMatrix<f64>,
    /// What the budget calls it.
    pub source: &'static str,
}

/// Another reading of the cord, as observations and a start.
#[derive(Clone, Debug)]
pub struct RivalCord {
    /// How far to one side it lies on the mean, mm.
    pub apart_mm: f64,
    pub cords: Vec<Cord>,
    pub blocks: Vec<Block>,
}

/// What the light in the cards' lanes says of the cord that was chosen.
#[derive(Clone, Debug, Default)]
pub struct CordReading {
    /// Root mean square by which its places over the cards lie off one straight line in all
    /// set-ups, and off a line of its own in each, mm. None where too few cards show it.
    pub off_one_line: Option<f64>,
    pub off_own_lines: Option<f64>,
    /// Another reading that the light supports nearly as well.
    pub rival: Option<RivalCord>,
}

/// How a tab lies that does not lie in the plane which the other tabs of its face show.
#[derive(Clone, Debug, PartialEq)]
pub struct LooseTab {
    /// How far its centre lies off that plane, to either side, mm.
    pub off_mm: f64,
    /// Its normal against the plane's, radians.
    pub tilt: f64,
    /// Itself alone, or all those of which one is loose and nothing shows which.
    pub among: Vec<u8>,
}

/// A solved scene.
#[derive(Clone, Debug)]
pub struct Solution {
    pub state: State,
    pub slots: Slots,
    pub blocks: Vec<Block>,
    pub priors: Priors,
    /// For each photo its view, if it found its place.
    pub view_of: Vec<Option<usize>>,
    /// Covariance of the kept unknowns (k = 1), in the order of `slots`; None when the photos
    /// leave nearly everything undetermined.
    pub covariance: Option<DMatrix<f64>>,
    /// Whether the photos leave something undetermined: its variance is then enormous, and all
    /// else as it is.
    pub undetermined: bool,
    pub findings: Vec<Finding>,
    /// Cards that were left out because they were printed at another size than the rest.
    pub cards_of_unlike_size: BTreeSet<u8>,
    /// Cards that did not lie still between set-ups.
    pub moved_cards: BTreeSet<u8>,
    /// Tabs that do not lie in their face, and those of which one does not, by number.
    pub loose_tabs: BTreeMap<u8, LooseTab>,
    /// Whether the cord was seen to have moved between set-ups.
    pub cord_moved: bool,
    /// Whether it moved between set-ups, and within one so that its first place there is not
    /// known.
    pub cord_unsettled: bool,
    pub cord_reading: CordReading,
    /// Why the cord's place may not be trusted; empty when it may.
    pub cord_findings: Vec<Finding>,
    /// What errors that come in groups add to the covariance.
    pub group_spreads: Vec<GroupSpread>,
    /// Other readings of the same photos that fit as well: with a turning body at a second place
    /// in part of a set-up's photos.
    pub readings: Vec<Solution>,
    pub converged: bool,
    /// Whether nothing had to be treated apart from the rule.
    pub regular: bool,
}

impl Solution {
    /// The pattern a block shows, if it shows one.
    pub fn pattern(&self, block: &Block) -> Option<Pattern> {
        match block.shown {
            Shown::Card(card) => {
                Some(Pattern::Card(self.state.sheets[self.state.cards[card].sheet].number))
            }
            Shown::Tab { tab, .. } => Some(Pattern::Tab(self.state.tabs[tab].number)),
            Shown::Flag { flag, .. } => Some(Pattern::Tab(self.state.flags[flag].number)),
            Shown::Cord(_) | Shown::Line(_) => None,
        }
    }
}
