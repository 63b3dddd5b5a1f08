//! What the person states about the bike, the print and the bench: `job.toml`, its defaults, and
//! what each tab stands for.
//!
//! Everything that changes a figure is here, and so in the archive; nothing here is measured.

pub mod assumed;
pub mod fields;
pub mod idle;
pub mod keys;
mod other_words;
pub mod print_prior;
mod problem;
pub mod read;
pub mod read_judged;
pub mod read_tabs;
pub mod role_change;
pub mod roles;
mod section;
pub mod settings;
pub mod setups;
mod slips;
pub mod tabs;
pub mod template;

pub use crate::figure::{Side, Unit};
pub use assumed::Assumed;
pub use fields::{field_unit, judged_figure};
pub use print_prior::{PrintPrior, ScalePrior};
pub use problem::Problem;
pub use read::JobError;
pub use roles::{Letter, MovesWith, Role, TabRole};
pub use settings::{Face, Hand, Job, JobSetup, Sheet, SpacerKind, Tolerance};
pub use slips::JOB_FILE;
pub use template::TEMPLATE;
