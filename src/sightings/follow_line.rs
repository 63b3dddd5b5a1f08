//! The image of a plumb line or of the backbone cord: a thin line, dark or bright, followed along
//! where it is expected.
//!
//! It is straight but for the lens, and a pixel or a few wide; its contrast may change sign along
//! it, as the ground behind does. So a path is looked for whose places all stand out from their two
//! sides, whichever way, and each place is then found to a fraction of a pixel.

use nalgebra::Vector2;

use crate::math::robust::median;
use crate::photo::LinearImage;

use super::line_edges::{edge_points, middles};
use super::line_light::{Followed, LineLight};
use super::line_ridge::{Across, LEAST_STATIONS, SIDE, STEP, best_path, line_part};
use super::line_strips::Width;
use super::seen::{LineSighting, StringKind};

/// Length of line that is averaged for one place, px, and the spacing of places (our choice).
pub(super) const STATION_PX: f64 = 6.0;
/// More places than this would only make the points' correlation worse.
const MOST_STATIONS: usize = 150;

/// Beyond the farthest place at which a line is looked for, its places may still lie, px (our
/// choice).
const MARGIN: f64 = 1.0;

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
    let stations = stations(&expected.path)?;
    // Whole steps to either side, so that the path itself is sampled.
    let reach = ((expected.reach[0].max(expected.reach[1]) + MARGIN) / STEP).ceil() * STEP;
    let n_across = (2.0 * (reach + SIDE) / STEP).round() as usize + 1;
    let profiles = profiles(image, expected, &stations, n_across);
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
    match expected.kind {
        StringKind::Plumb(_) => {
            let widths: Vec<f64> =
                middles(&profiles, reach, &path).iter().map(|(_, _, width)| *width).collect();
            let width = median(&widths)?;
            let is_seen: Vec<bool> = profiles.iter().map(Option::is_some).collect();
            let followed = Followed { stations: &stations, is_seen: &is_seen, path };
            let light = LineLight::gather(image, &followed, width, reach + SIDE);
            let reading = light.read(&Width::by_edges(width / 2.0))?;
            Some(LineSighting {
                kind: expected.kind,
                points: reading.points,
                light: Some(light),
                own_width: Some(reading.width),
            })
        }
        StringKind::Cord | StringKind::Backbone => {
            let points = edge_points(&stations, &middles(&profiles, reach, &path))?;
            Some(LineSighting { kind: expected.kind, points, light: None, own_width: None })
        }
    }
}

/// Light across at each station, averaged along it; None where something covers the line.
fn profiles(
    image: &LinearImage,
    expected: &ExpectedLine,
    stations: &[(Vector2<f64>, Vector2<f64>)],
    n_across: usize,
) -> Vec<Option<Vec<f64>>> {
    let middle = (n_across - 1) as f64 / 2.0;
    let is_covered = |at: &Vector2<f64>| {
        expected.covered.iter().any(|(c, radius)| (at - Vector2::from(*c)).norm() < *radius)
    };
    let profile = |(at, along): &(Vector2<f64>, Vector2<f64>)| {
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
    };
    stations.iter().map(profile).collect()
}

/// Places along a path: position and direction.
pub(super) fn stations(path: &[[f64; 2]]) -> Option<Vec<(Vector2<f64>, Vector2<f64>)>> {
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
