//! The figures of one result, with the facts that come with them.

use super::catalogue::Figure;
use super::facts::{Facts, RimFacts, UpFigures};
use super::part::RimPlace;
use super::table::FigureTable;
use crate::measurement::Measurement;

/// Everything that was measured of one bike on one bench.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Measured {
    pub table: FigureTable,
    pub facts: Facts,
    pub up: UpFigures,
}

/// A place on a rim with its figures.
#[derive(Clone, Debug, PartialEq)]
pub struct RimFigure {
    pub at: RimPlace,
    pub facts: RimFacts,
    pub offset: Option<Measurement>,
    pub height: Option<Measurement>,
}

impl Measured {
    /// The figure, where it was measured and its numbers are numbers.
    pub fn get(&self, figure: &Figure) -> Option<Measurement> {
        self.table.get(figure)
    }

    /// The rims' places in their order.
    pub fn rims(&self) -> Vec<RimFigure> {
        let rim = |at: &RimPlace| RimFigure {
            at: at.clone(),
            facts: self.facts.rim.get(at).copied().unwrap_or_default(),
            offset: self.table.stored(&Figure::RimOffset(at.clone())),
            height: self.table.stored(&Figure::RimHeight(at.clone())),
        };
        let places = self.table.figures().filter_map(|figure| match figure {
            Figure::RimOffset(at) => Some(rim(at)),
            _ => None,
        });
        places.collect()
    }
}
