//! Looking at each photo: once on its own, and again where the solved scene expects more.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::finding::Finding;
use crate::guarded::guarded;
use crate::photo::job_photos::{CAMERA_FOLDER, LOOSE_SETUP};
use crate::photo::room::Room;
use crate::photo::{Impression, JobPhotos, PhotoFile};
use crate::scene::{self, Solution};
use crate::sightings::{self, PhotoSightings};

use super::known::Known;
use super::{Progress, SeenPhoto};

/// Pictures that are kept from the first look to the second take no more than this together, bytes:
/// all of 25 photos of 8 megapixels (our choice). Others are decoded again.
const MOST_KEPT: usize = 200_000_000;

/// What looking at one photo gives.
pub(super) struct Looked {
    pub(super) photo: SeenPhoto,
    pub(super) impression: Option<Impression>,
    pub(super) findings: Vec<Finding>,
}

/// First look, photo by photo in parallel; the order of the list is kept.
pub(super) fn look_at_all(
    listed: &JobPhotos,
    known: Option<&Known>,
    findings: &mut Vec<Finding>,
    progress: &(dyn Fn(Progress) + Sync),
) -> (Vec<SeenPhoto>, Vec<Option<Impression>>) {
    let placed = |(file, setup): (&'_ PhotoFile, Option<&str>)| {
        let setup = setup.unwrap_or(LOOSE_SETUP);
        (file.clone(), setup.to_owned(), setup == CAMERA_FOLDER)
    };
    let files: Vec<(PhotoFile, String, bool)> = listed.with_setups().map(placed).collect();
    let (done, kept) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let looked: Vec<Looked> = files
        .par_iter()
        .map(|(file, setup, lens_only)| {
            let looked = look_at(file, setup, *lens_only, known, &kept);
            progress(Progress::Looked(done.fetch_add(1, Ordering::Relaxed) + 1, files.len()));
            looked
        })
        .collect();
    let mut photos = Vec::with_capacity(looked.len());
    let mut impressions = Vec::with_capacity(looked.len());
    for Looked { photo, impression, findings: own } in looked {
        photos.push(photo);
        impressions.push(impression);
        findings.extend(own);
    }
    (photos, impressions)
}

fn look_at(
    file: &PhotoFile,
    setup: &str,
    lens_only: bool,
    known: Option<&Known>,
    kept: &AtomicUsize,
) -> Looked {
    let photo = SeenPhoto {
        file: file.clone(),
        setup: setup.to_owned(),
        lens_only,
        facts: None,
        sightings: PhotoSightings::default(),
        kept: None,
    };
    let mut looked = Looked { photo, impression: None, findings: Vec::new() };
    if let Some(first) = known.and_then(|known| known.get(&file.sha256)) {
        looked.findings = first.facts.findings(&file.id);
        looked.impression = Some(first.impression.clone());
        looked.photo.sightings = first.sightings.clone();
        looked.photo.facts = Some(first.facts.clone());
        return looked;
    }
    let _room = Room::for_photo(&file.path);
    match file.read() {
        Ok(read) => {
            match guarded(&format!("{} is not used.", file.id), || {
                (sightings::look(&read.luma), Impression::of(&read.luma))
            }) {
                Ok((sightings, impression)) => {
                    looked.findings = read.facts.findings(&file.id);
                    looked.impression = Some(impression);
                    looked.photo.sightings = sightings;
                    looked.photo.facts = Some(read.facts);
                    looked.photo.kept = read.codes.filter(|codes| has_room(kept, codes.bytes()));
                }
                Err(mistake) => looked.findings.push(mistake.in_photo(&file.id)),
            }
        }
        Err(error) => looked.findings.push(error.finding(&file.id)),
    }
    looked
}

/// Takes room for so many bytes among the pictures that are kept, if there is any.
fn has_room(kept: &AtomicUsize, bytes: usize) -> bool {
    let more = |taken: usize| taken.checked_add(bytes).filter(|all| *all <= MOST_KEPT);
    kept.fetch_update(Ordering::Relaxed, Ordering::Relaxed, more).is_ok()
}

/// Second look: what the solved scene expects in each photo is looked for where it should be. A
/// photo at which that goes wrong keeps what the first look found; the findings say so.
pub(super) fn look_again_at_all(
    photos: &mut [SeenPhoto],
    first: &Solution,
    progress: &(dyn Fn(Progress) + Sync),
) -> Vec<Finding> {
    let n = photos.len();
    let done = AtomicUsize::new(0);
    let looked = photos.par_iter_mut().enumerate().map(|(idx, photo)| {
        let again = guarded(&format!("{} was not looked at a second time.", photo.file.id), || {
            look_again_at(photo, idx, first)
        });
        progress(Progress::LookedAgain(done.fetch_add(1, Ordering::Relaxed) + 1, n));
        match again {
            Ok(Some(sightings)) => photo.sightings = sightings,
            Ok(None) => {}
            Err(mistake) => return Some(mistake.in_photo(&photo.file.id)),
        }
        None
    });
    looked.collect::<Vec<Option<Finding>>>().into_iter().flatten().collect()
}

/// None where nothing more is expected of the photo, or it can't be read any more.
fn look_again_at(photo: &SeenPhoto, idx: usize, first: &Solution) -> Option<PhotoSightings> {
    let facts = photo.facts.as_ref()?;
    let (patterns, lines) =
        scene::assess::predict::expected(first, idx, (facts.width, facts.height));
    if patterns.is_empty() && lines.is_empty() {
        return None;
    }
    let _room = Room::for_photo(&photo.file.path);
    let luma = match &photo.kept {
        Some(codes) => codes.light(),
        None => photo.file.read().ok()?.luma,
    };
    let mut sightings = sightings::look_again(&luma, &photo.sightings, &patterns);
    for line in &lines {
        // Where flags were not read, the line's own image still shows how it hangs.
        if !sightings.lines.iter().any(|seen| seen.kind == line.kind) {
            sightings.lines.extend(sightings::follow_line::follow(&luma, line));
        }
    }
    Some(sightings)
}

/// Reads each plumb line's images again, as wide as all photos together have the line.
pub(super) fn read_lines_again(photos: &mut [SeenPhoto], first: &Solution) {
    let seen: Vec<&PhotoSightings> = photos.iter().map(|photo| &photo.sightings).collect();
    let widths = scene::strings::line_width::common_widths(first, &seen);
    photos.par_iter_mut().enumerate().for_each(|(idx, photo)| {
        for again in widths.iter().filter(|again| again.photo == idx) {
            photo.sightings.lines[again.line].read_with(&again.width);
        }
    });
}
