//! Riders on the datum cord: which of them can be used, and where each puts the cord's
//! axis.

use std::collections::BTreeMap;

use nalgebra::Vector3;

use crate::figure::{Kind, RIDERS};
use crate::finding::Finding;
use crate::say;
use crate::scene::strings::riders::{LEAST_UPRIGHT, axis_below};
use crate::scene::{Solution, State};
use crate::text::Amount;

use super::figures::Side;
use super::ground::CardPlane;
use super::nuisance::{Nuisance, Shift};
use super::settings::{BenchSettings, Part};
use super::views::Views;

/// One face of a rider: index into `State::tabs`, what lies between the pattern and the strip's
/// middle, and the side it looks to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RiderFace {
    pub tab: usize,
    pub number: u8,
    pub paper_mm: f64,
    pub side: Side,
}

/// One rider by the faces that serve: in all set-ups, or, where it was moved between them, in one.
#[derive(Clone, Debug, PartialEq)]
pub struct StandingRider {
    /// Riders count from 1.
    pub rider: u8,
    /// None: it stayed where it was in all.
    pub setup: Option<usize>,
    /// What part of the photos that tell it belongs to set-ups after the first.
    pub later: f64,
    pub faces: Vec<RiderFace>,
    /// Standard uncertainty across, mm: one error for the rider, however many photos and set-ups
    /// show it.
    pub sigma: f64,
}

/// By how much the two faces of one rider may disagree about the cord, mm: paper that is half a
/// millimetre thick with its glue, or faces that gape by three degrees, stay below.
const FACES_AGREE: f64 = 1.5;
/// Heights of a cord's axis above the cards that are believed, mm: it lies 1 to 8 mm up, and a card
/// may be bowed.
const HEIGHTS: std::ops::RangeInclusive<f64> = -2.0..=25.0;

impl StandingRider {
    /// The cord's axis where the rider stands, in the world. Midway between two faces the paper's
    /// thickness drops out.
    pub fn axis(&self, state: &State, shift: &Shift) -> Vector3<f64> {
        let n = self.faces.len().max(1) as f64;
        let at = |face: &RiderFace| axis_below(state, &state.tabs[face.tab], face.paper_mm);
        let middle = self.faces.iter().map(at).sum::<Vector3<f64>>() / n;
        let [across, up] = self.directions(state);
        middle
            + across * shift.of(Nuisance::RiderAcross(self.rider))
            + up * shift.of(Nuisance::RiderHeight(self.rider))
    }

    /// Square to the strip, from its right face to its left one, and up the strip; unit vectors in
    /// the world.
    fn directions(&self, state: &State) -> [Vector3<f64>; 2] {
        let column = |face: &RiderFace, way: usize| {
            state.tabs[face.tab].carrier_from_tab.r.column(way).into_owned()
        };
        let across =
            self.faces.iter().map(|face| column(face, 2) * face.side.sign()).sum::<Vector3<f64>>();
        let up = self.faces.iter().map(|face| column(face, 1)).sum::<Vector3<f64>>();
        [across, up].map(|v| v.try_normalize(1e-6).unwrap_or_else(Vector3::zeros))
    }

    /// Square of the standard uncertainty of the world's y that the rider's own errors give, and
    /// their covariance with those of the same rider in another set-up.
    pub fn own_covariance(&self, other: &Self, state: &State, height_sigma: f64) -> f64 {
        if self.rider != other.rider {
            return 0.0;
        }
        let ([a, up_a], [b, up_b]) = (self.directions(state), other.directions(state));
        a.y * b.y * self.sigma * other.sigma + up_a.y * up_b.y * height_sigma * height_sigma
    }

    /// "tab 39", "tabs 39 and 40".
    pub fn words(&self) -> String {
        match &self.faces[..] {
            [one] => format!("tab {}", one.number),
            faces => format!(
                "tabs {}",
                super::words::listed(&faces.iter().map(|face| face.number).collect())
            ),
        }
    }
}

