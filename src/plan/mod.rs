//! From figures to decisions: tolerances and verdicts, what to adjust and by how much, what to expect afterwards, hand values
//! beside the photographed ones, and before against after.

pub mod outcome;

pub use outcome::Outcome;
