//! What one photo shows and what photos together still lack: for the terminal, and for the page at
//! the bench.

pub mod drawn;
pub mod missing;
pub mod seen;
pub mod stand;
