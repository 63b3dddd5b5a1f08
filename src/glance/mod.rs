//! What one photo shows and what photos together still lack: for the terminal, and for the page at
//! the bench.

pub mod adds;
pub mod cord_in_lane;
pub mod cord_on_card;
pub mod cord_straightness;
pub mod drawn;
pub mod missing;
pub mod picture_bend;
pub mod read_cord;
pub mod seen;
pub mod stand;
pub mod tally;
