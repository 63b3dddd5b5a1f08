//! Single functions and types of the library, a file a stage. The sources hold no tests: for those
//! the library would be compiled twice.

mod archive;
mod bench;
mod camera;
mod cards;
mod cli;
mod disk;
mod figure;
mod grouping;
mod math;
mod photo;
mod pipeline;
mod plan;
mod report;
mod scene;
mod serve;
mod serve_missing;
mod serve_places;
mod sightings;
mod text;
mod visible;
