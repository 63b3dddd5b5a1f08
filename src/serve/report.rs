//! The report of an evening: written into its folder as the command measure does, and kept to be
//! shown on the phone.

use std::collections::BTreeMap;
use std::sync::{Arc, PoisonError};

use crate::photo::job_photos::REPORT_FOLDER;
use crate::pictures::{drawn, or_result_alone};
use crate::pipeline;
use crate::report::write::{Identity, JobPlaces, prepare};
use crate::text::units::Show;

use super::refusal::Refusal;
use super::state::Bench;

/// Writes the report of what was measured last.
pub fn make(bench: &Bench) -> Result<(), Refusal> {
    let (folder, result, generation) = {
        let state = bench.read();
        (state.evening.folder.clone(), state.last_result.clone(), state.generation)
    };
    let wait = || {
        Refusal::new(
            409,
            "The figures are not ready yet.",
            "Wait until they are on the page, then press again.",
        )
    };
    let result = result.filter(|result| result.generation == generation).ok_or_else(wait)?;
    let refused = |error: &dyn std::fmt::Display| {
        // Folders are named by their paths there; the phone has no business with those.
        let text = error.to_string().replace(&folder.display().to_string(), "the job folder");
        Refusal::new(409, "The report was not written.", text)
    };
    let listed = pipeline::open(&folder).map_err(|error| refused(&error))?;
    if listed.id != result.document.job.id {
        return Err(Refusal::new(
            409,
            "The photos or job.toml on the computer have changed since they were measured.",
            "Take or remove a photo, and the figures are worked out again.",
        ));
    }
    let identity = Identity::new(listed.id.clone(), &pipeline::listed_photos(&listed.photos));
    let places = JobPlaces::new(&folder, listed.photos.all().map(|photo| photo.path.as_path()));
    let destination =
        prepare(&folder.join(REPORT_FOLDER), identity, places).map_err(|error| refused(&error))?;
    let files = {
        let mut measured = result.measured.lock().unwrap_or_else(PoisonError::into_inner);
        or_result_alone(&mut measured, |measured| drawn(measured, Show::Mm, false)).1
    };
    destination.write(&files).map_err(|error| refused(&error))?;
    let files: BTreeMap<String, Vec<u8>> =
        files.into_iter().map(|file| (file.path, file.bytes)).collect();
    bench.change(|state| {
        if state.evening.folder == folder {
            state.report = Some(Arc::new(files));
        }
    });
    Ok(())
}
