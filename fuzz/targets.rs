//! What is fuzzed: one function a target, from bytes of chance to a stage of the program. None may
//! panic, whatever the bytes; results are of no interest. The corpus goes through the same
//! functions in the usual tests (`tests/it/fuzzed.rs`).

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use sightcord::archive::{self, bag_text, check_bag, place};
use sightcord::bench;
use sightcord::bench::from_job::{bench_settings, scene_settings};
use sightcord::camera::lens::Lens;
use sightcord::cards::Pattern;
use sightcord::job::Job;
use sightcord::math::rigid::{Rigid, exp};
use sightcord::photo::exif::{names_a_place, of_the_lens};
use sightcord::photo::{ExifFacts, decode_photo};
use sightcord::plan::since::since;
use sightcord::plan::{Choices, PlanSettings, replan};
use sightcord::report::{ResultDocument, html, text};
use sightcord::scene::{self, ScenePhoto};
use sightcord::sightings::cells::{Cell, Ground};
use sightcord::sightings::read_card::place_on_card;
use sightcord::sightings::read_tab::read_tab;
use sightcord::sightings::{
    CornerSighting, LineSighting, PatternSighting, PhotoSightings, StrandPoint, StringKind, look,
};
use sightcord::text::units::Show;

use nalgebra::Vector3;

/// Name and function of every target; a folder of the corpus bears the name.
pub const TARGETS: [(&str, fn(&[u8])); 7] = [
    ("photo", photo),
    ("job", job),
    ("result", result),
    ("zip", zip),
    ("bag", bag_folder),
    ("code", code),
    ("solver", solver),
];

/// Pictures of more pixels are decoded, but not looked at: that is slow, and what is found depends
/// on pixels, not on the file.
const MOST_LOOKED_AT: usize = 1 << 16;

/// A photo's file: its EXIF, its picture, its copy without place.
pub fn photo(bytes: &[u8]) {
    let _ = ExifFacts::read(bytes);
    let _ = names_a_place(bytes);
    let _ = of_the_lens(bytes);
    if let Ok(copy) = place::cleaned(bytes) {
        assert!(place::is_clean(&copy), "a copy without place holds more than the picture");
    }
    if let Ok(photo) = decode_photo(bytes) {
        let _ = photo.facts.findings("a.jpg");
        if photo.luma.data().len() <= MOST_LOOKED_AT {
            let _ = look(&photo.luma);
        }
    }
}

/// A job.toml.
pub fn job(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(job) = Job::parse(text) {
        let _ = scene_settings(&job, &["1-mark-forward".to_owned(), "2-mark-rearward".to_owned()]);
        // What is read is written into the result, and read from there again.
        let value = serde_json::to_value(&job).expect("settings become JSON");
        let again: Job = serde_json::from_value(value).expect("settings come back from JSON");
        assert!(again == job, "settings are others after the result was written and read");
    }
}

/// A result.json: shown, planned from, compared with itself, written again.
pub fn result(bytes: &[u8]) {
    let Ok(document) = ResultDocument::from_json(bytes, Path::new("result.json")) else { return };
    let _ = document.to_json();
    let shown = document.visible();
    for show in [Show::Mm, Show::Inch] {
        let _ = text::report(&shown, show);
        let _ = html::files(&document, &[], show);
    }
    if let Ok(job) = serde_json::from_value::<Job>(document.settings.clone()) {
        let _ = replan(&document.to_figures(), &PlanSettings::from(&job), Choices::default());
    }
    let evening = document.evening();
    let _ = since(&evening, &evening).map(|compared| text::since(&compared, Show::Mm));
}

/// An archive as one file.
pub fn zip(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a folder for passing files");
    let at = folder.path().join("a.zip");
    fs::write(&at, bytes).expect("a passing file");
    let _ = archive::is_archive(&at);
    let _ = archive::sealed_result(&at);
    let _ = archive::prove(&at, true, None, &|_| {});
}

