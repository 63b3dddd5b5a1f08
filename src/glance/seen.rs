//! What one photo shows, as data: the same for the terminal and for JSON.

use std::path::Path;

use serde::Serialize;

use crate::cards::Pattern;
use crate::figure::Side;
use crate::glance::cord_on_card::{self, CordReading};
use crate::glance::read_cord::read_cord;
use crate::job::Job;
use crate::math::robust::median;
use crate::measurement::Measurement;
use crate::photo::{Photo, PhotoError, read_photo};
use crate::report::numbers::named;
use crate::sightings::{self, PatternSighting, PhotoSightings, StringKind};

/// Corners blurred by more than this (px, Gaussian) lose accuracy; sharp phone photos show 0.2 to
/// 0.8 (measured on the sample photos).
pub const BLURRED: f64 = 1.6;
/// Cells smaller than this (px) are read unreliably: tabs from 8 px on were nearly all found in the
/// sample photos, below 6 almost none.
const SMALL_CELL: f64 = 8.0;

/// A photo to look at.
#[derive(Clone, Debug)]
pub struct Photographed<'a> {
    /// How it is named to the person.
    pub name: &'a str,
    pub path: &'a Path,
    /// The set-up it belongs to; None for a photo that was named on its own.
    pub setup: Option<&'a str>,
    /// Photos of cards alone, for the lens.
    pub for_the_lens: bool,
}

/// What one photo shows.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Glance {
    pub photo: String,
    pub setup: Option<String>,
    pub for_the_lens: bool,
    /// Which way the mark on the rim lies: "forward", "rearward", "up" or "down"; null where
    /// nothing shows it.
    pub mark: Option<&'static str>,
    /// The side of the bike from which it was taken.
    pub from: Option<Side>,
    /// Why it could not be read, and what to do.
    pub error: Option<Trouble>,
    /// Size as stored, px.
    pub width: usize,
    pub height: usize,
    pub cards: Vec<SeenPattern>,
    pub tabs: Vec<SeenPattern>,
    /// Names of lines seen between their flags.
    pub lines: Vec<String>,
    /// What runs in each card's lane.
    pub cord: Vec<SeenCord>,
    pub straightness: Vec<SeenStraight>,
    /// Gaussian blur of the corners, px.
    pub blur_px: Option<f64>,
    /// What this photo lacks, or could be better at, each with what to do.
    pub lacks: Vec<Trouble>,
}

/// Something wrong, and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Trouble {
    pub what: String,
    #[serde(rename = "do")]
    pub advice: String,
}

impl Trouble {
    pub fn new(what: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { what: what.into(), advice: advice.into() }
    }
}

/// A card or tab.
#[derive(Clone, Debug, Serialize)]
pub struct SeenPattern {
    pub number: u8,
    /// What a tab stands for; None for cards.
    pub role: Option<String>,
    pub corners: usize,
    /// Median of the shorter side of its cells, px.
    pub cell_px: f64,
    /// Millimetres in its own plane for a pixel, along that shorter side.
    pub mm_per_px: f64,
}

/// The cord in a card's lane.
#[derive(Clone, Debug, Serialize)]
pub struct SeenCord {
    pub card: u8,
    /// From the lane's middle, + towards the card's upper edge, mm.
    pub offset: Option<Measurement>,
    /// To the lane, + anticlockwise, degrees.
    pub angle: Option<Measurement>,
    /// Angle of the view off the card's upright, across the lane, degrees.
    pub view_deg: Option<f64>,
    /// False where the cord and its shadow could not be told apart; the uncertainty of the offset
    /// then spans both.
    pub told_apart: bool,
    pub not_read: Option<Trouble>,
}

/// How straight the cord is from card to card.
#[derive(Clone, Debug, Serialize)]
pub struct SeenStraight {
    pub card: u8,
    pub between: [u8; 2],
    /// mm off the straight line.
    pub off: Measurement,
}

/// A photo with all that was found in it, for those who draw it.
pub struct Looked {
    pub glance: Glance,
    pub photo: Option<(Photo, PhotoSightings, CordReading)>,
}

/// Reads a photo and looks at it.
pub fn glance(what: &Photographed, job: &Job) -> Looked {
    looked(what, job, read_photo(what.path))
}

