//! The sentences of the plan, and the numbers in them.

use super::outcome::{Direction, Unit};
use crate::figure::Side;
use crate::job::SpacerKind;
use crate::measurement::Measurement;

/// A length for a sentence, to a tenth of a millimetre, without its sign.
pub fn mm(length: f64) -> String {
    format!("{:.1} mm", length.abs())
}

/// An amount for a sentence, to the hundredth.
pub fn amount(value: f64, unit: Unit) -> String {
    // What rounds to nothing has no sign.
    let value = if value.abs() < FINEST / 2.0 { 0.0 } else { value };
    match unit {
        Unit::Mm => format!("{value:.2} mm"),
        Unit::Deg => format!("{value:.2} degrees"),
    }
}

/// The smallest amount that [`amount`] can show, mm or degrees.
pub const FINEST: f64 = 0.01;

/// An amount rounded down, for what must not be exceeded.
pub fn at_most(value: f64, unit: Unit) -> String {
    amount((value / FINEST).floor() * FINEST, unit)
}

/// An amount rounded up, for what must be reached.
pub fn at_least(value: f64, unit: Unit) -> String {
    amount((value / FINEST).ceil() * FINEST, unit)
}

/// What to do to square the wheel.
pub fn square_in_words(drawn: Side, way: Direction, angle: f64, distance: Option<Measurement>, flats: Option<u32>) -> String {
    let (end, stays, way) = (drawn.word(), drawn.other().word(), way.word());
    let Some(distance) = distance else {
        let per_100 = mm(100.0 * angle.tan());
        return format!(
            "Draw the {end} end of the spindle {way}, by {per_100} for each 100 mm from adjuster to adjuster; the {stays} end stays."
        );
    };
    let by_thread = match flats {
        Some(0) => ": less than half a flat of its adjuster".to_owned(),
        Some(flats) => format!(": {} of its adjuster", turns_in_words(flats)),
        None => String::new(),
    };
    format!("Draw the {end} end of the spindle {} {way}{by_thread}; the {stays} end stays.", mm(distance.value))
}

/// "1 turn and 2 flats", "4 flats".
fn turns_in_words(flats: u32) -> String {
    let count = |n: u32, one: &str| format!("{n} {one}{}", if n == 1 { "" } else { "s" });
    match (flats / 6, flats % 6) {
        (0, rest) => count(rest, "flat"),
        (turns, 0) => count(turns, "turn"),
        (turns, rest) => format!("{} and {}", count(turns, "turn"), count(rest, "flat")),
    }
}

/// What to do to bring the sprockets into line; `outboard` is how far the moved part goes, mm.
pub fn chain_in_words(pack: SpacerKind, side: Side, outboard: f64) -> String {
    let by = mm(outboard);
    let to = if outboard > 0.0 { side } else { side.other() };
    match (pack, outboard > 0.0) {
        (SpacerKind::Hub, _) => format!(
            "Move the wheel {by} to the {} on its spindle: the spacer on the {} of the hub gets {by} longer, the one on the {} {by} \
             shorter. The rim goes along.",
            to.word(),
            to.other().word(),
            to.word()
        ),
        (SpacerKind::Sprocket, true) => format!("Pack the rear sprocket out by {by}, between it and its seat. The rim stays."),
        (SpacerKind::Sprocket, false) => {
            format!("Bring the rear sprocket in by {by}: take out packing, or have its seat faced. The rim stays.")
        }
        (SpacerKind::Gearbox, true) => format!("Bring the gearbox sprocket out by {by} with a shim behind it. The wheel stays."),
        (SpacerKind::Gearbox, false) => {
            format!("Bring the gearbox sprocket in by {by}: take out a shim, or have its seat faced. The wheel stays.")
        }
    }
}

/// A distance along the axis that is told + outboard.
fn outboard(value: f64) -> String {
    format!("{} {}", mm(value), if value < 0.0 { "inboard" } else { "outboard" })
}

/// What to do to bring the rim to the middle; `left` is how far it goes, `face` the hub face's side and the rim's distance from it
/// before and after, mm.
pub fn centre_in_words(to: Side, left: f64, face: Option<((Side, Measurement), Measurement)>) -> String {
    let number = match face {
        Some(((side, old), new)) => format!(
            "The rim's face, now {} of the hub face on the {}, then stands {}.",
            outboard(old.value),
            side.word(),
            outboard(new.value)
        ),
        None => "The rim's distance from a hub face was not measured: take it with a caliper before and after.".to_owned(),
    };
    format!(
        "Move the rim {} to the {} by its spokes: loosen those that run to the hub's {} flange and tighten those that run to its {} \
         flange by as much, a little at a time all round. {number}",
        mm(left),
        to.word(),
        to.other().word(),
        to.word()
    )
}
