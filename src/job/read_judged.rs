//! The `[[tolerance]]` and `[[hand]]` of `job.toml`: what names a figure and its unit.

use crate::figure::{Figure, Unit};

use super::fields::{judged_figure, nearest_field};
use super::section::{Section, required};
use super::settings::{Hand, Tolerance};

pub(super) fn read_tolerances(sections: &[Section<'_>]) -> Vec<Tolerance> {
    let mut tolerances: Vec<Tolerance> = Vec::new();
    for section in sections {
        let field = read_field(section);
        let source = required(section, "source", |section| section.text("source"));
        let limit = one_unit(section, ["mm", "deg"], field.as_ref().map(|&(_, unit)| unit));
        let (Some((field, unit)), Some(source), Some(limit)) = (field, source, limit) else {
            continue;
        };
        if tolerances.iter().any(|other| other.field == field) {
            section.problem("field", format!("{field} has two tolerances"), "Keep one of the two.");
        } else {
            tolerances.push(Tolerance { field, limit, unit, source });
        }
    }
    tolerances
}

pub(super) fn read_hand(section: &Section<'_>) -> Option<Hand> {
    let field = read_field(section);
    let unit = field.as_ref().map(|&(_, unit)| unit);
    let value = one_unit(section, ["value_mm", "value_deg"], unit);
    let u = one_unit(section, ["u_mm", "u_deg"], unit);
    let tool = required(section, "tool", |section| section.text("tool"));
    let (field, unit) = field?;
    Some(Hand { field, value: value?, u: u?, unit, tool: tool? })
}

/// The name of a figure, and its unit.
fn read_field(section: &Section<'_>) -> Option<(Figure, Unit)> {
    let field = required(section, "field", |section| section.text("field"))?;
    match judged_figure(&field) {
        Some(figure) => Some((figure.clone(), figure.unit())),
        None => {
            section.problem(
                "field",
                format!("there is no figure {field}"),
                format!(
                    "The nearest is {} (* stands for a name); result.json shows all of them.",
                    nearest_field(&field)
                ),
            );
            None
        }
    }
}

/// The value of the key that fits the figure's unit; the other one must not stand there. Without a
/// known figure the unit is not judged.
fn one_unit(section: &Section<'_>, keys: [&'static str; 2], unit: Option<Unit>) -> Option<f64> {
    let [mm, deg] = keys.map(|key| section.number(key));
    let (fits, other, value) = match unit? {
        Unit::Mm => (keys[0], keys[1], mm),
        Unit::Deg => (keys[1], keys[0], deg),
    };
    if section.has(other) {
        section.problem(
            other,
            format!("{other} does not fit this figure"),
            format!("Write {fits} instead."),
        );
        None
    } else if section.has(fits) {
        value
    } else {
        section.problem(fits, format!("{fits} is missing"), format!("Add a line {fits} = ..."));
        None
    }
}
