//! Which figures a job may name, by the names that results give them: JSON pointers such as
//! `/wheel/offset`.

use crate::figure::catalogue::{CATALOGUE, Line};
use crate::figure::nearest::nearest;
use crate::figure::{Figure, Unit};

/// The figure of this name, where a tolerance or a hand value may be given for it.
pub fn judged_figure(pointer: &str) -> Option<Figure> {
    let figure = Figure::at(pointer);
    figure.line().filter(|line| line.is_judged)?;
    Some(figure)
}

/// Its unit; None where there is no such figure.
pub fn field_unit(pointer: &str) -> Option<Unit> {
    judged_figure(pointer).map(|figure| figure.unit())
}

/// The figure that a mistyped name most likely stands for; `*` stands for a name.
pub(super) fn nearest_field(typed: &str) -> String {
    let known: Vec<String> =
        CATALOGUE.iter().filter(|line| line.is_judged).map(Line::pattern).collect();
    nearest(typed, known.iter().map(String::as_str)).unwrap_or_default().to_owned()
}
