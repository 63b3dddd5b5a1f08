//! What makes the cord's place uncertain: seen from too few places, contradicted, crooked, or
//! readable in two ways.
//!
//! Everything is measured from the cord, and its error shows in no other residual. So its place
//! has to be earned: each test that fails is reported with its cause and what to do, and figures
//! that depend on the cord are then no better than a single sighting; where it lies as no cord
//! can, there are none.

use std::collections::BTreeMap;

use crate::figure::Figure;
use crate::finding::{Finding, Severity};
use crate::say;
use crate::scene::model::observe::{Block, CardSide, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::model::state::{Ground, State};
use crate::text::{Amount, Sentence};

/// Two cards so far apart along the cord, mm, each seen from both sides, show where it runs (our
/// choice; the finding asks for it).
const LEAST_LENGTH: f64 = 300.0;
/// A card and side with more than this part of its photos rejected contradicts the rest; reported
/// from this many photos on.
const REJECTED: f64 = 1.0 / 3.0;
const LEAST_REPORTED: usize = 3;
/// A tight cord is straight to within this, mm: twice the standard value it is held by, and more
/// than three standard uncertainties.
const STRAIGHT: f64 = 0.2;
/// Beyond this it is no cord at all that was seen over some card, mm (our choice: twice what a
/// tight cord is held to).
const CROOKED: f64 = 0.4;
/// It never runs uphill in the middle by more than this, mm: what bowed cards and blocks of unequal
/// height leave open.
const HUMP: f64 = 0.3;
/// Beyond this it is no cord at all, as for one that is crooked, mm.
const RAISED: f64 = 1.2;

const PART_FROM_SHADOW: &str = "Change the light so that no sharp shadow lies next to the cord, raise the cord to 3 to 5 mm above the paper, \
                                or take one of another colour, and take the photos again.";
const NOT_STRAIGHT: &str = "cord-not-straight";
const TWO_READINGS: &str = "cord-two-readings";

/// The light's places for the cord over the cards lie this far off a straight line (root mean
/// square, mm) where edges were taken for it that are not its own. Of 155 drawn benches: all but
/// seven whose cord was found to 2 mm a metre lay at 0.01 to 0.3, all but one of seventeen that were
/// missed at 0.29 to 2.5. With a second reading at hand less is enough, and twice as much and more
/// is no cord at all (our choice).
const WAVERS: f64 = 0.3;
const WAVERS_BETWEEN_TWO: f64 = 0.25;
const NO_LINE: f64 = 0.75;

/// The findings; empty where the cord may be trusted, or where there is none. `solution` must have
/// its covariance.
pub fn findings_of_weak_cord(solution: &Solution) -> Vec<Finding> {
    let mut found = Vec::new();
    if solution.state.cords.is_empty() {
        return found;
    }
    let shapes = [crooked(solution), wavering(solution)];
    let is_refused = |finding: &&Finding| finding.severity == Severity::Refused;
    if let Some(refused) = shapes.iter().flatten().find(is_refused) {
        return vec![refused.clone()];
    }
    let groups = groups(&solution.blocks, |_| true);
    if seen_from_one_side(&solution.blocks, &groups) {
        let what = "Few photos show the cord, and from one side of the bike only. So how high it runs over the paper is not known well, and \
                    with that not where it is.";
        return vec![refused("cord-seen-poorly", say![what], SEE_BETTER)];
    }
    if !groups.is_empty() {
        found.extend(seen_from_too_few_places(&solution.state, &groups));
        found.extend(contradicted(&groups));
    }
    if let Some(rival) = &solution.cord_reading.rival {
        found.push(weak(
            TWO_READINGS,
            say![
                "The light in the cards' lanes can be read in two ways: the cord, or its shadow, ",
                Amount::tenths(rival.apart_mm),
                " apart.",
            ],
            PART_FROM_SHADOW,
        ));
    }
    if solution.cord_unsettled {
        found.push(weak(
            "cord-restless",
            "The cord was knocked while one set-up was photographed, and is in another place again in a second one: nobody can say which is right.",
            "Stretch the cord anew, and take the photos of all set-ups again without touching it.",
        ));
    }
    found.extend(shapes.into_iter().flatten().next());
    found
}

/// Edges that lie in no one line over the cards: some of them are a shadow's.
fn wavering(solution: &Solution) -> Option<Finding> {
    let reading = &solution.cord_reading;
    let rival = reading.rival.as_ref();
    // A cord that was moved lies in two lines, unless its moving is only another misreading.
    let off = match rival {
        None if solution.cord_moved => reading.off_own_lines,
        _ => reading.off_one_line,
    }?;
    let what = say![
        "What was taken for the cord lies ",
        Amount::tenths(off),
        " off one straight line over the cards; a tight cord can't."
    ];
    let (most, code) = match rival {
        Some(_) => (WAVERS_BETWEEN_TWO, TWO_READINGS),
        None => (NO_LINE, NOT_STRAIGHT),
    };
    if off > most {
        let what = what.and("Over some cards it is probably its shadow.");
        return Some(refused(code, what, PART_FROM_SHADOW));
    }
    (off > WAVERS).then(|| weak(code, what, PART_FROM_SHADOW))
}

/// Points found by both edges over a card seen from one side.
#[derive(Clone, Copy, Default)]
struct Count {
    all: usize,
    used: usize,
}

type Groups = BTreeMap<CardSide, Count>;

fn groups(blocks: &[Block], wanted: impl Fn(usize) -> bool) -> Groups {
    let mut groups = Groups::new();
    for block in blocks {
        let Shown::Cord(cord) = block.shown else { continue };
        for point in block.points.iter().filter(|point| wanted(cord) && !point.lone) {
            let Some(group) = point.group else { continue };
            let count = groups.entry(group).or_default();
            count.all += 1;
            count.used += usize::from(point.used);
        }
    }
    groups
}

/// Whether one set-up's cord is seen from so many places that a movement of it may be believed. A
/// mid-line that was handed over as a whole has no groups and counts as such.
pub fn movement_is_determined(state: &State, blocks: &[Block], cord: usize) -> bool {
    let of_lanes = blocks.iter().any(|block| {
        matches!(block.shown, Shown::Cord(_)) && block.points.iter().any(|p| p.group.is_some())
    });
    !of_lanes || seen_from_too_few_places(state, &groups(blocks, |idx| idx == cord)).is_none()
}

fn weak(code: &str, what: impl Into<Sentence>, advice: &str) -> Finding {
    let what = what.into().and("Figures that depend on the cord get no verdict.");
    Finding::warning(code, what, advice).about(Figure::CordStraightness)
}

fn side(left: bool) -> &'static str {
    if left { "left" } else { "right" }
}

