//! Small mathematics shared by several stages.

pub mod levenberg;
pub mod rigid;
pub mod robust;

pub use rigid::Rigid;
