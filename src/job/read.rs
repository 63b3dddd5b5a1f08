//! From the text of `job.toml` to a [`Job`], or to a list of everything that is wrong in it.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;
use toml::de::{DeTable, DeValue};

use super::assumed::Assumed;
use super::fields::{judged_figure, nearest_field};
use super::problem::Problem;
use super::roles::{MovesWith, Place, Role, TabChange, TabRole, changed};
use super::section::{Document, Section, whole_of};
use super::settings::{
    Adjusters, BenchLevel, Bike, Face, Hand, Hub, Job, Levelled, Rim, Sheet, SpacerKind, Spacers,
    Sprockets, Tolerance, is_check_line,
};
use super::slips::{decimal_comma, misnamed};
use crate::figure::{Figure, Unit};

/// Name of the file in a job folder.
pub const JOB_FILE: &str = "job.toml";
/// Larger files are refused: one with every tab in it has a hundredth of this.
const MAX_BYTES: u64 = 1_000_000;

/// Why a job file can't be used.
#[derive(Debug, Error)]
pub enum JobError {
    #[error("{} can't be read ({}); check that it is a file and may be read", .0.display(), .1)]
    Unreadable(PathBuf, io::ErrorKind),
    #[error("{} is not read: rename it to {JOB_FILE} (some systems hide the ending that they add to a name)", .0.display())]
    Misnamed(PathBuf),
    #[error("{} is no file; take it away, and put the settings into a file of that name", .0.display())]
    NotAFile(PathBuf),
    #[error("{} is larger than a megabyte and so no job file; put the right one in its place", .0.display())]
    TooLarge(PathBuf),
    #[error("{}, line {line}: there are bytes that are no UTF-8 text; save the file as UTF-8 (plain text)", path.display())]
    NotText { path: PathBuf, line: usize },
    #[error("{}{}", path.display(), listed(problems))]
    Invalid { path: PathBuf, problems: Vec<Problem> },
}

fn listed(problems: &[Problem]) -> String {
    match problems {
        [only] => format!(", {only}"),
        many => many.iter().fold(format!(": {} things to mend", many.len()), |text, problem| {
            format!("{text}\n  {problem}")
        }),
    }
}

impl Job {
    /// The job of a folder: from its `job.toml`, or the defaults where there is none.
    pub fn of_folder(folder: &Path) -> Result<Self, JobError> {
        match Self::read(&folder.join(JOB_FILE)) {
            Err(JobError::Unreadable(_, io::ErrorKind::NotFound)) => match misnamed(folder) {
                Some(other) => Err(JobError::Misnamed(other)),
                None => Ok(Self::default()),
            },
            other => other,
        }
    }

    /// The job in this file.
    pub fn read(path: &Path) -> Result<Self, JobError> {
        let unreadable = |error: io::Error| JobError::Unreadable(path.to_owned(), error.kind());
        let kind = std::fs::metadata(path).map_err(unreadable)?;
        // A pipe or a device may never come to an end.
        if !kind.is_file() {
            return Err(JobError::NotAFile(path.to_owned()));
        }
        if kind.len() > MAX_BYTES {
            return Err(JobError::TooLarge(path.to_owned()));
        }
        let bytes = std::fs::read(path).map_err(unreadable)?;
        let text = std::str::from_utf8(&bytes).map_err(|error| JobError::NotText {
            path: path.to_owned(),
            line: 1 + bytes[..error.valid_up_to()].iter().filter(|&&byte| byte == b'\n').count(),
        })?;
        Self::parse(text).map_err(|problems| JobError::Invalid { path: path.to_owned(), problems })
    }

