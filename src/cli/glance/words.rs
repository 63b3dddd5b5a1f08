//! A glance in words, for a terminal of 80 columns.

use crate::glance::cord_on_card::HEIGHT_MM;
use crate::glance::missing::{PHOTOS_PER_SETUP, SETUPS, riders, tabs_in_words};
use crate::glance::seen::{BLURRED, Glance, SeenCord, SeenPattern};
use crate::job::Job;
use crate::measurement::Measurement;
use crate::report::numbers::ranges;
use crate::text::units::{Kind, Show, Shown};
use crate::visible::one_line;

const WIDTH: usize = 80;
/// Where the text of an entry begins.
const INDENT: usize = 16;

/// One entry: a word at the left, then text that is wrapped next to it.
pub fn entry(word: &str, text: &str) -> String {
    let first = format!("  {word:<width$}", width = INDENT - 2);
    let rest = " ".repeat(INDENT);
    wrapped(&first, &rest, text)
}

/// A paragraph with something to do.
pub fn advice(text: &str) -> String {
    wrapped("  -> ", "     ", text)
}

pub fn paragraph(text: &str) -> String {
    wrapped("", "", text)
}

/// Words in lines of 80 columns. A hyphen is no place to end a line: it may be part of a folder's
/// name.
fn wrapped(first: &str, rest: &str, text: &str) -> String {
    let options = textwrap::Options::new(WIDTH)
        .initial_indent(first)
        .subsequent_indent(rest)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    textwrap::fill(&one_line(text), options) + "\n"
}

/// Everything about one photo.
pub fn described(glance: &Glance, job: &Job) -> String {
    let mut text = format!("{}\n", one_line(&glance.photo));
    if let Some(error) = &glance.error {
        text.push_str(&entry("not readable", &format!("{}.", error.what)));
        text.push_str(&advice(&error.advice));
        return text;
    }
    let sharp = glance.blur_px.map_or_else(|| "nothing to judge by".to_owned(), sharpness);
    let shows = super::lines::place(glance);
    if !shows.is_empty() {
        text.push_str(&entry("shows", &shows));
    }
    text.push_str(&entry(
        "picture",
        &format!("{} x {} px; sharpness: {sharp}", glance.width, glance.height),
    ));
    text.push_str(&entry("cards", &patterns(&glance.cards, ranges)));
    text.push_str(&entry("tabs", &patterns(&glance.tabs, |numbers| tabs_in_words(numbers, job))));
    let riders = riders(&[glance], job);
    if !riders.is_empty() {
        let tabs: Vec<String> = riders.values().flatten().map(u8::to_string).collect();
        text.push_str(&entry(
            "riders",
            &format!("{} on the cord (tabs {})", riders.len(), tabs.join(", ")),
        ));
    }
    text.push_str(&entry(
        "lines",
        &if glance.lines.is_empty() { "none".to_owned() } else { glance.lines.join(", ") },
    ));
    text.push_str(&cord(glance));
    for lack in &glance.lacks {
        text.push_str(&advice(&format!("{} {}", lack.what, lack.advice)));
    }
    text
}

/// "good (blur 0.4 px)".
fn sharpness(blur_px: f64) -> String {
    let word = if blur_px > BLURRED { "poor" } else { "good" };
    format!("{word} (blur {blur_px:.1} px)")
}

/// "1, 2, 4; cells 9 to 21 px, 0.48 to 1.1 mm a pixel".
fn patterns(list: &[SeenPattern], in_words: impl Fn(&[u8]) -> String) -> String {
    let mut numbers: Vec<u8> = list.iter().map(|pattern| pattern.number).collect();
    numbers.dedup();
    if numbers.is_empty() {
        return "none".to_owned();
    }
    let range = |of: fn(&SeenPattern) -> f64, places: usize| {
        let (low, high) = list
            .iter()
            .map(of)
            .fold((f64::MAX, 0.0_f64), |(low, high), x| (low.min(x), high.max(x)));
        let (low, high) = (format!("{low:.places$}"), format!("{high:.places$}"));
        if low == high { low } else { format!("{low} to {high}") }
    };
    format!(
        "{}; cells {} px, {} mm a pixel",
        in_words(&numbers),
        range(|p| p.cell_px, 0),
        range(|p| p.mm_per_px, 2)
    )
}

