//! Errors as people, printers and phones make them, drawn from stated distributions into a scene.

use sightcord::job::Assumed;

use super::geometry::{Pose, V3, turn};
use super::random::Random;
use super::scene::{Card, LensDrift, Shows, TabError, TruthScene};

/// Standard deviations of what goes wrong. The standard values are those that the program states in
/// its results; each is an estimate, common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Budget {
    /// Paper and glue under a tab, along the face's normal, mm.
    pub paper_and_glue_mm: f64,
    /// A tab that does not lie flat, along the face's normal, mm.
    pub not_flat_mm: f64,
    /// Tilt of a tab against its face, milliradians about each axis.
    pub tab_tilt_mrad: f64,
    /// A tab set sideways on a pointwise role (stations), mm along each axis.
    pub sideways_mm: f64,
    /// The same on a spindle end.
    pub spindle_sideways_mm: f64,
    /// A flag off its line, sideways and before or behind it, mm.
    pub flag_mm: f64,
    /// Scale of the whole print, relative, along and across.
    pub print_scale: f64,
    /// Scale of single cards on top of the whole print's.
    pub card_scale: f64,
    /// Bow of a card, mm, for each of its two terms.
    pub card_bow_mm: f64,
    /// Level of the whole bench, degrees along and across.
    pub bench_level_deg: f64,
    /// Tilt of each card on the bench, degrees along and across.
    pub card_tilt_deg: f64,
    /// A plumb line out of plumb, degrees each way.
    pub hang_deg: f64,
    /// Each end of the cord's mid-line moved by light and shadow in all photos alike, mm.
    pub cord_light_mm: f64,
    /// Middle of the gearbox sprocket's tabs off its centre, mm each way.
    pub gearbox_centre_mm: f64,
    /// Each end of the cord between one set-up and the next, mm.
    pub cord_moved_mm: f64,
    /// A rider's middle off the cord's axis, both its faces seen and one of them, and its
    /// bridge too long or too short, mm.
    pub rider_mm: f64,
    pub rider_one_face_mm: f64,
    pub rider_height_mm: f64,
    /// Focal length from photo to photo, relative.
    pub lens_focal: f64,
    /// Principal point from photo to photo, px each way.
    pub lens_centre_px: f64,
}

impl Budget {
    /// A perfect world.
    pub fn none() -> Self {
        Self {
            paper_and_glue_mm: 0.0,
            not_flat_mm: 0.0,
            tab_tilt_mrad: 0.0,
            sideways_mm: 0.0,
            spindle_sideways_mm: 0.0,
            flag_mm: 0.0,
            print_scale: 0.0,
            card_scale: 0.0,
            card_bow_mm: 0.0,
            bench_level_deg: 0.0,
            card_tilt_deg: 0.0,
            hang_deg: 0.0,
            cord_light_mm: 0.0,
            gearbox_centre_mm: 0.0,
            cord_moved_mm: 0.0,
            rider_mm: 0.0,
            rider_one_face_mm: 0.0,
            rider_height_mm: 0.0,
            lens_focal: 0.0,
            lens_centre_px: 0.0,
        }
    }

    /// The standard values, check lines not measured.
    pub fn standard() -> Self {
        Self {
            paper_and_glue_mm: 0.03,
            not_flat_mm: 0.05,
            tab_tilt_mrad: 1.0,
            sideways_mm: 0.3,
            spindle_sideways_mm: 0.7,
            flag_mm: 0.3,
            print_scale: 0.003,
            bench_level_deg: 0.15,
            card_tilt_deg: 0.06,
            hang_deg: 0.006,
            cord_light_mm: 0.03,
            gearbox_centre_mm: 5.0,
            cord_moved_mm: 0.1,
            rider_mm: 0.1,
            rider_one_face_mm: 0.15,
            rider_height_mm: 0.5,
            ..Self::none()
        }
    }

    /// A hurried job: a lens that refocuses, a poor printer, bowed cards, tabs set without care.
    pub fn hurried() -> Self {
        Self {
            paper_and_glue_mm: 0.1,
            not_flat_mm: 0.2,
            tab_tilt_mrad: 4.0,
            sideways_mm: 1.0,
            spindle_sideways_mm: 2.0,
            flag_mm: 1.0,
            print_scale: 0.01,
            card_bow_mm: 0.5,
            lens_focal: 0.01,
            lens_centre_px: 8.0,
            ..Self::standard()
        }
    }

    /// What a job.toml would say of this budget.
    pub fn declared(&self) -> Assumed {
        Assumed {
            paper_u_mm: 2.0 * self.paper_and_glue_mm,
            flat_u_mm: 2.0 * self.not_flat_mm,
            place_u_mm: 2.0 * self.sideways_mm,
            spindle_place_u_mm: 2.0 * self.spindle_sideways_mm,
            flag_u_mm: 2.0 * self.flag_mm,
            print_u_percent: 200.0 * self.print_scale,
            card_bow_u_mm: 2.0 * self.card_bow_mm.max(0.5),
            focus_u_percent: 200.0 * self.lens_focal.max(1e-3),
            lens_centre_u_px: 2.0 * self.lens_centre_px.max(3.0),
            ..Assumed::default()
        }
    }

