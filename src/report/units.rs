//! Lengths and angles for people: [`crate::text::units`], by the name that commands and reports use.

pub use crate::text::units::*;