/// Fewer photos of the cord than this must not be all from one side (our choice).
const LEAST_FROM_ONE_SIDE: usize = 6;

/// Whether few photos show the cord, over no card from both sides. What light does to its edges then
/// shows in no residual, and moves it by several times its uncertainty (choices of three photos of
/// the benches with known truth: by up to nine times).
fn seen_from_one_side(blocks: &[Block], groups: &Groups) -> bool {
    let is_used = |block: &&Block| {
        matches!(block.shown, Shown::Cord(_)) && block.points.iter().any(|point| point.used)
    };
    if blocks.iter().filter(is_used).count() >= LEAST_FROM_ONE_SIDE {
        return false;
    }
    !groups.is_empty() && !groups.keys().any(|of| from_both_sides(groups, of.card))
}

/// Whether a card shows the cord from the left and from the right.
fn from_both_sides(groups: &Groups, card: u8) -> bool {
    let sees = |from_left: bool| {
        groups.get(&CardSide { card, from_left }).is_some_and(|count| count.used > 0)
    };
    sees(false) && sees(true)
}

const SEE_BETTER: &str = "Take more photos from both sides of the bike, from higher up, so that the cord is seen inside the cards' lanes; \
                          light from several sides helps.";

fn seen_from_too_few_places(state: &State, groups: &Groups) -> Option<Finding> {
    // Left is the bike's once the job gives it; here it is the world's, whose y follows the cards.
    let place = |card: u8| {
        state
            .cards
            .iter()
            .find(|c| c.ground == Ground::Bench && state.sheets[c.sheet].number == card)
            .map(|c| c.world_from_card.t.x)
    };
    let mut cards: Vec<u8> = groups.keys().map(|group| group.card).collect();
    cards.dedup();
    let from_both: Vec<u8> =
        cards.iter().copied().filter(|&card| from_both_sides(groups, card)).collect();
    let places: Vec<f64> = from_both.iter().filter_map(|&card| place(card)).collect();
    let (low, high) = places
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(*x), high.max(*x)));
    // Cards are laid to a hand's breadth: what is 300 mm apart by the rule may measure a little
    // less.
    if high - low >= 0.95 * LEAST_LENGTH {
        return None;
    }
    let lacking: Vec<String> =
        cards.iter().filter(|card| !from_both.contains(card)).map(u8::to_string).collect();
    let which = match lacking.len() {
        0 => String::new(),
        1 => format!(" Card {} shows it from one side only.", lacking[0]),
        _ => format!(" Cards {} show it from one side only.", lacking.join(", ")),
    };
    Some(weak(
        "cord-seen-poorly",
        format!(
            "The cord has to be seen clear of its shadow over two cards that lie 300 mm apart, each from both sides.{which}"
        ),
        SEE_BETTER,
    ))
}

