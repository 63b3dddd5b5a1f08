//! The image of a plumb line or of the backbone cord: a thin line, dark or bright, followed along
//! where it is expected.
//!
//! It is straight but for the lens, and a pixel or a few wide; its contrast may change sign along
//! it, as the ground behind does. So a path is looked for whose places all stand out from their two
//! sides, whichever way, and each place is then found to a fraction of a pixel.

use std::ops::Range;

use nalgebra::Vector2;

use super::edge_fit::{EdgeTask, Sample, fit_edge};
use super::line_light::{Followed, GROUP, LineLight, WIDTHS, groups, middle_of};
use super::line_path::{Crossing, Path, along, line_points};
use super::plane_map::{Node, PlaneMap};
use super::round_line::Width;
use super::seen::{LineSighting, PatternSighting, StrandPoint, StringKind};
use crate::cards::Pattern;
use crate::math::robust::median;
use crate::photo::LinearImage;

/// Upper and lower flag of each line.
const FLAGS: [(u8, u8, StringKind); 5] = [
    (21, 22, StringKind::Plumb(0)),
    (23, 24, StringKind::Plumb(1)),
    (25, 26, StringKind::Plumb(2)),
    (27, 28, StringKind::Plumb(3)),
    (29, 30, StringKind::Backbone),
];
/// Length of line that is averaged for one place, px, and the spacing of places.
const STATION_PX: f64 = 6.0;
/// More places than this would only make the points' correlation worse.
const MOST_STATIONS: usize = 150;
/// How far to either side of the expected path a line is looked for when both flags tell it, px,
/// and the spacing of samples across.
const REACH: f64 = 6.0;
const STEP: f64 = 0.5;
/// Beyond the farthest place at which a line is looked for, its places may still lie, px.
const MARGIN: f64 = 1.0;
/// A line stands out from what lies this far to either side, px: beyond the width of a line seen
/// close by.
const SIDE: f64 = 5.0;
/// Paper of a flag that covers the line, in pattern sides from its centre.
const FLAG_PAPER: f64 = 0.95;
/// Places that must stand out, of all between the first and the last of the line.
const LEAST_SHARE: f64 = 0.5;
/// Of a path on which a line may end, this part at least it must run along: shorter pieces are some
/// edge that crosses the path.
const LEAST_PART: f64 = 0.25;
/// A place counts when it stands out by this many times the ground's unrest, and lies this near to
/// the smooth path, px.
const STANDS_OUT: f64 = 3.0;
const NEAR_PATH: f64 = 0.6;
/// Fewest places that make a line.
const LEAST_STATIONS: usize = 10;
/// How far from the path edges are looked for, px.
const EDGE_REACH: f64 = 6.0;
/// The outermost change of light that reaches this part of the largest is the line's edge: a round
/// line has highlights inside.
const EDGE_SHARE: f64 = 0.35;
/// By how much of itself a line's width may change along it, perspective included.
const WIDTH_CHANGE: f64 = 0.3;
/// Spacing of the averaged light, px.
const EDGE_STEP: f64 = 0.25;

/// Lines between flags that were read in this photo.
pub fn find_lines(image: &LinearImage, patterns: &[PatternSighting]) -> Vec<LineSighting> {
    let flag = |number: u8| {
        let mut seen = patterns.iter().filter(|p| p.pattern == Pattern::Tab(number));
        // A flag seen twice (a reflection) tells nothing.
        seen.next().filter(|_| seen.next().is_none()).and_then(flag_place)
    };
    let mut lines = Vec::new();
    for (upper, lower, kind) in FLAGS {
        let (Some((a, side_a)), Some((b, side_b))) = (flag(upper), flag(lower)) else { continue };
        let length = (b - a).norm();
        let (from, to) = (FLAG_PAPER * side_a, length - FLAG_PAPER * side_b);
        if to - from > STATION_PX * LEAST_STATIONS as f64 {
            let along = (b - a) / length;
            let path = [a + along * from, a + along * to].map(|p| [p.x, p.y]).to_vec();
            lines.extend(follow(
                image,
                &ExpectedLine { kind, path, covered: Vec::new(), reach: [REACH; 2], whole: true },
            ));
        }
    }
    lines
}

