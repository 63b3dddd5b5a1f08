//! The gently bent path along which a thin line stands out from its two sides, and the part of it
//! along which the line is seen.

use std::ops::Range;

use super::line_path::{Path, along};

/// Spacing of samples across, px (our choice).
pub(super) const STEP: f64 = 0.5;
/// A line stands out from what lies this far to either side, px: beyond the width of a line seen
/// close by.
pub(super) const SIDE: f64 = 5.0;
/// Fewest places that make a line (our choice: 60 px of line).
pub(super) const LEAST_STATIONS: usize = 10;

/// Places that must stand out, of all between the first and the last of the line.
const LEAST_SHARE: f64 = 0.5;
/// Of a path on which a line may end, this part at least it must run along: shorter pieces are some
/// edge that crosses the path.
const LEAST_PART: f64 = 0.25;
/// A place counts when it stands out by this many times the ground's unrest, and lies this near to
/// the smooth path, px.
const STANDS_OUT: f64 = 3.0;
const NEAR_PATH: f64 = 0.6;

/// The gently bent path along which places stand out most. Each place counts up to a bound, so that
/// a few bright spots make no line.
pub(super) fn best_path(
    ridges: &[Option<Vec<f64>>],
    unrest: f64,
    reach: f64,
    at_ends: [f64; 2],
) -> Option<Path> {
    let n = ridges.len();
    let bound = 4.0 * STANDS_OUT * unrest;
    let prominence = |i: usize, offset: f64| {
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
                    (0..n).step_by(2).filter_map(|i| prominence(i, path.at(along(i, n)))).sum();
                if best.is_none_or(|(most, _)| total > most) {
                    best = Some((total, path));
                }
            }
        }
    }
    best.map(|(_, path)| path)
}

/// Light across at each station.
pub(super) struct Across<'a> {
    pub(super) profiles: &'a [Option<Vec<f64>>],
    /// How each place stands out from its two sides, from `-reach` on in steps of [`STEP`].
    pub(super) ridges: &'a [Option<Vec<f64>>],
    pub(super) reach: f64,
    pub(super) unrest: f64,
    /// Whether the line runs along the whole path.
    pub(super) whole: bool,
}

/// The smooth path through the line's places near the best path, and the light of the stations
/// between its ends: beyond them there is no line to read.
pub(super) fn line_part(light: &Across, rough: &Path) -> Option<(Path, Vec<Option<Vec<f64>>>)> {
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
