//! How the cards of single photos lie to each other, and whether photos tell the same of it.

use std::collections::{BTreeMap, BTreeSet};

use crate::cards::Pattern;
use crate::math::Rigid;
use crate::math::robust::median;
use crate::scene::start::glimpses::{LEAST_CORNERS, glimpse, seen_corners, thinned};
use crate::scene::start::lenses::lenses;
use crate::scene::start::pose::Glimpse;
use crate::scene::{ScenePhoto, SceneSettings};
use crate::sightings::PatternSighting;

use super::angles::wrap;
use super::single_lens::lens_and_places;

/// Corners of a card that are enough to locate it (our choice).
const CORNERS: usize = 60;
/// Two photos differ where they lie further apart than so many times the scatter of such photos,
/// and two groups where their middles do (our choice: photos scatter by more than middles).
const PHOTOS_DIFFER: f64 = 5.0;
pub(super) const GROUPS_DIFFER: f64 = 3.0;
/// Photos from one side err alike (a card's bow, the lens, a hand's sweep), so those from the left and
/// those from the right of one bench may differ by more (found on benches drawn at random: by up to
/// 15 mrad and 5 mm): by 36 mrad, 14 mm and more.
pub(super) const SIDES_DIFFER: f64 = 14.0;
/// No scatter is taken to be smaller than this: mm, share of the distance, radians (our choice).
/// Photos that were put together because they tell the same scatter by less than photos do.
const LEAST_OF_PHOTOS: [f64; 3] = [0.5, 0.001, 0.0005];
const LEAST_OF_GROUPS: [f64; 3] = [1.0, 0.003, 0.0026];

/// How one card lies to another: its middle in the other's plane, mm, and its turn there, radians.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lies {
    x: f64,
    y: f64,
    turn: f64,
}

/// For each pair of cards how they lie to each other.
pub(super) type Layout = BTreeMap<(u8, u8), Lies>;

/// How far what is told of a pair of cards scatters: mm and radians.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scatter {
    mm: f64,
    turn: f64,
}

impl Lies {
    fn of(a: &Rigid, b: &Rigid) -> Option<Self> {
        let b_in_a = a.inverse().then(b);
        let turn = b_in_a.r[(1, 0)].atan2(b_in_a.r[(0, 0)]);
        let lies = Self { x: b_in_a.t.x, y: b_in_a.t.y, turn };
        [lies.x, lies.y, turn].iter().all(|x| x.is_finite()).then_some(lies)
    }

    fn mm_from(&self, other: &Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }

    fn turned_from(&self, other: &Self) -> f64 {
        wrap(self.turn - other.turn).abs()
    }

    /// How far apart two are, in units of the scatter.
    fn apart(&self, other: &Self, scatter: &Scatter) -> f64 {
        (self.mm_from(other) / scatter.mm).max(self.turned_from(other) / scatter.turn)
    }
}

impl Scatter {
    fn at_least([mm, share, turn]: [f64; 3], found: Self, distance: f64) -> Self {
        Self { mm: found.mm.max(mm + share * distance), turn: found.turn.max(turn) }
    }
}

/// Cards that a photo shows once and well enough.
pub(super) fn cards_once(photo: &ScenePhoto) -> BTreeMap<u8, &PatternSighting> {
    let seen = &photo.sightings.patterns;
    let is_once = |pattern| seen.iter().filter(|other| other.pattern == pattern).count() == 1;
    seen.iter()
        .filter(|card| card.corners.len() >= LEAST_CORNERS && is_once(card.pattern))
        .filter_map(|sighting| match sighting.pattern {
            Pattern::Card(number) => Some((number, sighting)),
            Pattern::Tab(_) => None,
        })
        .collect()
}

/// What each of some photos tells by itself of how its cards lie to each other. `sizes` are cards
/// in groups of one printed size: how cards of two sizes lie to each other hangs on the camera.
pub(super) fn layouts(
    photos: &[ScenePhoto],
    of: &[usize],
    settings: &SceneSettings,
    sizes: &[BTreeSet<u8>],
) -> Vec<Layout> {
    let photos: Vec<ScenePhoto> = of.iter().map(|idx| photos[*idx].clone()).collect();
    let (lens_of, lenses, _) = lenses(&photos, &mut Vec::new());
    let mut found: Vec<BTreeMap<u8, Rigid>> = vec![BTreeMap::new(); photos.len()];
    for (number, lens) in lenses.iter().enumerate() {
        let (mut keys, mut glimpses): (Vec<(usize, u8)>, Vec<Glimpse>) = (Vec::new(), Vec::new());
        for (idx, photo) in photos.iter().enumerate().filter(|(idx, _)| lens_of[*idx] == number) {
            for (card, sighting) in cards_once(photo) {
                let size = settings.print.map(|printed| sighting.pattern.pitch_mm() * printed);
                let corners = thinned(&seen_corners(sighting), CORNERS);
                glimpses.push(glimpse(&corners, size, *lens, Rigid::identity()));
                keys.push((idx, card));
            }
        }
        for ((idx, card), place) in keys.into_iter().zip(lens_and_places(*lens, glimpses)) {
            found[idx].extend(place.map(|place| (card, place)));
        }
    }
    let one_size = |a: &u8, b: &u8| sizes.iter().any(|size| size.contains(a) && size.contains(b));
    let layout = |cards: BTreeMap<u8, Rigid>| -> Layout {
        let pairs = cards.iter().flat_map(|(a, in_camera_a)| {
            let others = cards.iter().filter(move |(b, _)| a < *b && one_size(a, b));
            others.filter_map(move |(b, in_camera_b)| {
                Some(((*a, *b), Lies::of(in_camera_a, in_camera_b)?))
            })
        });
        pairs.collect()
    };
    found.into_iter().map(layout).collect()
}

