//! The table of figures: identity to measurement, with what the measurements have in common.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::catalogue::{CATALOGUE, Figure};
use super::nearest::nearest;
use crate::measurement::Measurement;

/// All figures in the order of the result; None for one that could not be measured.
///
/// Figures that are in every result are always there. Of lists, such as the rim's places, those are
/// there that were set.
#[derive(Clone, Debug, PartialEq)]
pub struct FigureTable {
    entries: BTreeMap<Figure, Option<Measurement>>,
}

impl Default for FigureTable {
    fn default() -> Self {
        let always = CATALOGUE.iter().filter(|line| line.section.is_always_there());
        Self { entries: always.filter_map(|line| Some(((line.make)("")?, None))).collect() }
    }
}

impl FigureTable {
    /// The figure, where it was measured and its numbers are numbers.
    pub fn get(&self, figure: &Figure) -> Option<Measurement> {
        self.stored(figure).filter(is_usable)
    }

    /// The same whatever its numbers are.
    pub fn stored(&self, figure: &Figure) -> Option<Measurement> {
        self.entries.get(figure).copied().flatten()
    }

    /// Puts a figure down; the other figures of its part are then there as well, unmeasured until
    /// they are set.
    pub fn set(&mut self, figure: Figure, measured: Option<Measurement>) {
        for sibling in figure.siblings() {
            self.entries.entry(sibling).or_insert(None);
        }
        if !matches!(figure, Figure::Other(_)) {
            self.entries.insert(figure, measured);
        }
    }

    /// Takes away a figure and all others of its part and section. What is in every result is then
    /// unmeasured.
    pub fn remove_part(&mut self, figure: &Figure) {
        for sibling in figure.siblings() {
            if figure.section().is_some_and(super::member::Section::is_always_there) {
                self.entries.insert(sibling, None);
            } else {
                self.entries.remove(&sibling);
            }
        }
    }

    /// Whether there is a figure of this name, measured or not.
    pub fn knows(&self, figure: &Figure) -> bool {
        self.entries.contains_key(figure)
    }

    pub fn iter(&self) -> impl Iterator<Item = (&Figure, Option<Measurement>)> {
        self.entries.iter().map(|(figure, measured)| (figure, *measured))
    }

    pub fn figures(&self) -> impl Iterator<Item = &Figure> {
        self.entries.keys()
    }

    /// Those that were measured.
    pub fn measured(&self) -> impl Iterator<Item = (&Figure, Measurement)> {
        self.iter().filter_map(|(figure, measured)| Some((figure, measured?)))
    }

    /// The pointer of the figure that a mistyped one most likely stands for.
    pub fn nearest(&self, pointer: &str) -> String {
        let mut known: Vec<String> = self.entries.keys().map(Figure::pointer).collect();
        known.sort();
        nearest(pointer, known.iter().map(String::as_str)).unwrap_or("none").to_owned()
    }
}

/// Whether both numbers are finite and the uncertainty is not negative.
pub fn is_usable(measurement: &Measurement) -> bool {
    measurement.value.is_finite() && measurement.u.is_finite() && measurement.u >= 0.0
}

/// One contribution to one figure's uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BudgetEntry {
    /// JSON pointer of the figure.
    pub field: Figure,
    /// What it comes from, such as "photos", "print scale", "up".
    pub from: String,
    /// Expanded (k = 2) contribution, same unit as the figure.
    pub u: f64,
}

/// Correlation of the figures that were measured.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Correlation {
    /// JSON pointers, in the order of the matrix.
    pub fields: Vec<Figure>,
    pub matrix: Vec<Vec<f64>>,
}

/// A joint first-order model of the figures: what the plan needs to foresee figures after an
/// adjustment, and what a comparison of two measurements needs to count shared terms once.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JointCovariance {
    /// In the order of the matrix.
    pub fields: Vec<Figure>,
    /// Standard covariance (k = 1), row-major n x n; units are products of the figures' own units.
    pub matrix: Vec<Vec<f64>>,
}

impl From<&JointCovariance> for Correlation {
    /// A figure without spread is correlated with nothing.
    fn from(joint: &JointCovariance) -> Self {
        let n_fields = joint.fields.len();
        let entry = |row: usize, col: usize| {
            joint.matrix.get(row).and_then(|line| line.get(col)).copied().unwrap_or(0.0)
        };
        let correlate = |row: usize, col: usize| {
            let spread = (entry(row, row) * entry(col, col)).sqrt();
            match (row == col, spread > 0.0) {
                (true, _) => 1.0,
                (false, true) => (entry(row, col) / spread).clamp(-1.0, 1.0),
                (false, false) => 0.0,
            }
        };
        let row = |row: usize| (0..n_fields).map(|col| correlate(row, col)).collect();
        Self { fields: joint.fields.clone(), matrix: (0..n_fields).map(row).collect() }
    }
}

/// A number for each figure, in a file in the order of the pointers' letters.
pub mod by_pointer {
    use std::collections::BTreeMap;

    use serde::{Serialize, Serializer};

    use super::Figure;

    pub fn serialize<S: Serializer>(
        numbers: &BTreeMap<Figure, f64>,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        let named: BTreeMap<String, f64> =
            numbers.iter().map(|(figure, number)| (figure.pointer(), *number)).collect();
        named.serialize(serializer)
    }
}
