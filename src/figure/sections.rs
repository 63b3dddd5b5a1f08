//! How the result holds the figures, in this one place. Keys, their order and the schema
//! come from the catalogue.
//!
//! A section's single figures are members of an object; of lists each entry names its part and
//! holds the part's figures. Fields may be added; a reader passes over those it does not know.

use std::borrow::Cow;
use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::catalogue::Figure;
use super::expected::Expected;
use super::facts::{ChainReference, Facts, RiderFacts, RimFacts, Station, UpFigures, WheelSource};
use super::measured::Measured;
use super::member::Section;
use super::members::Members;
use super::part::{Part, RiderId, RimPlace, Wheel};
use super::side::Side;
use super::table::FigureTable;
use crate::measurement::Measurement;

/// The printed pattern and how large it came out of the printer.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
struct PatternEntry {
    version: String,
    #[serde(flatten)]
    figures: Members<{ Section::Pattern as u8 }>,
}

/// A rim's outside face at one place in one set-up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
struct RimEntry {
    /// `set-up/side`, and `/place` behind it for places other than the marked one.
    id: String,
    /// "rear" or "front".
    wheel: Wheel,
    setup: String,
    side: Side,
    /// 0 is the marked place; 1 and up are further places round the rim (tabs 33 and up), for
    /// run-out.
    place: u8,
    station: Option<Station>,
    /// Where the place stood along the cord, + forward of the axle; only to foresee what turning
    /// the wheel does to `offset`.
    #[serde(default)]
    x: Option<f64>,
    #[serde(flatten)]
    figures: Members<{ Section::Rim as u8 }>,
}