/// A flag's centre and the length of its pattern's side in the photo, px.
fn flag_place(sighting: &PatternSighting) -> Option<(Vector2<f64>, f64)> {
    let node = |c: &super::seen::CornerSighting| Node {
        lattice: [f64::from(c.col), f64::from(c.row)],
        at: c.at,
    };
    let nodes: Vec<Node> = sighting.corners.iter().map(node).collect();
    let map = PlaneMap::near(&nodes, [2.5, 2.5])?;
    let place = |c: f64, r: f64| map.at([c, r]).map(Vector2::from);
    let (top, bottom) = (place(2.5, 0.0)?, place(2.5, 5.0)?);
    Some((place(2.5, 2.5)?, (bottom - top).norm()))
}

/// A line expected in a photo, as a row of two pixels or more.
#[derive(Clone, Debug, PartialEq)]
pub struct ExpectedLine {
    pub kind: StringKind,
    pub path: Vec<[f64; 2]>,
    /// Where something hides the line, as its flags do: centre and radius, px.
    pub covered: Vec<([f64; 2], f64)>,
    /// How far across from the path the line may run at its first and last point, px.
    pub reach: [f64; 2],
    /// Whether the line runs along the whole path for certain, and does not end somewhere.
    pub whole: bool,
}

/// Follows a line near the path on which it is expected. It may end within the path. None when no
/// line stands out there.
pub fn follow(image: &LinearImage, expected: &ExpectedLine) -> Option<LineSighting> {
    let kind = expected.kind;
    let stations = stations(&expected.path)?;
    // Whole steps to either side, so that the path itself is sampled.
    let reach = ((expected.reach[0].max(expected.reach[1]) + MARGIN) / STEP).ceil() * STEP;
    let n_across = (2.0 * (reach + SIDE) / STEP).round() as usize + 1;
    let middle = (n_across - 1) as f64 / 2.0;
    let is_covered = |at: &Vector2<f64>| {
        expected.covered.iter().any(|(c, radius)| (at - Vector2::from(*c)).norm() < *radius)
    };
    // Light across at each station, averaged along it.
    let profiles: Vec<Option<Vec<f64>>> = stations
        .iter()
        .map(|(at, along)| {
            if is_covered(at) {
                return None;
            }
            let across = Vector2::new(-along.y, along.x);
            let value = |j: usize| {
                let mut sum = 0.0;
                for k in -2..=2 {
                    let p = at
                        + across * ((j as f64 - middle) * STEP)
                        + along * (f64::from(k) * STATION_PX / 5.0);
                    sum += f64::from(image.sample(p.x, p.y)?);
                }
                Some(sum / 5.0)
            };
            (0..n_across).map(value).collect()
        })
        .collect();
    let side = (SIDE / STEP) as usize;
    // How a place stands out from its two sides.
    let ridges: Vec<Option<Vec<f64>>> = profiles
        .iter()
        .map(|profile| {
            let p = profile.as_ref()?;
            Some(
                (side..n_across - side).map(|j| p[j] - (p[j - side] + p[j + side]) / 2.0).collect(),
            )
        })
        .collect();
    let unrest = median(&ridges.iter().flatten().flatten().map(|r| r.abs()).collect::<Vec<f64>>())?
        .max(1e-5);
    let best = best_path(&ridges, unrest, reach, expected.reach)?;
    let across =
        Across { profiles: &profiles, ridges: &ridges, reach, unrest, whole: expected.whole };
    let (path, profiles) = line_part(&across, &best)?;
    // A plumb line is lit from all around; what lies across is bright above and dark below, and
    // only its edges tell where it is.
    match kind {
        StringKind::Plumb(_) => {
            let widths: Vec<f64> =
                middles(&profiles, reach, &path).iter().map(|(_, _, width)| *width).collect();
            let width = median(&widths)?;
            let is_seen: Vec<bool> = profiles.iter().map(Option::is_some).collect();
            let followed = Followed { stations: &stations, is_seen: &is_seen, path };
            let light = LineLight::gather(image, &followed, width, reach + SIDE);
            let reading = light.read(&Width::by_edges(width / 2.0))?;
            Some(LineSighting {
                kind,
                points: reading.points,
                light: Some(light),
                own_width: Some(reading.width),
            })
        }
        StringKind::Cord | StringKind::Backbone => {
            let points = edge_points(&stations, &middles(&profiles, reach, &path))?;
            Some(LineSighting { kind, points, light: None, own_width: None })
        }
    }
}