/// "2.1 mm": an amount with as many decimals as its uncertainty supports, and the uncertainty.
fn amount(m: &Measurement, kind: Kind) -> (Shown, String) {
    let shown = Shown::of(m, kind, Show::Mm);
    let text = format!("{} {} (± {})", shown.amount, shown.unit, shown.u);
    (shown, text)
}

fn cord(glance: &Glance) -> String {
    if glance.cord.is_empty() {
        return entry("cord", "no card, no reading");
    }
    let mut text = String::new();
    for (i, cord) in glance.cord.iter().enumerate() {
        let word = if i == 0 { "cord" } else { "" };
        text.push_str(&entry(word, &format!("card {}: {}", cord.card, in_lane(cord))));
    }
    for s in &glance.straightness {
        let (_, off) = amount(&s.off, Kind::Length);
        let [from, to] = s.between;
        text.push_str(&entry(
            "straightness",
            &format!(
                "at card {}: {off} off the straight line from card {from} to card {to}",
                s.card
            ),
        ));
    }
    text
}

fn in_lane(cord: &SeenCord) -> String {
    let (Some(offset), Some(angle)) = (&cord.offset, &cord.angle) else {
        let (why, todo) = cord
            .not_read
            .as_ref()
            .map_or(("nothing is seen", ""), |t| (t.what.as_str(), t.advice.as_str()));
        return format!("not read: {why}. {todo}");
    };
    let (side, across) = amount(offset, Kind::Length);
    let (turn, turned) = amount(angle, Kind::Angle);
    let turn = ["clockwise", "to the lane", "anticlockwise"][(turn.sign + 1) as usize];
    let side = match side.sign {
        1 => "towards the upper edge",
        -1 => "towards the lower edge",
        _ => "off the lane's middle",
    };
    let shadow =
        if cord.told_apart { "" } else { "; cord and shadow look alike, the ± spans both" };
    format!("{across} {side}, turned by {turned} {turn}{shadow}")
}

/// What the readings mean, once for all photos.
pub fn meaning(glances: &[Glance]) -> String {
    let mut text = String::new();
    if glances.iter().any(|glance| glance.cord.iter().any(|cord| cord.offset.is_some())) {
        let (middle, half) = HEIGHT_MM;
        text.push_str(&paragraph(&format!(
            "The cord is measured from the lane's middle, in the card's own millimetres, towards the edge that is the upper one as the \
             card's print is read. It lies above the paper and so appears shifted away from the camera: a cord whose middle lies \
             {:.0} to {:.0} mm up is allowed for. Straight down over the lane the height matters least.",
            middle - half,
            middle + half
        )));
    }
    if glances.iter().any(|glance| !glance.cards.is_empty()) {
        if !text.is_empty() {
            text.push('\n');
        }
        text.push_str(&paragraph(NOT_SHOWN));
    }
    text
}

/// Why there is no figure of what stands above the cards.
pub const NOT_SHOWN: &str = "One photo can't show where rim, sprockets and frame stand, because of parallax: a point 300 mm above \
    the cards, seen 45 degrees off the upright, appears 300 mm away from its foot, and nothing in the photo says how high it is. \
    That takes two photos or more, and the command measure.";

/// What is missing for a measurement.
pub fn missing_in_words(missing: &[String], is_job: bool) -> String {
    if missing.is_empty() && is_job {
        return "Nothing is missing that a measurement needs.\n".to_owned();
    }
    let bullet = |line: &String| wrapped("  - ", "    ", line);
    let missing: String = missing.iter().map(bullet).collect();
    if is_job {
        return format!("Still missing for a measurement:\n{missing}");
    }
    // Photos that were named one by one are no job, whatever they show.
    let mut text = paragraph(&format!(
        "Still missing for a measurement: {PHOTOS_PER_SETUP} photos of each of {SETUPS} wheel positions, three from the left and three from the \
         right.{}",
        if missing.is_empty() { "" } else { " And as far as this shows:" }
    ));
    text.push_str(&missing);
    text
}
