//! The single figures of a section, or of one part of a list, as members of an object: keys, order
//! and schema come from the catalogue.

use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{IgnoredAny, MapAccess, Visitor};
use serde::ser::SerializeMap;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::catalogue::{CATALOGUE, Line};
use super::table::FigureTable;
use crate::measurement::Measurement;

/// The figures of a section (by its number) of one part: member and measurement, as the catalogue
/// lists them.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Members<const SECTION: u8>(Vec<(&'static str, Option<Measurement>)>);

impl<const SECTION: u8> Members<SECTION> {
    fn lines() -> impl Iterator<Item = &'static Line> {
        CATALOGUE.iter().filter(|line| line.section as u8 == SECTION)
    }

    /// Those of the part of a name.
    pub fn of(table: &FigureTable, name: &str) -> Self {
        let stored = |line: &Line| (line.make)(name).and_then(|figure| table.stored(&figure));
        Self(Self::lines().map(|line| (line.member, stored(line))).collect())
    }

    /// Puts them into the table. A name that nothing can have puts nothing.
    pub fn put(self, table: &mut FigureTable, name: &str) {
        for line in Self::lines() {
            let found = self.0.iter().find(|(member, _)| *member == line.member);
            if let Some(figure) = (line.make)(name) {
                table.set(figure, found.and_then(|(_, measured)| *measured));
            }
        }
    }
}

impl<const SECTION: u8> Serialize for Members<SECTION> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        for line in Self::lines() {
            let found = self.0.iter().find(|(member, _)| *member == line.member);
            map.serialize_entry(line.member, &found.and_then(|(_, measured)| *measured))?;
        }
        map.end()
    }
}

impl<'de, const SECTION: u8> Deserialize<'de> for Members<SECTION> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Object<const SECTION: u8>;
        impl<'de, const SECTION: u8> Visitor<'de> for Object<SECTION> {
            type Value = Members<SECTION>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object with figures")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut members = Vec::new();
                while let Some(key) = map.next_key::<String>()? {
                    match Members::<SECTION>::lines().find(|line| line.member == key) {
                        Some(line) => members.push((line.member, map.next_value()?)),
                        None => {
                            map.next_value::<IgnoredAny>()?;
                        }
                    }
                }
                Ok(Members(members))
            }
        }
        deserializer.deserialize_map(Object)
    }
}

impl<const SECTION: u8> JsonSchema for Members<SECTION> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> std::borrow::Cow<'static, str> {
        format!("Members{SECTION}").into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let mut properties = serde_json::Map::new();
        for line in Self::lines() {
            let mut schema = <Option<Measurement>>::json_schema(generator);
            if !line.definition.is_empty() {
                schema.insert("description".to_owned(), line.definition.trim().into());
            }
            properties.insert(line.member.to_owned(), schema.into());
        }
        json_schema!({ "type": "object", "properties": properties })
    }
}
