//! What is seen and does not count: photos that are copies of another, and tabs whose place the job
//! gives to another tab.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::SeenPhoto;
use crate::cards::Pattern;
use crate::finding::Finding;
use crate::job::Job;
use crate::photo::copies::{grain_tells, may_be_copy};
use crate::photo::room::Room;
use crate::photo::{Grain, Impression, PhotoFacts};
use crate::sightings::PhotoSightings;

/// A photo that is the same picture as another: places in the list of photos.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Copied {
    photo: usize,
    original: usize,
}

/// Which photos are copies of which: where several are one picture the largest counts, then the one
/// whose camera is known, then the one of the least loss, then the first.
pub fn copies(photos: &[SeenPhoto], impressions: &[Option<Impression>]) -> Vec<Copied> {
    let mut best_first: Vec<usize> =
        (0..photos.len()).filter(|&idx| impressions[idx].is_some()).collect();
    best_first.sort_by_key(|&idx| {
        let facts = photos[idx].facts.as_ref();
        let known = |facts: &PhotoFacts| {
            let has_focal_length = facts.exif.focal_length_35mm.is_some();
            (
                facts.width * facts.height,
                has_focal_length,
                facts.bytes - facts.trailing_bytes.min(facts.bytes),
            )
        };
        (Reverse(facts.map(known)), idx)
    });
    // Each photo with those before it that it lies on.
    let alike: Vec<Vec<Alike>> = (0..best_first.len())
        .into_par_iter()
        .map(|place| {
            let lies_on = |&original: &usize| {
                let (first, second) =
                    (impressions[original].as_ref()?, impressions[best_first[place]].as_ref()?);
                let by_grain = grain_tells(first, second, may_be_copy(first, second)?);
                Some(Alike { original, by_grain })
            };
            best_first[..place].iter().filter_map(lies_on).collect()
        })
        .collect();
    let mut copies: Vec<Copied> = Vec::new();
    for group in groups(best_first.into_iter().zip(alike), photos.len()) {
        let grains = grains(photos, &group);
        let mut kept: BTreeSet<usize> = BTreeSet::new();
        for (photo, alike) in group {
            let is_original = |alike: &Alike| {
                let grains = || Some((grains.get(&alike.original)?, grains.get(&photo)?));
                kept.contains(&alike.original)
                    && (!alike.by_grain || grains().is_some_and(|(a, b)| a.is_one_with(b)))
            };
            match alike.into_iter().find(is_original) {
                Some(Alike { original, .. }) => copies.push(Copied { photo, original }),
                None => {
                    kept.insert(photo);
                }
            }
        }
    }
    copies.sort_unstable();
    copies
}

/// Leaves copies out as if they could not be read, and names each with its original.
pub fn leave_out(photos: &mut [SeenPhoto], copies: Vec<Copied>, findings: &mut Vec<Finding>) {
    for Copied { photo: idx, original } in copies {
        let file = photos[idx].file.id.clone();
        // Its own findings do not matter any more.
        findings.retain(|finding| finding.photo.as_ref() != Some(&file));
        findings.push(finding_of(&photos[idx], &photos[original]));
        photos[idx].facts = None;
        photos[idx].sightings = PhotoSightings::default();
        photos[idx].kept = None;
    }
}

/// A photo that another lies on.
#[derive(Clone)]
struct Alike {
    original: usize,
    /// Whether their grain tells if they are one; else they are.
    by_grain: bool,
}

/// A photo with those before it that it lies on.
type LiesOn = (usize, Vec<Alike>);

/// Photos (of so many) that lie on each other, each after those that it lies on. Those that lie on none,
/// and on which none lies, are left away.
fn groups(photos: impl Iterator<Item = LiesOn>, n_photos: usize) -> Vec<Vec<LiesOn>> {
    let mut group_of: Vec<usize> = (0..n_photos).collect();
    let mut members: Vec<Vec<LiesOn>> = vec![Vec::new(); n_photos];
    for (photo, alike) in photos {
        // It brings the groups of all that it lies on together.
        for Alike { original, .. } in &alike {
            let (other, own) = (group_of[*original], group_of[photo]);
            if other != own {
                group_of.iter_mut().filter(|group| **group == other).for_each(|group| *group = own);
                let joined = std::mem::take(&mut members[other]);
                members[own].extend(joined);
            }
        }
        members[group_of[photo]].push((photo, alike));
    }
    members.retain(|group| group.len() > 1);
    members
}

/// The grain of those photos where it tells something. Looks at their files again, group by group:
/// it takes memory that photos which are like no other need not.
fn grains(photos: &[SeenPhoto], group: &[LiesOn]) -> BTreeMap<usize, Grain> {
    let mut wanted: BTreeSet<usize> = BTreeSet::new();
    for (photo, alike) in group {
        for Alike { original, .. } in alike.iter().filter(|alike| alike.by_grain) {
            wanted.extend([*photo, *original]);
        }
    }
    let grain_of = |photo: usize| {
        let file = &photos[photo].file;
        let _room = Room::for_photo(&file.path);
        Some((photo, Grain::of(&file.read().ok()?.luma)))
    };
    wanted.into_par_iter().filter_map(grain_of).collect()
}

fn finding_of(copy: &SeenPhoto, original: &SeenPhoto) -> Finding {
    let advice = if copy.setup == original.setup {
        format!(
            "Take it out, and keep the file as the phone wrote it: a copy adds nothing to {}.",
            original.file.id
        )
    } else {
        format!(
            "Take out the one that is in the wrong folder: within a set-up nothing moved, so that {} and its copy can't both be right.",
            original.file.id
        )
    };
    let size =
        |photo: &SeenPhoto| photo.facts.as_ref().map_or(0, |facts| facts.width * facts.height);
    let how = if size(copy) == size(original) {
        "saved again, turned, drawn on or with other data"
    } else {
        "in another size"
    };
    let what = format!(
        "{} is the same picture as {} ({how}); it is used once.",
        copy.file.id, original.file.id
    );
    Finding::warning("photo-copy", what, advice).in_photo(copy.file.id.clone())
}

/// Takes out the sightings of tabs whose place the job gives to another tab, and names them.
pub fn leave_out_displaced_tabs(photos: &mut [SeenPhoto], job: &Job, findings: &mut Vec<Finding>) {
    for (number, instead) in job.displaced_tabs() {
        let mut seen_in = Vec::new();
        for photo in photos.iter_mut() {
            let n_before = photo.sightings.patterns.len();
            photo.sightings.patterns.retain(|seen| seen.pattern != Pattern::Tab(number));
            if photo.sightings.patterns.len() < n_before {
                seen_in.push(photo.file.id.clone());
            }
        }
        if let Some(first) = seen_in.first() {
            findings.push(Finding::warning(
                "tab-clash",
                format!(
                    "Tabs {number} and {instead} mark one place ({}): job.toml gives it to tab {instead}, so tab {number} is not used. It is \
                     seen in {} photos, {first} first.",
                    job.tab(instead).words(),
                    seen_in.len()
                ),
                format!("Take tab {number} off, or give it a role of its own in job.toml, such as role = \"free\"."),
            ));
        }
    }
}