/// Places along a path: position and direction.
fn stations(path: &[[f64; 2]]) -> Option<Vec<(Vector2<f64>, Vector2<f64>)>> {
    let points: Vec<Vector2<f64>> = path.iter().map(|p| Vector2::from(*p)).collect();
    let length: f64 = points.windows(2).map(|w| (w[1] - w[0]).norm()).sum();
    let n = ((length / STATION_PX) as usize).min(MOST_STATIONS);
    if n < LEAST_STATIONS {
        return None;
    }
    let spacing = length / n as f64;
    let mut out = Vec::with_capacity(n);
    let mut before = 0.0;
    for pair in points.windows(2) {
        let step = (pair[1] - pair[0]).norm();
        if step <= 0.0 {
            continue;
        }
        let along = (pair[1] - pair[0]) / step;
        while out.len() < n && (out.len() as f64 + 0.5) * spacing <= before + step {
            let s = (out.len() as f64 + 0.5) * spacing - before;
            out.push((pair[0] + along * s, along));
        }
        before += step;
    }
    Some(out)
}

/// The gently bent path along which places stand out most. Each place counts up to a bound, so that
/// a few bright spots make no line.
fn best_path(
    ridges: &[Option<Vec<f64>>],
    unrest: f64,
    reach: f64,
    at_ends: [f64; 2],
) -> Option<Path> {
    let n = ridges.len();
    let bound = 4.0 * STANDS_OUT * unrest;
    let stand = |i: usize, offset: f64| {
        let ridge = ridges[i].as_ref()?;
        let j = ((offset + reach) / STEP).round();
        if j < 0.0 {
            return None;
        }
        ridge.get(j as usize).map(|r| r.abs().min(bound))
    };
    let mut best: Option<(f64, Path)> = None;
    let [lefts, rights] = at_ends.map(|most| {
        let n = (most / STEP).floor() as i32;
        (-n..=n).map(|k| f64::from(k) * STEP).collect::<Vec<f64>>()
    });
    for &left in &lefts {
        for &right in &rights {
            for bow in -3..=3 {
                let path =
                    Path { a: (left + right) / 2.0, b: (right - left) / 2.0, c: f64::from(bow) };
                let total: f64 =
                    (0..n).step_by(2).filter_map(|i| stand(i, path.at(along(i, n)))).sum();
                if best.is_none_or(|(most, _)| total > most) {
                    best = Some((total, path));
                }
            }
        }
    }
    best.map(|(_, path)| path)
}

/// Light across at each station.
struct Across<'a> {
    profiles: &'a [Option<Vec<f64>>],
    /// How each place stands out from its two sides, from `-reach` on in steps of [`STEP`].
    ridges: &'a [Option<Vec<f64>>],
    reach: f64,
    unrest: f64,
    /// Whether the line runs along the whole path.
    whole: bool,
}

