//! What the phone answers to one photo: a word, and what to do.

use crate::figure::Side;
use crate::glance::missing::{has_tab, wanted};
use crate::glance::seen::{BLURRED, Glance, SeenPattern};
use crate::glance::stand::{Stand, faces};
use crate::job::{Job, Role};
use crate::photo::PhotoFacts;
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
    /// It counts, and another one could be better.
    Fair,
    /// It counts for little: take it again.
    Poor,
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
            Grade::Fair => "Kept, but",
            Grade::Poor => "Again, please",
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
    let (mut poor, mut fair) = (Vec::new(), Vec::new());
    if glance.blur_px.is_some_and(|blur| blur > BLURRED) {
        poor.push(match seen.light < DARK {
            true => "Too dark: smeared. Turn a lamp on, and hold the phone against something.",
            false => {
                "Smeared. Hold the phone against something, and wait until the picture is sharp."
            }
        });
    }
    if glance.cards.len() == 1 {
        fair.push("Only one card. Step back until two are whole in the picture.".to_owned());
    }
    if glance.tabs.is_empty() {
        fair.push(
            "No tab is read. Have wheel and cards in one picture, and step closer.".to_owned(),
        );
    }
    fair.extend(hidden(seen, job, chain_side, wanting));
    // Flags and riders serve lines; they are read from further away than tabs that show a plane.
    let needed = wanted(job);
    let is_small = |tab: &&SeenPattern| tab.cell_px < SMALL_CELL && needed.contains(&tab.number);
    let small: Vec<u8> = glance.tabs.iter().filter(is_small).map(|tab| tab.number).collect();
    if !small.is_empty() {
        let look = if small.len() == 1 { "looks" } else { "look" };
        fair.push(format!("A step closer: {} {look} small.", named("tab", &small)));
    }
    let grade = match (poor.is_empty(), fair.is_empty()) {
        (true, true) => Grade::Good,
        (true, false) => Grade::Fair,
        (false, _) => Grade::Poor,
    };
    let advice = poor.into_iter().map(str::to_owned).chain(fair).collect();
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
