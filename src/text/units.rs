//! The one place that rounds and prints lengths and angles for people.
//!
//! A value is printed with as many decimals as its uncertainty supports and no more: the
//! uncertainty keeps two significant digits at most and is rounded up, never down, and the value is
//! rounded to the same place (the practice of JCGM 100:2008, 7.2.6). A cap keeps a very small
//! uncertainty from asking the reader for digits no workshop can use.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::measurement::Measurement;

/// Millimetres in an inch, exactly (international inch).
pub const MM_PER_INCH: f64 = 25.4;

/// In which unit lengths are shown. Files always hold millimetres.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Show {
    #[default]
    Mm,
    Inch,
}

pub use crate::figure::Kind;

/// The most decimals that are shown: 0.01 mm, 0.001 inch and 0.01 degree are as fine as any tool
/// at the bench can follow (common practice, no source); a ratio's 0.01 % is 0.01 mm on 100 mm.
const MOST_DECIMALS_MM: usize = 2;
const MOST_DECIMALS_INCH: usize = 3;
const MOST_DECIMALS_DEGREE: usize = 2;
const MOST_DECIMALS_PERCENT: usize = 2;

/// A number as it will be read: value and uncertainty rounded to the same place, the sign kept
/// apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// The amount without its sign, such as "3.20".
    pub amount: String,
    /// The expanded uncertainty, such as "0.21"; empty where none was given.
    pub u: String,
    /// "mm", "in", "deg" or "%".
    pub unit: &'static str,
    /// The nearest 64th of an inch, such as "1/8" or "1 5/64"; only where inches are shown.
    pub fraction: Option<String>,
    /// -1, 0 or +1: the sign of what is printed. An amount that rounds to zero has none.
    pub sign: i8,
}

impl Shown {
    /// A measured value with its uncertainty.
    pub fn of(measured: &Measurement, kind: Kind, show: Show) -> Self {
        Self::new(measured.value, Some(measured.u), kind, show)
    }

    /// A value whose uncertainty is not known or does not matter, at the finest place that is
    /// shown.
    pub fn exact(value: f64, kind: Kind, show: Show) -> Self {
        Self::new(value, None, kind, show)
    }

    pub(super) fn new(value: f64, u: Option<f64>, kind: Kind, show: Show) -> Self {
        let Scale { word, factor, base, most } = Scale::of(kind, show);
        let scaled = (value - base) * factor;
        let u_scaled = u.map(|u| u.abs() * factor);
        let decimals = u_scaled.map_or(most, |u| decimals_for(u, most));
        Self::written(scaled, decimals, word, u_scaled)
    }

    /// To this many places of a millimetre or degree. A hundredth of an inch is a quarter of a
    /// millimetre: two places more say as much.
    pub(super) fn to_places(value: f64, places: usize, kind: Kind, show: Show) -> Self {
        let Scale { word, factor, base, most } = Scale::of(kind, show);
        let decimals = if word == "in" { most.min(places + 2) } else { most.min(places) };
        Self::written((value - base) * factor, decimals, word, None)
    }

    /// At the finest place that is shown, rounded by `round` to a whole number of it. What lies
    /// within a millionth of one is on it.
    pub(super) fn at_finest(value: f64, round: fn(f64) -> f64, kind: Kind, show: Show) -> Self {
        let Scale { word, factor, base, most } = Scale::of(kind, show);
        let steps = (value - base) * factor * 10_f64.powi(most as i32);
        let steps = if (steps - steps.round()).abs() < 1e-6 { steps.round() } else { round(steps) };
        Self::written(steps / 10_f64.powi(most as i32), most, word, None)
    }

    /// Without noughts behind the decimal point: of a stated number, such as a limit of 2 mm, they
    /// would pretend to a precision.
    pub(super) fn trimmed(mut self) -> Self {
        if self.amount.contains('.') {
            self.amount = self.amount.trim_end_matches('0').trim_end_matches('.').to_owned();
        }
        self
    }

