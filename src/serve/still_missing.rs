//! Which photos are still missing to tell what became of one step, in one short sentence.

use std::collections::BTreeSet;

use super::state::FIRST_MEASURED;
use crate::cards::codes::N_TABS;
use crate::figure::{Figure, Side};
use crate::glance::missing::{PHOTOS_PER_SETUP, VIEWS, n_views};
use crate::glance::seen::Glance;
use crate::glance::stand::faces;
use crate::job::{Job, Role};
use crate::plan::outcome::{PlanStep, StepKind};
use crate::report::numbers::named;

/// What was photographed this evening.
pub struct SoFar<'a> {
    /// The usable photos of each position of the wheel.
    pub positions: Vec<Vec<&'a Glance>>,
    pub job: &'a Job,
    pub chain_side: Option<Side>,
    /// Whether the evening before knows the wheel, so that one position of it is enough.
    pub wheel_is_known: bool,
    /// What shows the step and the photos lack for want of the frame's marks.
    pub in_frame: Option<Figure>,
}

/// Photos that one position lacks: how many from each side, and the tabs that they are to show.
#[derive(Debug, Default, PartialEq, Eq)]
struct Lack {
    /// From the left, from the right, and from the chain's side where nobody knows which that is.
    from: [usize; 3],
    tabs: [BTreeSet<u8>; 3],
}

impl SoFar<'_> {
    /// The photos that are missing for a step. `was_measured` says that what there is has been
    /// measured, and does not tell it. None where there is nothing left to ask for.
    pub fn still_missing(&self, step: &PlanStep, was_measured: bool) -> Option<String> {
        let all: usize = self.positions.iter().map(Vec::len).sum();
        if step.step == StepKind::Rehang {
            return (all < 2 * PHOTOS_PER_SETUP).then(|| of_the_frame(&step.because));
        }
        let tabs = self.needed(step.step);
        let here =
            (0..self.positions.len()).rev().max_by_key(|at| self.positions[*at].len()).unwrap_or(0);
        let photos = self.positions.get(here).map_or(&[][..], Vec::as_slice);
        let lack = self.with_the_cord(self.lack(photos, &tabs));
        if lack.n() > 0 || all < FIRST_MEASURED {
            let lack = self.enough_to_measure(lack, all);
            let words = lack.words(photos.is_empty());
            return Some(match self.wheel_is_known {
                true => format!("still missing: {words}."),
                false => {
                    format!("still missing: {words}, and as many with the wheel turned half round.")
                }
            });
        }
        if self.wheel_is_known && !was_measured {
            return None;
        }
        if let Some(figure) = &self.in_frame {
            return Some(of_the_frame(figure));
        }
        self.of_the_other_position(here, &tabs)
    }

    /// What the position lacks that has fewest photos: the wheel turned half round.
    fn of_the_other_position(&self, here: usize, tabs: &BTreeSet<u8>) -> Option<String> {
        let others = self.positions.iter().enumerate().filter(|(at, _)| *at != here);
        let other = others.map(|(_, photos)| photos.as_slice()).max_by_key(|photos| photos.len());
        let both_sides: BTreeSet<u8> = tabs.iter().chain(&self.of_wheel()).copied().collect();
        let lack = self.lack(other.unwrap_or(&[]), &both_sides);
        (lack.n() > 0).then(|| {
            let is_first = other.is_none_or(<[_]>::is_empty);
            format!("still missing: {}, the wheel turned half round.", lack.words(is_first))
        })
    }

    fn with_role(&self, wanted: impl Fn(Role) -> bool) -> BTreeSet<u8> {
        (1..=N_TABS as u8).filter(|number| wanted(self.job.tab(*number).role)).collect()
    }

    /// The tabs that show the wheel's axis when it is turned.
    fn of_wheel(&self) -> BTreeSet<u8> {
        self.with_role(|role| matches!(role, Role::RearRim { .. } | Role::RearSprocket))
    }

    /// The tabs that tell a step.
    fn needed(&self, step: StepKind) -> BTreeSet<u8> {
        // A rim tab tells left from right; both are the wheel's own.
        let one_rim_tab = self.wheel_is_known && step != StepKind::Centre;
        self.with_role(|role| match role {
            Role::RearRim { side } => !one_rim_tab || self.chain_side.is_none_or(|own| own == side),
            Role::RearSprocket => true,
            Role::GearboxSprocket => step == StepKind::Chain,
            _ => false,
        })
    }

    fn lack(&self, photos: &[&Glance], tabs: &BTreeSet<u8>) -> Lack {
        let mut lack = Lack::default();
        for number in tabs {
            let views = n_views(photos, *number);
            let from = self.place_of(*number);
            if views < VIEWS {
                lack.from[from] = lack.from[from].max(VIEWS - views);
                lack.tabs[from].insert(*number);
            }
        }
        lack
    }

    /// The side from which a tab is seen, as in [`Lack::from`].
    fn place_of(&self, number: u8) -> usize {
        place(faces(self.job.tab(number).role, self.chain_side))
    }

    /// The cord tells the datum where it is seen from both sides: one photo from either.
    fn with_the_cord(&self, mut lack: Lack) -> Lack {
        let is_seen_from = |from: usize| {
            let mut photos = self.positions.iter().flatten();
            photos.any(|photo| photo.tabs.iter().any(|tab| self.place_of(tab.number) == from))
        };
        for from in [0, 1] {
            if !is_seen_from(from) {
                lack.from[from] = lack.from[from].max(1);
            }
        }
        lack
    }

    /// The same with so many more that a measurement begins.
    fn enough_to_measure(&self, mut lack: Lack, so_far: usize) -> Lack {
        let more = FIRST_MEASURED.saturating_sub(so_far + lack.n());
        let with_tabs = (0..3).find(|from| !lack.tabs[*from].is_empty());
        let with_photos = (0..3).find(|from| lack.from[*from] > 0);
        let side = with_tabs.or(with_photos).unwrap_or_else(|| place(self.chain_side));
        lack.from[side] += more;
        lack
    }
}

