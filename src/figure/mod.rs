//! Every figure that the program can give, once: its identity, its place in the result, its unit
//! and its words.
//!
//! The stages that measure figures, judge them and show them all name them by [`Figure`]. To add
//! one: a block in `catalogue.rs`, its formula in `bench`, and a test.

pub mod catalogue;
pub mod expected;
pub mod facts;
mod identity;
pub mod measured;
pub mod member;
mod members;
pub mod nearest;
pub mod part;
mod sections;
pub mod sense;
pub mod side;
pub mod table;
pub mod unit;

pub use catalogue::Figure;
pub use expected::Expected;
pub use facts::Facts;
pub use identity::{CHAIN_SIDE, RIDERS};
pub use measured::Measured;
pub use part::RimPlace;
pub use side::Side;
pub use table::FigureTable;
pub use unit::{Kind, Unit};
