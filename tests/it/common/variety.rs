//! Benches drawn at random, unlike each other and unlike what the program assumes: light, cords,
//! lines, grain, sheds, bikes, and mishaps.
//!
//! A fixed mix, by number: of ten benches four are sound, four are hard, two are spoiled.

use sightcord::bench::figures::Side;

use super::budget::Budget;
use super::random::Random;
use super::render::knobs::{RenderKnobs, RollingShutter};
use super::scene::{Look, ShadeEdge, TabError, TruthScene};

/// What kind of bench it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    /// A lamp or daylight, a phone that sees well, cord and cards as the guide has them.
    Sound,
    /// Dusk or low sun, grain, thin or dark strings, bowed cards, few photos.
    Hard,
    /// Something went wrong that spoils figures.
    Spoiled(Mishap),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mishap {
    /// The wheel is knocked after two thirds of the last set-up's photos.
    WheelKnocked,
    /// The wheel is knocked while one walks round to the other side.
    WheelKnockedBetweenSides,
    /// The cord is pushed aside within the last set-up.
    CordWithin,
    /// And between the set-ups.
    CordBetween,
    /// A card is kicked within the last set-up.
    CardKicked,
    /// A rim tab has come off along one edge.
    TabPeeling,
    /// Every other photo by another phone of the same name.
    OtherPhone,
    /// The wheel was not turned: both set-ups show it alike.
    NotTurned,
}

impl Mishap {
    const ALL: [Self; 8] = [
        Self::WheelKnocked,
        Self::WheelKnockedBetweenSides,
        Self::CordWithin,
        Self::CordBetween,
        Self::CardKicked,
        Self::TabPeeling,
        Self::OtherPhone,
        Self::NotTurned,
    ];
}

/// One bench, ready to be photographed.
#[derive(Clone, Debug)]
pub struct DrawnBench {
    number: u64,
    pub class: Class,
    pub truth: TruthScene,
    /// Some photos (set-up, photo) show this instead.
    pub otherwise: Option<(TruthScene, Vec<(usize, usize)>)>,
    pub knobs: RenderKnobs,
    /// How unsteady the hand is while rows are read out: standard deviation of its shift, mm, and
    /// turn, degrees, about each axis.
    pub hand: [f64; 2],
}

/// Colours of cords and lines in linear light, from a shop's shelf.
const STRINGS: [[f64; 3]; 9] = [
    [0.85, 0.70, 0.06],
    [0.85, 0.25, 0.04],
    [0.60, 0.03, 0.04],
    [0.75, 0.74, 0.70],
    [0.02, 0.02, 0.02],
    [0.05, 0.35, 0.08],
    [0.05, 0.12, 0.50],
    [0.70, 0.10, 0.35],
    [0.35, 0.24, 0.12],
];
/// Planks, plywood, concrete, painted board, oiled steel.
const BENCHES: [[f64; 3]; 5] = [
    [0.42, 0.30, 0.18],
    [0.55, 0.42, 0.26],
    [0.32, 0.31, 0.29],
    [0.08, 0.16, 0.10],
    [0.12, 0.12, 0.13],
];

impl DrawnBench {
    /// Bench `number` of all there are.
    pub fn draw(number: u64) -> Self {
        let mut random = Random::stream(number, &[2026]);
        let class = match number % 10 {
            0 | 2 | 5 | 7 => Class::Sound,
            1 | 3 | 6 | 8 => Class::Hard,
            _ => Class::Spoiled(Mishap::ALL[(number / 5) as usize % Mishap::ALL.len()]),
        };
        let hard = class == Class::Hard;
        let mut truth = bike(number, &mut random);
        truth.look = look(hard, &mut random);
        strings(&mut truth, hard, &mut random);
        let budget = Budget {
            card_bow_mm: if hard { 0.25 } else { 0.0 },
            bench_level_deg: if hard { 0.25 } else { 0.12 },
            ..Budget::standard()
        };
        truth = truth.with_errors(&budget, number);
        fewer_photos(&mut truth, if hard { 6..=9 } else { 8..=10 }, &mut random);
        let truth = truth.at_scale(random.between(0.5, 0.62));
        let knobs = knobs(hard, &mut random);
        let mut bench =
            Self { number, class, truth, otherwise: None, knobs, hand: hand(number, hard) };
        if let Class::Spoiled(mishap) = class {
            bench.otherwise = Some(spoiled(&mut bench.truth, mishap, &mut random));
        }
        bench
    }

