//! Which position of the wheel each photo shows, and so which set-up it belongs to: the same way as
//! a measurement sorts them.

use crate::bench::from_job::scene_settings;
use crate::glance::seen::Glance;
use crate::grouping::{self, Listed, Shows, group};
use crate::job::Job;
use crate::pipeline::Sortable;
use crate::scene::ScenePhoto;

/// Tells each glance what its photo shows of the wheel, and, in a job, its set-up. Gives what was
/// found amiss.
pub fn sort(
    glances: &mut [&mut Glance],
    photos: Vec<Sortable>,
    job: &Job,
    is_job: bool,
) -> Vec<crate::finding::Finding> {
    let (scenes, listed): (Vec<ScenePhoto>, Vec<Listed>) =
        photos.into_iter().map(|photo| (photo.scene, photo.listed)).unzip();
    let sorted =
        grouping::sort(&scenes, &scene_settings(job, &[]), job, &[(0..scenes.len()).collect()]);
    for (glance, (shows, from)) in glances.iter_mut().zip(sorted.shows.iter().zip(&sorted.from)) {
        glance.from = *from;
        glance.mark = match shows {
            Shows::Wheel(position) => sorted
                .positions
                .get(*position)
                .and_then(|position| position.mark)
                .map(|mark| mark.word()),
            _ => None,
        };
    }
    if !is_job {
        return Vec::new();
    }
    let grouped = group(&listed, &sorted);
    for (glance, setup) in glances.iter_mut().zip(&grouped.of_photo) {
        if let Some(setup) = grouped.setups.get(*setup) {
            glance.setup = Some(setup.name.clone());
            glance.for_the_lens = setup.lens_only;
        }
    }
    grouped.findings
}