    /// The standard values with the check lines of the print measured.
    pub fn measured_print() -> Self {
        Self { print_scale: 0.0005, ..Self::standard() }
    }
}

impl TruthScene {
    /// The same scene with errors drawn from a budget. The expected figures stay those of the bike;
    /// the level of the bench and the cards' own poses change with what is drawn.
    pub fn with_errors(&self, budget: &Budget, seed: u64) -> Self {
        let mut scene = Self { seed, ..self.clone() };
        let mut random = Random::stream(seed, &[3]);
        scene.draw_print(budget, &mut random);
        scene.draw_bench(budget, &mut random);
        scene.draw_tabs(budget, &mut random);
        scene.draw_lens(budget, &mut random);
        scene.draw_riders(budget, &mut Random::stream(seed, &[4]));
        scene
    }

    fn draw_print(&mut self, budget: &Budget, random: &mut Random) {
        self.print.scale_error = [0, 1].map(|_| random.gauss(budget.print_scale));
        for card in &mut self.bench.cards {
            self.print
                .card_scale_error
                .insert(card.number, [0, 1].map(|_| random.gauss(budget.card_scale)));
            card.bow_mm = [0, 1].map(|_| random.gauss(budget.card_bow_mm));
        }
    }

    fn draw_bench(&mut self, budget: &Budget, random: &mut Random) {
        // Front high is a turn about y by the left hand.
        let [along, across] = [0, 1].map(|_| random.gauss(budget.bench_level_deg));
        let tilt = turn(V3::y(), -along) * turn(V3::x(), across);
        for card in &mut self.bench.cards {
            if budget.card_tilt_deg > 0.0 {
                // The sheet's own lie takes the place of what the scene gave it.
                let flat = Card::lying(
                    card.number,
                    card.pose.origin.x,
                    card.pose.origin.y,
                    turn_of(&card.pose),
                );
                let [x, y] = [0, 1].map(|_| random.gauss(budget.card_tilt_deg));
                card.pose =
                    Pose { origin: card.pose.origin, ..flat.pose.nudged(V3::zeros(), [x, y]) };
            }
            card.pose.rotation = tilt * card.pose.rotation;
            card.pose.origin = tilt * card.pose.origin;
        }
        if budget.card_tilt_deg > 0.0 {
            self.bench.level_deg = Some([along, across]);
        }
        self.bench.cord.seen_off_mm = [0, 1].map(|_| random.gauss(budget.cord_light_mm));
        for line in &mut self.bike.frame.plumb_lines {
            line.out_of_plumb_deg = [0, 1].map(|_| random.gauss(budget.hang_deg));
        }
        self.bike.gearbox.tabs_off_mm = [0, 1].map(|_| random.gauss(budget.gearbox_centre_mm));
        for setup in self.setups.iter_mut().filter(|s| s.shows == Shows::Bike).skip(1) {
            setup.cord_moved_mm = [0, 1].map(|_| random.gauss(budget.cord_moved_mm));
        }
    }

    fn draw_tabs(&mut self, budget: &Budget, random: &mut Random) {
        for number in 1..=64u8 {
            let mut error = TabError {
                normal_mm: random.gauss(budget.paper_and_glue_mm.hypot(budget.not_flat_mm)),
                tilt_deg: [0, 1].map(|_| random.gauss(budget.tab_tilt_mrad * 1e-3).to_degrees()),
                sideways_mm: [0, 1].map(|_| random.normal()),
            };
            let (sideways, off_line) = match number {
                11 | 12 => (budget.spindle_sideways_mm, None),
                13..=20 => (budget.sideways_mm, None),
                21..=30 => (budget.flag_mm, Some(random.gauss(budget.flag_mm))),
                _ => (0.0, None),
            };
            error.sideways_mm = error.sideways_mm.map(|s| s * sideways);
            if let Some(off_line) = off_line {
                error.normal_mm = off_line;
            }
            self.tab_errors.insert(number, error);
        }
    }

    fn draw_riders(&mut self, budget: &Budget, random: &mut Random) {
        for rider in &mut self.bench.riders {
            let one_face = rider.faces != [true, true];
            rider.across_mm =
                random.gauss(if one_face { budget.rider_one_face_mm } else { budget.rider_mm });
            rider.short_mm = random.gauss(budget.rider_height_mm);
            // Paper and glue of a rider are in what it is off as a whole.
            for number in [rider.number, rider.number + 1] {
                self.tab_errors.entry(number).or_default().normal_mm = 0.0;
            }
        }
    }

    fn draw_lens(&mut self, budget: &Budget, random: &mut Random) {
        for photo in self.setups.iter_mut().flat_map(|s| &mut s.photos) {
            photo.drift = LensDrift {
                focal: random.gauss(budget.lens_focal),
                centre_px: [0, 1].map(|_| random.gauss(budget.lens_centre_px)),
            };
        }
    }
}

/// By how much a card is turned to the left on the bench, degrees.
fn turn_of(pose: &Pose) -> f64 {
    pose.rotation[(1, 0)].atan2(pose.rotation[(0, 0)]).to_degrees()
}
