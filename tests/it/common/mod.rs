//! A synthetic job with known truth: the scene, its sightings without pixels, and its photos.
//!
//! ```ignore
//! mod common;
//! use common::{Adjustment, Budget, RenderKnobs, SightingKnobs, TruthScene};
//!
//! let scene = TruthScene::full().with_errors(&Budget::standard(), 7);   // truth, with everything that goes wrong drawn in
//! let photos = scene.sightings(&SightingKnobs::default());              // what a good detector would find, no pixels
//! let truth = scene.expected();                                         // figures by JSON pointer, "/wheel/yaw" => 0.3
//! scene.at_scale(0.5).write_job(folder, &RenderKnobs::default())?;      // the job folder with photos, see [`render`]
//! let after = scene.adjusted(&[Adjustment::PullRim { left_mm: -1.2 }]); // the same bike after a step of a plan
//! ```
//!
//! Everything is a public field with a sensible default: `scene.bike.wheel.yaw_deg = 0.5`,
//! `scene.missing_tabs.insert(2)`, `scene.setups[1].cord_moved_mm = [0.8, 0.8]`,
//! `scene.tab_errors.insert(8, TabError::peeled(5.0, 20.0))`, `scene.setups[0].photos[3].
//! really_in_setup = Some(1)`. Random numbers come from `scene.seed` alone, so a job is the same on
//! every machine and for any number of threads.

#![allow(dead_code, unused_imports)]

pub mod adjust;
pub mod bike;
pub mod budget;
pub mod compare;
pub mod expected;
pub mod geometry;
pub mod kept;
pub mod layout;
pub mod light;
pub mod measured;
pub mod pairs;
pub mod png_piece;
pub mod random;
pub mod render;
pub mod scene;
pub mod shared_sets;
pub mod sightings;
pub mod solving;
pub mod spoil;
pub mod variety;
pub mod walk;
pub mod workshop;

pub use adjust::Adjustment;
pub use bike::{Bike, Frame, FreeTab, MovesWith, NamedFace, PlumbLine};
pub use budget::Budget;
pub use expected::Expected;
pub use geometry::{Eye, Lens, Pose, V3};
pub use layout::PlacedPattern;
pub use random::Random;
pub use render::imaging::Picture;
pub use render::knobs::{RenderKnobs, RollingShutter};
pub use scene::{Card, Rider, SetUp, Shows, TabError, TruthScene, Viewpoint};
pub use sightings::{SightedPhoto, SightingKnobs};
pub use spoil::Spoil;