impl Lack {
    fn n(&self) -> usize {
        self.from.iter().sum()
    }

    /// "four more photos, two from each side, a pace apart, with tabs 1, 2 in them".
    fn words(&self, is_first: bool) -> String {
        let more = if is_first { "" } else { " more" };
        let photos =
            |n: usize| format!("{}{more} photo{}", count(n), if n == 1 { "" } else { "s" });
        let sides = ["the left", "the right", "the chain's side"];
        let places: Vec<usize> = (0..3).filter(|from| self.from[*from] > 0).collect();
        match places[..] {
            [only] => {
                let n = self.from[only];
                format!("{} from {}{}", photos(n), sides[only], showing(n, &self.tabs[only]))
            }
            [0, 1] if self.from[0] == self.from[1] && self.from[0] > 1 => {
                let tabs = self.tabs.iter().flatten().copied().collect();
                let n = self.n();
                format!(
                    "{}, {} from each side{}",
                    photos(n),
                    count(self.from[0]),
                    showing(n, &tabs)
                )
            }
            _ => {
                let each = places.iter().map(|&from| {
                    let n = self.from[from];
                    format!("{} from {}{}", count(n), sides[from], showing(n, &self.tabs[from]))
                });
                format!("{}: {}", photos(self.n()), each.collect::<Vec<_>>().join(", and "))
            }
        }
    }
}

/// ", a pace apart, with tabs 8 to 10 in them".
fn showing(n: usize, tabs: &BTreeSet<u8>) -> String {
    let tabs: Vec<u8> = tabs.iter().copied().collect();
    let (apart, them) = if n == 1 { ("", "it") } else { (", a pace apart", "them") };
    match tabs.is_empty() {
        true => apart.to_owned(),
        false => format!(
            "{apart}{} with {} in {them}",
            if n == 1 { "" } else { "," },
            named("tab", &tabs)
        ),
    }
}

/// Where a side is in [`Lack::from`].
fn place(side: Option<Side>) -> usize {
    match side {
        Some(Side::Left) => 0,
        Some(Side::Right) => 1,
        None => 2,
    }
}

/// What tells of the frame is no matter of the wheel's position.
fn of_the_frame(because: &Figure) -> String {
    format!(
        "still missing for {}: two photos, a pace apart, with two cards and the frame's plumb lines or tabs in them.",
        because.name()
    )
}

/// Small numbers in words.
fn count(n: usize) -> String {
    let words = ["no", "one", "two", "three", "four", "five", "six"];
    words.get(n).map_or_else(|| n.to_string(), |word| (*word).to_owned())
}
