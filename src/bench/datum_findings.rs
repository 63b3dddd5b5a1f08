//! Findings about a datum that riders and edges show differently.

use crate::figure::{Figure, RIDERS};
use crate::finding::Finding;
use crate::measurement::Quality;
use crate::say;
use crate::text::{Amount, Sentence};

/// The finding that sources of the datum contradict each other.
pub const DISAGREE: &str = "datum-disagrees";

fn offsets_in_words(by: &[(String, f64)]) -> Sentence {
    let mut all = Sentence::default();
    for (i, (words, off)) in by.iter().enumerate() {
        let comma = if i == 0 { "" } else { ", " };
        let side = if *off >= 0.0 { "left" } else { "right" };
        all = say![all, comma, Amount::tenths(off.abs()), format!(" to the {side} at {words}")];
    }
    all
}

pub fn disagree(with_edges: bool, by: &[(String, f64)]) -> Finding {
    let what = if with_edges {
        say![
            "The cord's edges and the riders disagree: the riders put the cord ",
            offsets_in_words(by),
            ". One of the two is wrong, so nothing is measured from the cord.",
        ]
    } else {
        say![
            "The riders do not stand in one line; measured from one, they put the cord ",
            offsets_in_words(by),
            ". One of them is wrong, so nothing is measured from the cord.",
        ]
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
        say![
            format!("The rider with {words} puts the cord "),
            Amount::tenths(off.abs()),
            " away from where all the others put it; it was left out.",
        ],
        "See that it sits on the cord, folded round it and glued flat, and take photos of it again.",
    )
    .about(RIDERS)
}

pub fn one_place(riders: usize) -> Finding {
    let what = if riders < 2 {
        "The cord's edges can't be seen well enough here, and one rider alone shows no direction; so nothing is measured from the cord."
    } else {
        "The cord's edges can't be seen well enough here, and the riders stand too close together to show its direction; so nothing is measured from the cord."
    };
    Finding::refused(
        "riders-too-few",
        what,
        "Put two riders on the cord (sightcord sheets print --cards none --tabs 39-42), 600 mm or more apart, and photograph both faces of each from two places.",
    )
    .about(Figure::WheelOffset)
}

pub fn from_riders(quality: Quality) -> Finding {
    match quality {
        Quality::Good => Finding::note(
            "datum-from-riders",
            "Light and shadow hide the cord's edges here: the riders on the cord are the datum.",
            "Nothing to do.",
        ),
        Quality::Single => Finding::warning(
            "datum-single",
            "Light and shadow hide the cord's edges here, and the riders confirm each other too little: what depends on the cord gets no \
             verdict.",
            "Put two riders on the cord 600 mm or more apart, with both faces of each in two photos from places a pace apart, or a third one.",
        ),
    }
    .about(RIDERS)
}

pub fn riders_moved() -> Finding {
    Finding::warning(
        "cord-moved",
        "The riders have moved sideways since the first set-up; all was measured from the cord's place in the first.",
        "Fasten the cord so that nobody can knock it, and take all photos again if the frame's figures matter.",
    )
    .about(Figure::CordMoved)
}
