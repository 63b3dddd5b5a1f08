//! What did not stay still although it should have, and what is left out for it.

pub mod between_setups;
pub mod body_moved;
pub mod body_split;
pub mod cord_moved;
pub mod exception_findings;
pub mod exceptions;
pub mod loose_tabs;
pub mod outliers;
pub mod outlying_tabs;
pub mod two_places;
