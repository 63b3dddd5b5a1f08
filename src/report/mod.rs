//! What a person gets to see, and the files a measurement leaves: computes no figure of its own.

pub mod absent;
pub mod brief;
pub mod cautions;
pub mod entries;
pub mod expected;
pub mod fields;
mod finite;
pub mod groups;
pub mod html;
pub mod json;
pub mod numbers;
pub mod program;
mod put_together;
pub mod read;
pub mod relative;
pub mod result;
pub mod taken;
pub mod text;
pub mod write;

pub use result::ResultDocument;