    /// How a photo is taken: the bench's knobs, and what the hand does in this one.
    pub fn knobs_of(&self, (setup, photo): (usize, usize)) -> RenderKnobs {
        let mut random = Random::stream(self.number, &[2028, setup as u64, photo as u64]);
        RenderKnobs {
            rolling_shutter: Some(RollingShutter::drawn(&mut random, self.hand)),
            ..self.knobs.clone()
        }
    }

    /// The scene that a photo shows.
    pub fn shown(&self, photo: (usize, usize)) -> &TruthScene {
        match &self.otherwise {
            Some((other, photos)) if photos.contains(&photo) => other,
            _ => &self.truth,
        }
    }
}

fn bike(number: u64, random: &mut Random) -> TruthScene {
    let mut truth = if random.chance(0.5) { TruthScene::full() } else { TruthScene::default() };
    truth.seed = number + 1;
    let wheel = &mut truth.bike.wheel;
    wheel.yaw_deg = random.between(-0.7, 0.7);
    wheel.lean_deg = random.between(-0.6, 0.6);
    wheel.centre.y = random.between(-5.0, 5.0);
    wheel.rim_width_mm = random.between(50.0, 68.0);
    wheel.runout_mm = random.between(0.0, 0.4);
    wheel.runout_phase_deg = random.between(0.0, 360.0);
    truth.bike.gearbox.yaw_deg = random.between(-0.3, 0.3);
    let side = if random.chance(0.5) { Side::Left } else { Side::Right };
    truth.with_chain_on(side, random.between(-3.0, 3.0))
}

fn look(hard: bool, random: &mut Random) -> Look {
    let azimuth = random.between(0.0, 360.0).to_radians();
    let height =
        if hard { random.between(18.0, 45.0) } else { random.between(40.0, 80.0) }.to_radians();
    let tint = |random: &mut Random, colour: [f64; 3]| colour.map(|c| c * random.between(0.8, 1.2));
    let shade = (hard && random.chance(0.5)).then(|| ShadeEdge {
        turn_deg: random.between(0.0, 360.0),
        at_mm: random.between(-250.0, 250.0),
        soft_mm: random.between(3.0, 60.0),
        left: random.between(0.3, 0.6),
    });
    let (bench, line) =
        (BENCHES[random_idx(random, BENCHES.len())], STRINGS[random_idx(random, STRINGS.len())]);
    let second = STRINGS[random_idx(random, STRINGS.len())];
    Look {
        to_light: [azimuth.cos() * height.cos(), azimuth.sin() * height.cos(), height.sin()],
        ambient: if hard { random.between(0.2, 0.5) } else { random.between(0.4, 0.75) },
        round_bars: true,
        shadow_soft_mm: random.between(0.05, 1.0),
        shadow_left: if hard { random.between(0.25, 0.7) } else { random.between(0.45, 0.85) },
        shade,
        bench: tint(random, bench),
        grain_mm: [random.between(5.0, 120.0), random.between(2.0, 8.0)],
        grain: random.between(0.05, 0.35),
        walls: [0; 4].map(|_| {
            let grey = random.between(0.03, 0.5);
            tint(random, [grey; 3])
        }),
        line,
        cord_twist: random
            .chance(if hard { 0.4 } else { 0.15 })
            .then(|| (second, random.between(2.0, 8.0))),
    }
}

fn random_idx(random: &mut Random, n: usize) -> usize {
    (random.uniform() * n as f64) as usize % n
}

fn strings(truth: &mut TruthScene, hard: bool, random: &mut Random) {
    let cord = &mut truth.bench.cord;
    // A sound cord is not as white as the paper under it.
    let colour = loop {
        let idx = random_idx(random, STRINGS.len());
        if hard || idx != 3 {
            break STRINGS[idx];
        }
    };
    cord.colour = colour;
    cord.radius_mm = if hard { random.between(0.4, 1.9) } else { random.between(0.6, 1.4) };
    cord.height_mm = cord.radius_mm + random.between(1.0, if hard { 6.5 } else { 4.0 });
    for line in &mut truth.bike.frame.plumb_lines {
        line.radius_mm = if hard { random.between(0.25, 0.9) } else { random.between(0.4, 0.9) };
        line.facing_deg += random.between(-25.0, 25.0);
    }
}

