//! A photo as it is sorted by the wheel's position in it, for code that looks at photos and
//! measures nothing yet.

use super::scene_photo;
use crate::grouping::Listed;
use crate::job::Job;
use crate::photo::PhotoFacts;
use crate::scene::ScenePhoto;
use crate::sightings::PhotoSightings;

/// A photo as it is sorted: what was seen in it, and what is known of it besides.
#[derive(Clone, Debug)]
pub struct Sortable {
    pub scene: ScenePhoto,
    pub listed: Listed,
}

impl Sortable {
    /// `folder` names the set-up that its folder says; None for a photo that lies loose.
    pub fn new(
        id: &str,
        folder: Option<&str>,
        seen: Option<(&PhotoFacts, &PhotoSightings)>,
        job: &Job,
    ) -> Self {
        let listed = Listed::new(id, folder, seen.map(|(facts, _)| facts), job);
        let empty = PhotoSightings::default();
        let mut scene = scene_photo(
            id,
            seen.map(|(facts, _)| facts),
            seen.map_or(&empty, |(_, sightings)| sightings),
        );
        scene.lens_only = listed.is_for_the_lens();
        Self { scene, listed }
    }
}
