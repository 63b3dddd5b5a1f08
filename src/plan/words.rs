//! The sentences of the plan.

use super::outcome::{Direction, Unit};
use crate::figure::{Kind, Side};
use crate::job::SpacerKind;
use crate::measurement::Measurement;
use crate::say;
use crate::text::{Amount, Sentence};

/// A length without its sign, to a tenth of a millimetre: for what has no uncertainty of its own.
pub fn mm(length: f64) -> Amount {
    Amount::tenths(length).size()
}

/// A measured length without its sign, as its tables show it.
pub fn by(measured: &Measurement) -> Amount {
    Amount::measured(measured, Kind::Length).size()
}

/// An amount of unknown uncertainty, to the hundredth.
pub fn amount(value: f64, unit: Unit) -> Amount {
    Amount::to_places(value, 2, unit)
}

/// The smallest amount that is stated, mm or degrees (our choice).
pub const FINEST: f64 = 0.01;

/// What to do to square the wheel.
pub fn square_in_words(
    drawn: Side,
    way: Direction,
    angle: f64,
    distance: Option<Measurement>,
    flats: Option<u32>,
) -> Sentence {
    let (end, stays, way) = (drawn.word(), drawn.other().word(), way.word());
    let Some(distance) = distance else {
        return say![
            format!("Draw the {end} end of the spindle {way}, by "),
            mm(100.0 * angle.tan()),
            " for each ",
            Amount::mm(100.0),
            format!(" from adjuster to adjuster; the {stays} end stays."),
        ];
    };
    let by_thread = match flats {
        Some(0) => ": less than half a flat of its adjuster".to_owned(),
        Some(flats) => format!(": {} of its adjuster", turns_in_words(flats)),
        None => String::new(),
    };
    say![
        format!("Draw the {end} end of the spindle "),
        by(&distance),
        format!(" {way}{by_thread}; the {stays} end stays."),
    ]
}

/// "1 turn and 2 flats", "4 flats".
pub fn turns_in_words(flats: u32) -> String {
    let count = |n: u32, one: &str| format!("{n} {one}{}", if n == 1 { "" } else { "s" });
    match (flats / 6, flats % 6) {
        (0, rest) => count(rest, "flat"),
        (turns, 0) => count(turns, "turn"),
        (turns, rest) => format!("{} and {}", count(turns, "turn"), count(rest, "flat")),
    }
}

/// What to do to bring the sprockets into line; `outboard` is how far the moved part goes, mm.
pub fn chain_in_words(pack: SpacerKind, side: Side, outboard: &Measurement) -> Sentence {
    let goes_out = outboard.value > 0.0;
    let to = if goes_out { side } else { side.other() };
    let by = by(outboard);
    match (pack, goes_out) {
        (SpacerKind::Hub, _) => say![
            "Move the wheel ",
            by,
            format!(
                " to the {} on its spindle: the spacer on the {} of the hub gets ",
                to.word(),
                to.other().word()
            ),
            by,
            format!(" longer, the one on the {} ", to.word()),
            by,
            " shorter. The rim goes along.",
        ],
        (SpacerKind::Sprocket, true) => {
            say!["Pack the rear sprocket out by ", by, ", between it and its seat. The rim stays."]
        }
        (SpacerKind::Sprocket, false) => {
            say![
                "Bring the rear sprocket in by ",
                by,
                ": take out packing, or have an engineer face its seat. The rim stays."
            ]
        }
        (SpacerKind::Gearbox, true) => {
            say![
                "Bring the gearbox sprocket out by ",
                by,
                " with a shim behind it. The wheel stays."
            ]
        }
        (SpacerKind::Gearbox, false) => {
            say![
                "Bring the gearbox sprocket in by ",
                by,
                ": take out a shim, or have an engineer face its seat. The wheel stays."
            ]
        }
    }
}

/// A distance along the axis that is + outboard.
fn outboard(value: &Measurement) -> Sentence {
    say![by(value), if value.value < 0.0 { " inboard" } else { " outboard" }]
}

/// What to do to bring the rim to the middle; `left` is how far it goes, `face` the hub face's side
/// and the rim's distance from it before and after, mm.
pub fn centre_in_words(
    to: Side,
    left: &Measurement,
    face: Option<((Side, Measurement), Measurement)>,
) -> Sentence {
    let number = match face {
        Some(((side, old), new)) => say![
            "The rim's face, now ",
            outboard(&old),
            format!(" of the hub face on the {}, will then be ", side.word()),
            outboard(&new),
            ".",
        ],
        None => say![
            "The rim's distance from a hub face was not measured: take it with a caliper before and after."
        ],
    };
    say![
        "Move the rim ",
        by(left),
        format!(
            " to the {} by its spokes: loosen those that run to the hub's {} flange and tighten those that run to its {} flange by as \
             much, a little at a time all round. ",
            to.word(),
            to.other().word(),
            to.word()
        ),
        number,
    ]
}
