//! From a synthetic scene straight to figures: sightings, scene and bench stages without pixels or
//! files.

use std::collections::BTreeMap;

use sightcord::bench::from_job::{bench_settings, scene_settings};
use sightcord::bench::{self, Figures};
use sightcord::job::Job;
use sightcord::measurement::Measurement;
use sightcord::report::ResultDocument;
use sightcord::report::result::ResultParts;
use sightcord::scene::{self, ScenePhoto, Solution};

use super::{SightingKnobs, TruthScene};

/// The folder of photos that serve the lens alone.
const CAMERA_FOLDER: &str = "0-camera";

/// A scene's photos as the scene stage takes them, the names of its set-ups and which of them serve
/// the lens alone.
pub fn scene_photos(
    truth: &TruthScene,
    knobs: &SightingKnobs,
) -> (Vec<ScenePhoto>, Vec<String>, Vec<bool>) {
    let setups: Vec<String> = truth.setups.iter().map(|s| s.name.clone()).collect();
    let lens_only: Vec<bool> = setups.iter().map(|name| name == CAMERA_FOLDER).collect();
    let photos = truth
        .sightings(knobs)
        .into_iter()
        .map(|seen| ScenePhoto {
            file: format!("{}/{}", seen.setup, seen.file),
            setup: seen.setup_idx,
            lens_only: lens_only[seen.setup_idx],
            width: seen.eye.lens.width,
            height: seen.eye.lens.height,
            camera: "one".to_owned(),
            // EXIF is good to a few parts in a hundred.
            start_focal: Some(truth.lens.fx * 1.03),
            sightings: seen.sightings,
        })
        .collect();
    (photos, setups, lens_only)
}

/// Solves a scene and measures its figures.
pub fn solved(truth: &TruthScene, knobs: &SightingKnobs, job: &Job) -> Option<(Solution, Figures)> {
    let (photos, setups, lens_only) = scene_photos(truth, knobs);
    let solution = scene::solve(&photos, &scene_settings(job, &setups))?;
    let figures = bench::measure(&solution, &bench_settings(job, &setups, &lens_only));
    Some((solution, figures))
}

/// All measured figures by JSON pointer.
pub fn by_pointer(figures: &Figures) -> BTreeMap<String, Measurement> {
    let document =
        ResultDocument::new(ResultParts { figures: figures.clone(), ..ResultParts::default() });
    document
        .measured
        .table
        .measured()
        .map(|(figure, measured)| (figure.pointer(), measured))
        .collect()
}