/// How far single photos of one bench scatter, for each pair of cards: from a typical photo to the
/// second nearest that shows the pair. Photos of another bench don't widen it, where each has
/// three or more.
fn scatters(layouts: &[&Layout]) -> BTreeMap<(u8, u8), Scatter> {
    let second_nearest = |all: &[Lies], far: &dyn Fn(&Lies, &Lies) -> f64| -> f64 {
        let of_one = |(i, one): (usize, &Lies)| {
            let others = all.iter().enumerate().filter(|(j, _)| *j != i);
            let mut off: Vec<f64> = others.map(|(_, other)| far(one, other)).collect();
            off.sort_by(f64::total_cmp);
            off.get(1).copied()
        };
        median(&all.iter().enumerate().filter_map(of_one).collect::<Vec<f64>>()).unwrap_or(0.0)
    };
    let scatter = |all: Vec<Lies>| {
        let distance = middle_of(&all, &|lies| lies.x.hypot(lies.y));
        let found = Scatter {
            mm: second_nearest(&all, &Lies::mm_from),
            turn: second_nearest(&all, &Lies::turned_from),
        };
        Scatter::at_least(LEAST_OF_PHOTOS, found, distance)
    };
    said(layouts.iter().copied()).into_iter().map(|(pair, all)| (pair, scatter(all))).collect()
}

fn said<'a>(layouts: impl Iterator<Item = &'a Layout>) -> BTreeMap<(u8, u8), Vec<Lies>> {
    let mut said: BTreeMap<(u8, u8), Vec<Lies>> = BTreeMap::new();
    for (pair, lies) in layouts.flatten() {
        said.entry(*pair).or_default().push(*lies);
    }
    said
}

fn middle_of(all: &[Lies], of: &dyn Fn(&Lies) -> f64) -> f64 {
    median(&all.iter().map(of).collect::<Vec<f64>>()).unwrap_or(0.0)
}

/// Pairs of cards of which both tell, and whether the two lie alike in both.
fn pairs_alike(
    [a, b]: [&Layout; 2],
    scatter: &BTreeMap<(u8, u8), Scatter>,
    differ: f64,
) -> BTreeMap<(u8, u8), bool> {
    let both = a.iter().filter_map(|(pair, lies)| {
        let (other, scatter) = (b.get(pair)?, scatter.get(pair)?);
        Some((*pair, lies.apart(other, scatter) <= differ))
    });
    both.collect()
}

/// How many cards lie to each other alike, by the one that lies right to most, and how many there
/// are. Cards of two sizes are not compared with each other: each size has its own.
fn alike_to_one(pairs: &BTreeMap<(u8, u8), bool>, sizes: &[BTreeSet<u8>]) -> (usize, usize) {
    let mut of_card: BTreeMap<u8, usize> = BTreeMap::new();
    for (pair, is_alike) in pairs {
        for card in [pair.0, pair.1] {
            *of_card.entry(card).or_default() += usize::from(*is_alike);
        }
    }
    let most = |size: &BTreeSet<u8>| {
        let own = of_card.iter().filter(|(card, _)| size.contains(card));
        own.map(|(_, alike)| alike + 1).max().unwrap_or(0)
    };
    (sizes.iter().map(most).sum(), of_card.len())
}

/// The most of these cards that all lie alike to each other and to those in `chosen`.
fn all_alike(pairs: &BTreeMap<(u8, u8), bool>, chosen: &[u8], cards: &[u8]) -> usize {
    let Some((&next, rest)) = cards.split_first() else { return chosen.len() };
    let fits = chosen.iter().all(|card| pairs.get(&(*card, next)) == Some(&true));
    let with = if fits { all_alike(pairs, &[chosen, &[next]].concat(), rest) } else { 0 };
    // No choice among the rest can be better than all of them.
    if with == chosen.len() + cards.len() {
        return with;
    }
    with.max(all_alike(pairs, chosen, rest))
}

/// For each two of these layouts (n x n): +1 where they are alike but for one card, -1 where they
/// are not, 0 where they share no pair.
pub(super) fn votes(layouts: &[&Layout], sizes: &[BTreeSet<u8>]) -> Vec<i8> {
    let (n, scatter) = (layouts.len(), scatters(layouts));
    let mut votes = vec![0_i8; n * n];
    for i in 0..n {
        for j in 0..i {
            let pairs = pairs_alike([layouts[i], layouts[j]], &scatter, PHOTOS_DIFFER);
            let vote = match alike_to_one(&pairs, sizes) {
                (_, 0) => 0,
                (alike, cards) if alike >= cards.saturating_sub(1).max(2) => 1,
                _ => -1,
            };
            (votes[i * n + j], votes[j * n + i]) = (vote, vote);
        }
    }
    votes
}

