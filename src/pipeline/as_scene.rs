//! Photos as the scene sees them, and the scene's findings about them.

use crate::finding::Finding;
use crate::photo::PhotoFacts;
use crate::scene::{ScenePhoto, Solution};
use crate::sightings::PhotoSightings;

use super::SeenPhoto;

pub(super) fn scene_photos(photos: &[SeenPhoto], setups: &[String]) -> Vec<ScenePhoto> {
    let one = |photo: &SeenPhoto| {
        let scene = scene_photo(&photo.file.id, photo.facts.as_ref(), &photo.sightings);
        match setups.iter().position(|setup| *setup == photo.setup) {
            Some(setup) => ScenePhoto { setup, lens_only: photo.lens_only, ..scene },
            // Nobody knows what stood still with it: it shows nothing.
            None => ScenePhoto { sightings: PhotoSightings::default(), ..scene },
        }
    };
    photos.iter().map(one).collect()
}

/// A photo as the scene sees it, in the first set-up and on the bench until sorting
/// moves it.
pub fn scene_photo(
    file: &str,
    facts: Option<&PhotoFacts>,
    sightings: &PhotoSightings,
) -> ScenePhoto {
    ScenePhoto {
        file: file.to_owned(),
        setup: 0,
        lens_only: false,
        width: facts.map_or(1, |f| f.width),
        height: facts.map_or(1, |f| f.height),
        camera: facts.map_or(String::new(), camera_key),
        start_focal: facts.and_then(PhotoFacts::start_focal_px),
        sightings: sightings.clone(),
    }
}

/// Photos share a lens when camera, lens and zoom are the same.
fn camera_key(facts: &PhotoFacts) -> String {
    let exif = &facts.exif;
    format!(
        "{:?} {:?} {:?} {:?} {:?} {:?}",
        exif.make,
        exif.model,
        exif.lens_model,
        exif.focal_length_mm,
        exif.focal_length_35mm,
        exif.digital_zoom
    )
}

/// The scene's findings about the photos.
pub(super) fn scene_findings(photos: &[SeenPhoto], solution: Option<&Solution>) -> Vec<Finding> {
    let mut findings = solution.map(|s| s.findings.clone()).unwrap_or_default();
    findings.extend(
        solution.map(|solution| super::lines::contradictions(photos, solution)).unwrap_or_default(),
    );
    let any_card = photos.iter().any(|p| {
        p.sightings.patterns.iter().any(|s| matches!(s.pattern, crate::cards::Pattern::Card(_)))
    });
    if !any_card {
        findings.push(Finding::refused(
            "no-card",
            "No grid card was read in any photo, so nothing can be measured.",
            "Lay the printed cards flat under the cord, go closer until a card fills a quarter of the picture, and hold still.",
        ));
        return findings;
    }
    for (idx, photo) in photos.iter().enumerate() {
        let placed = solution.is_some_and(|s| s.view_of.get(idx).copied().flatten().is_some());
        if photo.facts.is_some() && !placed {
            findings.push(
                Finding::warning(
                    "photo-not-placed",
                    format!(
                        "Photo {} shows no card that ties it to the others; it was not used.",
                        photo.file.id
                    ),
                    "Take it again with two cards in it that other photos show too.",
                )
                .in_photo(photo.file.id.clone()),
            );
        }
        for pattern in &photo.sightings.mirrored {
            findings.push(
                Finding::note(
                    "mirror-image",
                    format!(
                        "Photo {} shows {} in a mirror (chrome or glass); the reflection was not used.",
                        photo.file.id,
                        name_of(*pattern)
                    ),
                    "Nothing to do.",
                )
                .in_photo(photo.file.id.clone()),
            );
        }
    }
    findings
}

fn name_of(pattern: crate::cards::Pattern) -> String {
    match pattern {
        crate::cards::Pattern::Card(number) => format!("card {number}"),
        crate::cards::Pattern::Tab(number) => format!("tab {number}"),
    }
}
