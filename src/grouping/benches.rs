//! Photos of two benches in one job, told by what is rigid: how the cards lie to each other.
//!
//! Each photo tells by itself how the cards in it lie to each other. On one bench all photos tell
//! the same; a card that was kicked lies elsewhere to all others, which still lie to each other as
//! before. Where half of the cards or more lie elsewhere in some photos than in others, or the same
//! tabs stand among other cards, those are photos of two bikes, or of two layouts. How well single
//! photos tell it is taken from the photos themselves.

use std::collections::{BTreeMap, BTreeSet};

use crate::cards::Pattern;
use crate::figure::Side;
use crate::job::{Job, Role};
use crate::scene::start::card_size::size_groups;
use crate::scene::{ScenePhoto, SceneSettings};

use super::card_layouts::{
    Compared, GROUPS_DIFFER, Layout, Middle, SIDES_DIFFER, cards_once, compared, layouts, middle,
    misfits, votes,
};

/// Fewer photos than this are no bench of their own: whoever photographs a second one takes more.
const LEAST_PHOTOS: usize = 3;
/// A tab that a bench shows is in as many of its photos.
const LEAST_VIEWS: usize = 2;
/// Rounds in which photos change groups (our choice: two or three are enough).
const ROUNDS: usize = 10;

/// What is known of the photos.
struct Known<'a> {
    photos: &'a [ScenePhoto],
    job: &'a Job,
    /// For each photo its cards, and how they lie to each other.
    cards: Vec<BTreeSet<u8>>,
    layouts: Vec<Layout>,
    /// Cards in groups of one printed size.
    sizes: Vec<BTreeSet<u8>>,
}

/// The photos of each bench, where they show two or more; those of the bench of most photos first.
/// Photos of cards alone and those that tell nothing go with the photos next to them, in `order`.
pub fn two_benches(
    photos: &[ScenePhoto],
    settings: &SceneSettings,
    job: &Job,
    order: &[usize],
) -> Option<Vec<Vec<usize>>> {
    let sizes = size_groups(photos, settings);
    let all: Vec<usize> = (0..photos.len()).collect();
    let mut known = Known {
        photos,
        job,
        cards: photos.iter().map(|photo| cards_once(photo).into_keys().collect()).collect(),
        layouts: layouts(photos, &all, settings, &sizes),
        sizes,
    };
    let groups = known.groups();
    if groups.len() < 2 {
        return None;
    }
    // Each by itself: the lens of one may not be that of another, whatever EXIF says.
    for group in &groups {
        for (photo, own) in group.iter().zip(layouts(photos, group, settings, &known.sizes)) {
            known.layouts[*photo] = own;
        }
    }
    let mut whole = known.benches(&groups);
    if whole.len() < 2 || known.are_sides_of_one(&whole) {
        return None;
    }
    whole.sort_by_key(|group| (std::cmp::Reverse(group.len()), group[0]));
    known.add_others(&mut whole, order);
    Some(whole)
}

/// The place of the least of these; None where it is there twice, which tells nothing.
fn least_alone(far: &[f64]) -> Option<usize> {
    let least = far.iter().copied().fold(f64::INFINITY, f64::min);
    let mut at = (0..far.len()).filter(|&at| far[at] <= least);
    at.next().filter(|_| at.next().is_none())
}

/// The numbers up to `n`, joined where `same` says that two are of one bench.
fn together(n: usize, same: &dyn Fn(usize, usize) -> bool) -> Vec<Vec<usize>> {
    let mut of: Vec<usize> = (0..n).collect();
    for i in 0..n {
        for j in 0..i {
            if of[i] != of[j] && same(j, i) {
                let (from, to) = (of[i], of[j]);
                of.iter_mut().filter(|of| **of == from).for_each(|of| *of = to);
            }
        }
    }
    let whole: BTreeSet<usize> = of.iter().copied().collect();
    whole.into_iter().map(|number| (0..n).filter(|i| of[*i] == number).collect()).collect()
}

