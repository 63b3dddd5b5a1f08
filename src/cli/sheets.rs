//! `sightcord sheets DIR`: the cards, tabs and guide as PDF files to print.

use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::builder::PossibleValue;

use crate::cards::codes::{N_CARDS, N_TABS};
use crate::cards::sheets::{
    self, CORDS_MM, Numbers, NumbersError, Order, Paper, Sheet, USUAL_CORD_MM,
};
use crate::disk::new_file::NewFile;
use crate::disk::scratch::clear_away_on_interrupt;
use crate::visible::one_line;

const EXAMPLES: &str = "\
Examples:
  sightcord sheets print                            cards 1-5, tabs 1-32 and the guide, for A4
  sightcord sheets print --paper letter --cards 1-8
  sightcord sheets print --cards none --tabs 33-38  tabs alone, and the guide
  sightcord sheets print --cards none --tabs 39-42 --cord-mm 2.5  two riders for a cord 2.5 mm thick";

/// Draw the cards, the tabs and a one-page guide as PDF at exact scale
#[derive(clap::Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub struct SheetsArgs {
    /// Folder to write the PDF files to; made if it is not there
    pub dir: PathBuf,

    /// Paper in your printer
    #[arg(long, value_enum, default_value_t = Paper::A4)]
    pub paper: Paper,

    /// Cards to draw, such as 1-5,8, or none; 13-16 need A3 [default: 1-5, on A3 13-16]
    #[arg(long, value_name = "LIST", value_parser = card_numbers)]
    pub cards: Option<Numbers>,

    /// Tabs to draw, such as 1-32, or none [default: 1-32]
    #[arg(long, value_name = "LIST", value_parser = tab_numbers)]
    pub tabs: Option<Numbers>,

    /// Thickness of your cord, which riders (tabs 39-44) are folded round
    #[arg(long, value_name = "MM", value_parser = cord_thickness, default_value_t = USUAL_CORD_MM)]
    pub cord_mm: f64,

    /// Say nothing unless something goes wrong
    #[arg(long, short)]
    pub quiet: bool,
}

fn card_numbers(text: &str) -> Result<Numbers, NumbersError> {
    Numbers::parse(text, "cards", N_CARDS as u8)
}

fn tab_numbers(text: &str) -> Result<Numbers, NumbersError> {
    Numbers::parse(text, "tabs", N_TABS as u8)
}

fn cord_thickness(text: &str) -> Result<f64, String> {
    let (least, most) = (CORDS_MM.start(), CORDS_MM.end());
    match text.parse::<f64>() {
        Ok(cord_mm) if CORDS_MM.contains(&cord_mm) => Ok(cord_mm),
        _ => Err(format!(
            "write the cord's thickness in millimetres, from {least} to {most}, such as 2.5"
        )),
    }
}

impl clap::ValueEnum for Paper {
    fn value_variants<'a>() -> &'a [Self] {
        &Self::ALL
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        Some(PossibleValue::new(self.name()))
    }
}

/// Runs the command.
pub fn run(args: &SheetsArgs) -> anyhow::Result<u8> {
    let usual = Order::usual(args.paper);
    let order = Order {
        paper: args.paper,
        cards: args.cards.clone().unwrap_or(usual.cards),
        tabs: args.tabs.clone().unwrap_or(usual.tabs),
        cord_mm: args.cord_mm,
    };
    clear_away_on_interrupt();
    let sheets = sheets::draw(&order)?;
    let states = store(&args.dir, &sheets)?;
    if !args.quiet {
        super::print(&words(&args.dir, &order, &sheets, &states))?;
    }
    Ok(super::DONE)
}

/// What became of one file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stored {
    Written,
    /// The same bytes were there already.
    Unchanged,
}

/// Writes all sheets, or none if one of them would have to replace a file with other content.
fn store(dir: &Path, sheets: &[Sheet]) -> anyhow::Result<Vec<Stored>> {
    fs::create_dir_all(dir).with_context(|| {
        format!(
            "cannot make the folder {}: name one that you may write to, and that is not a file",
            dir.display()
        )
    })?;
    let already_there = sheets
        .iter()
        .map(|sheet| is_there(&dir.join(&sheet.file_name), sheet))
        .collect::<anyhow::Result<Vec<_>>>()?;
    let mut states = Vec::new();
    for (sheet, there) in sheets.iter().zip(already_there) {
        if !there {
            write_new(dir, sheet)?;
        }
        states.push(if there { Stored::Unchanged } else { Stored::Written });
    }
    Ok(states)
}

/// Whether this very sheet is there already; an error if something else is in its place.
fn is_there(path: &Path, sheet: &Sheet) -> anyhow::Result<bool> {
    match fs::symlink_metadata(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(false),
        Err(error) => {
            return Err(error).with_context(|| {
                format!("cannot look at {}: name a folder that you may read", path.display())
            });
        }
        Ok(what) if what.is_file() && what.len() != sheet.bytes.len() as u64 => {}
        Ok(_) => match fs::read(path) {
            Ok(bytes) if bytes == sheet.bytes => return Ok(true),
            _ => {}
        },
    }
    bail!(
        "{} is there already with other content, and nothing was written: move it away, or name another folder",
        path.display()
    )
}

/// A sheet is there whole or not at all, and never in another file's place.
fn write_new(dir: &Path, sheet: &Sheet) -> anyhow::Result<()> {
    let path = dir.join(&sheet.file_name);
    let failed = || {
        format!(
            "cannot write {}: check that the folder may be written to and the disk has room",
            path.display()
        )
    };
    let mut file = NewFile::in_folder(dir).with_context(failed)?;
    file.file().write_all(&sheet.bytes).with_context(failed)?;
    file.publish(&path).with_context(failed)
}

fn words(dir: &Path, order: &Order, sheets: &[Sheet], states: &[Stored]) -> String {
    let mut text = String::new();
    for (sheet, state) in sheets.iter().zip(states) {
        let word = match state {
            Stored::Written => "written",
            Stored::Unchanged => "unchanged",
        };
        let pages = if sheet.n_pages == 1 {
            "1 page".to_owned()
        } else {
            format!("{} pages", sheet.n_pages)
        };
        let at = dir.join(&sheet.file_name).display().to_string();
        text.push_str(&format!("{word:9}  {}  ({}, {pages})\n", one_line(&at), sheet.title));
    }
    text + &format!(
        "\nNext: print at 100 % (\"actual size\", no fitting to the page), on one side, on\nmatt white {} paper.\n\
         Then measure a card's check lines with a steel rule and write what you read\n\
         into your job's job.toml (sightcord begin makes one) under [print]:\n\
         measured_along_mm and measured_across_mm, and the line at the top of the tabs'\n\
         pages as measured_tabs_mm. A card's line that is out by 2 mm or more, or the\n\
         tabs' by 1 mm, was not printed at 100 %: print again.\n",
        order.paper.title()
    )
}
