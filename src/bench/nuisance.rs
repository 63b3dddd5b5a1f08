//! Contributions to uncertainty that no photo shows: how tabs are stuck, how level the bench is.
//!
//! Each is a quantity of zero mean with a standard deviation; figures are evaluated with each at
//! zero and again with it off zero. The standard values are in `job::assumed`; the job can change
//! them.

/// One such quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Nuisance {
    /// Paper and glue under a tab (index into `State::tabs`), mm along its normal.
    Paper(usize),
    /// A tab not lying flat: its centre off the face, mm along its normal.
    Flat(usize),
    /// A tab set sideways, along its own x (0) or y (1), mm.
    Sideways(usize, u8),
    /// The bench's own slope against gravity, along (0) and across (1), degrees.
    Level(u8),
    /// A plumb line (index into `State::lines`) out of plumb along the world's x (0) or y (1),
    /// degrees.
    Hang(usize, u8),
    /// Slope of the cards' common plane against the bench, along (0) and across (1), degrees.
    CardTilt(u8),
    /// The cord's mid-line seen to one side by light and shadow, at its rear (0) and front (1) end,
    /// mm, in all photos alike.
    CordLight(u8),
    /// A rider (by its number from 1) that stands off the cord, mm square to its strip, to the
    /// left.
    RiderAcross(u8),
    /// A rider whose bridge is too long or too short for the cord, mm up its strip.
    RiderHeight(u8),
    /// The cord under riders in later set-ups to the left of where it was in the first, at its rear
    /// (0) and front (1) end, mm.
    RiderCordMoved(u8),
    /// A plumb line's middle (index into `State::lines`) seen to one side by light, mm, in all
    /// photos alike.
    LineLight(usize),
    /// Where on the gearbox sprocket's face its centre is, mm in two directions.
    GearboxCentre(u8),
    /// Tilt of the gearbox sprocket's tabs where fewer than three tell its plane, degrees in two
    /// directions.
    GearboxTilt(u8),
    /// The same of a face that the job names (its place among them).
    FaceTilt(usize, u8),
    /// Where on the rear sprocket's face its centre is when no wheel axis was found, mm in
    /// two directions.
    RearCentre(u8),
    /// Tilt of the rear sprocket's tabs against the wheel axis when no axis was found, degrees in
    /// two directions.
    Wobble(u8),
    /// The marked place's distance from the rim's mean plane, mm.
    RunOut,
    /// The frame's direction over the cord where its centre is known at one place only, degrees.
    FrameYaw,
    /// The wheel's axis where three set-ups or more do not tell one, or an earlier evening tells it,
    /// in two directions: its tilt, degrees, and its place, mm.
    AxisTilt(u8),
    AxisPlace(u8),
    /// A tab (index into `State::tabs`) of a turning part that stood elsewhere on it in another set-up,
    /// mm along its normal.
    Torn(usize),
    /// A spindle's end (left 0, right 1) that stood elsewhere in another set-up: where it is, mm, along
    /// the world's axes.
    SpindleApart(u8, u8),
    /// Where an earlier evening found a tab (index into `State::tabs`) among the wheel's others, mm
    /// in three directions.
    KnownTab(usize, u8),
}

/// A sprocket that wobbles by 0.3 mm at 70 mm radius shows a quarter of a degree; half of that as a
/// standard deviation.
pub const WOBBLE: f64 = 0.12;
/// A frame that was hung over the cord by eye, its middle known at one place only: half a millimetre
/// askew in 200 (degrees; our estimate, common practice, no source).
pub const FRAME_YAW: f64 = 0.15;
/// A single tab whose edge stands 0.04 mm off is tilted so (our estimate; common practice, no
/// source).
pub const LONE_TAB_TILT: f64 = 0.12;

/// What the budget calls tabs that stood elsewhere in another set-up.
pub const TORN: &str = "tabs that moved between set-ups";

impl Nuisance {
    /// What the budget calls it.
    pub fn source(self) -> &'static str {
        match self {
            Self::Paper(_) => "paper and glue under the tabs",
            Self::Flat(_) => "tabs not lying flat",
            Self::Sideways(..) => "tabs set sideways",
            Self::Level(_) => "level of the bench",
            Self::Hang(..) => "plumb lines not hanging true",
            Self::CardTilt(_) => "tilt of the cards on the bench",
            Self::CordLight(_) => "light and shadow on the cord",
            Self::RiderAcross(_) => "riders off the cord",
            Self::RiderHeight(_) => "riders that lean",
            Self::RiderCordMoved(..) => "cord moved between set-ups",
            Self::LineLight(_) => "light on the plumb lines",
            Self::GearboxCentre(_) => "centre of the gearbox sprocket",
            Self::GearboxTilt(_) => "few tabs on the gearbox sprocket",
            Self::FaceTilt(..) => "few tabs on a face",
            Self::RearCentre(_) => "centre of the rear sprocket",
            Self::Wobble(_) => "wobble of the rear sprocket",
            Self::RunOut => "run-out of the rim",
            Self::FrameYaw => "direction of the frame",
            Self::AxisTilt(_) | Self::AxisPlace(_) => "wheel not steady between set-ups",
            Self::Torn(_) => TORN,
            Self::SpindleApart(..) => "spindle moved between set-ups",
            Self::KnownTab(..) => "tabs as an earlier evening found them",
        }
    }
}

/// A state of the nuisances: all zero but one.
#[derive(Clone, Copy, Debug, Default)]
pub struct Shift(pub Option<(Nuisance, f64)>);

impl Shift {
    pub fn of(&self, nuisance: Nuisance) -> f64 {
        match self.0 {
            Some((shifted, value)) if shifted == nuisance => value,
            _ => 0.0,
        }
    }
}
