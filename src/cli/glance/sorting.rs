//! Which position of the wheel each photo shows, and so which set-up it belongs to: the same way as
//! a measurement sorts them.

use std::collections::BTreeSet;

use crate::bench::from_job::scene_settings;
use crate::finding::Finding;
use crate::glance::seen::Glance;
use crate::grouping::{Listed, Shows};
use crate::job::Job;
use crate::pipeline::{Sortable, together};
use crate::scene::ScenePhoto;
use crate::scene::start::card_size::{self, size_groups};

/// What is said of a job's photos as a whole.
#[derive(Debug, Default)]
pub struct Said {
    pub findings: Vec<Finding>,
    /// Whether the photos are of several jobs: then nothing is counted.
    pub refused: bool,
}

/// Tells each glance what its photo shows of the wheel, and, in a job, its set-up. Gives what was
/// found amiss.
pub fn sort(glances: &mut [&mut Glance], photos: Vec<Sortable>, job: &Job, is_job: bool) -> Said {
    let (scenes, listed): (Vec<ScenePhoto>, Vec<Listed>) =
        photos.into_iter().map(|photo| (photo.scene, photo.listed)).unzip();
    let mut findings = Vec::new();
    let together = together(&scenes, &listed, job, &mut findings);
    let refused = together.refused().is_some();
    let sorted = &together.sorted;
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
        return Said::default();
    }
    let grouped = &together.grouping;
    for (glance, setup) in glances.iter_mut().zip(&grouped.of_photo).filter(|_| !refused) {
        if let Some(setup) = grouped.setups.get(*setup) {
            glance.setup = Some(setup.name.clone());
            glance.for_the_lens = setup.lens_only;
        }
    }
    findings.extend(cards_of_another_size(&scenes, job).filter(|_| !refused));
    // Photos from one side only are counted side by side anyway.
    let is_said = |cause: &Finding| cause.id != "one-side-only";
    findings.extend(together.causes.into_iter().filter(is_said));
    Said { findings, refused }
}

/// Cards that were printed at another size than most. Where as many are of one size as of another
/// only the tabs can tell, and a measurement does.
fn cards_of_another_size(scenes: &[ScenePhoto], job: &Job) -> Option<Finding> {
    let groups = size_groups(scenes, &scene_settings(job, &[]));
    let [most, second, ..] = groups.as_slice() else { return None };
    let odd: BTreeSet<u8> = groups.iter().skip(1).flatten().copied().collect();
    (most.len() > second.len()).then(|| card_size::finding(&odd))
}
