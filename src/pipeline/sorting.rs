//! Which set-up each photo belongs to: by its folder, by the job, or by the wheel's position
//! in it.

use std::collections::{BTreeMap, BTreeSet};

use crate::bench::from_job::scene_settings;
use crate::finding::Finding;
use crate::grouping::{
    self, Grouping, GroupingEntry, Listed, NOT_ONE_JOB, Sorted, causes, group, in_time,
    leave_out_what_follows, several_jobs, two_benches, two_layouts,
};
use crate::guarded::guarded;
use crate::job::Job;
use crate::photo::JobPhotos;
use crate::photo::job_photos::LOOSE_SETUP;
use crate::scene::ScenePhoto;

use super::{SeenPhoto, scene_photo};

/// The set-ups, in order.
pub struct Sorting {
    pub setups: Vec<String>,
    pub lens_only: Vec<bool>,
    /// In the photos' order.
    pub grouping: Vec<GroupingEntry>,
    /// What the photos as a whole lack.
    pub causes: Vec<Finding>,
    /// "mark forward: 8 photos, mark rearward: 8, cards only: 4".
    pub words: String,
}

/// Puts each photo into its set-up, and the photos into the order of the set-ups.
pub fn sort(
    photos: &mut Vec<SeenPhoto>,
    listed: &JobPhotos,
    job: &Job,
    findings: &mut Vec<Finding>,
) -> Sorting {
    let listed = as_listed(photos, listed, job, findings);
    let scenes: Vec<ScenePhoto> =
        photos.iter().zip(&listed).map(|(photo, of)| as_scene(photo, of)).collect();
    let together = together(&scenes, &listed, job, findings);
    apply(photos, &listed, together)
}

/// Photos of one folder, by what they show and where they belong.
pub struct Together {
    pub sorted: Sorted,
    pub grouping: Grouping,
    /// What the photos as a whole lack.
    pub causes: Vec<Finding>,
}

impl Together {
    /// Why nothing may be measured from these photos, where they are not of one bench.
    pub fn refused(&self) -> Option<&Finding> {
        self.causes.iter().find(|cause| NOT_ONE_JOB.contains(&cause.id.as_str()))
    }
}

/// Sorts photos by the position of the wheel in them, and sees that they are of one job. What is found
/// amiss in the folders goes to `findings`, unless the photos are of several jobs: what contradicts
/// itself among those says nothing of any of them.
pub fn together(
    scenes: &[ScenePhoto],
    listed: &[Listed],
    job: &Job,
    findings: &mut Vec<Finding>,
) -> Together {
    let several = guarded("Whether the photos are of one job was not looked at.", || {
        not_one_job(scenes, listed, job)
    });
    if let Some(several) = super::or_reported(several, findings).flatten() {
        let Several { sorted, finding } = several;
        let grouping = group(listed, &sorted);
        return Together { sorted, grouping, causes: vec![finding] };
    }
    let sorted = guarded("The photos were not sorted by the wheel's position in them.", || {
        grouping::sort(scenes, &scene_settings(job, &[]), job, &runs(listed))
    });
    let sorted = super::or_reported(sorted, findings).unwrap_or_default();
    let grouping = group(listed, &sorted);
    let causes = causes(&sorted, &grouping);
    findings.extend(grouping.findings.iter().cloned());
    // A folder's name is right or wrong only where the wheel was turned between the folders.
    leave_out_what_follows(&causes, findings);
    Together { sorted, grouping, causes }
}

/// Photos that are not of one job, each sorted among those of its own.
struct Several {
    sorted: Sorted,
    finding: Finding,
}

fn not_one_job(scenes: &[ScenePhoto], listed: &[Listed], job: &Job) -> Option<Several> {
    let settings = scene_settings(job, &[]);
    let alone = |own: &[usize]| {
        let scenes: Vec<ScenePhoto> = own.iter().map(|&idx| scenes[idx].clone()).collect();
        grouping::sort(&scenes, &settings, job, &[(0..scenes.len()).collect()])
    };
    let folders = folders_of(listed);
    let each: Vec<(String, Sorted)> =
        folders.iter().map(|(name, own)| ((*name).to_owned(), alone(own))).collect();
    if let Some(finding) = several_jobs(&each) {
        let parts = folders.values().zip(each).map(|(own, (_, sorted))| (own.clone(), sorted));
        return Some(Several { sorted: Sorted::of_parts(scenes.len(), parts.collect()), finding });
    }
    // Whoever names each set-up's photos in job.toml is believed; copies and those that show
    // nothing need no name.
    let is_named = |(photo, scene): (&Listed, &ScenePhoto)| {
        photo.by_job || photo.is_for_the_lens() || scene.sightings.patterns.is_empty()
    };
    if listed.iter().zip(scenes).all(is_named) {
        return None;
    }
    let order = in_time(listed, &(0..listed.len()).collect::<Vec<_>>());
    let benches = two_benches(scenes, &settings, job, &order)?;
    let finding = two_layouts(listed, &benches);
    let parts = benches.into_iter().map(|own| {
        let sorted = alone(&own);
        (own, sorted)
    });
    Some(Several { sorted: Sorted::of_parts(scenes.len(), parts.collect()), finding })
}

