//! Small mathematics shared by several stages.

pub mod hex;
pub mod lanes;
pub mod levenberg_marquardt;
pub mod px_mm;
pub mod rays;
pub mod rigid;
pub mod robust;
pub mod solve;

pub use rigid::Rigid;
