//! The printed pattern: which cell carries a dot, where the corners lie, how sheets are drawn and
//! how a print is checked.

pub mod codes;
pub mod pattern;
pub mod sheets;

pub use pattern::Pattern;
