//! The `[[tab]]` and `[[face]]` of `job.toml`.

use std::collections::{BTreeMap, BTreeSet};

use toml::de::DeValue;

use super::role_change::{Place, TabChange, changed};
use super::roles::{MovesWith, Role, TabRole};
use super::section::{Section, required, whole_of};
use super::settings::{Face, Job};

pub(super) fn read_tabs(
    sections: &[Section<'_>],
    hub_turns: Option<bool>,
) -> BTreeMap<u8, TabRole> {
    let mut tabs: BTreeMap<u8, TabRole> = BTreeMap::new();
    for section in sections {
        let change = TabChange {
            role: section.word("role").map(str::to_owned),
            side: section.side("side"),
            place: read_place(section),
            moves_with: section.word("moves_with").map(|word| match word {
                "wheel" => MovesWith::Wheel,
                "front-wheel" => MovesWith::FrontWheel,
                "gearbox" => MovesWith::Gearbox,
                _ => MovesWith::Frame,
            }),
            backing_mm: section.number("backing_mm"),
            side_mm: section.number("side_mm"),
        };
        let Some(number) = required(section, "number", |section| section.whole::<u8>("number"))
        else {
            continue;
        };
        match changed(number, &change, hub_turns) {
            Ok(tab) => {
                let same = tabs
                    .iter()
                    .find(|(_, other)| tab.role.is_of_one_tab() && other.role == tab.role);
                if tabs.contains_key(&number) {
                    section.problem(
                        "number",
                        format!("tab {number} is listed twice"),
                        "Keep one of the two.",
                    );
                } else if let Some((other, _)) = same {
                    section.problem(
                        "number",
                        format!("tabs {other} and {number} both mark \"{}\"", tab.role),
                        "Keep one of the two, or give one another side or place: two tabs are never at one place.",
                    );
                }
                tabs.insert(number, tab);
            }
            Err(nonsense) => {
                // Where the key itself was wrong, that has been said already.
                let already_said = (section.has("role") && change.role.is_none())
                    || (section.has("side") && change.side.is_none())
                    || (section.has("place") && change.place.is_none());
                if !already_said {
                    section.problem(
                        nonsense.key,
                        format!("tab {number}: {}", nonsense.what),
                        nonsense.advice,
                    );
                }
            }
        }
    }
    tabs
}

fn read_place(section: &Section<'_>) -> Option<Place> {
    match section.value("place")?.get_ref() {
        DeValue::String(words) => Some(Place::Words(words.to_string())),
        value @ DeValue::Integer(_) => whole_of(value).map(Place::Number),
        _ => {
            section.problem(
                "place",
                "[[tab]] place must be a whole number or text in double quotes",
                "A further place round the rim has a number from 1; stations and flags have a letter or an end.",
            );
            None
        }
    }
}

pub(super) fn read_faces(sections: &[Section<'_>], job: &Job) -> Vec<Face> {
    let mut faces: Vec<Face> = Vec::new();
    for section in sections {
        let name = required(section, "name", |section| section.text("name"));
        let tabs = required(section, "tabs", read_tab_list);
        let (Some(name), Some(tabs)) = (name, tabs) else { continue };
        let roles: Vec<TabRole> = tabs.iter().map(|&number| on_face(job, number)).collect();
        let in_two = tabs.iter().find(|number| faces.iter().any(|face| face.tabs.contains(number)));
        if name.contains(['/', '~']) || faces.iter().any(|face| face.name == name) {
            section.problem(
                "name",
                format!("\"{name}\" can't be the face's name"),
                "Give each face its own name, without / and ~.",
            );
        } else if let Some(number) = in_two {
            section.problem(
                "tabs",
                format!("tab {number} is in two faces"),
                "A tab can be stuck to one face only.",
            );
        } else if roles.iter().any(|tab| tab.role.is_flag()) {
            section.problem(
                "tabs",
                format!("the face \"{name}\" has a flag among its tabs"),
                "Flags turn in draughts; name tabs that are stuck to the face.",
            );
        } else if roles.iter().any(|tab| matches!(tab.role, Role::CordRider { .. })) {
            section.problem(
                "tabs",
                format!("the face \"{name}\" has a rider of the cord among its tabs"),
                "Riders stand on the cord and belong to no face; use other numbers for the face.",
            );
        } else if roles.iter().any(|tab| tab.moves_with != roles[0].moves_with) {
            section.problem(
                "tabs",
                format!("the tabs of the face \"{name}\" do not move together"),
                "Give free tabs the same moves_with in their [[tab]]; all tabs of one face turn with the same part.",
            );
        } else {
            faces.push(Face { name, tabs });
        }
    }
    faces
}

/// What a tab stands for when a face is named for it: numbers that usually stand for riders are
/// free tabs there.
fn on_face(job: &Job, number: u8) -> TabRole {
    let tab = job.tab(number);
    match tab.role {
        Role::CordRider { .. } if !job.tabs.contains_key(&number) => {
            TabRole { role: Role::Free, moves_with: MovesWith::Frame, ..tab }
        }
        _ => tab,
    }
}

/// Three or more different tab numbers, sorted.
fn read_tab_list(section: &Section<'_>) -> Option<Vec<u8>> {
    let entries = section.value("tabs")?.get_ref().as_array();
    let numbers: Option<BTreeSet<u8>> = entries.and_then(|entries| {
        let number = |value: &DeValue<'_>| {
            whole_of(value).filter(|number| (1..=64).contains(number)).map(|number| number as u8)
        };
        entries.iter().map(|entry| number(entry.get_ref())).collect()
    });
    match numbers {
        Some(numbers) if numbers.len() >= 3 => Some(numbers.into_iter().collect()),
        _ => {
            section.problem(
                "tabs",
                "[[face]] tabs must be three or more different tab numbers from 1 to 64",
                "Write them as tabs = [45, 46, 47]; three points make a plane.",
            );
            None
        }
    }
}
