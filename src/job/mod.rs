//! What the person says about the bike, the print and the bench: `job.toml`, its defaults, and what each tab stands for.
//!
//! Everything that changes a figure stands here, and so in the archive; nothing here is measured.

pub mod assumed;
pub mod fields;
pub mod keys;
pub mod read;
pub mod roles;
mod section;
pub mod settings;
pub mod side;
pub mod template;

pub use assumed::Assumed;
pub use fields::{Unit, field_unit};
pub use read::{JOB_FILE, JobError, Problem};
pub use roles::{Letter, MovesWith, Role, TabRole};
pub use settings::{Face, Hand, Job, PrintPrior, ScalePrior, Sheet, SpacerKind, Tolerance};
pub use side::Side;
pub use template::TEMPLATE;