    /// The job in this text, or everything that is wrong in it.
    pub fn parse(text: &str) -> Result<Self, Vec<Problem>> {
        // Some editors put a byte order mark in front.
        let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
        let document = Document::new(text);
        let table = match DeTable::parse(text) {
            Ok(table) => table,
            Err(error) => {
                let at = error.span().unwrap_or_default();
                match decimal_comma(text, at.start) {
                    Some((typed, meant)) => {
                        document.problem(
                            at,
                            format!("{typed} has a decimal comma"),
                            format!("Write it with a point: {meant}."),
                        );
                    }
                    None => {
                        let message = error.message().lines().next().unwrap_or_default().to_owned();
                        document.problem(
                            at,
                            format!("this is not written as it must be ({message})"),
                            "Write one setting a line as key = value; text stands in double quotes, decimals have a point.",
                        );
                    }
                }
                return Err(document.into_problems());
            }
        };
        let job = read_job(&Section::top(&document, table.get_ref()));
        let problems = document.into_problems();
        if problems.is_empty() { Ok(job) } else { Err(problems) }
    }
}

fn read_job(top: &Section<'_>) -> Job {
    // A file without a schema line is taken for the one version there is; another version is
    // refused.
    top.word("schema");
    let [bike, print, bench] = ["bike", "print", "bench"].map(|name| top.section(name));
    let [adjusters, spacers, sprockets] =
        ["adjusters", "spacers", "sprockets"].map(|name| top.section(name));
    let [hub, rim, assumed] = ["hub", "rim", "assumed"].map(|name| top.section(name));
    let hub = Hub {
        face_side: hub.side("face_side"),
        face_turns: hub.flag("face_turns"),
        target_mm: hub.number("target_mm"),
    };
    let tabs = read_tabs(&top.list("tab", "tab"), hub.face_turns);
    let mut job = Job {
        bike: Bike { name: bike.text("name"), chain_side: bike.side("chain_side") },
        print: read_sheet(&print, None),
        cards: read_cards(&print),
        bench: BenchLevel {
            levelled: bench.word("levelled").map(|word| match word {
                "spirit level" => Levelled::SpiritLevel,
                _ => Levelled::No,
            }),
            level_along_deg: bench.number("level_along_deg"),
            level_across_deg: bench.number("level_across_deg"),
            level_u_deg: bench.number("level_u_deg"),
        },
        adjusters: Adjusters {
            thread_pitch_mm: adjusters.number("thread_pitch_mm"),
            spacing_mm: adjusters.number("spacing_mm"),
            draw: adjusters.side("draw"),
        },
        spacers: Spacers {
            kind: spacers.word("kind").map(|word| match word {
                "hub" => SpacerKind::Hub,
                "sprocket" => SpacerKind::Sprocket,
                _ => SpacerKind::Gearbox,
            }),
        },
        sprockets: Sprockets {
            rear_face_to_tooth_centre_mm: sprockets.number("rear_face_to_tooth_centre_mm"),
            gearbox_face_to_tooth_centre_mm: sprockets.number("gearbox_face_to_tooth_centre_mm"),
            rear_teeth: sprockets.whole("rear_teeth"),
            gearbox_teeth: sprockets.whole("gearbox_teeth"),
            chain_pitch_mm: sprockets.number("chain_pitch_mm"),
        },
        hub,
        rim: Rim { width_mm: rim.number("width_mm"), lateral_tir_mm: rim.number("lateral_tir_mm") },
        assumed: Assumed::read(&assumed),
        tabs,
        faces: Vec::new(),
        setups: super::setups::read(&top.list("setup", "setup")),
        tolerances: read_tolerances(&top.list("tolerance", "tolerance")),
        hands: top.list("hand", "hand").iter().filter_map(read_hand).collect(),
    };
    job.faces = read_faces(&top.list("face", "face"), &job);
    job
}

fn read_sheet(section: &Section<'_>, card: Option<u8>) -> Sheet {
    let check_line = |key: &'static str, across: bool| {
        let length = section.number(key)?;
        if is_check_line(length, card, across) {
            return Some(length);
        }
        section.problem(
            key,
            format!("{key} = {length} is more than 10 % off the check line's length"),
            "The line below the pattern is made to be 250 mm (on A3, cards 13 to 16, 375), the one at the left edge 160 mm (240).",
        );
        None
    };
    Sheet {
        measured_along_mm: check_line("measured_along_mm", false),
        measured_across_mm: check_line("measured_across_mm", true),
        measured_u_mm: section.number("measured_u_mm"),
        paper_mm: section.number("paper_mm"),
        measured_tabs_mm: card.is_none().then(|| section.number("measured_tabs_mm")).flatten(),
    }
}

