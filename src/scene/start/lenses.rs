//! One lens for each camera and picture size, with its focal length to start from.

use std::collections::BTreeMap;

use nalgebra::{Matrix3, Vector2};

use crate::camera::Lens;
use crate::camera::start::{focal_from_homographies, homography};
use crate::cards::Pattern;
use crate::finding::Finding;
use crate::math::robust::median;
use crate::scene::model::input::ScenePhoto;
use crate::scene::model::priors::LensStart;

use super::glimpses::seen_corners;

/// One lens for each camera and picture size.
pub fn lenses(
    photos: &[ScenePhoto],
    findings: &mut Vec<Finding>,
) -> (Vec<usize>, Vec<Lens>, Vec<LensStart>) {
    let mut by_lens: BTreeMap<(&str, usize, usize), Vec<usize>> = BTreeMap::new();
    for (idx, photo) in photos.iter().enumerate() {
        by_lens.entry((photo.camera.as_str(), photo.width, photo.height)).or_default().push(idx);
    }
    let mut lens_of = vec![0; photos.len()];
    let mut starts = Vec::new();
    for (lens, ((_, width, height), taken)) in by_lens.into_iter().enumerate() {
        taken.iter().for_each(|&photo| lens_of[photo] = lens);
        let of_this = || taken.iter().map(|&photo| &photos[photo]);
        let from_exif: Vec<f64> = of_this().filter_map(|photo| photo.start_focal).collect();
        let maps: Vec<Matrix3<f64>> = of_this().flat_map(card_maps).collect();
        let from_cards = focal_from_homographies(&maps, width, height);
        let focal = match (median(&from_exif), from_cards) {
            // EXIF may speak of another crop than the file shows: the cards are believed where the
            // two differ by half.
            (Some(exif), Some(cards)) if !(0.67..1.5).contains(&(exif / cards)) => {
                findings.push(Finding::warning(
                    "focal-length-contradicts-exif",
                    format!("The photos' EXIF data give a focal length of {exif:.0} px, but the cards in them give {cards:.0} px."),
                    "Use photos as the camera wrote them, not cropped or scaled copies; the program went by the cards.",
                ));
                cards
            }
            (Some(exif), _) => exif,
            (None, Some(cards)) => cards,
            // A usual phone lens sees as wide as 27 mm on film: 27 / 36 of the picture's width.
            (None, None) => 0.75 * width.max(height) as f64,
        };
        starts.push(LensStart { focal, width, height });
    }
    let lenses =
        starts.iter().map(|start| Lens::pinhole(start.focal, start.width, start.height)).collect();
    (lens_of, lenses, starts)
}

fn card_maps(photo: &ScenePhoto) -> Vec<Matrix3<f64>> {
    let cards = photo
        .sightings
        .patterns
        .iter()
        .filter(|p| matches!(p.pattern, Pattern::Card(_)) && p.corners.len() >= 30);
    cards
        .filter_map(|sighting| {
            let corners = seen_corners(sighting);
            let plane: Vec<_> = corners.iter().map(|c| Vector2::from(c.cells)).collect();
            let pixels: Vec<_> = corners.iter().map(|c| c.at).collect();
            homography(&plane, &pixels)
        })
        .collect()
}
