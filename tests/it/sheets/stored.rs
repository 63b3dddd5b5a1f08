//! What is kept under calibration/ is what the program makes today. `REGENERATE=1 cargo test --test
//! sheets` writes it anew.

use std::fs;
use std::path::{Path, PathBuf};

use serde::Serialize;
use sightcord::cards::Pattern;
use sightcord::cards::codes::{N_CARDS, N_TABS};
use sightcord::cards::pattern::PATTERN_VERSION;
use sightcord::cards::sheets::{Order, Paper, draw};

fn calibration() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration")
}

/// Compares a kept file with what it should be, or writes it where the environment asks for that.
fn assert_kept(path: &Path, bytes: &[u8]) {
    if std::env::var_os("REGENERATE").is_some() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
    let kept = fs::read(path).unwrap_or_default();
    assert!(
        kept == bytes,
        "{} is not what the program makes: look at both, then run with REGENERATE=1",
        path.display()
    );
}

#[derive(Serialize)]
struct Tables {
    schema: &'static str,
    pattern_version: &'static str,
    meaning: &'static str,
    cards: Vec<Entry>,
    tabs: Vec<Entry>,
}

#[derive(Serialize)]
struct Entry {
    number: u8,
    pitch_mm: f64,
    /// One string a row of cells, top row first, 1 where a cell carries a dot.
    dots: Vec<String>,
}

fn entry(pattern: Pattern) -> Entry {
    let row = |row| {
        (0..pattern.cols()).map(|col| if pattern.has_dot(row, col) { '1' } else { '0' }).collect()
    };
    Entry {
        number: pattern.number(),
        pitch_mm: pattern.pitch_mm(),
        dots: (0..pattern.rows()).map(row).collect(),
    }
}

#[test]
fn the_kept_code_tables_are_those_of_the_program() {
    let tables = Tables {
        schema: "sightcord-codes/1",
        pattern_version: PATTERN_VERSION,
        meaning: "One string a row of cells, top row first: 1 = a disc of the opposite tone, radius 0.22 pitch, in the middle. \
                  A cell is dark where row + column (from 0) is even; rows 8 and 9 of a card are blank.",
        cards: (1..=N_CARDS).filter_map(Pattern::card).map(entry).collect(),
        tabs: (1..=N_TABS).filter_map(Pattern::tab).map(entry).collect(),
    };
    let mut text = serde_json::to_string_pretty(&tables).unwrap();
    text.push('\n');
    assert_kept(&calibration().join("codes.json"), text.as_bytes());
}

#[test]
fn the_kept_sheets_are_those_of_the_program() {
    for paper in [Paper::A4, Paper::Letter] {
        for sheet in draw(&Order::usual(paper)).unwrap() {
            assert_kept(&calibration().join("sheets").join(&sheet.file_name), &sheet.bytes);
        }
    }
}