/// An unpacked archive: each "#" in the bytes ends one of its files, in the order of the names
/// below.
pub fn bag_folder(bytes: &[u8]) {
    const NAMES: [&str; 8] = [
        "bagit.txt",
        "bag-info.txt",
        "manifest-sha256.txt",
        "manifest-md5.txt",
        "tagmanifest-sha256.txt",
        "fetch.txt",
        "data/photos/a.jpg",
        "data/report/result.json",
    ];
    let folder = tempfile::tempdir().expect("a folder for passing files");
    for (number, part) in bytes
        .split(|&byte| byte == b'#')
        .take(NAMES.len())
        .enumerate()
        .filter(|(_, part)| !part.is_empty())
    {
        let at = folder.path().join(NAMES[number]);
        fs::create_dir_all(at.parent().expect("a name in a folder")).expect("a passing folder");
        fs::write(at, part).expect("a passing file");
        let _ = bag_text::declaration(part);
        let _ = std::str::from_utf8(part)
            .map(|text| (bag_text::info(text), bag_text::fetch(text, (1, 0))));
    }
    let _ = check_bag::check(folder.path());
    let _ = archive::prove(folder.path(), true, None, &|_| {});
}

/// Dots and grounds of a patch: is it a card, and where on it? Is it a tab?
pub fn code(bytes: &[u8]) {
    let Some((&head, cells)) = bytes.split_first() else { return };
    let width = 1 + i32::from(head & 63);
    let cell = |byte: u8| Cell {
        ground: [Ground::Dark, Ground::Bright, Ground::Unclear, Ground::Bright]
            [usize::from(byte & 3)],
        dot: [Some(false), Some(true), None, Some(true)][usize::from(byte >> 2 & 3)],
    };
    let patch: BTreeMap<(i32, i32), Cell> =
        (0..).zip(cells).map(|(i, &byte)| ((i / width, i % width), cell(byte))).collect();
    let _ = place_on_card(&patch);
    let _ = read_tab(&patch, head & 64 != 0);
}

/// Numbers out of bytes: each takes the next, and zeros follow the last.
struct Chance<'a>(std::slice::Iter<'a, u8>);

impl Chance<'_> {
    fn byte(&mut self) -> u8 {
        self.0.next().copied().unwrap_or(0)
    }

    /// From -1 to 1.
    fn share(&mut self) -> f64 {
        f64::from(i16::from_le_bytes([self.byte(), self.byte()])) / 32768.0
    }

    /// As a rule the number itself; now and then one that should never come out of a photo.
    fn spoilt(&mut self, number: f64) -> f64 {
        match self.byte() {
            251 => f64::NAN,
            252 => f64::INFINITY,
            253 => 1e300,
            254 => -number,
            255 => 0.0,
            _ => number,
        }
    }
}

/// Photos of a few cards and tabs from places of chance, with faults of chance: the scene is solved
/// and the figures are measured.
pub fn solver(bytes: &[u8]) {
    let mut chance = Chance(bytes.iter());
    let (n_photos, n_patterns) =
        (2 + usize::from(chance.byte() % 4), 1 + usize::from(chance.byte() % 4));
    let patterns: Vec<(Pattern, Rigid)> =
        (0..n_patterns).map(|_| pattern_in_world(&mut chance)).collect();
    let photos: Vec<ScenePhoto> =
        (0..n_photos).map(|number| scene_photo(number, &patterns, &mut chance)).collect();
    let (job, setups) =
        (Job::default(), ["1-mark-forward".to_owned(), "2-mark-rearward".to_owned()]);
    let settings = scene_settings(&job, &setups);
    if let Some(solution) = scene::solve(&photos, &settings) {
        let _ = bench::measure(&solution, &bench_settings(&job, &setups, &[false; 2]));
    }
}

fn pattern_in_world(chance: &mut Chance) -> (Pattern, Rigid) {
    let number = chance.byte();
    let pattern = if number & 1 == 0 {
        Pattern::Card(1 + number / 2 % 16)
    } else {
        Pattern::Tab(1 + number / 2 % 64)
    };
    let turn = Vector3::new(chance.share(), chance.share(), 3.0 * chance.share());
    (
        pattern,
        Rigid::new(
            exp(&turn),
            Vector3::new(600.0 * chance.share(), 400.0 * chance.share(), 300.0 * chance.share()),
        ),
    )
}

