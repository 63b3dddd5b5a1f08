//! The figures as they will be when some steps are done, with their joint uncertainty.
//!
//! A step is a number that somebody carries out: "draw the right end 1.4 mm". Once stated, it is
//! fixed. So with the true figures y and the stated amount a, the figures afterwards are T(y; a +
//! e), where e is how finely the step can be set. To first order their covariance is J C J' + g g'
//! s^2, with J = dT/dy at the fixed amount, C the covariance before, g = dT/de and s the standard
//! deviation of e. What a figure was measured to be does not get more certain by moving parts
//! about: squaring the wheel by its measured yaw leaves a yaw of zero with the U of the
//! measurement. Assumed: the errors of setting are independent of each other and of the
//! measurement, and T is straight over a few U (it turns by a degree or two).

use nalgebra::{DMatrix, DVector};

use crate::bench::Figures;
use crate::figure::member::Section;
use crate::figure::table::Correlation;
use crate::figure::{Expected, Facts, Figure, FigureTable, Measured};
use crate::measurement::{Measurement, Quality};

/// Half-width of the difference quotients that linearise a step, mm or degrees: small against a
/// step, large against rounding.
const NUDGE: f64 = 1e-3;

/// Some figures by their pointers. What is not there can't be moved: steps pass it over.
#[derive(Clone, Debug, PartialEq)]
pub struct Values {
    fields: Vec<Figure>,
    numbers: DVector<f64>,
}

impl Values {
    fn index(&self, field: &Figure) -> Option<usize> {
        self.fields.iter().position(|known| known == field)
    }

    pub fn get(&self, field: &Figure) -> Option<f64> {
        self.index(field).map(|index| self.numbers[index])
    }

    /// Adds to a figure, if it is there.
    pub fn add(&mut self, field: &Figure, change: f64) {
        if let Some(index) = self.index(field) {
            self.numbers[index] += change;
        }
    }

    /// Puts a figure in place of what it was, if it is there.
    pub fn set(&mut self, field: &Figure, value: f64) {
        if let Some(index) = self.index(field) {
            self.numbers[index] = value;
        }
    }
}

/// Figures with their covariance (k = 1), their answer to the print's scale, and whether they may
/// be used for a verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct Foreseen {
    values: Values,
    covariance: DMatrix<f64>,
    /// Change for a print 1 % larger, carried along as the steps carry errors.
    per_percent: DVector<f64>,
    single: Vec<bool>,
    lost: Vec<Figure>,
}

impl Foreseen {
    /// The figures as measured, nothing done yet.
    pub fn measured(input: &Figures) -> Self {
        let mut fields: Vec<Figure> = foreseen_figures().collect();
        fields.extend(input.measured.rims().into_iter().map(|rim| Figure::RimOffset(rim.at)));
        fields.retain(|field| input.get(field).is_some());
        let known: Vec<Measurement> = fields.iter().filter_map(|field| input.get(field)).collect();
        let joint = match input.correlation.fields.is_empty() {
            true => Correlation::from(&input.joint),
            false => input.correlation.clone(),
        };
        let n_fields = known.len();
        let places: Vec<Option<usize>> = fields
            .iter()
            .map(|field| joint.fields.iter().position(|other| other == field))
            .collect();
        // A figure that the result does not correlate is taken as independent.
        let correlation = |row: usize, col: usize| match (row == col, places[row], places[col]) {
            (true, _, _) => 1.0,
            (false, Some(row), Some(col)) => joint
                .matrix
                .get(row)
                .and_then(|line| line.get(col))
                .copied()
                .filter(|r| r.is_finite())
                .unwrap_or(0.0),
            _ => 0.0,
        };
        let covariance = DMatrix::from_fn(n_fields, n_fields, |row, col| {
            correlation(row, col) * known[row].u * known[col].u / 4.0
        });
        let per_percent =
            DVector::from_iterator(n_fields, fields.iter().map(|field| scale_answer(input, field)));
        Self {
            values: Values {
                fields,
                numbers: DVector::from_iterator(n_fields, known.iter().map(|figure| figure.value)),
            },
            covariance,
            per_percent,
            single: known.iter().map(|figure| figure.quality == Quality::Single).collect(),
            lost: Vec::new(),
        }
    }

    pub fn get(&self, field: &Figure) -> Option<f64> {
        self.values.get(field)
    }

    pub fn values(&self) -> &Values {
        &self.values
    }

    /// Change of the figure for a print 1 % larger.
    pub fn per_percent(&self, field: &Figure) -> Option<f64> {
        self.values.index(field).map(|index| self.per_percent[index])
    }