/// Looks at a photo that was read, or reports why it could not be.
pub fn looked(what: &Photographed, job: &Job, read: Result<Photo, PhotoError>) -> Looked {
    let mut glance = Glance {
        photo: what.name.to_owned(),
        setup: what.setup.map(str::to_owned),
        for_the_lens: what.for_the_lens,
        ..Glance::default()
    };
    let photo = match read {
        Ok(photo) => photo,
        Err(error) => {
            glance.error = Some(Trouble::new(error.to_string(), error.advice()));
            return Looked { glance, photo: None };
        }
    };
    let seen = sightings::look(&photo.luma);
    let (width, height) = (photo.facts.width, photo.facts.height);
    let cord = read_cord(&seen, width, height, photo.facts.start_focal_px());
    (glance.width, glance.height) = (width, height);
    for sighting in &seen.patterns {
        match sighting.pattern {
            Pattern::Card(_) => glance.cards.push(seen_pattern(sighting, None, None)),
            Pattern::Tab(number) => {
                let tab = job.tab(number);
                glance.tabs.push(seen_pattern(sighting, Some(tab.words()), Some(tab.side_mm)));
            }
        }
    }
    glance.lines = seen.lines.iter().map(|line| line_name(line.kind)).collect();
    glance.cord = cord.lanes.iter().map(seen_cord).collect();
    let straight = |s: &cord_on_card::Straightness| SeenStraight {
        card: s.card,
        between: [s.from, s.to],
        off: rounded(s.off),
    };
    glance.straightness = cord.straightness.iter().map(straight).collect();
    glance.blur_px = seen.blur_px.is_finite().then(|| to_places(seen.blur_px, 2));
    glance.lacks = lacks(&glance, &seen);
    let facts = photo.facts.findings(what.name);
    glance
        .lacks
        .extend(facts.into_iter().map(|finding| Trouble::new(finding.what, finding.advice)));
    Looked { glance, photo: Some((photo, seen, cord)) }
}

fn to_places(value: f64, places: i32) -> f64 {
    let unit = 10_f64.powi(places);
    (value * unit).round() / unit + 0.0
}

/// A hundredth is finer than any of it is known.
fn rounded(m: Measurement) -> Measurement {
    Measurement { value: to_places(m.value, 2), u: (m.u * 100.0).ceil() / 100.0, ..m }
}

fn seen_pattern(
    sighting: &PatternSighting,
    role: Option<String>,
    side_mm: Option<f64>,
) -> SeenPattern {
    let sizes: Vec<f64> = sighting.corners.iter().map(|c| c.cell_px).collect();
    let cell_px = median(&sizes).unwrap_or(0.0);
    let pitch =
        side_mm.map_or(sighting.pattern.pitch_mm(), |side| side / sighting.pattern.cols() as f64);
    SeenPattern {
        number: sighting.pattern.number(),
        role,
        corners: sighting.corners.len(),
        cell_px: to_places(cell_px, 1),
        mm_per_px: if cell_px > 0.0 { to_places(pitch / cell_px, 3) } else { 0.0 },
    }
}

fn seen_cord(lane: &cord_on_card::LaneReading) -> SeenCord {
    let (read, not_read) = match &lane.cord {
        Ok(cord) => (Some(cord), None),
        Err(why) => (None, Some(Trouble::new(why.to_string(), why.advice()))),
    };
    SeenCord {
        card: lane.card,
        offset: read.map(|cord| rounded(cord.offset)),
        angle: read.map(|cord| rounded(cord.angle)),
        view_deg: read.map(|cord| to_places(cord.view.atan().to_degrees().abs(), 1)),
        told_apart: read.is_some_and(|cord| cord.told_apart),
        not_read,
    }
}

pub fn line_name(kind: StringKind) -> String {
    match kind {
        StringKind::Cord => "cord".to_owned(),
        StringKind::Plumb(letter) => {
            format!("plumb line {}", crate::figure::part::Letter::of(letter))
        }
        StringKind::Backbone => "backbone cord".to_owned(),
    }
}

/// What the photo lacks for the job, the gravest first.
fn lacks(glance: &Glance, seen: &PhotoSightings) -> Vec<Trouble> {
    let mut lacks = Vec::new();
    let mut add = |what: &str, advice: &str| lacks.push(Trouble::new(what, advice));
    match glance.cards.len() {
        0 => add(
            "No card is read, so it can't be used.",
            "Go closer, turn more light on, and have two cards whole in the picture.",
        ),
        1 => add(
            "Only one card is read.",
            "Have two or more in the picture: they tie it to the other photos better.",
        ),
        _ => {}
    }
    if glance.tabs.is_empty() && !glance.cards.is_empty() && !glance.for_the_lens {
        add(
            "No tab is read, so it shows the cards and the cord alone.",
            "For wheel and chain, have tabs and cards in one picture.",
        );
    }
    if glance.blur_px.is_some_and(|blur| blur > BLURRED) {
        add(
            "It is blurred.",
            "Hold the phone still against something, or wait until it has focused.",
        );
    }
    let small = |list: &[SeenPattern]| {
        list.iter().filter(|p| p.cell_px < SMALL_CELL).map(|p| p.number).collect::<Vec<u8>>()
    };
    for (word, numbers) in [("card", small(&glance.cards)), ("tab", small(&glance.tabs))] {
        if !numbers.is_empty() {
            let what =
                format!("Cells of {} are smaller than {SMALL_CELL:.0} px.", named(word, &numbers));
            add(&what, "Go closer to what matters in this picture.");
        }
    }
    if !seen.mirrored.is_empty() {
        add(
            "A tab shows in a mirror (chrome or glass).",
            "Nothing to do: reflections are not used.",
        );
    }
    lacks
}