impl Known<'_> {
    /// Photos of the bench in groups whose members mostly tell the same; smaller groups are left
    /// out.
    fn groups(&self) -> Vec<Vec<usize>> {
        let shows_tab = |photo: &ScenePhoto| {
            photo.sightings.patterns.iter().any(|seen| matches!(seen.pattern, Pattern::Tab(_)))
        };
        let looked: Vec<usize> = (0..self.photos.len())
            .filter(|&idx| {
                let photo = &self.photos[idx];
                !photo.lens_only && shows_tab(photo) && self.cards[idx].len() > 1
            })
            .collect();
        let n = looked.len();
        let own: Vec<&Layout> = looked.iter().map(|photo| &self.layouts[*photo]).collect();
        let votes = votes(&own, &self.sizes);
        let mut group: Vec<Option<usize>> = vec![None; n];
        for _ in 0..ROUNDS {
            let before = group.clone();
            for i in 0..n {
                let mut sums = vec![0_i32; n];
                let mut taken = vec![false; n];
                for j in (0..n).filter(|j| *j != i) {
                    if let Some(number) = group[j] {
                        sums[number] += i32::from(votes[i * n + j]);
                        taken[number] = true;
                    }
                }
                let best = (0..n).max_by_key(|&number| (sums[number], std::cmp::Reverse(number)));
                let free = (0..n).find(|&number| !taken[number]);
                group[i] = best.filter(|&number| sums[number] > 0).or(free);
            }
            if group == before {
                break;
            }
        }
        let members = |number: usize| -> Vec<usize> {
            (0..n).filter(|i| group[*i] == Some(number)).map(|i| looked[i]).collect()
        };
        (0..n).map(members).filter(|group| group.len() >= LEAST_PHOTOS).collect()
    }

    /// Groups joined that may be of one bench.
    fn benches(&self, groups: &[Vec<usize>]) -> Vec<Vec<usize>> {
        let parts: Vec<Vec<usize>> = together(groups.len(), &|i, j| {
            let compared = self.compared(&groups[i], &groups[j], GROUPS_DIFFER);
            compared.pairs > 0 && !compared.contradict()
        });
        // A kick between the parts of one bench must not blur what each of them tells.
        let contradict = |a: &[usize], b: &[usize]| {
            let pairs = a.iter().flat_map(|i| b.iter().map(move |j| (*i, *j)));
            pairs
                .into_iter()
                .any(|(i, j)| self.compared(&groups[i], &groups[j], GROUPS_DIFFER).contradict())
        };
        let photos_of = |part: &[usize]| -> Vec<usize> {
            let mut photos: Vec<usize> =
                part.iter().flat_map(|i| groups[*i].iter().copied()).collect();
            photos.sort_unstable();
            photos
        };
        let whole = together(parts.len(), &|a, b| {
            !contradict(&parts[a], &parts[b])
                && !self.are_apart(&photos_of(&parts[a]), &photos_of(&parts[b]))
        });
        whole
            .into_iter()
            .map(|of| {
                photos_of(&of.iter().flat_map(|part| parts[*part].clone()).collect::<Vec<_>>())
            })
            .collect()
    }

    fn compared(&self, a: &[usize], b: &[usize], differ: f64) -> Compared {
        compared(&self.layouts, &self.cards, &self.sizes, [a, b], differ)
    }

    /// Whether what passes for several benches are the photos from the left, those from the right and
    /// those from both sides of one: what one side's photos err by they all do alike.
    fn are_sides_of_one(&self, benches: &[Vec<usize>]) -> bool {
        let sides: Vec<[bool; 2]> =
            benches.iter().map(|own| self.sides_of(&self.tabs(own))).collect();
        (0..benches.len()).all(|i| {
            (0..i).all(|j| {
                let compared = self.compared(&benches[i], &benches[j], SIDES_DIFFER);
                sides[i] != sides[j] && compared.pairs > 0 && !compared.contradict()
            })
        })
    }

    /// Whether photos with these tabs were taken from the left, and from the right.
    fn sides_of(&self, tabs: &BTreeMap<u8, usize>) -> [bool; 2] {
        let is_of = |number: u8, side: Side| match self.job.tab(number).role {
            Role::RearRim { side: of }
            | Role::SpindleEnd { side: of }
            | Role::Station { side: of, .. } => of == side,
            _ => false,
        };
        [Side::Left, Side::Right].map(|side| tabs.keys().any(|number| is_of(*number, side)))
    }

    /// For each tab in how many of these photos it is.
    fn tabs(&self, group: &[usize]) -> BTreeMap<u8, usize> {
        let mut tabs = BTreeMap::new();
        for &photo in group {
            let seen = self.photos[photo].sightings.patterns.iter();
            let numbers: BTreeSet<u8> = seen
                .filter_map(|seen| match seen.pattern {
                    Pattern::Tab(number) => Some(number),
                    Pattern::Card(_) => None,
                })
                .collect();
            numbers.into_iter().for_each(|number| *tabs.entry(number).or_default() += 1);
        }
        tabs.retain(|_, views| *views >= LEAST_VIEWS);
        tabs
    }

    /// Whether two groups that have no two cards in common can't be of one bench: each was taken
    /// from both sides, and both show the same still tab, though never with the same cards, nor with
    /// cards that other photos join to theirs.
    fn are_apart(&self, a: &[usize], b: &[usize]) -> bool {
        if self.are_joined_by_cards(a, b) {
            return false;
        }
        let [in_a, in_b] = [a, b].map(|group| self.tabs(group));
        let stands_still = |number: u8| {
            matches!(
                self.job.tab(number).role,
                Role::SpindleEnd { .. } | Role::Station { .. } | Role::GearboxSprocket
            )
        };
        [&in_a, &in_b].into_iter().all(|tabs| self.sides_of(tabs) == [true, true])
            && in_a.keys().any(|number| in_b.contains_key(number) && stands_still(*number))
    }

    /// Whether photos lead from the cards of one group to those of the other, each showing a card of
    /// the one before it.
    fn are_joined_by_cards(&self, a: &[usize], b: &[usize]) -> bool {
        let on_bench: Vec<usize> =
            (0..self.photos.len()).filter(|idx| !self.photos[*idx].lens_only).collect();
        let joined = together(on_bench.len(), &|i, j| {
            !self.cards[on_bench[i]].is_disjoint(&self.cards[on_bench[j]])
        });
        joined.iter().any(|photos| {
            let holds = |group: &[usize]| photos.iter().any(|i| group.contains(&on_bench[*i]));
            holds(a) && holds(b)
        })
    }

    /// Photos that are in no group go to the one from which their cards lie least far. Those that
    /// tell nothing of that go with the photo taken next to them, of those of the same camera that
    /// show a card of theirs if there are any.
    fn add_others(&self, groups: &mut [Vec<usize>], order: &[usize]) {
        let mut of: Vec<Option<usize>> = vec![None; self.photos.len()];
        for (number, group) in groups.iter().enumerate() {
            group.iter().for_each(|photo| of[*photo] = Some(number));
        }
        let mut rank: Vec<usize> = (0..of.len()).collect();
        order.iter().enumerate().for_each(|(place, photo)| rank[*photo] = place);
        let middles: Vec<Middle> =
            groups.iter().map(|group| middle(&self.layouts, group)).collect();
        let nearest = |photo: usize| {
            let own = &self.photos[photo];
            let unlike = |other: &usize| {
                let theirs = &self.photos[*other];
                let is_other_camera = (&theirs.camera, theirs.width, theirs.height)
                    != (&own.camera, own.width, own.height);
                let shares_none = self.cards[*other].is_disjoint(&self.cards[photo]);
                (is_other_camera, shares_none, rank[*other].abs_diff(rank[photo]))
            };
            let next = (0..of.len()).filter(|other| of[*other].is_some()).min_by_key(unlike);
            next.and_then(|next| of[next])
        };
        let of_others: Vec<(usize, Option<usize>)> = (0..of.len())
            .filter(|photo| of[*photo].is_none())
            .map(|photo| {
                let least =
                    misfits(&self.layouts[photo], &middles).and_then(|far| least_alone(&far));
                (photo, least.or_else(|| nearest(photo)))
            })
            .collect();
        for (photo, number) in of_others {
            groups[number.unwrap_or(0)].push(photo);
        }
        groups.iter_mut().for_each(|group| group.sort_unstable());
    }
}
