//! The photos for the report, from everything a measurement holds.

use rayon::prelude::*;

use crate::pipeline::Measured;
use crate::report::html::{Overlay, PhotoPicture, picture};

/// One picture for each photo of a set-up that can be read, in order.
pub fn pictures(measured: &Measured) -> Vec<PhotoPicture> {
    let solution = measured.solution.as_ref();
    let photos: Vec<_> = measured.photos.iter().enumerate().filter(|(_, photo)| !photo.lens_only).collect();
    photos
        .into_par_iter()
        .filter_map(|(idx, photo)| picture(&photo.file, photo.facts.as_ref()?, Overlay::of(&photo.sightings, solution, idx)))
        .collect()
}
