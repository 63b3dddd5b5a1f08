//! Where brightness leaves the cord uncertain, its lanes are read again in the colour, or the ratio
//! of two colours, that tells it from its shadow best.

use rayon::prelude::*;

use crate::bench::BenchSettings;
use crate::finding::Finding;
use crate::photo::colour::{N_COLOURS, look_at_colours};
use crate::photo::room::Room;
use crate::scene::Solution;
use crate::scene::strings::lane_colour::Lanes;
use crate::sightings::LaneEdges;
use crate::sightings::cord::find_lane_edges;

use super::SeenPhoto;

/// A photo's lanes in each of its [`N_COLOURS`] colours; None for one without colour.
type InColours = Option<Vec<Vec<LaneEdges>>>;

/// How much farther off than by brightness the cord may be read in a colour at each end, k = 2, mm.
/// Phones keep colour at half the resolution, and a cord's lit side has more of it than its dark
/// one: a little more than the 0.46 mm seen in one drawn bench whose cord was read so.
const BY_COLOUR_U_MM: f64 = 0.5;

/// Allows for a cord that was read in a colour, and says so.
pub(super) fn allow_for(settings: &mut BenchSettings, findings: &mut Vec<Finding>) {
    let light = &mut settings.assumed.cord_light_u_mm;
    *light = light.hypot(BY_COLOUR_U_MM);
    findings.push(Finding::note(
        "cord-by-colour",
        format!(
            "Brightness did not show which is the cord and which its shadow; its colour did. That is less exact, and {BY_COLOUR_U_MM} mm are allowed for it."
        ),
        "For smaller uncertainties change the light so that no sharp shadow lies next to the cord, and take the photos again.",
    ));
}

/// Reads the lanes of all photos in the best colour, if one is better than brightness, and makes
/// the solution choose its cord again. Whether it did.
pub(super) fn read_lanes(photos: &mut [SeenPhoto], first: &mut Solution) -> bool {
    if !first.cord_is_doubtful() {
        return false;
    }
    let mut coloured: Vec<InColours> = photos.par_iter().map(in_colours).collect();
    let ways: Vec<Vec<Lanes>> = std::iter::once(None)
        .chain((0..N_COLOURS).map(Some))
        .map(|colour| lanes(photos, &coloured, colour))
        .collect();
    let Some(colour) = first.clearest(&ways).checked_sub(1) else { return false };
    for (photo, own) in photos.iter_mut().zip(&mut coloured) {
        if let Some(edges) = own {
            photo.sightings.lanes = std::mem::take(&mut edges[colour]);
        }
    }
    first.forget_cord();
    true
}

fn in_colours(photo: &SeenPhoto) -> InColours {
    if photo.lens_only || photo.sightings.patterns.is_empty() {
        return None;
    }
    let _room = Room::for_photo(&photo.file.path);
    look_at_colours(&photo.file, |light| find_lane_edges(light, &photo.sightings.patterns))
}

/// The lanes of all photos in a colour, or by brightness where there is none.
fn lanes(photos: &[SeenPhoto], coloured: &[InColours], colour: Option<usize>) -> Vec<Lanes> {
    let of_photo = |(photo, own): (&SeenPhoto, &InColours)| {
        let in_colour = colour.and_then(|colour| own.as_ref().map(|edges| &edges[colour]));
        Lanes {
            edges: in_colour.unwrap_or(&photo.sightings.lanes).clone(),
            blur_px: photo.sightings.blur_px,
        }
    };
    photos.iter().zip(coloured).map(of_photo).collect()
}