fn scene_photo(number: usize, patterns: &[(Pattern, Rigid)], chance: &mut Chance) -> ScenePhoto {
    const SIZE: [usize; 2] = [4000, 3000];
    let lens = Lens::pinhole(3000.0 * (1.0 + 0.2 * chance.share()), SIZE[0], SIZE[1]);
    // From above, looking down, turned by chance.
    let turn = Vector3::new(
        std::f64::consts::PI + 0.8 * chance.share(),
        0.8 * chance.share(),
        chance.share(),
    );
    let camera = Rigid::new(
        exp(&turn),
        Vector3::new(
            500.0 * chance.share(),
            500.0 * chance.share(),
            900.0 + 500.0 * chance.share(),
        ),
    );
    let flags = chance.byte();
    let seen = patterns.iter().filter_map(|(pattern, world)| {
        pattern_sighting(*pattern, &camera.then(world), &lens, chance)
    });
    let mut sightings = PhotoSightings {
        patterns: seen.collect(),
        blur_px: chance.spoilt(0.8),
        ..PhotoSightings::default()
    };
    sightings.patterns.sort_by_key(|sighting| sighting.pattern);
    if flags & 1 == 1 {
        let kind =
            [StringKind::Cord, StringKind::Plumb(0), StringKind::Plumb(3), StringKind::Backbone]
                [usize::from(flags >> 1 & 3)];
        sightings.lines.push(LineSighting {
            kind,
            points: (0..4).map(|_| strand_point(chance)).collect(),
            light: None,
            own_width: None,
        });
    }
    ScenePhoto {
        file: format!(
            "{}/{number}.jpg",
            if number.is_multiple_of(2) { "1-mark-forward" } else { "2-mark-rearward" }
        ),
        setup: number % 2,
        lens_only: flags & 0x18 == 0x18,
        width: SIZE[0],
        height: SIZE[1],
        camera: if flags & 0x60 == 0x60 { "two" } else { "one" }.to_owned(),
        start_focal: (flags & 0x80 == 0).then(|| chance.spoilt(3000.0)),
        sightings,
    }
}

fn pattern_sighting(
    pattern: Pattern,
    camera_from_pattern: &Rigid,
    lens: &Lens,
    chance: &mut Chance,
) -> Option<PatternSighting> {
    // A handful of a card's corners is enough to solve from, and quick.
    let every = if matches!(pattern, Pattern::Card(_)) { 23 } else { 3 };
    let corners: Vec<CornerSighting> = pattern
        .corners()
        .step_by(every)
        .filter_map(|(row, col)| {
            let [x, y] = pattern.node(row as f64, col as f64);
            let at = lens.project(&camera_from_pattern.apply(&Vector3::new(x, y, 0.0)))?;
            let off = [4.0 * chance.share(), 4.0 * chance.share()];
            let at = [chance.spoilt(at[0] + off[0]), at[1] + off[1]];
            let variance = chance.spoilt(0.01);
            Some(CornerSighting {
                row: row as u8,
                col: col as u8,
                at,
                cov: [variance, 0.0, 0.01],
                cell_px: 20.0,
            })
        })
        .collect();
    (!corners.is_empty()).then_some(PatternSighting {
        pattern,
        corners,
        wrong_dots: 0,
        read_cells: 25,
        margin: 6,
    })
}

fn strand_point(chance: &mut Chance) -> StrandPoint {
    let (turn, across, down) =
        (3.2 * chance.share(), 2000.0 * chance.share(), 1500.0 * chance.share());
    StrandPoint {
        at: [chance.spoilt(2000.0 + across), 1500.0 + down],
        normal: [turn.cos(), turn.sin()],
        sigma: chance.spoilt(0.2),
        width: chance.spoilt(5.0),
    }
}