fn read_cards(print: &Section<'_>) -> BTreeMap<u8, Sheet> {
    let mut cards = BTreeMap::new();
    for section in print.list("card", "print.card") {
        let Some(number) = required(&section, "number", |section| section.whole::<u8>("number"))
        else {
            continue;
        };
        if cards.insert(number, read_sheet(&section, Some(number))).is_some() {
            section.problem(
                "number",
                format!("card {number} stands here twice"),
                "Keep one of the two.",
            );
        }
    }
    cards
}

fn read_tabs(sections: &[Section<'_>], hub_turns: Option<bool>) -> BTreeMap<u8, TabRole> {
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
                        format!("tab {number} stands here twice"),
                        "Keep one of the two.",
                    );
                } else if let Some((other, _)) = same {
                    section.problem(
                        "number",
                        format!("tabs {other} and {number} both stand for \"{}\"", tab.role),
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

fn read_faces(sections: &[Section<'_>], job: &Job) -> Vec<Face> {
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

/// What a tab stands for when a face is named for it: numbers that stand for riders otherwise are
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

fn read_tolerances(sections: &[Section<'_>]) -> Vec<Tolerance> {
    let mut tolerances: Vec<Tolerance> = Vec::new();
    for section in sections {
        let field = read_field(section);
        let source = required(section, "source", |section| section.text("source"));
        let limit = one_unit(section, ["mm", "deg"], field.as_ref().map(|&(_, unit)| unit));
        let (Some((field, unit)), Some(source), Some(limit)) = (field, source, limit) else {
            continue;
        };
        if tolerances.iter().any(|other| other.field == field) {
            section.problem("field", format!("{field} has two tolerances"), "Keep one of the two.");
        } else {
            tolerances.push(Tolerance { field, limit, unit, source });
        }
    }
    tolerances
}

fn read_hand(section: &Section<'_>) -> Option<Hand> {
    let field = read_field(section);
    let unit = field.as_ref().map(|&(_, unit)| unit);
    let value = one_unit(section, ["value_mm", "value_deg"], unit);
    let u = one_unit(section, ["u_mm", "u_deg"], unit);
    let tool = required(section, "tool", |section| section.text("tool"));
    let (field, unit) = field?;
    Some(Hand { field, value: value?, u: u?, unit, tool: tool? })
}

/// The name of a figure, and its unit.
fn read_field(section: &Section<'_>) -> Option<(Figure, Unit)> {
    let field = required(section, "field", |section| section.text("field"))?;
    match judged_figure(&field) {
        Some(figure) => Some((figure.clone(), figure.unit())),
        None => {
            section.problem(
                "field",
                format!("there is no figure {field}"),
                format!(
                    "The nearest is {} (* stands for a name); result.json shows all of them.",
                    nearest_field(&field)
                ),
            );
            None
        }
    }
}

/// The value of the key that fits the figure's unit; the other one must not stand there. Without a
/// known figure nothing is said about the unit.
fn one_unit(section: &Section<'_>, keys: [&'static str; 2], unit: Option<Unit>) -> Option<f64> {
    let [mm, deg] = keys.map(|key| section.number(key));
    let (fits, other, value) = match unit? {
        Unit::Mm => (keys[0], keys[1], mm),
        Unit::Deg => (keys[1], keys[0], deg),
    };
    if section.has(other) {
        section.problem(
            other,
            format!("{other} does not fit this figure"),
            format!("Write {fits} instead."),
        );
        None
    } else if section.has(fits) {
        value
    } else {
        section.problem(fits, format!("{fits} is missing"), format!("Add a line {fits} = ..."));
        None
    }
}

/// The value of a key that must be there.
fn required<Value>(
    section: &Section<'_>,
    key: &'static str,
    read: impl FnOnce(&Section<'_>) -> Option<Value>,
) -> Option<Value> {
    if !section.has(key) {
        section.problem(key, format!("{key} is missing"), format!("Add a line {key} = ..."));
        return None;
    }
    read(section)
}
