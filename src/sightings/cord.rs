//! What runs through the lanes of cards: every edge across it, the cord's and its shadow's alike.
//!
//! One photo cannot tell a cord's edge from that of its shadow for certain: a bright cord on
//! bright paper ends in a dark contact shadow, a dark one in a sliver of lit paper. All photos
//! together can, since shadows lie on the paper and the cord above it. So the edges are handed on
//! as they are, and the scene chooses.

use super::edge_fit::{EdgeTask, fit_edge};
use super::lane::{Lane, PROFILE_STEP, Profile, profile};
use super::seen::{LaneEdge, LaneEdges, LaneLight, PatternSighting};
use crate::photo::LinearImage;

/// An edge's light must change by this part of the paper's level within a pixel, and by this many
/// times the profile's noise.
const LEAST_CHANGE: f64 = 0.035;
const LEAST_SIGNIFICANCE: f64 = 4.0;
/// The gradient is taken over this many px: about the blur of a sharp phone photo.
const GRADIENT_SPAN: f64 = 1.0;
/// More edges than this in one lane are clutter: the strongest are kept.
const MOST_EDGES: usize = 10;
/// Least standard uncertainty of an edge, px: paper and pixels are not perfect.
const LEAST_SIGMA: f64 = 0.04;

/// The edges in the lanes of all cards of a photo.
pub fn find_lane_edges(image: &LinearImage, patterns: &[PatternSighting]) -> Vec<LaneEdges> {
    patterns.iter().filter_map(|sighting| lane_edges(image, sighting)).collect()
}

fn lane_edges(image: &LinearImage, sighting: &PatternSighting) -> Option<LaneEdges> {
    let lane = Lane::new(sighting)?;
    let profile = profile(image, &lane)?;
    let mut edges: Vec<(f64, LaneEdge)> = Vec::new();
    for (offset, change) in steps(&profile) {
        let Some((offset, sigma)) = refined(&profile, offset, change) else { continue };
        let Some((at, normal)) = place(&lane, &profile, offset) else { continue };
        edges.push((change.abs(), LaneEdge { at, normal, sigma, step: change }));
    }
    edges.sort_by(|a, b| b.0.total_cmp(&a.0));
    edges.truncate(MOST_EDGES);
    let edges: Vec<LaneEdge> = edges.into_iter().map(|(_, edge)| edge).collect();
    let light = light(&lane, &profile);
    let noise = profile.noise / profile.paper;
    (!edges.is_empty()).then_some(LaneEdges {
        pattern: sighting.pattern,
        px_per_mm: profile.px_per_mm,
        edges,
        light,
        noise,
    })
}

/// Where an offset across the lane lies, px, and the unit normal of the line along the lane there.
fn place(lane: &Lane, profile: &Profile, offset: f64) -> Option<([f64; 2], [f64; 2])> {
    let line = super::lane::LatticeLine {
        row: profile.line.row + offset * profile.rows_per_px,
        slope: profile.line.slope,
    };
    lane.frame(&line, profile.middle_col).map(|(at, _, normal)| (at, normal))
}

/// The profile, a pixel apart.
fn light(lane: &Lane, profile: &Profile) -> Vec<LaneLight> {
    let each = (1.0 / PROFILE_STEP) as usize;
    let means = profile.values.chunks_exact(each).enumerate();
    let places = means.filter_map(|(i, values)| {
        let offset = profile.offset(i * each) + PROFILE_STEP * (each - 1) as f64 / 2.0;
        let (at, _) = place(lane, profile, offset)?;
        Some(LaneLight { at, light: values.iter().sum::<f64>() / (each as f64 * profile.paper) })
    });
    places.collect()
}

/// Offsets (px) where light changes fastest across the lane, with the change within a pixel.
fn steps(profile: &Profile) -> Vec<(f64, f64)> {
    let half = (GRADIENT_SPAN / PROFILE_STEP / 2.0) as usize;
    let n = profile.values.len();
    if n < 4 * half + 3 {
        return Vec::new();
    }
    let gradient: Vec<f64> =
        (half..n - half).map(|i| profile.values[i + half] - profile.values[i - half]).collect();
    let least = (LEAST_CHANGE * profile.paper).max(LEAST_SIGNIFICANCE * profile.noise);
    let mut found = Vec::new();
    for i in 1..gradient.len() - 1 {
        let (before, here, after) =
            (gradient[i - 1].abs(), gradient[i].abs(), gradient[i + 1].abs());
        if here < least || here < before || here <= after {
            continue;
        }
        // The vertex of the parabola through three neighbours.
        let bend = before - 2.0 * here + after;
        let shift = if bend < 0.0 { 0.5 * (before - after) / bend } else { 0.0 };
        let index = (i + half) as f64 + shift.clamp(-0.5, 0.5);
        found.push((profile.first + PROFILE_STEP * index, gradient[i]));
    }
    found
}

/// A step's place from a least-squares fit where there is room for one, else as the gradient has
/// it.
fn refined(profile: &Profile, offset: f64, change: f64) -> Option<(f64, f64)> {
    let outward = change.signum();
    let task = EdgeTask { inside: 1.4, outside: 1.2, blur: 0.6, free_blur: true };
    let rough = (LEAST_SIGMA * 2.0).max(0.5 * profile.noise / change.abs());
    match fit_edge(&profile.samples_about(offset, outward), &task) {
        Some(edge) if edge.at.abs() < 0.5 && edge.step() > 0.0 => {
            Some((offset + outward * edge.at, edge.sigma.max(LEAST_SIGMA)))
        }
        _ => Some((offset, rough)),
    }
}
