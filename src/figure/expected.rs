//! Figures to expect when steps of the plan are done.

use super::catalogue::Figure;
use super::facts::Facts;
use super::table::FigureTable;
use crate::measurement::Measurement;

/// Figures to expect, under the names the result gives them: what is at `/wheel/yaw` is
/// expected at `/expected/wheel/yaw`. Figures that no step touches stand as measured. The
/// uncertainty is that of the measurement carried through the steps, and of how finely each step
/// can be set.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Expected {
    pub table: FigureTable,
    pub facts: Facts,
}

impl Expected {
    /// The expected figure; None for one that can't be foreseen or that no step moves.
    pub fn get(&self, figure: &Figure) -> Option<Measurement> {
        self.table.get(figure)
    }
}