fn as_scene(photo: &SeenPhoto, of: &Listed) -> ScenePhoto {
    ScenePhoto {
        lens_only: of.is_for_the_lens(),
        ..scene_photo(&photo.file.id, photo.facts.as_ref(), &photo.sightings)
    }
}

/// The set-ups' folders with their photos, where there are several. Those that job.toml names are
/// believed.
fn folders_of(listed: &[Listed]) -> BTreeMap<&str, Vec<usize>> {
    let mut folders: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (idx, photo) in listed.iter().enumerate().filter(|(_, photo)| !photo.by_job) {
        if let (Some(name), false) = (photo.setup.as_deref(), photo.is_for_the_lens()) {
            folders.entry(name).or_default().push(idx);
        }
    }
    if folders.len() < 2 { BTreeMap::new() } else { folders }
}

/// What the folders and the job state about each photo.
fn as_listed(
    photos: &[SeenPhoto],
    listed: &JobPhotos,
    job: &Job,
    findings: &mut Vec<Finding>,
) -> Vec<Listed> {
    let named: BTreeSet<&str> =
        job.setups.iter().flat_map(|setup| setup.photos.iter().map(String::as_str)).collect();
    for photo in named.iter().filter(|photo| !listed.all().any(|file| file.id == **photo)) {
        findings.push(Finding::warning(
            "setup-photo-missing",
            format!("job.toml puts {photo} into a set-up, but there is no such photo."),
            "Copy it into the job folder, or take its name out of [[setup]] in job.toml.",
        ));
    }
    let folders: BTreeMap<&str, Option<&str>> =
        listed.with_setups().map(|(file, setup)| (file.id.as_str(), setup)).collect();
    let one = |photo: &SeenPhoto| {
        let id = photo.file.id.as_str();
        Listed::new(id, folders.get(id).copied().flatten(), photo.facts.as_ref(), job)
    };
    photos.iter().map(one).collect()
}

/// Photos that belong together more likely than not: each folder's, and the loose ones in the order
/// in which they were taken.
pub fn runs(listed: &[Listed]) -> Vec<Vec<usize>> {
    let mut by_setup: BTreeMap<Option<&str>, Vec<usize>> = BTreeMap::new();
    listed
        .iter()
        .enumerate()
        .for_each(|(idx, photo)| by_setup.entry(photo.setup.as_deref()).or_default().push(idx));
    by_setup.into_values().map(|photos| in_time(listed, &photos)).collect()
}

fn apply(photos: &mut Vec<SeenPhoto>, listed: &[Listed], together: Together) -> Sorting {
    let words = together.grouping.in_words(listed, &together.sorted);
    let Together { grouping: out, causes, .. } = together;
    let entries = out.entries(listed);
    for (photo, entry) in photos.iter_mut().zip(&entries) {
        photo.setup =
            if entry.setup.is_empty() { LOOSE_SETUP.to_owned() } else { entry.setup.clone() };
    }
    let lens_only: Vec<bool> = out.setups.iter().map(|setup| setup.lens_only).collect();
    for (photo, setup) in photos.iter_mut().zip(&out.of_photo) {
        photo.lens_only = lens_only.get(*setup).copied().unwrap_or(false);
    }
    let mut placed: Vec<(usize, (SeenPhoto, GroupingEntry))> =
        out.of_photo.iter().copied().zip(std::mem::take(photos).into_iter().zip(entries)).collect();
    placed.sort_by_key(|(setup, _)| *setup);
    let grouping;
    (*photos, grouping) = placed.into_iter().map(|(_, photo)| photo).unzip();
    Sorting {
        setups: out.setups.iter().map(|setup| setup.name.clone()).collect(),
        lens_only,
        grouping,
        causes,
        words,
    }
}
