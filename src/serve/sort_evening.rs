//! The evening's photos, sorted again and taken up by the page.

use std::path::Path;

use super::sorting::{Shown, Sought, folder_of};
use super::state::{Bench, State, Taken};

/// The photos of the evening as they lie there.
pub fn sought(state: &State) -> Vec<Sought> {
    state.photos.iter().map(|photo| as_it_lies(photo, &state.evening.folder)).collect()
}

fn as_it_lies(photo: &Taken, evening: &Path) -> Sought {
    let folder = folder_of(&photo.path, evening);
    let name = photo.path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let id = folder.as_ref().map_or(name.clone(), |folder| format!("{folder}/{name}"));
    Sought {
        key: photo.key.clone(),
        id,
        folder,
        position: photo.position,
        sha256: photo.sha256.clone(),
    }
}

/// Sorts all photos again, and takes that up.
pub fn sort_anew(bench: &Bench) {
    let (photos, job) = {
        let state = bench.read();
        (sought(&state), state.job.clone())
    };
    let sorting = Shown::of(&photos, None, &bench.known, &job).sorting();
    bench.change(|state| state.sort_by(&sorting));
}
