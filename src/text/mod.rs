//! Text for people: words and amounts, rounded at one place and shown in the unit that is asked
//! for.

pub mod sentence;
pub mod units;
mod words;

pub use sentence::{Amount, Say, Sentence};
pub use words::{capital, listed};