/// The riders that serve, set-up by set-up; a finding for each that does not.
pub fn standing_riders(
    solution: &Solution,
    settings: &BenchSettings,
    views: &Views,
    up: &Vector3<f64>,
    plane: Option<&CardPlane>,
    findings: &mut Vec<Finding>,
) -> Vec<StandingRider> {
    let state = &solution.state;
    let mut seen: BTreeMap<(u8, Option<usize>), Vec<RiderFace>> = BTreeMap::new();
    for mark in &settings.marks {
        let Part::CordRider { rider, side } = mark.part else { continue };
        for (tab, entry) in
            state.tabs.iter().enumerate().filter(|(_, tab)| tab.number == mark.number)
        {
            let face = RiderFace { tab, number: mark.number, paper_mm: mark.thickness, side };
            seen.entry((rider, entry.only_setup)).or_default().push(face);
        }
    }
    let first = first_setup(solution, settings, &seen);
    let mut standing: Vec<StandingRider> = Vec::new();
    // What is wrong with a rider is reported once, not for each set-up.
    let mut reported: BTreeMap<(u8, &'static str), Finding> = BTreeMap::new();
    for ((rider, setup), mut faces) in seen {
        let all = StandingRider { rider, setup, later: 0.0, faces: faces.clone(), sigma: 0.0 };
        let words = all.words();
        faces.retain(|face| views.tab_is_good(solution, face.tab));
        if faces.is_empty() {
            reported.entry((rider, "rider-seen-poorly")).or_insert_with(|| seen_poorly(&words));
            continue;
        }
        let assumed = &settings.assumed;
        let sigma =
            if faces.len() > 1 { assumed.rider_u_mm } else { assumed.rider_one_face_u_mm } / 2.0;
        let photos =
            faces.iter().flat_map(|face| views.setups_of(face.tab)).collect::<Vec<usize>>();
        let later = photos.iter().filter(|setup| **setup != first).count() as f64
            / photos.len().max(1) as f64;
        let mut rider_here = StandingRider { rider, setup, later, faces, sigma };
        let [_, along] = rider_here.directions(state);
        if along.dot(up) < LEAST_UPRIGHT {
            let lean = along.dot(up).clamp(-1.0, 1.0).acos().to_degrees();
            reported.entry((rider, "rider-leans")).or_insert_with(|| leans(&words, lean));
            continue;
        }
        let axis = rider_here.axis(state, &Shift(None));
        let height = plane.map_or(0.0, |plane| (axis - plane.point).dot(&plane.normal));
        let disagree = faces_disagree(&rider_here, state);
        if !HEIGHTS.contains(&height) || disagree > FACES_AGREE {
            reported
                .entry((rider, "rider-not-on-cord"))
                .or_insert_with(|| not_on_cord(&words, height, disagree));
            continue;
        }
        // Where the faces disagree one of them is wrong and the middle by half of that: covered at
        // k = 2.
        rider_here.sigma = rider_here.sigma.max(disagree / 4.0);
        standing.push(rider_here);
    }
    let serves = |rider: u8| standing.iter().any(|s| s.rider == rider);
    // A rider that serves in one set-up is not missed in the other.
    findings.extend(
        reported
            .into_iter()
            .filter(|((rider, id), _)| *id != "rider-seen-poorly" || !serves(*rider))
            .map(|(_, f)| f),
    );
    standing
}

/// The set-up whose cord is the datum: the first cord's, or the first that shows a rider.
fn first_setup(
    solution: &Solution,
    settings: &BenchSettings,
    seen: &BTreeMap<(u8, Option<usize>), Vec<RiderFace>>,
) -> usize {
    let bench = (0..settings.setups.len()).find(|setup| !settings.lens_only[*setup]).unwrap_or(0);
    let of_riders = seen.keys().map(|(_, setup)| setup.unwrap_or(bench)).min();
    solution.state.cords.first().map(|cord| cord.setup).or(of_riders).unwrap_or(bench)
}

/// How far apart two faces have the cord, square to the strip, mm; zero for one face alone.
fn faces_disagree(rider: &StandingRider, state: &State) -> f64 {
    let [across, _] = rider.directions(state);
    match &rider.faces[..] {
        [a, b, ..] => {
            let at = |face: &RiderFace| axis_below(state, &state.tabs[face.tab], face.paper_mm);
            (at(a) - at(b)).dot(&across).abs()
        }
        _ => 0.0,
    }
}

fn seen_poorly(words: &str) -> Finding {
    Finding::note(
        "rider-seen-poorly",
        format!("The rider with {words} was not seen in two photos from places 10 degrees or more apart; it was not used."),
        "Take two photos of each of its faces, a pace apart, with two cards in them.",
    )
    .about(RIDERS)
}

fn leans(words: &str, lean: f64) -> Finding {
    Finding::refused(
        "rider-leans",
        format!(
            "The rider with {words} leans by {lean:.0} degrees; beyond 15 it no longer shows where the cord is, and was left out."
        ),
        "Set it upright on the cord: a rider that will not stand is too loose on it; print its bridge for the cord's thickness \
         (sheets --cord-mm), or pinch it tighter.",
    )
    .about(RIDERS)
}

fn not_on_cord(words: &str, height: f64, disagree: f64) -> Finding {
    let why = if disagree > FACES_AGREE {
        say!["its two faces disagree by ", Amount::tenths(disagree), " about where the cord is"]
    } else {
        say![
            "the cord would run ",
            Amount::to_places(height, 0, Kind::Length),
            " above the cards there"
        ]
    };
    Finding::refused(
        "rider-not-on-cord",
        say![format!("The rider with {words} does not sit on the cord as it should: "), why, ". It was left out."],
        "Fold the strip round the cord with the patterns outside, glue it back to back down to the marks, and take the photos again.",
    )
    .about(RIDERS)
}
