//! Where figures are in the result and under which heading, and the macro that makes the enum of
//! figures of the catalogue.

/// A part of the result that holds figures, in the order of the result.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Section {
    Pattern,
    Rim,
    RimWidth,
    Wheel,
    Frame,
    WheelInFrame,
    Runout,
    Hub,
    Chain,
    Spindle,
    Plumb,
    Stations,
    Backbone,
    Faces,
    Track,
    Bench,
    Riders,
}

impl Section {
    pub const ALL: [Self; 17] = [
        Self::Pattern,
        Self::Rim,
        Self::RimWidth,
        Self::Wheel,
        Self::Frame,
        Self::WheelInFrame,
        Self::Runout,
        Self::Hub,
        Self::Chain,
        Self::Spindle,
        Self::Plumb,
        Self::Stations,
        Self::Backbone,
        Self::Faces,
        Self::Track,
        Self::Bench,
        Self::Riders,
    ];

    /// Its keys in the result.
    pub fn key(self) -> &'static str {
        match self {
            Self::Pattern => "pattern",
            Self::Rim => "rim",
            Self::RimWidth => "rim_width",
            Self::Wheel => "wheel",
            Self::Frame => "frame",
            Self::WheelInFrame => "wheel_in_frame",
            Self::Runout => "runout",
            Self::Hub => "hub",
            Self::Chain => "chain",
            Self::Spindle => "spindle",
            Self::Plumb => "plumb",
            Self::Stations => "stations",
            Self::Backbone => "backbone",
            Self::Faces => "faces",
            Self::Track => "track",
            Self::Bench => "bench",
            Self::Riders => "bench/riders",
        }
    }

    /// Whether it holds the same figures of several parts, each under the part's name.
    pub fn is_list(self) -> bool {
        matches!(
            self,
            Self::Rim | Self::RimWidth | Self::Plumb | Self::Stations | Self::Faces | Self::Riders
        )
    }

    /// Whether the plan gives its figures again, as they are expected after its steps.
    pub fn is_foreseen(self) -> bool {
        matches!(self, Self::Wheel | Self::Frame | Self::WheelInFrame | Self::Hub | Self::Chain)
    }

    /// Whether its figures are in every result, measured or not.
    pub fn is_always_there(self) -> bool {
        !self.is_list() && self != Self::Track
    }
}

/// Figures that are shown together, in the order in which the groups are shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    RearWheel,
    /// The rim's offsets have a table of their own.
    Rim,
    Chain,
    Spindle,
    Frame,
    BenchAndPrint,
}

impl Group {
    pub const ALL: [Self; 6] =
        [Self::RearWheel, Self::Rim, Self::Chain, Self::Spindle, Self::Frame, Self::BenchAndPrint];

    pub fn title(self) -> &'static str {
        match self {
            Self::RearWheel => "Rear wheel",
            Self::Rim => "Rim offsets",
            Self::Chain => "Chain line",
            Self::Spindle => "Spindle",
            Self::Frame => "Frame",
            Self::BenchAndPrint => "Bench and print",
        }
    }

    /// Before a figure's short name, where it appears without its heading.
    pub fn word(self) -> &'static str {
        match self {
            Self::RearWheel => "wheel ",
            Self::Chain => "chain ",
            Self::Spindle => "spindle ",
            Self::Frame => "frame ",
            Self::Rim | Self::BenchAndPrint => "",
        }
    }
}

/// Makes of the catalogue's blocks the enum of figures and the table of lines, in the same order.
macro_rules! catalogue {
    ($($(#[doc = $doc:literal])* $figure:ident $(($part:ty))? { $($field:ident: $value:expr),* $(,)? })*) => {
        /// Which figure.
        #[derive(Clone, Debug, PartialEq, Eq, Hash)]
        pub enum Figure {
            $($(#[doc = $doc])* $figure $(($part))?,)*
            /// One that this version of the program does not know, by its JSON pointer.
            Other(String),
        }

        /// One line a figure, in the order of the result.
        pub static CATALOGUE: &[Line] = &[$(Line {
            make: |_name| Some(Figure::$figure $((<$part as Part>::named(_name)?))?),
            definition: concat!($($doc),*),
            $($field: $value,)*
            ..USUAL
        }),*];

        impl Figure {
            /// The number of its line in the catalogue; that of an unknown figure is behind the
            /// last.
            pub(super) fn number(&self) -> usize {
                enum Number { $($figure,)* Other }
                match self {
                    $(Self::$figure { .. } => Number::$figure as usize,)*
                    Self::Other(_) => Number::Other as usize,
                }
            }
        }
    };
}
pub(super) use catalogue;
