//! A figure's way to its JSON pointer and back, its order and its words.

use std::cmp::Ordering;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::catalogue::{CATALOGUE, Figure, Line};
use super::member::Section;
use super::part::Part;
use super::sense::Sense;
use super::unit::{Kind, Unit};

impl Figure {
    /// Its line in the catalogue; None for one that this version does not know.
    pub fn line(&self) -> Option<&'static Line> {
        CATALOGUE.get(self.number())
    }

    /// The figure at a JSON pointer.
    pub fn at(pointer: &str) -> Self {
        known(pointer).unwrap_or_else(|| Self::Other(pointer.to_owned()))
    }

    /// The figure of a section's member, for the part of a name.
    pub fn of(section: Section, name: &str, member: &str) -> Option<Self> {
        let mut lines = CATALOGUE.iter().filter(|line| line.section == section);
        lines.find(|line| line.member == member).and_then(|line| (line.make)(name))
    }

    /// Those of a section, in the order of the result; of a list those of no part.
    pub fn all_of(section: Section) -> impl Iterator<Item = Self> {
        let lines = CATALOGUE.iter().filter(move |line| line.section == section);
        lines.filter_map(|line| (line.make)(""))
    }

    pub fn section(&self) -> Option<Section> {
        self.line().map(|line| line.section)
    }

    /// The part that it belongs to, where there are several.
    fn part(&self) -> Option<&dyn Part> {
        match self {
            Self::RimOffset(place) | Self::RimHeight(place) => Some(place),
            Self::RimWidth(name) | Self::FaceOffset(name) | Self::FaceYaw(name) => Some(name),
            Self::FaceLean(name) => Some(name),
            Self::PlumbOffset(letter) | Self::StationOffset(letter) => Some(letter),
            Self::StationHeights(letter) => Some(letter),
            Self::RiderOffset(rider) => Some(rider),
            _ => None,
        }
    }

    /// The name of the part that it belongs to; empty where there is one figure.
    pub fn part_name(&self) -> String {
        self.part().map_or_else(String::new, Part::name)
    }

    /// Its JSON pointer, such as "/rim/1-mark-forward/left/offset".
    pub fn pointer(&self) -> String {
        match self {
            Self::Other(pointer) => pointer.clone(),
            known => known.line().map_or_else(String::new, |line| line.pointer(&known.part_name())),
        }
    }

    pub fn kind(&self) -> Kind {
        self.line().map_or(Kind::Length, |line| line.kind)
    }

    pub fn unit(&self) -> Unit {
        self.kind().unit()
    }

    pub fn sense(&self) -> Sense {
        self.line().map_or(Sense::Size, |line| line.sense)
    }

    /// Its one name, for a sentence: "the rear wheel's offset".
    pub fn name(&self) -> String {
        self.worded(|line| line.name, |part| part.in_sentence())
    }

    /// Its name in a table under its group's heading: "sideways, at the axle".
    pub fn short(&self) -> String {
        self.worded(|line| line.short, |part| part.in_table())
    }

    fn worded(&self, words: fn(&Line) -> &'static str, of: fn(&dyn Part) -> String) -> String {
        match (self.line(), self.part()) {
            (Some(line), Some(part)) => words(line).replace('*', &of(part)),
            (Some(line), None) => words(line).to_owned(),
            (None, _) => self.pointer(),
        }
    }

    pub fn meaning(&self) -> &'static str {
        self.line().map_or("", |line| line.meaning)
    }

    pub fn needs(&self) -> &'static str {
        self.line().map_or("", |line| line.needs)
    }

    /// The other figures of the same part and section, and itself.
    pub fn siblings(&self) -> impl Iterator<Item = Self> + use<> {
        let (section, name) = (self.section(), self.part_name());
        let lines = CATALOGUE.iter().filter(move |line| Some(line.section) == section);
        lines.filter_map(move |line| (line.make)(&name))
    }
}

/// Places in the result that are no figures, as findings name them.
pub const CHAIN_SIDE: &str = "/chain/side";
pub const RIDERS: &str = "/bench/riders";

fn known(pointer: &str) -> Option<Figure> {
    let rest = pointer.strip_prefix('/')?;
    // Riders stand inside the bench's section: the longer keys go first.
    Section::ALL.iter().rev().find_map(|&section| {
        let rest = rest.strip_prefix(section.key())?.strip_prefix('/')?;
        match section {
            Section::RimWidth => Figure::of(section, rest, ""),
            list if list.is_list() => {
                let (name, member) = rest.rsplit_once('/')?;
                Figure::of(section, name, member)
            }
            _ => Figure::of(section, "", rest),
        }
    })
}

/// The order of the result: by section, then part by part, then as the catalogue lists them.
impl Ord for Figure {
    fn cmp(&self, other: &Self) -> Ordering {
        match (self, other) {
            (Self::Other(one), Self::Other(two)) => one.cmp(two),
            _ if self.section() != other.section()
                || !self.section().is_some_and(Section::is_list) =>
            {
                self.number().cmp(&other.number())
            }
            _ => {
                let (one, two) = (self.part().map(Part::rank), other.part().map(Part::rank));
                one.cmp(&two).then_with(|| self.number().cmp(&other.number()))
            }
        }
    }
}

impl PartialOrd for Figure {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.pointer())
    }
}

impl From<Figure> for String {
    fn from(figure: Figure) -> Self {
        figure.pointer()
    }
}

impl From<&Figure> for String {
    fn from(figure: &Figure) -> Self {
        figure.pointer()
    }
}

/// A figure is named by its pointer where only that is at hand.
impl PartialEq<&str> for Figure {
    fn eq(&self, pointer: &&str) -> bool {
        self.pointer() == *pointer
    }
}

/// Files name a figure by its JSON pointer.
impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.pointer())
    }
}

impl<'de> Deserialize<'de> for Figure {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer).map(|pointer| Self::at(&pointer))
    }
}

impl JsonSchema for Figure {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Figure".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        String::json_schema(generator)
    }
}
