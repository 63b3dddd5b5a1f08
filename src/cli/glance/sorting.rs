//! Which position of the wheel each photo shows, and so which set-up it belongs to: the same way as a measurement sorts them.

use crate::bench::from_job::scene_settings;
use crate::glance::seen::Glance;
use crate::grouping::{self, Listed, Shows, group};
use crate::job::Job;
use crate::photo::PhotoFacts;
use crate::photo::listing::CAMERA_FOLDER;
use crate::pipeline::scene_photo;
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
    pub fn new(id: &str, folder: Option<&str>, seen: Option<(&PhotoFacts, &PhotoSightings)>, job: &Job) -> Self {
        let named = job.setups.iter().find(|setup| setup.photos.iter().any(|photo| photo == id)).map(|setup| setup.name.as_str());
        let listed = Listed {
            id: id.to_owned(),
            setup: named.or(folder).map(str::to_owned),
            by_job: named.is_some(),
            taken: seen.and_then(|(facts, _)| facts.exif.taken.clone()),
            camera: seen.and_then(|(facts, _)| facts.exif.model.clone()),
        };
        let empty = PhotoSightings::default();
        let mut scene = scene_photo(id, seen.map(|(facts, _)| facts), seen.map_or(&empty, |(_, sightings)| sightings));
        scene.lens_only = listed.setup.as_deref() == Some(CAMERA_FOLDER);
        Self { scene, listed }
    }
}

/// Tells each glance what its photo shows of the wheel, and, in a job, its set-up. Gives what was found amiss.
pub fn sort(glances: &mut [&mut Glance], photos: &[Sortable], job: &Job, is_job: bool) -> Vec<crate::finding::Finding> {
    let scenes: Vec<ScenePhoto> = photos.iter().map(|photo| photo.scene.clone()).collect();
    let listed: Vec<Listed> = photos.iter().map(|photo| photo.listed.clone()).collect();
    let sorted = grouping::sort(&scenes, &scene_settings(job, &[]), job, &[(0..photos.len()).collect()]);
    for (glance, (shows, from)) in glances.iter_mut().zip(sorted.shows.iter().zip(&sorted.from)) {
        glance.from = *from;
        glance.mark = match shows {
            Shows::Wheel(position) => sorted.positions.get(*position).and_then(|position| position.mark).map(|mark| mark.word()),
            _ => None,
        };
    }
    if !is_job {
        return Vec::new();
    }
    let grouped = group(&listed, &sorted);
    for (glance, setup) in glances.iter_mut().zip(&grouped.of_photo) {
        if let Some((name, lens)) = grouped.setups.get(*setup) {
            glance.setup = Some(name.clone());
            glance.for_the_lens = *lens;
        }
    }
    grouped.findings
}
