//! Text for people: words and amounts, rounded at one place and shown in the unit that is asked for.

pub mod sentence;
pub mod units;

pub use sentence::{Amount, Say, Sentence};
