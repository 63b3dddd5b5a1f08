//! Measures with photographs whether a motorcycle's rear wheel stands square, upright and central
//! in its frame, and whether its chain runs in line.
//!
//! This library is the inside of the program `sightcord`, open so that tests, benches and fuzzing
//! reach it. Its interface is not stable: any version may change anything in it. What is stable are
//! the command line, `job.toml` and `result.json`. The way from photos to figures is in
//! [`pipeline`].

#![forbid(unsafe_code)]

pub mod archive;
pub mod bench;
pub mod camera;
pub mod cards;
pub mod cli;
pub mod disk;
pub mod figure;
pub mod finding;
pub mod glance;
pub mod grouping;
pub mod guarded;
pub mod job;
pub mod math;
pub mod measurement;
pub mod photo;
pub mod pictures;
pub mod pipeline;
pub mod plan;
pub mod report;
pub mod scene;
pub mod serve;
pub mod sightings;
pub mod text;
pub mod visible;