/// The rear wheel over the datum cord.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
struct WheelSection {
    #[serde(flatten)]
    figures: Members<{ Section::Wheel as u8 }>,
    /// "axis" or "offsets": what yaw and lean come from.
    source: Option<WheelSource>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
struct RunoutSection {
    #[serde(flatten)]
    figures: Members<{ Section::Runout as u8 }>,
    /// Places of the rim that were seen.
    places: u8,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
struct HubSection {
    side: Option<Side>,
    #[serde(flatten)]
    figures: Members<{ Section::Hub as u8 }>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
struct ChainSection {
    side: Option<Side>,
    /// "faces" or "tooth_centres": what the offsets are measured between.
    reference: Option<ChainReference>,
    #[serde(flatten)]
    figures: Members<{ Section::Chain as u8 }>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
struct PlumbEntry {
    /// "A" to "D".
    line: String,
    #[serde(flatten)]
    figures: Members<{ Section::Plumb as u8 }>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
struct StationEntry {
    /// "A" to "D".
    station: String,
    #[serde(flatten)]
    figures: Members<{ Section::Stations as u8 }>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
struct FaceEntry {
    name: String,
    #[serde(flatten)]
    figures: Members<{ Section::Faces as u8 }>,
}

/// One rider on the datum cord.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
struct RiderEntry {
    /// Numbers of its faces that tell it, such as "39-40".
    id: String,
    /// Where it stands along the cord, + forward of the axle.
    at_x: f64,
    #[serde(flatten)]
    figures: Members<{ Section::Riders as u8 }>,
    /// How many of its faces tell it: 1 or 2.
    faces: u8,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
struct BenchSection {
    #[serde(flatten)]
    figures: Members<{ Section::Bench as u8 }>,
    /// Riders on the datum cord that give the datum, or that it was checked against.
    #[serde(default)]
    riders: Vec<RiderEntry>,
}

/// The sections of the result that hold figures.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
struct Sections {
    pattern: PatternEntry,
    up: UpFigures,
    rim: Vec<RimEntry>,
    /// Left plus right at the marked place, by set-up.
    rim_width: BTreeMap<String, Option<Measurement>>,
    wheel: WheelSection,
    frame: Members<{ Section::Frame as u8 }>,
    wheel_in_frame: Members<{ Section::WheelInFrame as u8 }>,
    runout: RunoutSection,
    hub: HubSection,
    chain: ChainSection,
    spindle: Members<{ Section::Spindle as u8 }>,
    plumb: Vec<PlumbEntry>,
    stations: Vec<StationEntry>,
    backbone: Members<{ Section::Backbone as u8 }>,
    faces: Vec<FaceEntry>,
    track: Option<Members<{ Section::Track as u8 }>>,
    bench: BenchSection,
}

/// The names of the parts that a list in the table holds, in their order.
fn names(table: &FigureTable, section: Section) -> Vec<String> {
    let figures = table.figures().filter(|figure| figure.section() == Some(section));
    let mut names: Vec<String> = figures.map(Figure::part_name).collect();
    names.dedup();
    names
}

impl From<Measured> for Sections {
    fn from(measured: Measured) -> Self {
        let Measured { table, facts, up } = measured;
        let rim = |name: String| {
            let at = RimPlace::named(&name)?;
            let RimFacts { station, x } = facts.rim.get(&at).copied().unwrap_or_default();
            let figures = Members::of(&table, &name);
            let RimPlace { setup, wheel, place, side } = at;
            Some(RimEntry { id: name, wheel, setup, side, place, station, x, figures })
        };
        let rider = |id: String| {
            let RiderFacts { at_x, faces } = *facts.riders.get(&RiderId(id.clone()))?;
            let figures = Members::of(&table, &id);
            Some(RiderEntry { id, at_x, figures, faces })
        };
        let list = |section| names(&table, section).into_iter();
        let track = Members::of(&table, "");
        Self {
            pattern: PatternEntry {
                version: facts.pattern_version.clone(),
                figures: Members::of(&table, ""),
            },
            up,
            rim: list(Section::Rim).filter_map(rim).collect(),
            rim_width: list(Section::RimWidth)
                .map(|setup| (setup.clone(), table.stored(&Figure::RimWidth(setup))))
                .collect(),
            wheel: WheelSection { figures: Members::of(&table, ""), source: facts.wheel_source },
            frame: Members::of(&table, ""),
            wheel_in_frame: Members::of(&table, ""),
            runout: RunoutSection { figures: Members::of(&table, ""), places: facts.runout_places },
            hub: HubSection { side: facts.hub_side, figures: Members::of(&table, "") },
            chain: ChainSection {
                side: facts.chain_side,
                reference: facts.chain_reference,
                figures: Members::of(&table, ""),
            },
            spindle: Members::of(&table, ""),
            plumb: list(Section::Plumb)
                .map(|line| PlumbEntry { figures: Members::of(&table, &line), line })
                .collect(),
            stations: list(Section::Stations)
                .map(|station| StationEntry { figures: Members::of(&table, &station), station })
                .collect(),
            backbone: Members::of(&table, ""),
            faces: list(Section::Faces)
                .map(|name| FaceEntry { figures: Members::of(&table, &name), name })
                .collect(),
            track: table.knows(&Figure::TrackOffset).then_some(track),
            bench: BenchSection {
                figures: Members::of(&table, ""),
                riders: list(Section::Riders).filter_map(rider).collect(),
            },
        }
    }
}

impl From<Sections> for Measured {
    fn from(sections: Sections) -> Self {
        let mut table = FigureTable::default();
        let mut facts = Facts {
            pattern_version: sections.pattern.version,
            wheel_source: sections.wheel.source,
            runout_places: sections.runout.places,
            hub_side: sections.hub.side,
            chain_side: sections.chain.side,
            chain_reference: sections.chain.reference,
            ..Facts::default()
        };
        sections.pattern.figures.put(&mut table, "");
        for RimEntry { setup, wheel, side, place, station, x, figures, .. } in sections.rim {
            let at = RimPlace { setup, wheel, place, side };
            figures.put(&mut table, &at.name());
            facts.rim.insert(at, RimFacts { station, x });
        }
        for (setup, width) in sections.rim_width {
            table.set(Figure::RimWidth(setup), width);
        }
        sections.wheel.figures.put(&mut table, "");
        sections.frame.put(&mut table, "");
        sections.wheel_in_frame.put(&mut table, "");
        sections.runout.figures.put(&mut table, "");
        sections.hub.figures.put(&mut table, "");
        sections.chain.figures.put(&mut table, "");
        sections.spindle.put(&mut table, "");
        for PlumbEntry { line, figures } in sections.plumb {
            figures.put(&mut table, &line);
        }
        for StationEntry { station, figures } in sections.stations {
            figures.put(&mut table, &station);
        }
        sections.backbone.put(&mut table, "");
        for FaceEntry { name, figures } in sections.faces {
            figures.put(&mut table, &name);
        }
        if let Some(track) = sections.track {
            track.put(&mut table, "");
        }
        sections.bench.figures.put(&mut table, "");
        for RiderEntry { id, at_x, figures, faces } in sections.bench.riders {
            figures.put(&mut table, &id);
            facts.riders.insert(RiderId(id), RiderFacts { at_x, faces });
        }
        Self { table, facts, up: sections.up }
    }
}

/// An expected offset of a place on the rear rim.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
struct ExpectedRim {
    /// As in the result's `rim`.
    id: String,
    /// + on its own side.
    offset: Option<Measurement>,
}

/// Figures to expect, under the names the result gives them: what is at `/wheel/yaw` is
/// expected at `/expected/wheel/yaw`. Figures that no step touches stand as measured. The
/// uncertainty is that of the measurement carried through the steps, and of how finely each step
/// can be set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
struct ExpectedSections {
    rim: Vec<ExpectedRim>,
    wheel: WheelSection,
    frame: Members<{ Section::Frame as u8 }>,
    wheel_in_frame: Members<{ Section::WheelInFrame as u8 }>,
    chain: ChainSection,
    hub: HubSection,
}

impl From<Expected> for ExpectedSections {
    fn from(expected: Expected) -> Self {
        let Expected { table, facts } = expected;
        let rim = |id: String| {
            let offset = table.stored(&Figure::of(Section::Rim, &id, "offset")?);
            Some(ExpectedRim { id, offset })
        };
        Self {
            rim: names(&table, Section::Rim).into_iter().filter_map(rim).collect(),
            wheel: WheelSection { figures: Members::of(&table, ""), source: facts.wheel_source },
            frame: Members::of(&table, ""),
            wheel_in_frame: Members::of(&table, ""),
            chain: ChainSection {
                side: facts.chain_side,
                reference: facts.chain_reference,
                figures: Members::of(&table, ""),
            },
            hub: HubSection { side: facts.hub_side, figures: Members::of(&table, "") },
        }
    }
}

impl From<ExpectedSections> for Expected {
    fn from(sections: ExpectedSections) -> Self {
        let mut table = FigureTable::default();
        for ExpectedRim { id, offset } in sections.rim {
            if let Some(figure) = Figure::of(Section::Rim, &id, "offset") {
                table.set(figure, offset);
            }
        }
        sections.wheel.figures.put(&mut table, "");
        sections.frame.put(&mut table, "");
        sections.wheel_in_frame.put(&mut table, "");
        sections.chain.figures.put(&mut table, "");
        sections.hub.figures.put(&mut table, "");
        let facts = Facts {
            wheel_source: sections.wheel.source,
            chain_side: sections.chain.side,
            chain_reference: sections.chain.reference,
            hub_side: sections.hub.side,
            ..Facts::default()
        };
        Self { table, facts }
    }
}

impl Serialize for Measured {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Sections::from(self.clone()).serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Measured {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Sections::deserialize(deserializer).map(Self::from)
    }
}

impl JsonSchema for Measured {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        Sections::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        Sections::json_schema(generator)
    }
}

impl Serialize for Expected {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        ExpectedSections::from(self.clone()).serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Expected {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        ExpectedSections::deserialize(deserializer).map(Self::from)
    }
}

impl JsonSchema for Expected {
    fn schema_name() -> Cow<'static, str> {
        "Expected".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        ExpectedSections::json_schema(generator)
    }
}
