//! What a figure belongs to where there are several of its kind: a place on a rim, a line, a face.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::side::Side;

/// The name of one of several, as written in a JSON pointer, in a sentence and in a table.
pub trait Part {
    /// From its name in a pointer; None where nothing can have that name.
    fn named(name: &str) -> Option<Self>
    where
        Self: Sized;
    /// Its name in a pointer.
    fn name(&self) -> String;
    /// By what parts of one kind are put in order.
    fn rank(&self) -> (&str, [u8; 3]);
    fn in_sentence(&self) -> String {
        self.name()
    }
    fn in_table(&self) -> String {
        self.name()
    }
}

/// Set-ups and faces keep the name that the person gave them.
impl Part for String {
    fn named(name: &str) -> Option<Self> {
        (!name.is_empty()).then(|| name.to_owned())
    }

    fn name(&self) -> String {
        self.clone()
    }

    fn rank(&self) -> (&str, [u8; 3]) {
        (self, [0; 3])
    }
}

/// A plumb line or a pair of stations: "A" to "D".
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Letter(char);

impl Letter {
    pub const ALL: [Self; 4] = [Self('A'), Self('B'), Self('C'), Self('D')];

    /// The letter of a line or station counted from zero; those beyond the last count as the last.
    pub fn of(index: u8) -> Self {
        Self::ALL[usize::from(index.min(3))]
    }

    /// Counted from zero.
    pub fn index(self) -> u8 {
        Self::ALL.iter().position(|letter| *letter == self).unwrap_or_default() as u8
    }
}

impl fmt::Display for Letter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

impl Part for Letter {
    fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|letter| letter.to_string() == name)
    }

    fn name(&self) -> String {
        self.to_string()
    }

    fn rank(&self) -> (&str, [u8; 3]) {
        ("", [self.index(), 0, 0])
    }
}

/// A rider on the datum cord, by the numbers of its faces that tell it, such as "39-40".
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RiderId(pub String);

impl Part for RiderId {
    fn named(name: &str) -> Option<Self> {
        String::named(name).map(Self)
    }

    fn name(&self) -> String {
        self.0.clone()
    }

    fn rank(&self) -> (&str, [u8; 3]) {
        (&self.0, [0; 3])
    }

    fn in_sentence(&self) -> String {
        self.0.replace('-', " and ")
    }

    fn in_table(&self) -> String {
        self.0.replace('-', ", ")
    }
}

/// Which wheel a rim belongs to.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Wheel {
    Front,
    Rear,
}

/// One place on a rim's outside face in one set-up. Ordered as the result lists them.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RimPlace {
    pub setup: String,
    pub wheel: Wheel,
    /// 0 is the marked place; 1 and up are further places round the rim.
    pub place: u8,
    pub side: Side,
}

/// Behind the side in the name of a place on the front wheel's rim.
const FRONT_WHEEL: &str = "front-wheel";

impl RimPlace {
    /// The marked place of the rear wheel.
    pub fn at_mark(setup: &str, side: Side) -> Self {
        Self { setup: setup.to_owned(), wheel: Wheel::Rear, place: 0, side }
    }

    pub fn is_rear(&self) -> bool {
        self.wheel == Wheel::Rear
    }

    /// Whether it is the marked place of the rear wheel.
    pub fn is_rear_mark(&self) -> bool {
        self.is_rear() && self.place == 0
    }
}

impl Part for RimPlace {
    fn named(name: &str) -> Option<Self> {
        let last = |text: &str| {
            text.rsplit_once('/').map(|(head, last)| (head.to_owned(), last.to_owned()))
        };
        let mut rest = name.to_owned();
        let mut place = 0;
        if let Some((head, number)) =
            last(&rest).and_then(|(head, last)| Some((head, last.parse::<u8>().ok()?)))
        {
            (rest, place) = (head, number);
        }
        let front = rest
            .strip_suffix(FRONT_WHEEL)
            .and_then(|rest| rest.strip_suffix('/'))
            .map(str::to_owned);
        let wheel = if front.is_some() { Wheel::Front } else { Wheel::Rear };
        let (setup, side) = last(&front.unwrap_or(rest))?;
        let side = [Side::Left, Side::Right].into_iter().find(|known| known.word() == side)?;
        (!setup.is_empty()).then_some(Self { setup, wheel, place, side })
    }

    /// `set-up/side`, and `/place` behind it for places other than the marked one.
    fn name(&self) -> String {
        let wheel = if self.is_rear() { String::new() } else { format!("/{FRONT_WHEEL}") };
        let place = if self.place == 0 { String::new() } else { format!("/{}", self.place) };
        format!("{}/{}{wheel}{place}", self.setup, self.side.word())
    }

    fn rank(&self) -> (&str, [u8; 3]) {
        (&self.setup, [self.wheel as u8, self.place, self.side as u8])
    }

    fn in_sentence(&self) -> String {
        let rim = if self.is_rear() { "rim" } else { "front rim" };
        let at = if self.place == 0 { String::new() } else { format!(" at place {}", self.place) };
        format!("the {rim}'s {} face{at} in {}", self.side.word(), self.setup)
    }

    fn in_table(&self) -> String {
        let wheel = if self.is_rear() { "" } else { ", front wheel" };
        let place = if self.place == 0 { String::new() } else { format!(", place {}", self.place) };
        format!("{}, {}{wheel}{place}", self.setup, self.side.word())
    }
}
