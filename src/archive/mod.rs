//! Evidence: a job sealed in one file, and the proof that it still is what was sealed.
//!
//! Steps of keeping: list the job's photos, look what they show about a place, measure, put the bag
//! together, write it next to its place and link it in. Steps of proving: unpack safely, check the
//! bag, check what this program adds to a bag, measure again from the sealed photos, compare.
//! Where a job has several evenings, all are sealed in one bag, and each is proven on its own.
//!
//! The form is a BagIt bag (RFC 8493) in a ZIP file, so that a stranger can check it in twenty
//! years without this program.

pub mod bag;
pub mod bag_text;
pub mod check_bag;
pub mod checksum;
pub mod compare;
pub mod evenings;
pub mod manifests;
pub mod measure_again;
pub mod opened;
pub mod own_form;
pub mod paths;
pub mod place;
pub mod proof;
pub mod prove;
pub mod readme;
pub mod seal;
pub mod sealed;
pub mod sealed_job;
pub mod sealed_texts;
pub mod tag_files;
mod together;
pub mod zipped;

pub use proof::{Proof, ProveError};
pub use prove::{is_archive, prove, sealed_result};
pub use seal::keep;
pub use sealed::{Anew, KeepError, Sealed};

/// Where a sealed job keeps its parts, inside the bag; those of its first evening, where there are
/// more.
pub mod layout {
    /// The photos, each in the folder of its set-up.
    pub const PHOTOS: &str = "data/photos/";
    pub const JOB: &str = "data/job.toml";
    pub const RESULT: &str = "data/report/result.json";
    pub const README: &str = "README.txt";
}
