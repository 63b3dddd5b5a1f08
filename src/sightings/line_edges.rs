//! The middle between a thin line's two edges, found to a fraction of a pixel.

use nalgebra::Vector2;

use crate::math::robust::median;

use super::edge_fit::{EdgeTask, Sample, fit_edge};
use super::line_light::{GROUP, WIDTHS, groups, middle_of};
use super::line_path::{Crossing, Path, StrandPoint, along, line_points};
use super::line_ridge::{SIDE, STEP};

/// How far from the path edges are looked for, px (our choice).
const EDGE_REACH: f64 = 6.0;
/// The outermost change of light that reaches this part of the largest is the line's edge: a round
/// line has highlights inside.
const EDGE_SHARE: f64 = 0.35;
/// By how much of itself a line's width may change along it, perspective included (our choice).
const WIDTH_CHANGE: f64 = 0.3;
/// Spacing of the averaged light, px.
const EDGE_STEP: f64 = 0.25;

/// Middles between edges (station, offset across, width) as points of a line.
pub(super) fn edge_points(
    stations: &[(Vector2<f64>, Vector2<f64>)],
    middles: &[(usize, f64, f64)],
) -> Option<Vec<StrandPoint>> {
    let crossing = |&(i, offset, width): &(usize, f64, f64)| {
        let (at, direction) = stations[i];
        let normal = Vector2::new(-direction.y, direction.x);
        Crossing { along: along(i, stations.len()), at, normal, offset, width }
    };
    line_points(&middles.iter().map(crossing).collect::<Vec<Crossing>>())
}

/// Middle between the line's two edges for each group of stations: station, offset across, width,
/// px.
pub(super) fn middles(
    profiles: &[Option<Vec<f64>>],
    reach: f64,
    path: &Path,
) -> Vec<(usize, f64, f64)> {
    let n = profiles.len();
    let n_out = (2.0 * EDGE_REACH / EDGE_STEP) as usize + 1;
    let mut found = Vec::new();
    for group in groups(n) {
        // Light across the line, counted from the smooth path, averaged along it.
        let mut light = vec![0.0; n_out];
        let mut n_used = 0;
        for (i, profile) in profiles.iter().enumerate().take(group.end).skip(group.start) {
            let Some(profile) = profile else { continue };
            let at = path.at(along(i, n));
            for (k, sum) in light.iter_mut().enumerate() {
                let place = (at - EDGE_REACH + k as f64 * EDGE_STEP + reach + SIDE) / STEP;
                let j = place.floor().clamp(0.0, profile.len() as f64 - 2.0) as usize;
                let t = place - j as f64;
                *sum += profile[j] * (1.0 - t) + profile[j + 1] * t;
            }
            n_used += 1;
        }
        if n_used < GROUP / 2 {
            continue;
        }
        light.iter_mut().for_each(|sum| *sum /= n_used as f64);
        let (Some(left), Some(right)) = (edge(&light, -1.0), edge(&light, 1.0)) else { continue };
        if WIDTHS.contains(&(right - left)) {
            let middle = middle_of(&group);
            found.push((middle, path.at(along(middle, n)) + (left + right) / 2.0, right - left));
        }
    }
    // A highlight inside the line, mistaken for an edge, makes it too narrow: its width hardly
    // changes along it.
    let widths: Vec<f64> = found.iter().map(|(_, _, width)| *width).collect();
    let usual = median(&widths).unwrap_or(0.0);
    found.retain(|(_, _, width)| (width - usual).abs() <= WIDTH_CHANGE * usual);
    found
}

/// The outermost edge of the line on one side (-1 or +1) of the path, px.
fn edge(light: &[f64], side: f64) -> Option<f64> {
    let middle = (light.len() - 1) / 2;
    let at = |k: usize| light[if side > 0.0 { middle + k } else { middle - k }];
    let half = (0.5 / EDGE_STEP) as usize;
    let change: Vec<f64> = (0..middle - half)
        .map(|k| if k < half { 0.0 } else { at(k + half) - at(k - half) })
        .collect();
    // Only near the path: farther out begins what lies behind.
    let near = change.len().min((4.5 / EDGE_STEP) as usize);
    let most = change[..near].iter().map(|c| c.abs()).fold(0.0, f64::max);
    let is_peak = |k: usize| {
        k > 0
            && k + 1 < near
            && change[k].abs() >= change[k - 1].abs()
            && change[k].abs() > change[k + 1].abs()
    };
    let outermost =
        (1..near).rev().find(|&k| is_peak(k) && change[k].abs() >= EDGE_SHARE * most)?;
    let sign = change[outermost].signum();
    let start = outermost as f64 * EDGE_STEP;
    // Turned so that it gets brighter outward: the fit expects a rise.
    let sample = |(i, &value): (usize, &f64)| Sample {
        outward: ((side * (i as f64 - middle as f64) * EDGE_STEP - start) * sign) as f32,
        value: value as f32,
    };
    let samples: Vec<Sample> = light.iter().enumerate().map(sample).collect();
    let (inside, outside) = if sign > 0.0 { (0.9, 1.6) } else { (1.6, 0.9) };
    let fitted = fit_edge(&samples, &EdgeTask { inside, outside, blur: 0.6, free_blur: false });
    let shift = fitted.filter(|edge| edge.at.abs() < 0.5).map_or(0.0, |edge| edge.at * sign);
    Some(side * (start + shift))
}
