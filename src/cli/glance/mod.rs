//! `sightcord glance`: what single photos show, without lens or scene.

use std::path::{Path, PathBuf};

use clap::Args;
use rayon::prelude::*;
use serde::Serialize;

use crate::cards::Pattern;
use crate::job::TabRole;
use crate::photo::{list_job, read_photo};
use crate::sightings::{self, PhotoSightings};

/// What each photo shows, how sharp it is and what is missing; the lens need not be known.
///
/// It gives no offset of anything that stands above the cards: one photo can't tell how far away a thing is, and what stands 300 mm up
/// appears that much times the slope of the view beside its true place.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  sightcord glance my-bike/1-mark-forward/01.jpg\n  sightcord glance my-bike")]
pub struct GlanceArgs {
    /// Photos, or job folders.
    #[arg(required = true)]
    photos: Vec<PathBuf>,
    /// Print what was seen as JSON.
    #[arg(long)]
    json: bool,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// What one photo shows.
#[derive(Clone, Debug, Default, Serialize)]
struct Glance {
    photo: String,
    /// Why it could not be read.
    error: Option<String>,
    cards: Vec<u8>,
    tabs: Vec<u8>,
    /// Names of lines seen between their flags.
    lines: Vec<String>,
    /// Cards in whose lane something runs.
    lanes: Vec<u8>,
    /// Gaussian blur of the corners, px.
    blur_px: Option<f64>,
    /// Smallest and largest median cell of a card or tab, px.
    cells_px: Option<[f64; 2]>,
    /// What to do better.
    advice: Vec<String>,
}

/// Corners blurred by more than this (px, Gaussian) lose accuracy; sharp phone photos show 0.2 to 0.8.
const BLURRED: f64 = 1.6;
/// Cells smaller than this (px) are read unreliably.
const SMALL_CELL: f64 = 8.0;

/// Runs the command. Exit code 1 when no photo shows a card.
pub fn run(args: &GlanceArgs) -> anyhow::Result<u8> {
    let mut paths = Vec::new();
    for path in &args.photos {
        if path.is_dir() {
            paths.extend(list_job(path)?.all().map(|photo| (photo.id.clone(), photo.path.clone())));
        } else {
            paths.push((path.display().to_string(), path.clone()));
        }
    }
    let glances: Vec<Glance> = paths.par_iter().map(|(name, path)| glance(name, path)).collect();
    if args.json {
        super::print(&format!("{}\n", serde_json::to_string_pretty(&glances)?))?;
    } else if !args.quiet {
        super::print(&glances.iter().map(told).collect::<String>())?;
        super::print(&missing(&glances))?;
    }
    let any_error = glances.iter().all(|g| g.error.is_some());
    let any_card = glances.iter().any(|g| !g.cards.is_empty());
    Ok(if any_error {
        super::BAD_INPUT
    } else if any_card {
        super::DONE
    } else {
        super::NOTHING
    })
}

fn glance(name: &str, path: &Path) -> Glance {
    let mut out = Glance { photo: name.to_owned(), ..Glance::default() };
    let photo = match read_photo(path) {
        Ok(photo) => photo,
        Err(error) => {
            out.error = Some(format!("{error}. {}", error.advice()));
            return out;
        }
    };
    let seen: PhotoSightings = sightings::look(&photo.luma);
    let mut cells: Vec<f64> = Vec::new();
    for sighting in &seen.patterns {
        match sighting.pattern {
            Pattern::Card(number) => out.cards.push(number),
            Pattern::Tab(number) => out.tabs.push(number),
        }
        let sizes: Vec<f64> = sighting.corners.iter().map(|c| c.cell_px).collect();
        cells.extend(crate::math::robust::median(&sizes));
    }
    out.lines = seen.lines.iter().map(|line| line_name(line.kind)).collect();
    out.lanes = seen.lanes.iter().map(|lane| lane.pattern.number()).collect();
    out.blur_px = seen.blur_px.is_finite().then_some((seen.blur_px * 100.0).round() / 100.0);
    if !cells.is_empty() {
        let round = |x: f64| (x * 10.0).round() / 10.0;
        let (low, high) = cells.iter().fold((f64::MAX, 0.0_f64), |(low, high), c| (low.min(*c), high.max(*c)));
        out.cells_px = Some([round(low), round(high)]);
    }
    out.advice = advice(&out, &seen);
    out
}

fn line_name(kind: sightings::StringKind) -> String {
    match kind {
        sightings::StringKind::Cord => "cord".to_owned(),
        sightings::StringKind::Plumb(letter) => format!("plumb line {}", crate::bench::evaluate::line_letter(letter)),
        sightings::StringKind::Backbone => "backbone cord".to_owned(),
    }
}

fn advice(glance: &Glance, seen: &PhotoSightings) -> Vec<String> {
    let mut advice = Vec::new();
    match glance.cards.len() {
        0 => advice.push("No card is read: go closer or turn more light on; this photo can't be used.".to_owned()),
        1 => advice.push("Only one card is read: two or more tie the photo to the others better.".to_owned()),
        _ => {}
    }
    if glance.blur_px.is_some_and(|blur| blur > BLURRED) {
        advice.push("It is blurred: hold the phone still, or wait until it has focused.".to_owned());
    }
    if glance.cells_px.is_some_and(|[low, _]| low < SMALL_CELL) {
        advice.push("Some cells are small: go closer to what matters most here.".to_owned());
    }
    if !seen.mirrored.is_empty() {
        advice.push("A reflection of a tab is in the picture; it does no harm.".to_owned());
    }
    advice
}

fn told(glance: &Glance) -> String {
    let mut text = format!("{}\n", glance.photo);
    if let Some(error) = &glance.error {
        text.push_str(&format!("  not readable: {error}\n"));
        return text;
    }
    let numbers = |list: &[u8]| list.iter().map(u8::to_string).collect::<Vec<_>>().join(", ");
    let list = |list: &[u8]| if list.is_empty() { "none".to_owned() } else { numbers(list) };
    text.push_str(&format!("  cards       {}\n", list(&glance.cards)));
    let roles: Vec<String> = glance.tabs.iter().map(|n| format!("{n} ({})", TabRole::of_number(*n).words())).collect();
    text.push_str(&format!("  tabs        {}\n", if roles.is_empty() { "none".to_owned() } else { roles.join(", ") }));
    text.push_str(&format!(
        "  in the lane {}\n",
        if glance.lanes.is_empty() {
            "nothing".to_owned()
        } else {
            format!("something in the lane of card {}", numbers(&glance.lanes))
        }
    ));
    if !glance.lines.is_empty() {
        text.push_str(&format!("  lines       {}\n", glance.lines.join(", ")));
    }
    if let (Some(blur), Some([low, high])) = (glance.blur_px, glance.cells_px) {
        text.push_str(&format!("  sharpness   blur {blur:.1} px, cells {low:.0} to {high:.0} px\n"));
    }
    for line in &glance.advice {
        text.push_str(&format!("  -> {line}\n"));
    }
    text
}

/// What all photos together do not show of the minimum for a measurement.
fn missing(glances: &[Glance]) -> String {
    let seen = |number: u8| glances.iter().any(|g| g.tabs.contains(&number));
    let wanted: [(&str, &[u8]); 4] =
        [("rear rim", &[1, 2]), ("gearbox sprocket", &[5, 6, 7]), ("rear sprocket", &[8, 9, 10]), ("plumb line", &[21, 22])];
    let mut text = String::new();
    for (name, numbers) in wanted {
        let lacking: Vec<String> = numbers.iter().filter(|n| !seen(**n)).map(u8::to_string).collect();
        if !lacking.is_empty() {
            text.push_str(&format!("not seen in any of these photos: {name}, tab {}\n", lacking.join(", ")));
        }
    }
    if text.is_empty() { String::new() } else { format!("\n{text}") }
}
