//! The light across a plumb line's image, kept so that the image can be read again once more is
//! known of the line's width.
//!
//! A line whose one flank is as dark as the ground behind it looks too narrow, and its axis is then
//! read off by half of what is missing. One photo can't show it; all photos together show how thick
//! the line is, and each is then read with that width.

use std::ops::Range;

use nalgebra::Vector2;

use crate::photo::LinearImage;

use super::line_path::{Crossing, Path, StrandPoint, along, line_points};
use super::line_strips::{Axis, Place, Strip, Width};
use super::round_line::find_axis;

/// Stations whose light is read together (our choice).
pub(super) const GROUP: usize = 10;
/// Ground on either side that is fitted with the line, px, and the width of the strips in which
/// light is averaged (our choice).
const GROUND: f64 = 4.0;
const STRIP: f64 = 0.25;
/// Narrowest and widest line, px (our choice).
pub(super) const WIDTHS: Range<f64> = 0.6..11.0;
/// An axis this far from the path that was followed is another thing's, px (our choice).
const FARTHEST: f64 = 2.0;

/// Light across one line's image, place by place.
#[derive(Clone, Debug, PartialEq)]
pub struct LineLight {
    places: Vec<LitPlace>,
}

#[derive(Clone, Debug, PartialEq)]
struct LitPlace {
    /// A point on the path that was expected, px, and the unit normal there.
    at: Vector2<f64>,
    normal: Vector2<f64>,
    /// The followed path across from there, px: where the strips have their zero.
    rough: f64,
    place: Place,
}

/// What a line's light was read as.
#[derive(Clone, Debug, PartialEq)]
pub struct LineReading {
    pub points: Vec<StrandPoint>,
    /// The width the light itself asks for.
    pub width: Width,
}

/// What was followed in a photo: stations (position and direction along), which of them count, and
/// the path across.
pub(super) struct Followed<'a> {
    pub stations: &'a [(Vector2<f64>, Vector2<f64>)],
    pub is_seen: &'a [bool],
    pub path: Path,
}

impl LineLight {
    /// Gathers the light about a followed path, as far to either side as a line of this width
    /// needs, at most `reach` px.
    pub(super) fn gather(image: &LinearImage, followed: &Followed, width: f64, reach: f64) -> Self {
        let n = followed.stations.len();
        let reach = (width / 2.0 + GROUND).min(reach);
        let seen = |group: &Range<usize>| group.clone().filter(|&i| followed.is_seen[i]).count();
        let groups = groups(n).into_iter().filter(|group| 2 * seen(group) >= group.len());
        let place = |group: Range<usize>| {
            let (at, direction) = followed.stations[middle_of(&group)];
            let t = (along(group.start, n) + along(group.end - 1, n)) / 2.0;
            LitPlace {
                at,
                normal: Vector2::new(-direction.y, direction.x),
                rough: followed.path.at(t),
                place: Place { along: t, strips: strips(image, followed, group, reach) },
            }
        };
        Self { places: groups.map(place).collect() }
    }

    /// The first and the last place on the followed path, px, with their t, -1 to 1 along it. None
    /// when there is no place.
    pub fn ends(&self) -> Option<[(f64, Vector2<f64>); 2]> {
        let end = |lit: &LitPlace| (lit.place.along, lit.at + lit.normal * lit.rough);
        Some([end(self.places.first()?), end(self.places.last()?)])
    }

    /// Reads the line's axis with what is known of its width. None when nothing is read that makes
    /// a line.
    pub fn read(&self, known: &Width) -> Option<LineReading> {
        let places: Vec<&Place> = self.places.iter().map(|lit| &lit.place).collect();
        let (axes, width) = find_axis(&places, known)?;
        let crossing = |(lit, axis): (&LitPlace, Option<Axis>)| {
            let axis = axis.filter(|a| a.across.abs() < FARTHEST && WIDTHS.contains(&a.width))?;
            let offset = lit.rough + axis.across;
            Some(Crossing {
                along: lit.place.along,
                at: lit.at,
                normal: lit.normal,
                offset,
                width: axis.width,
            })
        };
        let crossings: Vec<Crossing> = self.places.iter().zip(axes).filter_map(crossing).collect();
        Some(LineReading { points: line_points(&crossings)?, width })
    }
}

/// Stations in groups that are read together; a rest of less than half a group is left out.
pub(super) fn groups(n: usize) -> Vec<Range<usize>> {
    let all = (0..n).step_by(GROUP).map(|first| first..(first + GROUP).min(n));
    all.filter(|group| group.len() >= GROUP / 2).collect()
}

/// The station in the middle of a group.
pub(super) fn middle_of(group: &Range<usize>) -> usize {
    (group.start + group.end) / 2
}

/// Pixels near some stations, gathered in strips along the path.
fn strips(image: &LinearImage, followed: &Followed, which: Range<usize>, reach: f64) -> Vec<Strip> {
    let Followed { stations, is_seen, path } = followed;
    let n = stations.len();
    let n_strips = (2.0 * reach / STRIP).ceil() as usize;
    let mut sums = vec![(0.0, 0.0, 0.0f32); n_strips];
    let spacing = (stations[n - 1].0 - stations[0].0).norm() / (n - 1) as f64;
    for i in which.filter(|&i| is_seen[i]) {
        let (at, direction) = stations[i];
        let normal = Vector2::new(-direction.y, direction.x);
        let middle = at + normal * path.at(along(i, n));
        let far = reach + spacing + 2.0;
        let range = |c: f64, size: usize| {
            ((c - far).max(0.0) as usize)..(((c + far).max(0.0) as usize + 1).min(size))
        };
        for v in range(middle.y, image.height()) {
            for u in range(middle.x, image.width()) {
                let from = Vector2::new(u as f64, v as f64) - at;
                let ahead = from.dot(&direction);
                if ahead < -spacing / 2.0 || ahead >= spacing / 2.0 {
                    continue;
                }
                let t = along(i, n) + ahead / spacing * 2.0 / n as f64;
                let across = from.dot(&normal) - path.at(t);
                let strip = ((across + reach) / STRIP).floor() as usize;
                if let Some(sum) = sums.get_mut(strip).filter(|_| across >= -reach) {
                    *sum = (sum.0 + across, sum.1 + f64::from(image.at(u, v)), sum.2 + 1.0);
                }
            }
        }
    }
    let strip = |&(across, light, count): &(f64, f64, f32)| Strip {
        across: (across / f64::from(count)) as f32,
        light: (light / f64::from(count)) as f32,
        count,
    };
    sums.iter().filter(|sum| sum.2 > 0.0).map(strip).collect()
}
