//! Text for people: words and amounts, rounded at one place and shown in the unit that is asked
//! for.

pub mod amount;
pub mod sentence;
pub mod units;
mod words;

pub use amount::Amount;
pub use sentence::{Say, Sentence};
pub use words::{capital, listed};