fn contradicted(groups: &Groups) -> Option<Finding> {
    let is_contradicted = |count: &Count| {
        count.all >= LEAST_REPORTED && (count.all - count.used) as f64 > REJECTED * count.all as f64
    };
    let (group, count) = groups.iter().find(|(_, count)| is_contradicted(count))?;
    let (card, n) = (group.card, count.all);
    Some(weak(
        "cord-contradicted",
        format!(
            "Over card {card}, {} of {n} photos from one side ({}) show the cord in another place than all others do.",
            n - count.used,
            side(group.from_left)
        ),
        "See whether the card moved or a shadow runs along its lane; light it from both sides and take the photos again.",
    ))
}

/// Refuses a cord of a shape that no cord can have.
fn refused(code: &str, what: Sentence, advice: &str) -> Finding {
    Finding::refused(
        code,
        say![what, " Nothing is measured from it."],
        format!("{advice} Two riders on the cord, 600 mm or more apart (sightcord sheets print --cards none --tabs 39-42), show where it runs in any light."),
    )
    .about(Figure::WheelOffset)
}

fn crooked(solution: &Solution) -> Option<Finding> {
    let covariance = solution.covariance.as_ref()?;
    let sigma = |slot: usize| covariance[(slot, slot)].max(0.0).sqrt();
    for (cord, &slot) in solution.state.cords.iter().zip(&solution.slots.cords) {
        let aside = cord.y[2].abs();
        if aside > STRAIGHT && aside > 3.0 * sigma(slot + 2) {
            let what = say![
                "The cord seems to lie ",
                Amount::tenths(aside),
                " off the straight line between its ends; a tight cord can't."
            ];
            let advice = "See that it touches nothing and is tight. If it is, the shadow was taken for the cord over some card: change the light.";
            return Some(if aside > CROOKED {
                refused(NOT_STRAIGHT, what, advice)
            } else {
                weak(NOT_STRAIGHT, what, advice)
            });
        }
        if -cord.z[2] > HUMP && -cord.z[2] > 3.0 * sigma(slot + 5) {
            let what = say![
                "The cord seems to run ",
                Amount::tenths(-cord.z[2]),
                " uphill towards its middle; a free cord can't."
            ];
            let advice = "See that nothing lifts it. If nothing does, the shadow was taken for the cord over some card: change the light.";
            const CODE: &str = "cord-hump";
            return Some(if -cord.z[2] > RAISED {
                refused(CODE, what, advice)
            } else {
                weak(CODE, what, advice)
            });
        }
    }
    None
}
