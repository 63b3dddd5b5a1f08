//! Reads the cord in every card's lane of one photo.

use nalgebra::Vector2;

use crate::camera::Lens;
use crate::camera::start::{focal_from_homographies, homography};
use crate::cards::Pattern;
use crate::scene::start::glimpses::{seen_corners, thinned};
use crate::sightings::{PatternSighting, PhotoSightings};

use super::cord_in_lane::read_lane;
use super::cord_on_card::{CordReading, LaneReading, NotRead, VIEW_U_PART};
use super::cord_straightness::{Strip, out_of_line, straightness};
use super::picture_bend::PictureBend;

/// The same where the file gives no focal length and the cards don't either (our choice).
const VIEW_U_UNKNOWN_LENS: f64 = 0.25;
/// Usual focal length of a phone as a part of the picture's longer side (26 mm equivalent), where
/// nothing gives it.
const USUAL_FOCAL: f64 = 0.75;

/// Reads the cord in every card's lane. `focal_px` is a start value of the focal length, if the
/// file gives one.
pub fn read_cord(
    sightings: &PhotoSightings,
    width: usize,
    height: usize,
    focal_px: Option<f64>,
) -> CordReading {
    let cards: Vec<&PatternSighting> =
        sightings.patterns.iter().filter(|seen| matches!(seen.pattern, Pattern::Card(_))).collect();
    let (focal, lens_u) = focal(&cards, width, height, focal_px);
    let lens = Lens::pinhole(focal, width, height);
    let bend = PictureBend::of(sightings, width, height);
    let mut strips: Vec<Strip> = Vec::new();
    let mut lanes: Vec<LaneReading> = Vec::new();
    for card in cards {
        let number = card.pattern.number();
        let edges = sightings.lanes.iter().find(|lane| lane.pattern == card.pattern);
        let read = read_lane(card, edges, lens, lens_u);
        if let Ok((cord, strip)) = &read {
            strips.push(Strip {
                lane: lanes.len(),
                card: number,
                told_apart: cord.told_apart,
                ..*strip
            });
        }
        lanes.push(LaneReading { card: number, cord: read.map(|(cord, _)| cord) });
    }
    for lane in out_of_line(&strips, &lanes, &bend) {
        strips.retain(|strip| strip.lane != lane);
        lanes[lane].cord = Err(NotRead::OutOfLine);
    }
    strips.retain(|strip| strip.told_apart);
    let straightness = straightness(&strips, &bend);
    CordReading { lanes, straightness }
}

/// Focal length, px, and what its uncertainty adds to the view's slope.
pub fn focal(
    cards: &[&PatternSighting],
    width: usize,
    height: usize,
    stated: Option<f64>,
) -> (f64, f64) {
    if let Some(stated) = stated {
        return (stated, VIEW_U_PART);
    }
    let maps: Vec<nalgebra::Matrix3<f64>> = cards
        .iter()
        .filter_map(|card| {
            let corners = thinned(&seen_corners(card), 60);
            let plane: Vec<Vector2<f64>> = corners.iter().map(|c| Vector2::from(c.cells)).collect();
            let pixels: Vec<Vector2<f64>> = corners.iter().map(|c| c.at).collect();
            homography(&plane, &pixels)
        })
        .collect();
    match focal_from_homographies(&maps, width, height) {
        Some(focal) => (focal, VIEW_U_UNKNOWN_LENS),
        None => (USUAL_FOCAL * width.max(height) as f64, VIEW_U_UNKNOWN_LENS),
    }
}
