//! From the text of `job.toml` to a [`Job`], or to a list of everything that is wrong in it.

use super::slips::JOB_FILE;
use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;
use toml::de::DeTable;

use super::assumed::Assumed;
use super::print_prior::is_check_line;
use super::problem::Problem;
use super::read_judged::{read_hand, read_tolerances};
use super::read_tabs::{read_faces, read_tabs};
use super::section::{Document, Section, required};
use super::settings::{
    Adjusters, BenchLevel, Bike, Hub, Job, Levelled, Rim, Sheet, SpacerKind, Spacers, Sprockets,
};
use super::slips::{misnamed, slip, twice};

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
        many => many.iter().fold(format!(": {} things to fix", many.len()), |text, problem| {
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
                let message = error.message().lines().next().unwrap_or_default();
                let again =
                    if message.contains("duplicate") { twice(text, at.start) } else { None };
                let known = again.or_else(|| slip(text, at.start));
                let (what, advice) = known.unwrap_or_else(|| {
                    (
                        "this line can't be read".to_owned(),
                        format!(
                            "Write one setting a line as key = value; put text in double quotes, and write decimals with a point. (The reader of the \
                             file says: {message}.)"
                        ),
                    )
                });
                document.problem(at, what, advice);
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
                format!("card {number} is listed twice"),
                "Keep one of the two.",
            );
        }
    }
    cards
}
