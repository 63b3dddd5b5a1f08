//! What a position of the wheel has, what it lacks, and the next place to stand.

use std::collections::BTreeSet;

use crate::figure::Side;
use crate::glance::missing::{PER_SIDE, PHOTOS_PER_SETUP, VIEWS, has_tab, is_usable, wanted};
use crate::glance::seen::Glance;
use crate::glance::stand::Stand;
use crate::job::Job;

/// Where to stand, seen from above, degrees from straight ahead to that side: from behind, square
/// on, from ahead.
pub const BEARINGS: [f64; 3] = [130.0, 90.0, 50.0];
/// Standpoints count as different from so far apart, degrees.
const APART_DEG: f64 = 20.0;
/// A camera not higher than this over the bench is low, degrees.
pub const LOW_DEG: f64 = 25.0;

/// One photo of the position.
#[derive(Clone, Copy, Debug)]
pub struct Counted<'a> {
    pub glance: &'a Glance,
    pub stand: Option<Stand>,
}

/// A place to stand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    pub side: Side,
    /// As [`Stand::bearing_deg`].
    pub bearing_deg: f64,
    pub low: bool,
}

impl Wanted {
    /// "front left", "left, square on", "rear right, phone low".
    pub fn words(&self) -> String {
        let side = self.side.word();
        let place = match self.bearing_deg.abs() {
            x if x > 110.0 => format!("rear {side}"),
            x if x < 70.0 => format!("front {side}"),
            _ => format!("{side}, square on"),
        };
        if self.low { format!("{place}, phone low") } else { place }
    }
}

/// The tally of one position.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    pub photos: usize,
    pub left: usize,
    pub right: usize,
    /// Tabs that no photo shows, and those that one alone shows.
    pub unseen: Vec<u8>,
    pub once: Vec<u8>,
    pub next: Option<Wanted>,
}

impl Tally {
    /// Counts the photos of a position.
    pub fn of(photos: &[Counted], job: &Job) -> Self {
        let usable: Vec<&Counted> = photos.iter().filter(|photo| is_usable(photo.glance)).collect();
        let stands: Vec<Stand> = usable.iter().filter_map(|photo| photo.stand).collect();
        let on = |side: Side| stands.iter().filter(|stand| stand.side == side).count();
        let views =
            |number: u8| usable.iter().filter(|photo| has_tab(photo.glance, number)).count();
        let seen_so_often = |wants: &dyn Fn(usize) -> bool| {
            wanted(job).into_iter().filter(|n| wants(views(*n))).collect()
        };
        Self {
            photos: usable.len(),
            left: on(Side::Left),
            right: on(Side::Right),
            unseen: seen_so_often(&|views| views == 0),
            once: seen_so_often(&|views| views > 0 && views < VIEWS),
            next: next_stand(&stands, usable.len()),
        }
    }

    /// Photos from a side that nobody can tell.
    fn unplaced(&self) -> usize {
        self.photos - self.left - self.right
    }

    /// Whether all that this position needs is there. With photos enough it is no matter if one
    /// side has fewer, as long as it has any.
    pub fn is_complete(&self) -> bool {
        self.is_good_enough() && self.once.is_empty()
    }

    /// Whether one may walk on although a tab was seen once only: no side and no tab is missing.
    pub fn is_good_enough(&self) -> bool {
        self.photos >= PHOTOS_PER_SETUP && self.lacks_side().is_none() && self.unseen.is_empty()
    }

    /// The side from which there is no photo at all, as far as photos tell.
    pub fn lacks_side(&self) -> Option<Side> {
        match (self.unplaced(), self.left, self.right) {
            (1.., ..) => None,
            (_, 0, _) => Some(Side::Left),
            (_, _, 0) => Some(Side::Right),
            _ => None,
        }
    }

    /// Tabs that want another view.
    pub fn wanting(&self) -> Vec<u8> {
        let all: BTreeSet<u8> = self.unseen.iter().chain(&self.once).copied().collect();
        all.into_iter().collect()
    }
}

/// The next place to stand: on the side that has fewer photos, the wanted bearing farthest from
/// those taken.
fn next_stand(stands: &[Stand], n_photos: usize) -> Option<Wanted> {
    let on = |side: Side| stands.iter().filter(move |stand| stand.side == side);
    let counts = [Side::Left, Side::Right].map(|side| (on(side).count(), side));
    let unplaced = n_photos - stands.len();
    let (fewest, side) = if counts[1].0 < counts[0].0 { counts[1] } else { counts[0] };
    let low = !stands.iter().any(|stand| stand.elevation_deg < LOW_DEG);
    if fewest >= PER_SIDE || n_photos >= PHOTOS_PER_SETUP && unplaced > 0 {
        return None;
    }
    let nearest = |bearing: f64| {
        on(side).map(|stand| (stand.bearing_deg.abs() - bearing).abs()).fold(f64::MAX, f64::min)
    };
    let free = BEARINGS.into_iter().filter(|bearing| nearest(*bearing) >= APART_DEG);
    let best = free.max_by(|a, b| nearest(*a).total_cmp(&nearest(*b)).then(b.total_cmp(a)));
    let bearing = best.unwrap_or_else(|| {
        BEARINGS.into_iter().fold(BEARINGS[1], |a, b| if nearest(b) > nearest(a) { b } else { a })
    });
    // The last photo of a side is the low one, if none was low before.
    Some(Wanted { side, bearing_deg: side.sign() * bearing, low: low && fewest + 1 == PER_SIDE })
}
