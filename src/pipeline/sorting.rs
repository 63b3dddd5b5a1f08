//! Which set-up each photo belongs to: by its folder, by the job, or by the wheel's position
//! in it.

use std::collections::{BTreeMap, BTreeSet};

use crate::bench::from_job::scene_settings;
use crate::finding::Finding;
use crate::grouping::{
    self, Grouping, GroupingEntry, Listed, PhotoSetup, Sorted, causes, group, in_time, several_jobs,
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
}

/// "mark forward: 8 photos, mark rearward: 8, cards only: 4".
pub fn in_words(entries: &[GroupingEntry], setups: &[String], lens_only: &[bool]) -> String {
    let counts: Vec<usize> = setups
        .iter()
        .map(|name| entries.iter().filter(|entry| entry.setup == *name).count())
        .collect();
    let setup = |(name, lens_only): (&String, &bool)| PhotoSetup {
        name: name.clone(),
        lens_only: *lens_only,
    };
    let named: Vec<PhotoSetup> = setups.iter().zip(lens_only).map(setup).collect();
    grouping::in_words(&named, &counts)
}

/// Puts each photo into its set-up, and the photos into the order of the set-ups.
pub fn sort(
    photos: &mut Vec<SeenPhoto>,
    listed: &JobPhotos,
    job: &Job,
    findings: &mut Vec<Finding>,
) -> Sorting {
    let listed = as_listed(photos, listed, job, findings);
    let sorted = guarded("The photos were not sorted by the wheel's position in them.", || {
        let scenes: Vec<ScenePhoto> =
            photos.iter().zip(&listed).map(|(photo, of)| as_scene(photo, of)).collect();
        grouping::sort(&scenes, &scene_settings(job, &[]), job, &runs(&listed))
    });
    let sorted = super::or_reported(sorted, findings).unwrap_or_default();
    let several = guarded("Whether each folder is a job of its own was not looked at.", || {
        several_jobs(&each_by_itself(photos, &listed, job))
    });
    let several = super::or_reported(several, findings).flatten();
    let out = group(&listed, &sorted);
    let causes = match several {
        // What contradicts itself among photos of several jobs means nothing for any of them.
        Some(several) => vec![several],
        None => {
            findings.extend(out.findings.iter().cloned());
            causes(&sorted, &out)
        }
    };
    apply(photos, &listed, &out, causes)
}

fn as_scene(photo: &SeenPhoto, of: &Listed) -> ScenePhoto {
    ScenePhoto {
        lens_only: of.is_for_the_lens(),
        ..scene_photo(&photo.file.id, photo.facts.as_ref(), &photo.sightings)
    }
}

/// The set-ups' folders, where there are several, each with what its photos show on their own.
/// Those that job.toml names are believed.
fn each_by_itself(photos: &[SeenPhoto], listed: &[Listed], job: &Job) -> Vec<(String, Sorted)> {
    let mut folders: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (idx, photo) in listed.iter().enumerate().filter(|(_, photo)| !photo.by_job) {
        if let (Some(name), false) = (photo.setup.as_deref(), photo.is_for_the_lens()) {
            folders.entry(name).or_default().push(idx);
        }
    }
    if folders.len() < 2 {
        return Vec::new();
    }
    let alone = |(name, own): (&str, Vec<usize>)| {
        let scenes: Vec<ScenePhoto> =
            own.iter().map(|&idx| as_scene(&photos[idx], &listed[idx])).collect();
        let order = vec![(0..scenes.len()).collect()];
        (name.to_owned(), grouping::sort(&scenes, &scene_settings(job, &[]), job, &order))
    };
    folders.into_iter().map(alone).collect()
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

fn apply(
    photos: &mut Vec<SeenPhoto>,
    listed: &[Listed],
    out: &Grouping,
    causes: Vec<Finding>,
) -> Sorting {
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
    }
}
