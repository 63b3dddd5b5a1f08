//! Figures with their values in words: how amounts of each kind are worded.

use crate::figure::Figure;
use crate::figure::sense::Sense;
use crate::measurement::Measurement;
use crate::text::units::{self, Kind, Show, Shown};

/// How a figure's values are worded.
pub trait InWords {
    /// The value with its sign in words: "3.20 mm to the left", "0.35 deg, front to the left".
    fn in_words(&self, measured: &Measurement, show: Show) -> String;
    /// A limit or another stated amount of this kind, without a sign.
    fn amount(&self, value: f64, show: Show) -> String;
}

impl InWords for Figure {
    fn in_words(&self, measured: &Measurement, show: Show) -> String {
        say(&Shown::of(measured, self.kind(), show), self.kind(), self.sense())
    }

    fn amount(&self, value: f64, show: Show) -> String {
        match self.kind() {
            Kind::Angle => units::angle(value),
            Kind::Length => units::length(value, show),
            Kind::Ratio => Shown::exact(value, Kind::Ratio, show).with_unit(),
        }
    }
}

fn say(shown: &Shown, kind: Kind, sense: Sense) -> String {
    let words = sense.words(shown.sign);
    let comma = if kind == Kind::Angle || shown.fraction.is_some() { "," } else { "" };
    if words.is_empty() {
        shown.with_unit()
    } else {
        format!("{}{comma} {words}", shown.with_unit())
    }
}
