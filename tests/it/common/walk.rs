//! Where photos are taken from: walks round the bench as a person with a phone takes them.

use sightcord::figure::Side;

use super::geometry::{Lens, V3};
use super::random::Random;
use super::scene::Viewpoint;

/// A wide lens of a common phone: 26 mm equivalent, 8 megapixels, barrel-shaped distortion of a few
/// pixels.
pub fn phone_lens() -> Lens {
    Lens {
        width: 3264,
        height: 2448,
        fx: 2451.8,
        fy: 2451.8,
        cx: 1640.5,
        cy: 1217.5,
        dist: [0.09, -0.16, 0.0004, -0.0003, 0.05],
    }
}

/// Eye and target of four photos along one side, for the left; y is mirrored for the right.
const ALONG_ONE_SIDE: [[f64; 6]; 4] = [
    [620.0, 730.0, 490.0, 170.0, 0.0, 190.0],
    [300.0, 840.0, 410.0, 130.0, 0.0, 215.0],
    [-80.0, 800.0, 545.0, 190.0, 0.0, 140.0],
    [-485.0, 620.0, 450.0, 60.0, 0.0, 175.0],
];
/// Further off on the chain's side: wheel and gearbox sprocket in one picture, low.
const LOW_AND_WIDE: [f64; 6] = [430.0, 1000.0, 340.0, 230.0, 0.0, 290.0];
/// From ahead along the cord, for the backbone and the front plumb line.
const FROM_AHEAD: [f64; 6] = [1150.0, 120.0, 680.0, 260.0, 0.0, 150.0];
/// High and far on the chain's side, for the backbone's flags and the upper plumb flags.
const HIGH: [[f64; 6]; 2] =
    [[490.0, 920.0, 810.0, 330.0, 0.0, 520.0], [-40.0, 940.0, 890.0, 60.0, 0.0, 510.0]];

/// A way of walking round the bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Walk {
    /// Nine photos: what a wheel and a chain need.
    Round,
    /// Twelve photos: the frame, its stations and the backbone as well.
    AllRound,
}

impl Walk {
    /// The photos of this walk. `seed` moves each a little.
    pub fn photos(self, seed: u64, chain_side: Side) -> Vec<Viewpoint> {
        match self {
            Self::Round => round_the_bench(seed, chain_side),
            Self::AllRound => all_round(seed, chain_side),
        }
    }
}

/// Nine photos: four along each side and one low, wide one on the chain's side.
fn round_the_bench(seed: u64, chain_side: Side) -> Vec<Viewpoint> {
    let places = both_sides().into_iter().chain([on_side(LOW_AND_WIDE, chain_side)]).collect();
    jittered(places, seed)
}

/// Twelve photos: the nine, one from ahead and two high ones.
fn all_round(seed: u64, chain_side: Side) -> Vec<Viewpoint> {
    let more = [FROM_AHEAD, LOW_AND_WIDE, HIGH[0], HIGH[1]].map(|place| on_side(place, chain_side));
    jittered(both_sides().into_iter().chain(more).collect(), seed)
}

/// Eight photos of one card alone from all round and above, the camera turned every way, for the
/// lens.
pub fn over_a_card(seed: u64, card: V3) -> Vec<Viewpoint> {
    let mut random = Random::stream(seed, &[88]);
    (0..8)
        .map(|i| {
            let round = f64::from(i) * 137.5 + random.between(-15.0, 15.0);
            let tilt = if i % 3 == 0 { 8.0 } else { 42.0 } + random.between(-6.0, 6.0);
            let (away, up) = (tilt.to_radians().sin_cos(), random.between(430.0, 540.0));
            let (east, north) = (round.to_radians().cos(), round.to_radians().sin());
            let eye = card + V3::new(away.0 * east, away.0 * north, away.1) * up;
            let target =
                card + V3::new(random.between(-40.0, 40.0), random.between(-30.0, 30.0), 0.0);
            Viewpoint::looking(
                &format!("{:02}.jpg", i + 1),
                eye,
                target,
                random.between(0.0, 360.0),
            )
        })
        .collect()
}

fn both_sides() -> Vec<[f64; 6]> {
    [Side::Left, Side::Right]
        .into_iter()
        .flat_map(|side| ALONG_ONE_SIDE.map(|place| on_side(place, side)))
        .collect()
}

fn on_side(mut place: [f64; 6], side: Side) -> [f64; 6] {
    place[1] *= side.sign();
    place[4] *= side.sign();
    place
}

/// Nobody stands twice in the same place: 25 mm and 3 degrees of roll, normal.
fn jittered(places: Vec<[f64; 6]>, seed: u64) -> Vec<Viewpoint> {
    let mut random = Random::stream(seed, &[77]);
    let viewpoint = |(i, place): (usize, [f64; 6])| {
        let moved = place.map(|c| c + random.gauss(25.0));
        let (eye, target) =
            (V3::new(moved[0], moved[1], moved[2]), V3::new(moved[3], moved[4], moved[5]));
        Viewpoint::looking(&format!("{:02}.jpg", i + 1), eye, target, random.gauss(3.0))
    };
    places.into_iter().enumerate().map(viewpoint).collect()
}
