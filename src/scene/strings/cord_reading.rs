//! Readings of the light in the lanes: how straight each has the cord, and which of them counts.

use super::cord_fit::{GroupFit, LaneShift};

/// Another reading may be right when it costs no more than this many times the best, and is a rival
/// when it lies this far aside, mm. In 34 sets of photos the second best reading of a cord that was
/// found cost 1.5 times as much and more; where it was missed, 1.04.
const RIVAL_COST: f64 = 1.25;
const RIVAL_APART_MM: f64 = 0.3;
/// A reading that has the cord this far off a straight line (root mean square, mm), and this many
/// times as far as the best has it, is a mixture of cord and shadow, and no rival: it was the only
/// one on six of 160 drawn benches, five of which had their cord found; the sixth wavers by itself.
const CROOKED: f64 = 0.3;
const CROOKEDER: f64 = 3.0;

/// The cord over one card in one set-up.
#[derive(Clone, Debug)]
pub struct GroupPlace {
    pub setup: usize,
    /// World x of the card's middle.
    pub x: f64,
    pub fit: GroupFit,
}

/// The cord as the light has it.
#[derive(Clone, Debug)]
pub struct Chosen {
    pub radius: f64,
    places: Vec<GroupPlace>,
    pub cost: f64,
    /// Another reading of the light that explains it nearly as well.
    pub rival: Option<Rival>,
}

/// Another reading of the light in the lanes.
#[derive(Clone, Debug)]
pub struct Rival {
    /// How far to one side it puts the cord, on the mean over all cards, mm.
    pub apart_mm: f64,
    pub chosen: Box<Chosen>,
}

impl Chosen {
    pub fn new(radius: f64, places: Vec<GroupPlace>) -> Self {
        let cost = places.iter().map(|place| place.fit.cost).sum();
        Self { radius, places, cost, rival: None }
    }

    pub fn shifts(&self) -> impl Iterator<Item = &LaneShift> {
        self.places.iter().flat_map(|place| &place.fit.shifts)
    }

    /// Root mean square by which its places lie off one straight line through all of them, in
    /// all set-ups, mm. None with fewer than four, which show nothing.
    pub fn off_one_line(&self) -> Option<f64> {
        let n = self.places.len();
        (n >= 4).then(|| (squares_off_line(&self.places) / n as f64).sqrt())
    }

    /// The same with a line of its own through each set-up, since a cord may be moved between them;
    /// None where no set-up has three places.
    pub fn off_own_lines(&self) -> Option<f64> {
        let (mut squares, mut freedom) = (0.0, 0);
        for of_setup in self.places.chunk_by(|a, b| a.setup == b.setup).filter(|c| c.len() > 2) {
            squares += squares_off_line(of_setup);
            freedom += of_setup.len() - 2;
        }
        (freedom > 0).then(|| (squares / freedom as f64).sqrt())
    }

    /// Mean height in the world.
    pub fn height(&self) -> f64 {
        let sum: f64 = self.places.iter().map(|place| place.fit.place[1]).sum();
        sum / self.places.len().max(1) as f64
    }

    /// Mean distance of the two cords' places to the side, mm.
    fn apart(&self, other: &Self) -> f64 {
        let places = self.places.iter().zip(&other.places);
        let sum: f64 = places.map(|(a, b)| (a.fit.place[0] - b.fit.place[0]).abs()).sum();
        sum / self.places.len().max(1) as f64
    }
}

/// Sum of the squares by which places lie to the side of the straight line through them, mm^2.
fn squares_off_line(places: &[GroupPlace]) -> f64 {
    let n = places.len() as f64;
    let mean = |of: &dyn Fn(&GroupPlace) -> f64| places.iter().map(of).sum::<f64>() / n;
    let y = |place: &GroupPlace| place.fit.place[0];
    let (middle, level) = (mean(&|p| p.x), mean(&y));
    let spread = mean(&|p| (p.x - middle).powi(2)).max(1.0);
    let slope = mean(&|p| (p.x - middle) * (y(p) - level)) / spread;
    n * mean(&|p| (y(p) - level - slope * (p.x - middle)).powi(2))
}

/// The reading that counts, of all that were tried (cheapest first), with what may be right instead.
pub fn best_with_rival(tried: Vec<Chosen>) -> Option<Chosen> {
    let mut tried = tried.into_iter();
    let best = tried.next()?;
    let crookedest = best.off_one_line().map_or(f64::INFINITY, |own| CROOKED.max(CROOKEDER * own));
    let may_be_right = |other: &Chosen| {
        other.cost < RIVAL_COST * best.cost
            && other.off_one_line().is_none_or(|off| off < crookedest)
    };
    let mut rivals = tried
        .filter(may_be_right)
        .map(|other| Rival { apart_mm: best.apart(&other), chosen: Box::new(other) });
    let rival = rivals.find(|rival| rival.apart_mm > RIVAL_APART_MM);
    Some(Chosen { rival, ..best })
}
