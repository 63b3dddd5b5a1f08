//! How far the photos are, set-up by set-up.

use std::collections::{BTreeMap, BTreeSet};

use crate::figure::Side;
use crate::job::Job;
use crate::report::numbers::named;

use super::missing::{
    CARDS, PER_SIDE, PHOTOS_PER_SETUP, RIDERS, SETUPS, is_usable, lacks_of_all, named_tabs, riders,
    wanted_with,
};
use super::seen::Glance;

/// How far the photos are, set-up by set-up.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub setups: Vec<SetupTally>,
    /// What to do next, in a sentence.
    pub next: String,
    /// What all photos together lack, one sentence each.
    pub lacks: Vec<String>,
}

/// One set-up.
#[derive(Clone, Debug)]
pub struct SetupTally {
    pub name: String,
    pub complete: bool,
    /// "6 of 6: complete", "4 of 6: 2 more from the right; one more with tab 2", "6 of 6: enough
    /// photos, but one more with tab 7".
    pub what: String,
}

/// Counts what there is.
pub fn tally(glances: &[Glance], job: &Job) -> Tally {
    let usable: Vec<&Glance> = glances.iter().filter(|glance| is_usable(glance)).collect();
    let mut names: Vec<&str> = Vec::new();
    for name in usable.iter().filter_map(|glance| glance.setup.as_deref()) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names.sort_by_key(|name| {
        name.split('-').next().and_then(|number| number.parse::<u32>().ok()).unwrap_or(u32::MAX)
    });
    let mut setups: Vec<SetupTally> = names
        .iter()
        .map(|name| {
            let photos: Vec<&Glance> = usable
                .iter()
                .filter(|glance| glance.setup.as_deref() == Some(*name))
                .copied()
                .collect();
            setup_tally(name, &photos, job)
        })
        .collect();
    let of_cards =
        glances.iter().filter(|glance| glance.for_the_lens && glance.error.is_none()).count();
    let complete = setups.iter().filter(|setup| setup.complete).count();
    let mut lacks = Vec::new();
    lacks_of_all(&usable, job, true, &mut lacks);
    let next = match (complete, setups.len()) {
        (_, 0) => {
            lacks.clear();
            "No photo of the bench yet: three from the left and three from the right, with two cards and tabs in each.".to_owned()
        }
        (n, all) if n == all && all < SETUPS => {
            "Next: turn the wheel half round, and take six photos more: three from the left, three from the right.".to_owned()
        }
        (n, all) if n == all && lacks.is_empty() => "Everything that a measurement needs is there.".to_owned(),
        (n, all) if n == all => String::new(),
        (_, all) if all < SETUPS => "Then turn the wheel half round, and take as many photos again.".to_owned(),
        _ => String::new(),
    };
    if of_cards > 0 {
        setups.push(SetupTally {
            name: "cards only".to_owned(),
            complete: true,
            what: format!("{of_cards}, for the lens"),
        });
    }
    if let Some(what) = cord_in_words(&usable, job) {
        setups.push(SetupTally { name: "cord".to_owned(), complete: false, what });
    }
    Tally { setups, next, lacks }
}

/// Where the cord is clear of its shadow, and from where it should be looked at besides: fewer than
/// three cards on which it is clear make a doubtful datum. None where it is clear enough, nowhere
/// seen, or two riders show it.
fn cord_in_words(usable: &[&Glance], job: &Job) -> Option<String> {
    if riders(usable, job).len() >= RIDERS {
        return None;
    }
    // For each card on which the cord is read: whether it is clear, and the sides it was seen from.
    let mut cards: BTreeMap<u8, (bool, BTreeSet<Option<Side>>)> = BTreeMap::new();
    for glance in usable {
        for cord in glance.cord.iter().filter(|cord| cord.offset.is_some()) {
            let (clear, sides) = cards.entry(cord.card).or_default();
            *clear |= cord.told_apart;
            sides.insert(glance.from);
        }
    }
    let with = |wanted: &dyn Fn(bool, &BTreeSet<Option<Side>>) -> bool| -> Vec<u8> {
        cards
            .iter()
            .filter(|(_, (clear, sides))| wanted(*clear, sides))
            .map(|(card, _)| *card)
            .collect()
    };
    let clear = with(&|clear, _| clear);
    if clear.len() >= CARDS || clear.len() == cards.len() {
        return None;
    }
    let mut words = match clear.as_slice() {
        [] => "nowhere clear of its shadow".to_owned(),
        some => format!("clear of its shadow on {} only", named("card", some)),
    };
    for side in [Side::Left, Side::Right] {
        let from_it = with(&|clear, sides| !clear && sides.iter().all(|of| *of == Some(side)));
        if !from_it.is_empty() {
            let other = side.other().word();
            words.push_str(&format!("; {} from the {other}, too", named("card", &from_it)));
        }
    }
    let both = with(&|clear, sides| !clear && (sides.len() > 1 || sides.contains(&None)));
    if !both.is_empty() {
        words.push_str(&format!(
            "; {} in other light, or put two riders on it",
            named("card", &both)
        ));
    }
    Some(words)
}

fn setup_tally(name: &str, photos: &[&Glance], job: &Job) -> SetupTally {
    let from = |side: Side| photos.iter().filter(|glance| glance.from == Some(side)).count();
    let mut lacks = Vec::new();
    let short = PHOTOS_PER_SETUP.saturating_sub(photos.len());
    let sides: Vec<String> = [Side::Left, Side::Right]
        .into_iter()
        .filter_map(|side| {
            let more = PER_SIDE.saturating_sub(from(side));
            (more > 0 && photos.iter().all(|glance| glance.from.is_some()))
                .then(|| format!("{more} more from the {}", side.word()))
        })
        .collect();
    // With photos enough it is no matter if one side has one fewer.
    if short > 0 || sides.iter().any(|side| side.starts_with(&PER_SIDE.to_string())) {
        lacks.push(if sides.is_empty() {
            format!("{} more", short.max(1))
        } else {
            sides.join(" and ")
        });
    }
    let (none, once) = (wanted_with(photos, job, 0), wanted_with(photos, job, 1));
    if !none.is_empty() {
        lacks.push(format!("none shows {}", named_tabs(&none, job)));
    }
    if !once.is_empty() {
        lacks.push(format!("one more with {}", named_tabs(&once, job)));
    }
    let enough = photos.len() >= PHOTOS_PER_SETUP;
    let what = match lacks.as_slice() {
        [] => "complete".to_owned(),
        lacks if enough => format!("enough photos, but {}", lacks.join("; ")),
        lacks => lacks.join("; "),
    };
    SetupTally {
        name: crate::grouping::plain_name(name),
        complete: lacks.is_empty(),
        what: match photos.len() {
            n if n > PHOTOS_PER_SETUP => format!("{n} photos: {what}"),
            n => format!("{n} of {PHOTOS_PER_SETUP}: {what}"),
        },
    }
}
