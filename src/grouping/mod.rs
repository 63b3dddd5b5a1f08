//! Which photos belong together: where the wheel stands in each, by its tabs against the
//! cards.
//!
//! A tab's print shows how it lies turned in the plane of the wheel, to a degree or so and without
//! any distance being known. Two tabs of one wheel keep the angle between them whichever way the
//! wheel stands, so that photos which share a tab, or tabs that a third photo shows together, are
//! compared by angles alone. Where the left and the right side's photos share nothing, the two tabs
//! at the marked place join them: they stand opposite each other on the rim.

pub mod angles;
mod assign;
mod benches;
mod card_layouts;
mod causes;
mod clock;
mod loose;
mod misfiled;
mod places;
mod positions;
mod setups;
mod several_jobs;
mod sights;
mod single_lens;
mod swapped;

pub use assign::group;
pub use benches::two_benches;
pub use causes::{causes, leave_out_what_follows};
pub use clock::in_time;
pub use places::{Mark, WheelShown, wheel_shown};
pub use positions::{Position, Shows, Sorted, sort};
pub use setups::{GroupedBy, Grouping, GroupingEntry, Listed, PhotoSetup, in_words, plain_name};
pub use several_jobs::{NOT_ONE_JOB, SEVERAL_JOBS, TWO_BENCHES, several_jobs, two_layouts};
