//! An amount in a sentence: its value, its kind and how it is rounded.

use crate::measurement::Measurement;

use super::units::{Kind, Show, Shown};

/// How an amount is rounded and worded.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Form {
    /// To the place that its uncertainty supports.
    Measured(f64),
    /// The same, and the uncertainty behind it.
    WithU(f64),
    /// A stated number, such as a limit: without trailing zeros.
    Stated,
    /// So many places behind the point of a millimetre or degree.
    Places(usize),
    /// At the finest place that is shown, never above the value.
    AtMost,
    /// At the finest place that is shown, never below the value.
    AtLeast,
}

/// A length (mm) or an angle (degrees) in a sentence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amount {
    value: f64,
    kind: Kind,
    form: Form,
}

impl Amount {
    fn new(value: f64, kind: impl Into<Kind>, form: Form) -> Self {
        Self { value, kind: kind.into(), form }
    }

    /// A measured amount as its tables show it, without its ±.
    pub fn measured(measured: &Measurement, kind: impl Into<Kind>) -> Self {
        Self::new(measured.value, kind, Form::Measured(measured.u))
    }

    /// A measured amount with its ±: "1.55 ± 0.20 mm".
    pub fn with_u(measured: &Measurement, kind: impl Into<Kind>) -> Self {
        Self::new(measured.value, kind, Form::WithU(measured.u))
    }

    /// A limit, a distance to lay things out by: "2 mm", "0.2 degrees".
    pub fn stated(value: f64, kind: impl Into<Kind>) -> Self {
        Self::new(value, kind, Form::Stated)
    }

    /// An amount of unknown or no uncertainty, to this many places of a millimetre or degree.
    pub fn to_places(value: f64, places: usize, kind: impl Into<Kind>) -> Self {
        Self::new(value, kind, Form::Places(places))
    }

    /// A length to a tenth of a millimetre.
    pub fn tenths(mm: f64) -> Self {
        Self::to_places(mm, 1, Kind::Length)
    }

    /// A stated length.
    pub fn mm(mm: f64) -> Self {
        Self::stated(mm, Kind::Length)
    }

    /// Rounded down, for what must not be exceeded.
    pub fn at_most(value: f64, kind: impl Into<Kind>) -> Self {
        Self::new(value, kind, Form::AtMost)
    }

    /// Rounded up, for what must be reached.
    pub fn at_least(value: f64, kind: impl Into<Kind>) -> Self {
        Self::new(value, kind, Form::AtLeast)
    }

    /// The same without its sign: words say the direction.
    pub fn size(self) -> Self {
        Self { value: self.value.abs(), ..self }
    }

    /// The amount with its unit, for people.
    pub fn shown(&self, show: Show) -> String {
        let shown = match self.form {
            Form::Measured(u) | Form::WithU(u) => Shown::new(self.value, Some(u), self.kind, show),
            Form::Stated => Shown::exact(self.value, self.kind, show).trimmed(),
            Form::Places(places) => Shown::to_places(self.value, places, self.kind, show),
            Form::AtMost => Shown::at_finest(self.value, f64::floor, self.kind, show),
            Form::AtLeast => Shown::at_finest(self.value, f64::ceil, self.kind, show),
        };
        let minus = if shown.sign < 0 { "-" } else { "" };
        let unit = if self.kind == Kind::Angle { "degrees" } else { shown.unit };
        let u = match self.form {
            Form::WithU(_) => format!(" ± {}", shown.u),
            _ => String::new(),
        };
        let fraction = shown
            .fraction
            .as_ref()
            .map_or_else(String::new, |fraction| format!(" ({minus}{fraction})"));
        format!("{minus}{}{u} {unit}{fraction}", shown.amount)
    }
}
