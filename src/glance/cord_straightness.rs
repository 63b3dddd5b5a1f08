//! Whether the cord runs straight from card to card in one photo, in a card's millimetres.

use nalgebra::Vector2;

use crate::measurement::{Measurement, Quality};

use super::cord_on_card::{EDGE_U_MM, LaneReading, Straightness};
use super::picture_bend::PictureBend;

/// What a lane's cord may turn away, over the lane's length, from the line to the next card, mm:
/// over 260 mm one degree, several times what a reading's own angle is uncertain by.
const IN_LINE_MM: f64 = 4.5;
/// Expanded uncertainty of how much higher one card lies than the next, mm (paper on a bench; our
/// estimate).
const UNEVEN_MM: f64 = 0.5;

/// The two edges that were taken for the cord's, in the photo: for its straightness.
#[derive(Clone, Copy, Debug)]
pub struct Strip {
    /// Its place among the lanes, the card's number, and whether it was told from its shadow.
    pub lane: usize,
    pub card: u8,
    pub told_apart: bool,
    pub middle: [f64; 2],
    pub mm_per_px: f64,
    pub sigma_px: f64,
    pub view: f64,
}

/// Lanes in which something other than the cord was read (a cable, the shadow of a tube): a cord is
/// straight, so that it points from each card to the next, in the straightened picture. Two cards
/// that point to each other confirm each other; where there are several cards and none confirms
/// one of them, its reading is not the cord's. With a single card there is nothing to compare.
pub fn out_of_line(strips: &[Strip], lanes: &[LaneReading], bend: &PictureBend) -> Vec<usize> {
    let points_to = |from: &Strip, to: &Strip| {
        let (here, there) = (bend.straightened(from.middle), bend.straightened(to.middle));
        let along = (there - here).normalize();
        let normal = Vector2::new(-along.y, along.x);
        let Ok(cord) = &lanes[from.lane].cord else { return false };
        // The path may lie off the strip's middle where several pairs were possible: only its
        // direction counts.
        let (Some(first), Some(last)) = (cord.path.first(), cord.path.last()) else { return false };
        let turn = normal.dot(&(bend.straightened(*last) - bend.straightened(*first)));
        turn.abs() * from.mm_per_px < IN_LINE_MM
    };
    let vouched =
        |a: &Strip| strips.iter().any(|b| b.lane != a.lane && points_to(a, b) && points_to(b, a));
    if strips.len() < 2 {
        Vec::new()
    } else {
        strips.iter().filter(|a| !vouched(a)).map(|a| a.lane).collect()
    }
}

/// Each card's cord against the straight line between the outermost ones, in the straightened
/// picture.
pub fn straightness(strips: &[Strip], bend: &PictureBend) -> Vec<Straightness> {
    let places: Vec<Vector2<f64>> =
        strips.iter().map(|strip| bend.straightened(strip.middle)).collect();
    let mut ends: Option<(f64, usize, usize)> = None;
    for i in 0..strips.len() {
        for k in i + 1..strips.len() {
            let apart = (places[i] - places[k]).norm();
            if ends.is_none_or(|(most, ..)| apart > most) {
                ends = Some((apart, i, k));
            }
        }
    }
    let Some((apart, from, to)) = ends.filter(|_| strips.len() >= 3) else { return Vec::new() };
    let along = (places[to] - places[from]) / apart;
    let normal = Vector2::new(-along.y, along.x);
    let mut straightness = Vec::new();
    for (i, strip) in strips.iter().enumerate().filter(|(i, _)| *i != from && *i != to) {
        let part = along.dot(&(places[i] - places[from])) / apart;
        // off = n . (p_i - (1 - part) p_from - part p_to)
        let off = normal.dot(&(places[i] - places[from]));
        let shares = [(i, 1.0), (from, part - 1.0), (to, -part)];
        let bend_sigma =
            bend.sigma_of(&shares.map(|(k, share)| (normal * share, strips[k].middle)));
        let edges =
            shares.map(|(k, share)| (share * strips[k].sigma_px).powi(2)).iter().sum::<f64>();
        let sigma_px = (bend_sigma * bend_sigma + edges).sqrt();
        let parts = [2.0 * sigma_px * strip.mm_per_px, EDGE_U_MM, UNEVEN_MM * strip.view];
        let u = parts.iter().map(|x| x * x).sum::<f64>().sqrt();
        let off = Measurement { value: off.abs() * strip.mm_per_px, u, quality: Quality::Single };
        straightness.push(Straightness {
            card: strip.card,
            from: strips[from].card,
            to: strips[to].card,
            off,
        });
    }
    straightness
}
