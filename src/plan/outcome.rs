//! The noun that leaves this stage: what the figures mean for the person at the bench.
//!
//! Lengths in millimetres, angles in degrees; signs as in [`crate::bench::figures`]. All names are
//! those of the result file.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use crate::figure::Expected;
pub use crate::figure::Unit;
use crate::figure::{Figure, Side};
use crate::finding::Finding;
use crate::measurement::Measurement;
use crate::text::Sentence;

/// Whether a figure conforms to its tolerance, with a guard band of U on both sides of the limit.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Decision {
    /// |v| + U <= tolerance.
    In,
    /// |v| - U > tolerance.
    Out,
    /// Neither is shown: the uncertainty reaches over the limit, or the figure may not be used for
    /// a verdict.
    Undecided,
}

impl Decision {
    /// "in", "out" or "undecided".
    pub fn word(self) -> &'static str {
        match self {
            Self::In => "in",
            Self::Out => "out",
            Self::Undecided => "undecided",
        }
    }
}

/// One figure against its tolerance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Verdict {
    /// JSON pointer of the figure.
    pub field: Figure,
    pub value: Option<Measurement>,
    /// The value aimed at; the tolerance counts from here. 0 but for the hub's target.
    pub nominal: f64,
    /// Greatest allowed distance from `nominal`.
    pub tolerance: f64,
    pub unit: Unit,
    /// Where the tolerance comes from.
    pub source: String,
    pub verdict: Decision,
    /// Where undecided: why, and what would decide it, with numbers.
    pub decide: Option<Sentence>,
    /// Whether no smaller uncertainty would decide it: what it is measured from has to be
    /// made sure of first.
    #[serde(default)]
    pub blocked: bool,
}

/// The kinds of step, in the order of the work.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum StepKind {
    /// Hang the frame over the cord again.
    Rehang,
    /// Draw one end of the spindle until the wheel stands square in the frame.
    Square,
    /// Bring the sprockets into line.
    Chain,
    /// Move the rim to the middle by its spokes.
    Centre,
    /// What cannot be adjusted and goes to somebody who can put it right.
    Refer,
}

/// Which way a part is moved.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    Forward,
    Rearward,
    Left,
    Right,
    /// Away from the bike's middle on the step's side.
    Outboard,
    /// Towards the bike's middle on the step's side.
    Inboard,
}

impl Direction {
    pub fn word(self) -> &'static str {
        match self {
            Self::Forward => "forward",
            Self::Rearward => "rearward",
            Self::Left => "left",
            Self::Right => "right",
            Self::Outboard => "outboard",
            Self::Inboard => "inboard",
        }
    }
}

/// One step of the plan. It is worked out with the steps before it taken as done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanStep {
    /// 1, 2, 3 ...
    pub n: u32,
    pub step: StepKind,
    /// What to do, in a sentence or two.
    #[serde(rename = "do")]
    pub action: Sentence,
    /// The part that is moved, in words: "left end of the spindle", "hub spacers", "rim".
    pub part: String,
    /// The side it is done on (square: the end that is drawn; chain: the chain side; centre: where
    /// the rim goes).
    pub side: Option<Side>,
    pub direction: Option<Direction>,
    /// How far, never negative; its U is that of the distance that is really needed. Null where it
    /// can't be said.
    #[serde(rename = "move")]
    pub distance: Option<Measurement>,
    /// Turns of the adjuster, to the nearest flat. Only for `square`, and where the thread's pitch
    /// is known.
    pub turns: Option<f64>,
    /// The same in flats of a six-sided nut.
    pub flats: Option<u32>,
    /// What it acts on: "frame", "spindle", "hub", "sprocket", "gearbox", "rim", or for `refer`
    /// the figure's JSON pointer.
    pub applied_to: String,
    /// JSON pointer of the figure that asked for the step.
    pub because: Figure,
    /// What the figure that asked for the step stood at when its turn came, earlier steps done.
    pub before: Option<Measurement>,
    /// What can go wrong badly, one sentence each: a move beyond what the part can take, a step
    /// that is not shown to be needed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub dangers: Vec<Sentence>,
    /// What to look out for, one sentence each.
    pub cautions: Vec<Sentence>,
    /// The figures to expect when this step is done, too.
    pub after: Expected,
    /// Where the job does not say how it is done: every way, this step's own among them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub choices: Vec<Choice>,
}

/// One way to bring the sprockets into line, and what it costs the rim.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Choice {
    /// "hub", "sprocket" or "gearbox": what `whatif --pack` and `kind` in the section `spacers`
    /// take.
    pub applied_to: String,
    /// How far the part goes, never negative.
    #[serde(rename = "move")]
    pub distance: Measurement,
    pub direction: Direction,
    /// How far the rim then has to go by its spokes, never negative; null where it may stay.
    pub rim: Option<Measurement>,
    /// Where the rim may stay only because its place is undecided: how far it is then off the
    /// middle, + left.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rim_undecided: Option<Measurement>,
    /// Whether this is the one that the plan takes.
    pub taken: bool,
    /// Whether another way, or where this is another way the one that is taken, leaves the rim as
    /// little work.
    #[serde(default)]
    pub tied: bool,
    /// Whose work it is beyond the bench, in short.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<Sentence>,
}

/// How far the bike is from being finished.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Everything that was judged is inside its limits.
    Done,
    /// There is work to do.
    ToDo,
    /// A figure that the bike can't do without was not measured.
    NotFinished,
    /// All was measured, but not every verdict is sure, and no step can be named before it is.
    Undecided,
    /// Nothing was measured.
    #[default]
    Refused,
}

/// A value taken by hand, next to the photographed one. They are never merged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HandComparison {
    /// JSON pointer of the figure.
    pub field: Figure,
    pub unit: Unit,
    /// What it was taken with.
    pub tool: String,
    pub hand: Measurement,
    pub photo: Option<Measurement>,
    /// |hand - photo| <= sqrt(U_hand^2 + U_photo^2); null where there is no photographed figure.
    pub agree: Option<bool>,
}

/// Everything this stage has to say.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Outcome {
    /// How far the bike is from being finished.
    pub state: State,
    /// The same in a few words: "All well", "Three steps to do", "Not finished".
    pub headline: String,
    /// The same in a sentence or two: "Leave it alone: ...", "Three steps to do: ...", "Not
    /// finished: ...".
    pub summary: String,
    pub plan: Vec<PlanStep>,
    /// Figures to expect when all steps are done.
    pub expected: Expected,
    pub verdicts: Vec<Verdict>,
    pub hand: Vec<HandComparison>,
    pub findings: Vec<Finding>,
}
