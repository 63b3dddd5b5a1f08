//! What the phone answers to one photo: a word, and what to do.

use crate::figure::Side;
use crate::glance::missing::{has_tab, wanted};
use crate::glance::seen::{BLURRED, Glance, SeenPattern};
use crate::glance::stand::{Stand, faces};
use crate::job::{Job, Role};
use crate::photo::{LinearImage, PhotoFacts};
use crate::report::numbers::named;

/// Cells smaller than this, px, are worth a step closer: from 8 px on nearly all tabs are found.
const SMALL_CELL: f64 = 8.0;
/// The brightest paper of a photo below this light (1 is white) makes it a dark one: a blur in it
/// comes from a long exposure.
pub const DARK: f32 = 0.12;

/// How good a photo is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Grade {
    #[default]
    Good,
    /// It counts; the next one could be better.
    Fair,
    /// It counts, and another one from nearly the same place would show what it lacks.
    Another,
    /// The tally does not count it: take it again.
    Poor,
}

impl Grade {
    /// Whether another one from here is asked for.
    pub fn wants_another(self) -> bool {
        matches!(self, Self::Another | Self::Poor)
    }
}

/// The answer to a photo.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Answer {
    pub grade: Grade,
    /// What to do, the gravest first; one sentence each.
    pub advice: Vec<String>,
    /// What is only worth knowing.
    pub notes: Vec<String>,
}

impl Answer {
    /// The word over the picture.
    pub fn word(&self) -> &'static str {
        match self.grade {
            Grade::Good => "Good",
            Grade::Fair => "Good enough, walk on",
            Grade::Another => "Kept. Take one more here",
            Grade::Poor => "Take this one again",
        }
    }
}

/// What a photo was found to be, beyond what a glance shows.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    pub glance: &'a Glance,
    /// Where it was taken from, as far as it shows.
    pub stand: Option<Stand>,
    pub facts: &'a PhotoFacts,
    /// The light of the photo's brightest parts.
    pub light: f32,
}

/// Judges a photo. `wanting` names the tabs that its position still wants, `chain_side` the chain's
/// side as far as it is known.
pub fn answer(seen: &Seen, job: &Job, chain_side: Option<Side>, wanting: &[u8]) -> Answer {
    let glance = seen.glance;
    let (mut poor, mut another, mut fair) = (Vec::new(), Vec::new(), Vec::new());
    if glance.blur_px.is_some_and(|blur| blur > BLURRED) {
        poor.push(match seen.light < DARK {
            true => {
                "Too dark: smeared, and not counted. Turn a lamp on, and hold the phone against something."
            }
            false => {
                "Smeared, and not counted. Hold the phone against something, and wait until the picture is sharp."
            }
        });
    }
    if glance.cards.len() == 1 {
        another.push("Only one card. Step back until two are whole in the picture.".to_owned());
    }
    if glance.tabs.is_empty() {
        another.push(
            "No tab is read. Have wheel and cards in one picture, and step closer.".to_owned(),
        );
    }
    another.extend(hidden(seen, job, chain_side, wanting));
    // Flags and riders serve lines; they are read from further away than tabs that show a plane.
    let needed = wanted(job);
    let is_small = |tab: &&SeenPattern| tab.cell_px < SMALL_CELL && needed.contains(&tab.number);
    let small: Vec<u8> = glance.tabs.iter().filter(is_small).map(|tab| tab.number).collect();
    if !small.is_empty() {
        let look = if small.len() == 1 { "looks" } else { "look" };
        fair.push(format!("Next time a step closer: {} {look} small.", named("tab", &small)));
    }
    let grade = match (poor.is_empty(), another.is_empty(), fair.is_empty()) {
        (false, ..) => Grade::Poor,
        (_, false, _) => Grade::Another,
        (.., false) => Grade::Fair,
        _ => Grade::Good,
    };
    let advice = poor.into_iter().map(str::to_owned).chain(another).chain(fair).collect();
    Answer { grade, advice, notes: notes(seen) }
}

/// A tab that faces the camera's side, is still wanted and isn't in the picture: something hides
/// it, or it lies outside.
fn hidden(seen: &Seen, job: &Job, chain_side: Option<Side>, wanting: &[u8]) -> Option<String> {
    let side = seen.stand?.side;
    let missed = |number: &u8| {
        let role = job.tab(*number).role;
        matches!(role, Role::RearRim { .. })
            && faces(role, chain_side) == Some(side)
            && !has_tab(seen.glance, *number)
    };
    let missed = wanting.iter().copied().find(missed)?;
    Some(format!(
        "Tab {missed} ({}) isn't seen: hidden, or out of the picture. A pace to the side, and again.",
        job.tab(missed).words()
    ))
}

fn notes(seen: &Seen) -> Vec<String> {
    let exif = &seen.facts.exif;
    let mut notes = Vec::new();
    if exif.focal_length_35mm.is_none() && exif.make.is_none() && exif.model.is_none() {
        notes.push(
            "The browser took the camera's own data (EXIF) out of the picture. It is used all the same: the cards then give the \
             lens, a little less surely. \"Choose photos\" may keep the data."
                .to_owned(),
        );
    }
    notes.extend(
        seen.facts.findings("This photo").into_iter().map(|finding| finding.what.to_string()),
    );
    notes
}

/// The light that a twentieth of the pixels reach, 1 being white.
pub fn bright_light(data: &[f32]) -> f32 {
    /// Every so-manieth pixel is enough.
    const STRIDE: usize = 97;
    let mut light: Vec<f32> = data.iter().step_by(STRIDE).copied().collect();
    if light.is_empty() {
        return 0.0;
    }
    let at = light.len() * 19 / 20;
    *light.select_nth_unstable_by(at, f32::total_cmp).1
}

/// Whether a whole photo is smeared: its steepest edges rise over many pixels, along the rows or
/// along the columns (a hand that moves smears one way alone). For photos in which no card is
/// read; where one is, its own corners tell.
pub fn is_smeared(light: &LinearImage) -> bool {
    /// An edge is taken to have risen wholly over so many px.
    const WHOLE: usize = 8;
    /// Of a sharp edge's rise a third or more lies between two neighbours; at a blur of 2 px
    /// (Gaussian) a fifth.
    const SHARP: f32 = 0.2;
    let (wide, high) = (light.width(), light.height());
    if wide <= WHOLE || high <= WHOLE {
        return false;
    }
    let share = |at: &dyn Fn(usize, usize) -> f32, lines: usize, along: usize| {
        let rise = |apart: usize| {
            let lines = (0..lines).step_by(1 + lines / 150);
            let rises =
                lines.flat_map(|line| (0..along - apart).step_by(3).map(move |x| (line, x)));
            steepest(rises.map(|(line, x)| (at(line, x + apart) - at(line, x)).abs()).collect())
        };
        rise(1) / rise(WHOLE).max(f32::MIN_POSITIVE)
    };
    let along_rows = share(&|v, u| light.at(u, v), high, wide);
    let along_columns = share(&|u, v| light.at(u, v), wide, high);
    along_rows.min(along_columns) < SHARP
}

/// The rise that one in a thousand reaches.
fn steepest(mut rises: Vec<f32>) -> f32 {
    let Some(last) = rises.len().checked_sub(1) else { return 0.0 };
    let at = last - last / 1000;
    *rises.select_nth_unstable_by(at, f32::total_cmp).1
}