    /// Whether a step made this figure one that can't be foreseen.
    pub fn is_lost(&self, field: &Figure) -> bool {
        self.lost.iter().any(|lost| lost == field)
    }

    /// The figure with its expanded uncertainty, k = 2.
    pub fn figure(&self, field: &Figure) -> Option<Measurement> {
        self.values.index(field).map(|index| Measurement {
            value: without_dust(self.values.numbers[index]),
            u: 2.0 * self.covariance[(index, index)].max(0.0).sqrt(),
            quality: if self.single[index] { Quality::Single } else { Quality::Good },
        })
    }

    /// The figures after a step. `step` moves the values by the stated amounts plus an error for
    /// each of them, of the standard deviations `fineness`.
    pub fn after(&self, fineness: &[f64], step: impl Fn(&mut Values, &[f64])) -> Self {
        let n_fields = self.values.fields.len();
        let moved = |values: &Values, errors: &[f64]| {
            let mut values = values.clone();
            step(&mut values, errors);
            values.numbers
        };
        let no_errors = vec![0.0; fineness.len()];
        let mut jacobian = DMatrix::zeros(n_fields, n_fields);
        for col in 0..n_fields {
            let nudged = |by: f64| {
                let mut values = self.values.clone();
                values.numbers[col] += by;
                moved(&values, &no_errors)
            };
            jacobian.set_column(col, &((nudged(NUDGE) - nudged(-NUDGE)) / (2.0 * NUDGE)));
        }
        let mut covariance = &jacobian * &self.covariance * jacobian.transpose();
        for (which, &sigma) in fineness.iter().enumerate() {
            let set_wrong = |by: f64| {
                let mut errors = no_errors.clone();
                errors[which] = by;
                moved(&self.values, &errors)
            };
            // Nudged by its own size, the difference is the error that this fineness makes.
            let error = (set_wrong(sigma) - set_wrong(-sigma)) / 2.0;
            covariance += &error * error.transpose();
        }
        let feels_single = |row: usize| {
            (0..n_fields).any(|col| self.single[col] && jacobian[(row, col)].abs() > 1e-9)
        };
        Self {
            values: Values {
                fields: self.values.fields.clone(),
                numbers: moved(&self.values, &no_errors),
            },
            covariance,
            per_percent: &jacobian * &self.per_percent,
            single: (0..n_fields).map(feels_single).collect(),
            lost: self.lost.clone(),
        }
    }

    /// The same without a figure that can't be foreseen any more.
    pub fn without(&self, field: &Figure) -> Self {
        let Some(index) = self.values.index(field) else { return self.clone() };
        let mut rest = self.clone();
        rest.lost.push(rest.values.fields.remove(index));
        rest.values.numbers = rest.values.numbers.remove_row(index);
        rest.covariance = rest.covariance.remove_row(index).remove_column(index);
        rest.per_percent = rest.per_percent.remove_row(index);
        rest.single.remove(index);
        rest
    }

    /// The figures to expect, besides those that stay as they were measured.
    pub fn expected(&self, measured: &Measured) -> Expected {
        let mut table = FigureTable::default();
        let rear = measured.rims().into_iter().filter(|rim| rim.at.is_rear());
        let moved = rear.map(|rim| Figure::RimOffset(rim.at)).chain(foreseen_figures());
        for figure in moved {
            let foreseen = self.figure(&figure);
            table.set(figure, foreseen);
        }
        let facts = Facts {
            wheel_source: measured.facts.wheel_source,
            chain_side: measured.facts.chain_side,
            chain_reference: measured.facts.chain_reference,
            hub_side: measured.facts.hub_side,
            ..Facts::default()
        };
        Expected { table, facts }
    }
}

/// Figures that are given again as expected, besides the rims' offsets. How a step moves them is
/// `moves.rs`'s to say; what it does not move stays as measured.
fn foreseen_figures() -> impl Iterator<Item = Figure> {
    let sections = Section::ALL.into_iter().filter(|section| section.is_foreseen());
    sections.flat_map(Figure::all_of)
}

/// How a measured figure answers to 1 % of print scale.
pub fn scale_answer(input: &Figures, field: &Figure) -> f64 {
    input.scale_sensitivity.get(field).copied().filter(|answer| answer.is_finite()).unwrap_or(0.0)
}

/// Nought where only the rounding of the arithmetic is left of a figure that a step brought to
/// zero.
fn without_dust(value: f64) -> f64 {
    if value.abs() < 1e-9 { 0.0 } else { value }
}
