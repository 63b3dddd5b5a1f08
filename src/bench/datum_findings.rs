//! What is said of a datum that riders and edges do not tell alike.

use crate::figure::Figure;
use crate::finding::Finding;
use crate::measurement::Quality;

use super::riders::RIDERS;

/// What contradicting sources of the datum are told under.
pub const DISAGREE: &str = "datum-disagrees";

fn told_apart(by: &[(String, f64)]) -> String {
    let each = by.iter().map(|(words, off)| {
        let side = if *off >= 0.0 { "left" } else { "right" };
        format!("{:.1} mm to the {side} at {words}", off.abs())
    });
    each.collect::<Vec<String>>().join(", ")
}

pub fn disagree(with_edges: bool, by: &[(String, f64)]) -> Finding {
    let what = if with_edges {
        format!(
            "The cord's edges and the riders disagree: by the riders the cord runs {}. One of the two is wrong, so that nothing is told from \
             the cord.",
            told_apart(by)
        )
    } else {
        format!(
            "The riders do not stand in one line: by them the cord runs {} of it. One of them is wrong, so that nothing is told from the cord.",
            told_apart(by)
        )
    };
    Finding::refused(
        DISAGREE,
        what,
        "See that each rider sits on the cord, folded round it and glued flat, and that the cord touches nothing; light the cord from \
         both sides, or put a third rider on it. Then take the photos again.",
    )
    .about(Figure::WheelOffset)
}

pub fn left_out(words: &str, off: f64) -> Finding {
    Finding::warning(
        "rider-left-out",
        format!("The rider with {words} has the cord {:.1} mm elsewhere than all the rest; it was left out.", off.abs()),
        "See that it sits on the cord, folded round it and glued flat, and take photos of it again.",
    )
    .about(RIDERS)
}

pub fn one_place(riders: usize) -> Finding {
    let what = if riders < 2 {
        "The cord's edges can't be told here, and one rider alone tells no direction; so nothing is told from the cord."
    } else {
        "The cord's edges can't be told here, and the riders stand too close together to tell its direction; so nothing is told from the cord."
    };
    Finding::refused(
        "riders-too-few",
        what,
        "Put two riders on the cord (sheets --tabs 39-42), 600 mm or more apart, and photograph both faces of each from two places.",
    )
    .about(Figure::WheelOffset)
}

pub fn from_riders(quality: Quality) -> Finding {
    match quality {
        Quality::Good => Finding::note(
            "datum-from-riders",
            "The cord's edges can't be told from light and shadow here: the datum is told by the riders on the cord.",
            "Nothing to do.",
        ),
        Quality::Single => Finding::warning(
            "datum-single",
            "The cord's edges can't be told from light and shadow here, and the riders that tell the datum confirm each other too little: \
             no verdict is given on what is told from the cord.",
            "Put two riders on the cord 600 mm or more apart, with both faces of each in two photos from places a pace apart, or a third one.",
        ),
    }
    .about(RIDERS)
}

pub fn riders_moved() -> Finding {
    Finding::warning(
        "cord-moved",
        "The riders stand elsewhere across in a later set-up than in the first; all was measured from the cord's place in the first.",
        "Fasten the cord so that nobody can knock it, and take all photos again if the frame's figures matter.",
    )
    .about(Figure::CordMoved)
}
