//! The papers a sheet can be printed on.

/// What a printer leaves white on each side, mm. Common practice for desk printers (3 to 5 mm), no
/// source.
pub const MARGIN_MM: f64 = 5.0;

/// A paper size. A4 and A3 as in ISO 216, Letter as in ANSI/ASME Y14.1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Paper {
    A4,
    Letter,
    A3,
}

impl Paper {
    pub const ALL: [Self; 3] = [Self::A4, Self::Letter, Self::A3];

    /// Name as on the command line and in file names.
    pub fn name(self) -> &'static str {
        match self {
            Self::A4 => "a4",
            Self::Letter => "letter",
            Self::A3 => "a3",
        }
    }

    /// Name as printed for people.
    pub fn title(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "Letter",
            Self::A3 => "A3",
        }
    }

    /// Shorter and longer side, mm.
    fn sides_mm(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
            Self::A3 => [297.0, 420.0],
        }
    }

    /// Width and height with the longer side across, mm.
    pub fn landscape_mm(self) -> [f64; 2] {
        let [short, long] = self.sides_mm();
        [long, short]
    }

    /// Width and height with the longer side upright, mm.
    pub fn portrait_mm(self) -> [f64; 2] {
        self.sides_mm()
    }
}