/// The smooth path through the line's places near the best path, and the light of the stations
/// between its ends: beyond them there is no line to read.
fn line_part(light: &Across, rough: &Path) -> Option<(Path, Vec<Option<Vec<f64>>>)> {
    let Across { ridges, reach, unrest, .. } = *light;
    let n = ridges.len();
    let mut found: Vec<(usize, f64)> = Vec::new();
    for (i, ridge) in ridges.iter().enumerate() {
        let Some(ridge) = ridge else { continue };
        let expected = (rough.at(along(i, n)) + reach) / STEP;
        let from = (expected - 3.0).ceil().max(1.0) as usize;
        let to = (expected + 3.0).floor().clamp(0.0, ridge.len() as f64 - 2.0) as usize;
        if from > to {
            continue;
        }
        let Some(peak) = (from..=to).max_by(|&a, &b| ridge[a].abs().total_cmp(&ridge[b].abs()))
        else {
            continue;
        };
        let (before, here, after) =
            (ridge[peak - 1].abs(), ridge[peak].abs(), ridge[peak + 1].abs());
        let bend = before - 2.0 * here + after;
        if here < STANDS_OUT * unrest || here < before || here < after || bend >= 0.0 {
            continue;
        }
        let shift = (0.5 * (before - after) / bend).clamp(-0.5, 0.5);
        found.push((i, (peak as f64 + shift) * STEP - reach));
    }
    let mut path = *rough;
    for bound in [2.0, 1.2, NEAR_PATH, NEAR_PATH] {
        found.retain(|&(i, offset)| (offset - path.at(along(i, n))).abs() < 2.0);
        let places: Vec<(f64, f64)> =
            found.iter().map(|&(i, offset)| (along(i, n), offset)).collect();
        path = path.fitted(&places, bound)?;
    }
    let near: Vec<usize> = found
        .iter()
        .filter(|&&(i, offset)| (offset - path.at(along(i, n))).abs() < NEAR_PATH)
        .map(|(i, _)| *i)
        .collect();
    let seen = if light.whole { 0..n } else { seen_part(ridges, &near) };
    let n_near = near.iter().filter(|i| seen.contains(i)).count();
    let n_seen = ridges[seen.clone()].iter().flatten().count();
    let n_all = ridges.iter().flatten().count();
    if n_near < LEAST_STATIONS
        || (n_near as f64) < LEAST_SHARE * n_seen as f64
        || (n_seen as f64) < LEAST_PART * n_all as f64
    {
        return None;
    }
    let profile =
        |(i, profile): (usize, &Option<Vec<f64>>)| profile.clone().filter(|_| seen.contains(&i));
    Some((path, light.profiles.iter().enumerate().map(profile).collect()))
}

/// Middles between edges (station, offset across, width) as points of a line.
fn edge_points(
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

/// The run of stations over which the line is seen: the one in which most more stand out than do
/// not.
fn seen_part(ridges: &[Option<Vec<f64>>], near: &[usize]) -> Range<usize> {
    let mut best = (0, 0..0);
    let (mut sum, mut start) = (0, 0);
    for (i, ridge) in ridges.iter().enumerate() {
        // What is covered counts neither way.
        sum += if near.contains(&i) { 1 } else { -i32::from(ridge.is_some()) };
        if sum <= 0 {
            (sum, start) = (0, i + 1);
        } else if sum > best.0 {
            best = (sum, start..i + 1);
        }
    }
    best.1
}

/// Middle between the line's two edges for each group of stations: station, offset across, width,
/// px.
fn middles(profiles: &[Option<Vec<f64>>], reach: f64, path: &Path) -> Vec<(usize, f64, f64)> {
    let n = profiles.len();
    let n_out = (2.0 * EDGE_REACH / EDGE_STEP) as usize + 1;
    let mut found = Vec::new();
    for group in groups(n) {
        // Light across the line, told from the smooth path, averaged along it.
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
    // A highlight inside the line, taken for an edge, makes it too narrow: its width hardly changes
    // along it.
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