/// How the cards lie in a group of photos: the middle of what two or more tell, and its scatter.
pub(super) fn middle(layouts: &[Layout], group: &[usize]) -> Middle {
    let mut said = said(group.iter().map(|photo| &layouts[*photo]));
    said.retain(|_, all| all.len() > 1);
    let middle = |all: Vec<Lies>| {
        let first = all[0].turn;
        let middle = Lies {
            x: middle_of(&all, &|lies| lies.x),
            y: middle_of(&all, &|lies| lies.y),
            turn: first + middle_of(&all, &|lies| wrap(lies.turn - first)),
        };
        let found = Scatter {
            mm: middle_of(&all, &|lies| lies.mm_from(&middle)),
            turn: middle_of(&all, &|lies| lies.turned_from(&middle)),
        };
        (middle, Scatter::at_least(LEAST_OF_GROUPS, found, middle.x.hypot(middle.y)))
    };
    said.into_iter().map(|(pair, all)| (pair, middle(all))).collect()
}

/// How the cards lie in a group, and how that scatters.
pub(super) type Middle = BTreeMap<(u8, u8), (Lies, Scatter)>;

/// How far a photo lies from each of these groups, over the pairs of cards that it and all of them
/// tell of, in units of the widest scatter. None where there is no such pair.
pub(super) fn misfits(photo: &Layout, groups: &[Middle]) -> Option<Vec<f64>> {
    let told_by_all = photo.iter().filter_map(|(pair, lies)| {
        let of: Vec<&(Lies, Scatter)> =
            groups.iter().map(|group| group.get(pair)).collect::<Option<_>>()?;
        let widest =
            |of_one: fn(&Scatter) -> f64| of.iter().map(|(_, s)| of_one(s)).fold(0.0, f64::max);
        let widest = Scatter { mm: widest(|s| s.mm), turn: widest(|s| s.turn) };
        let apart = of.iter().map(|(there, _)| lies.apart(there, &widest).min(PHOTOS_DIFFER));
        Some(apart.collect::<Vec<f64>>())
    });
    told_by_all.reduce(|sum, next| sum.iter().zip(next).map(|(sum, next)| sum + next).collect())
}

/// What two groups of photos tell of the cards.
#[derive(Clone, Copy, Debug)]
pub(super) struct Compared {
    /// Pairs of cards of which both tell.
    pub(super) pairs: usize,
    /// Cards of which both tell.
    told: usize,
    /// As many of them lie alike in both as can at once.
    alike: usize,
    /// Cards that one shows in most of its photos and the other in none.
    one_sided: usize,
}

impl Compared {
    /// Whether half of the cards or more lie elsewhere, and more than one of those of which both
    /// tell: one that was kicked is not enough.
    pub(super) fn contradict(&self) -> bool {
        self.alike + 1 < self.told && 2 * self.alike <= self.told + self.one_sided
    }
}

pub(super) fn compared(
    layouts: &[Layout],
    cards: &[BTreeSet<u8>],
    sizes: &[BTreeSet<u8>],
    [a, b]: [&[usize]; 2],
    differ: f64,
) -> Compared {
    let (in_a, in_b) = (middle(layouts, a), middle(layouts, b));
    let (mut of_a, mut of_b, mut scatter) = (Layout::new(), Layout::new(), BTreeMap::new());
    for (pair, (here, wide)) in in_a {
        if let Some((there, narrow)) = in_b.get(&pair) {
            of_a.insert(pair, here);
            of_b.insert(pair, *there);
            let widest = Scatter { mm: wide.mm.max(narrow.mm), turn: wide.turn.max(narrow.turn) };
            scatter.insert(pair, widest);
        }
    }
    let alike_in_both = pairs_alike([&of_a, &of_b], &scatter, differ);
    let told: BTreeSet<u8> = alike_in_both.keys().flat_map(|pair| [pair.0, pair.1]).collect();
    let most = |size: &BTreeSet<u8>| {
        let own: Vec<u8> = told.intersection(size).copied().collect();
        all_alike(&alike_in_both, &[], &own)
    };
    let shown =
        |card: u8, group: &[usize]| group.iter().filter(|p| cards[**p].contains(&card)).count();
    let numbers: BTreeSet<u8> =
        a.iter().chain(b).flat_map(|photo| cards[*photo].iter().copied()).collect();
    let one_sided = numbers.into_iter().filter(|&card| {
        let (in_a, in_b) = (shown(card, a), shown(card, b));
        in_a == 0 && 2 * in_b > b.len() || in_b == 0 && 2 * in_a > a.len()
    });
    Compared {
        pairs: of_a.len(),
        told: told.len(),
        alike: sizes.iter().map(most).sum(),
        one_sided: one_sided.count(),
    }
}
