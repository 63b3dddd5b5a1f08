//! The page at the bench: the phone is the screen, this computer looks at the photos and measures.
//!
//! Photos come in over the local network, go into the job's own folders and are measured there as
//! the command measure does; nothing but this job's page, pictures and report is given out, and
//! nothing to anybody without the address.

pub mod answer;
mod back;
mod beside;
mod change;
mod doing;
pub mod figures;
pub mod folders;
pub mod http;
pub mod kept;
mod measuring;
pub mod name;
pub mod network;
pub mod orders;
pub mod page;
pub mod parts;
mod past;
mod photos;
pub mod position;
pub mod refusal;
pub mod report;
pub mod responses;
mod ring;
pub mod said;
pub mod served;
pub mod sort_evening;
pub mod sorting;
pub mod start;
pub mod state;
mod steps;
pub mod still_missing;
pub mod take;
pub mod tally;
pub mod token;
mod trend;
pub mod upload;
mod ways;