    fn written(scaled: f64, decimals: usize, word: &'static str, u_scaled: Option<f64>) -> Self {
        let amount = format!("{:.decimals$}", scaled.abs());
        let rounds_to_nought = amount.bytes().all(|b| b == b'0' || b == b'.');
        Self {
            u: u_scaled.map_or_else(String::new, |u| round_up(u, decimals)),
            unit: word,
            fraction: (word == "in").then(|| sixty_fourths(scaled.abs())),
            sign: if rounds_to_nought || !scaled.is_finite() { 0 } else { scaled.signum() as i8 },
            amount,
        }
    }

    /// The amount with its unit and, in inches, the nearest 64th: "3.20 mm", "0.126 in (1/8)".
    pub fn with_unit(&self) -> String {
        match &self.fraction {
            Some(fraction) => format!("{} {} ({fraction})", self.amount, self.unit),
            None => format!("{} {}", self.amount, self.unit),
        }
    }

    /// The amount with a plus or minus sign where it is not zero: "+3.20".
    pub fn signed(&self) -> String {
        match self.sign {
            1 => format!("+{}", self.amount),
            -1 => format!("-{}", self.amount),
            _ => self.amount.clone(),
        }
    }
}

impl fmt::Display for Shown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.with_unit())
    }
}

/// How a kind of number is written: unit, what the number is multiplied with, what it is counted
/// from, and its most decimals.
struct Scale {
    word: &'static str,
    factor: f64,
    base: f64,
    most: usize,
}

impl Scale {
    fn of(kind: Kind, show: Show) -> Self {
        let (word, factor, base, most) = match (kind, show) {
            (Kind::Length, Show::Mm) => ("mm", 1.0, 0.0, MOST_DECIMALS_MM),
            (Kind::Length, Show::Inch) => ("in", 1.0 / MM_PER_INCH, 0.0, MOST_DECIMALS_INCH),
            (Kind::Angle, _) => ("deg", 1.0, 0.0, MOST_DECIMALS_DEGREE),
            (Kind::Ratio, _) => ("%", 100.0, 1.0, MOST_DECIMALS_PERCENT),
        };
        Self { word, factor, base, most }
    }
}

/// Decimals at which an uncertainty shows two significant digits, but at most `most`; none for 10
/// and above.
fn decimals_for(u: f64, most: usize) -> usize {
    if !(u.is_finite() && u > 0.0) {
        return most;
    }
    // An uncertainty a hair above a power of ten, such as 0.9999 from a sum that is 1, must not
    // lose a decimal for it.
    let magnitude = (u * (1.0 + 1e-9)).log10().floor();
    (1.0 - magnitude).clamp(0.0, most as f64) as usize
}

/// Rounds up at a decimal place. What lies within a millionth of the place below counts as on it: a
/// sum that should be 0.21 and came out as 0.2100000001 is not 0.22.
fn round_up(u: f64, decimals: usize) -> String {
    let step = 10_f64.powi(decimals as i32);
    format!("{:.decimals$}", (u * step - 1e-6).ceil() / step)
}

/// The nearest 64th of an inch in lowest terms: "0", "1/8", "2 23/64".
fn sixty_fourths(inches: f64) -> String {
    let total = (inches * 64.0).round();
    if !total.is_finite() || total > 1e9 {
        return "-".to_owned();
    }
    let (whole, mut top, mut bottom) = (total as u64 / 64, total as u64 % 64, 64);
    while top > 0 && top % 2 == 0 {
        top /= 2;
        bottom /= 2;
    }
    match (whole, top) {
        (whole, 0) => whole.to_string(),
        (0, top) => format!("{top}/{bottom}"),
        (whole, top) => format!("{whole} {top}/{bottom}"),
    }
}

/// A length in the unit chosen, at the finest place that is shown: for limits, moves and distances
/// in sentences.
pub fn length(mm: f64, show: Show) -> String {
    Shown::exact(mm, Kind::Length, show).trimmed().with_unit()
}

/// An angle in degrees, at the finest place that is shown.
pub fn angle(deg: f64) -> String {
    Shown::exact(deg, Kind::Angle, Show::Mm).trimmed().with_unit()
}