/// Leaves out photos from the end of a set-up and from between, by chance, so that both sides keep
/// about as many.
fn fewer_photos(truth: &mut TruthScene, n: std::ops::RangeInclusive<usize>, random: &mut Random) {
    for setup in &mut truth.setups {
        let keep = *n.start() + random_idx(random, n.end() - n.start() + 1);
        while setup.photos.len() > keep {
            let left = setup.photos.iter().filter(|p| p.centre.y > 0.0).count();
            let more_left = 2 * left > setup.photos.len();
            let of_side: Vec<usize> = (0..setup.photos.len())
                .filter(|&i| (setup.photos[i].centre.y > 0.0) == more_left)
                .collect();
            setup.photos.remove(of_side[random_idx(random, of_side.len())]);
        }
    }
}

fn knobs(hard: bool, random: &mut Random) -> RenderKnobs {
    RenderKnobs {
        blur_px: if hard { random.between(0.6, 1.1) } else { random.between(0.5, 0.75) },
        sharpen: random.between(0.0, 0.8),
        full_well: if hard { random.between(120.0, 600.0) } else { random.between(900.0, 4000.0) },
        read_noise: random.between(2.0, 7.0),
        exposure: if hard { random.between(0.2, 0.7) } else { random.between(0.45, 0.75) },
        vignetting: random.between(0.05, 0.35),
        jpeg_quality: if hard { random.between(70.0, 92.0) } else { random.between(85.0, 96.0) }
            as u8,
        colour: !random.chance(0.05),
        ..RenderKnobs::quick()
    }
}

/// Up to what a steady hand does in the fiftieth of a second that a phone takes, and up to what an
/// unsteady one does.
fn hand(number: u64, hard: bool) -> [f64; 2] {
    let mut random = Random::stream(number, &[2027]);
    if hard {
        [random.between(0.0, 0.6), random.between(0.0, 0.08)]
    } else {
        [random.between(0.0, 0.3), random.between(0.0, 0.03)]
    }
}

fn spoiled(
    truth: &mut TruthScene,
    mishap: Mishap,
    random: &mut Random,
) -> (TruthScene, Vec<(usize, usize)>) {
    let last = truth.setups.len() - 1;
    let n = truth.setups[last].photos.len();
    let late: Vec<(usize, usize)> = (2 * n / 3..n).map(|photo| (last, photo)).collect();
    let sign = if random.chance(0.5) { 1.0 } else { -1.0 };
    let mut other = truth.clone();
    let photos = match mishap {
        Mishap::WheelKnocked | Mishap::WheelKnockedBetweenSides => {
            other.bike.wheel.yaw_deg += sign * random.between(0.15, 0.4);
            other.bike.wheel.centre.y += sign * random.between(0.5, 1.5);
            let on_right =
                |&(_, photo): &(usize, usize)| truth.setups[last].photos[photo].centre.y < 0.0;
            let all = (0..n).map(|photo| (last, photo));
            if mishap == Mishap::WheelKnocked {
                late
            } else {
                all.filter(|p| on_right(p)).collect()
            }
        }
        Mishap::CordWithin => {
            other.setups[last].cord_moved_mm =
                [sign * random.between(0.8, 2.0), sign * random.between(0.8, 2.0)];
            // Early or late, so that few photos from either side may lie on one side of it.
            let from = (n as f64 * random.between(0.35, 0.7)).round() as usize;
            (from..n).map(|photo| (last, photo)).collect()
        }
        Mishap::CordBetween => {
            truth.setups[last].cord_moved_mm =
                [sign * random.between(0.8, 2.0), -sign * random.between(0.3, 2.0)];
            Vec::new()
        }
        Mishap::CardKicked => {
            let card = truth.bench.cards[1].number;
            other.setups[last]
                .moved_cards
                .insert(card, [random.between(2.0, 6.0), sign * random.between(2.0, 6.0), 1.0]);
            late
        }
        Mishap::TabPeeling => {
            truth.tab_errors.insert(1, TabError::peeled(random.between(6.0, 14.0), 20.0));
            Vec::new()
        }
        Mishap::OtherPhone => {
            let ratio = 1.0 + sign * random.between(0.05, 0.12);
            other.lens.fx *= ratio;
            other.lens.fy *= ratio;
            other.lens.dist[0] -= 0.05;
            truth.photo_indices().into_iter().filter(|(_, photo)| photo % 2 == 1).collect()
        }
        Mishap::NotTurned => {
            truth.setups[last].wheel_turn_deg = truth.setups[0].wheel_turn_deg + 4.0;
            Vec::new()
        }
    };
    (other, photos)
}
