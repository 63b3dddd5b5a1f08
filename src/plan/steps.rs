//! What to adjust, in the order of the work, each step worked out with the ones before it taken as
//! done.
//!
//! A figure that is out asks for a step; one that is undecided asks for a better measurement. Only
//! where an earlier step disturbs the bike anyway, and an undecided figure is then expected beyond
//! its tolerance, it is put right as well.

use super::cautions;
use super::choices;
use super::foreseen::{Foreseen, scale_answer};
use super::limits;
use super::moves::{Move, Places};
use super::outcome::{Decision, Direction, Expected, PlanStep, StepKind, Unit};
use super::refer;
use super::settings::PlanSettings;
use super::tolerance::{Reference, Tolerance, between_ends, judge};
use super::words::{by, centre_in_words, chain_in_words, square_in_words};
use crate::bench::Figures;
use crate::figure::{Figure, Side};
use crate::finding::Finding;
use crate::job::SpacerKind;
use crate::measurement::{Measurement, Quality};
use crate::say;
use crate::text::{Amount, Sentence};

/// Adjusters sit inboard of the spindle's ends by a nut and some thread on either side: where only
/// the ends were measured, this is the U of their distance as the adjusters' (mm; common practice,
/// no source).
const SPACING_FROM_ENDS_U_MM: f64 = 20.0;

/// How far apart adjusters are where nothing is known, mm; only for how finely the wheel can be set
/// (common practice, no source).
const USUAL_SPACING_MM: f64 = 200.0;

/// Half the width of what a setting is good to, mm: an end set by a steel rule without counting
/// flats, a spacer turned to a tenth, a rim pulled by its spokes, a frame hung by plumb lines
/// (common practice, no source). Taken as evenly spread.
const RULE_HALF_WIDTH_MM: f64 = 0.25;
const SPACER_HALF_WIDTH_MM: f64 = 0.05;
const RIM_HALF_WIDTH_MM: f64 = 0.25;
const HANGING_HALF_WIDTH_MM: f64 = 0.5;

/// Length over which the frame's direction is set when it is hung, mm (common practice, no source).
const HANGING_BASE_MM: f64 = 500.0;

/// A move as large as this is more often a mistaken tab than a bent motorcycle, mm (common
/// practice, no source).
const UNUSUAL_MOVE_MM: f64 = 25.0;

/// Standard deviation of what is evenly spread over twice this half-width.
fn evenly(half_width: f64) -> f64 {
    half_width / 3.0f64.sqrt()
}

/// The steps, what to expect when all are done, and what to know about them.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    pub steps: Vec<PlanStep>,
    pub expected: Expected,
    pub findings: Vec<Finding>,
}

/// Works out the plan.
pub fn make_plan(input: &Figures, settings: &PlanSettings, tolerances: &[Tolerance]) -> Plan {
    let chain_side = input.measured.facts.chain_side.or(settings.chain_side);
    let mut planner = Planner {
        input,
        settings,
        tolerances,
        reference: Reference::of(&input.measured),
        chain_side,
        places: Places::of(input, chain_side.unwrap_or(Side::Left), positive(settings.spacing_mm)),
        foreseen: Foreseen::measured(input),
        steps: Vec::new(),
        findings: Vec::new(),
    };
    planner.say_what_stands_for_the_frame();
    planner.rehang();
    planner.square();
    planner.chain();
    planner.centre();
    planner.refer();
    Plan { expected: planner.expected(), steps: planner.steps, findings: planner.findings }
}

struct Planner<'a> {
    input: &'a Figures,
    settings: &'a PlanSettings,
    tolerances: &'a [Tolerance],
    reference: Reference,
    chain_side: Option<Side>,
    places: Places,
    foreseen: Foreseen,
    steps: Vec<PlanStep>,
    findings: Vec<Finding>,
}

impl Planner<'_> {
    /// The foreseen figure where it asks for a step, and a caution where it does so without being
    /// shown to be out.
    fn asks(&mut self, field: &Figure) -> Option<(Measurement, Option<Sentence>)> {
        let tolerance = self.tolerances.iter().find(|tolerance| tolerance.field == *field)?;
        let figure = self.foreseen.figure(field)?;
        let per_percent = self.per_percent(field);
        let beyond = (figure.value - tolerance.nominal).abs() > tolerance.limit;
        let disturbed = !self.steps.is_empty() && figure.quality == Quality::Good;
        match judge(tolerance, Some(figure), per_percent).verdict {
            Decision::Out => Some((figure, None)),
            Decision::Undecided if disturbed && beyond => {
                Some((figure, Some(say![cautions::MEASURE_FIRST])))
            }
            Decision::Undecided if disturbed => {
                let what = say![
                    format!("When the steps before are done, {} is expected at ", field.name()),
                    Amount::with_u(&figure, tolerance.unit),
                    ": too close to its limit to say in or out.",
                ];
                self.findings.push(
                    Finding::note("plan-measure-again", what, "Measure again after those steps.")
                        .about(field),
                );
                None
            }
            Decision::In | Decision::Undecided => None,
        }
    }

    /// Takes a move as done.
    fn carry(&mut self, step: Move, fineness: &[f64]) {
        let places = &self.places;
        self.foreseen =
            self.foreseen.after(fineness, |values, errors| step.carry(places, values, errors));
    }

    fn push(&mut self, step: PlanStep) {
        let n = self.steps.len() as u32 + 1;
        let mut step = PlanStep { n, after: self.expected(), ..step };
        if limits::needs_engineer(&step) {
            step.dangers.push(say![limits::ENGINEER]);
        }
        if let Some(beyond) = limits::beyond(&step) {
            step.dangers.push(beyond);
        }
        if step.distance.is_some_and(|distance| distance.value > UNUSUAL_MOVE_MM) {
            step.dangers.push(say![cautions::UNUSUALLY_FAR]);
        }
        self.steps.push(step);
    }

    fn say_what_stands_for_the_frame(&mut self) {
        if self.foreseen.get(&self.reference.offset).is_none() {
            return;
        }
        if self.reference.offset != Figure::WheelInFrameOffset {
            let what = "No plumb line or pair of stations shows the frame's centre, so the cord is taken for the frame.";
            let advice = "Hang a plumb line from the frame's centre, or two some way apart, if the frame itself is in question.";
            self.findings
                .push(Finding::note("frame-not-known", what, advice).about(&Figure::FrameOffset));
        } else if self.foreseen.get(&Figure::FrameYaw).is_none() {
            // The bench then gives the wheel's yaw in the frame as that over the cord, or none:
            // either way it leans on this.
            let what =
                "The frame's centre is known at one place only: it is taken to run along the cord.";
            let advice = say![
                "Hang a second plumb line, or stick a pair of stations, ",
                Amount::mm(200.0),
                " or more from the first along the bike.",
            ];
            self.findings.push(
                Finding::warning("frame-yaw-not-known", what, advice).about(&Figure::FrameYaw),
            );
        }
    }

    fn rehang(&mut self) {
        let by_offset = self.asks(&Figure::FrameOffset);
        let by_yaw = self.asks(&Figure::FrameYaw);
        let Some((before, unsure)) = by_offset.clone().or(by_yaw.clone()) else { return };
        let offset = self.foreseen.figure(&Figure::FrameOffset);
        let yaw = self.foreseen.figure(&Figure::FrameYaw);
        let (off_mm, yaw_deg) =
            (offset.map_or(0.0, |figure| figure.value), yaw.map_or(0.0, |figure| figure.value));
        let fineness =
            [evenly(HANGING_HALF_WIDTH_MM), evenly(HANGING_HALF_WIDTH_MM / HANGING_BASE_MM)];
        self.carry(Move::Rehang { offset: off_mm, yaw: yaw_deg.to_radians() }, &fineness);
        let to = if off_mm > 0.0 { Side::Right } else { Side::Left };
        let shift = offset.map(|offset| say![by(&offset), format!(" to the {}", to.word())]);
        let turn = yaw.map(|yaw| {
            let front = if yaw_deg > 0.0 { Side::Right } else { Side::Left };
            say![
                Amount::measured(&yaw, Unit::Deg).size(),
                format!(" front to the {}", front.word())
            ]
        });
        let and = (shift.is_some() && turn.is_some()).then_some(" and ");
        self.push(PlanStep {
            step: StepKind::Rehang,
            action: say![
                "Hang the frame over the cord again: it has to go ",
                shift,
                and,
                turn,
                ". The wheel and the chain go with it."
            ],
            part: "frame".to_owned(),
            side: offset.map(|_| to),
            direction: offset
                .map(|_| if to == Side::Left { Direction::Left } else { Direction::Right }),
            distance: offset.map(|figure| Measurement { value: figure.value.abs(), ..figure }),
            applied_to: "frame".to_owned(),
            because: if by_offset.is_some() { Figure::FrameOffset } else { Figure::FrameYaw },
            before: Some(before),
            dangers: unsure.into_iter().collect(),
            cautions: vec![say![cautions::PROP], say![cautions::MEASURE_AFTER_HANGING]],
            ..blank()
        });
    }

    fn square(&mut self) {
        let Some((before, unsure)) = self.asks(&self.reference.yaw.clone()) else { return };
        let angle = -before.value.to_radians();
        let drawn =
            self.settings.draw.unwrap_or_else(|| self.chain_side.unwrap_or(Side::Right).other());
        let spacing = self.spacing();
        let distance = spacing.map(|spacing| {
            let from_yaw = spacing.value / angle.cos().powi(2) * before.u.to_radians();
            let from_spacing = angle.tan() * spacing.u;
            Measurement {
                value: spacing.value * angle.tan().abs(),
                u: from_yaw.hypot(from_spacing),
                quality: before.quality,
            }
        });
        let pitch = positive(self.settings.thread_pitch_mm);
        let flats = distance
            .zip(pitch)
            .map(|(distance, pitch)| (6.0 * distance.value / pitch).round().min(6e4) as u32);
        // The told move is exact; what the hands make of it is evenly spread over half a flat (or
        // what a rule shows) either way.
        let half_width = pitch.map_or(RULE_HALF_WIDTH_MM, |pitch| pitch / 12.0);
        let setting =
            evenly(half_width) / spacing.map_or(USUAL_SPACING_MM, |spacing| spacing.value);
        let by_spacing = spacing.map_or(0.0, |spacing| angle * spacing.u / 2.0 / spacing.value);
        self.forget_what_turning_loses();
        let centres_before = self.foreseen.get(&Figure::ChainCentres);
        self.carry(Move::Turn { angle, about: drawn.other() }, &[setting.hypot(by_spacing)]);
        // Front to the left means that the left end stands too far back.
        let direction = if (angle < 0.0) == (drawn == Side::Left) {
            Direction::Forward
        } else {
            Direction::Rearward
        };
        let slack = centres_before
            .zip(self.foreseen.get(&Figure::ChainCentres))
            .map(|(before, after)| after - before);
        self.push(PlanStep {
            step: StepKind::Square,
            action: square_in_words(drawn, direction, angle, distance, flats),
            part: format!("{} end of the spindle", drawn.word()),
            side: Some(drawn),
            direction: Some(direction),
            distance,
            turns: flats.map(|flats| f64::from(flats) / 6.0),
            flats,
            applied_to: "spindle".to_owned(),
            because: self.reference.yaw.clone(),
            before: Some(before),
            dangers: unsure.into_iter().collect(),
            cautions: cautions::of_squaring(slack, flats),
            ..blank()
        });
    }

    /// The distance between the adjusters: as the job says, else the spindle's ends', else unknown.
    fn spacing(&mut self) -> Option<Measurement> {
        if let Some(value) = positive(self.settings.spacing_mm) {
            return Some(Measurement { value, u: 0.0, quality: Quality::Good });
        }
        let advice = "Measure from adjuster to adjuster across the frame and enter it as spacing_mm under [adjusters].";
        let (spacing, what) = match between_ends(self.input) {
            Some(value) => (
                Some(Measurement { value, u: SPACING_FROM_ENDS_U_MM, quality: Quality::Good }),
                say![
                    "The adjusters are taken to be as far apart as the spindle's ends, ",
                    Amount::to_places(value, 0, Unit::Mm),
                    ", give or take ",
                    Amount::mm(SPACING_FROM_ENDS_U_MM),
                    ".",
                ],
            ),
            None => (
                None,
                say![
                    "How far the spindle has to be drawn depends on how far apart the adjusters are, which nobody says."
                ],
            ),
        };
        self.findings.push(
            Finding::warning("adjuster-spacing-not-known", what, advice).about(&self.reference.yaw),
        );
        spacing
    }

    /// Figures that a turn moves by an amount that nobody can work out.
    fn forget_what_turning_loses(&mut self) {
        let rims: Vec<Figure> = self.places.rims_without_place().cloned().collect();
        for rim in rims {
            self.foreseen = self.foreseen.without(&rim);
        }
        if self.foreseen.get(&Figure::ChainCentres).is_none()
            && self.foreseen.get(&Figure::ChainAtGearbox).is_some()
        {
            self.foreseen = self.foreseen.without(&Figure::ChainAtGearbox);
            let what = "Squaring moves the chain line, by how much depends on the distance between the sprockets, which is not known.";
            let advice = "Square the wheel first, then measure again for the chain line.";
            self.findings.push(
                Finding::warning("plan-chain-not-foreseen", what, advice)
                    .about(&Figure::ChainAtGearbox),
            );
        }
    }

    fn chain(&mut self) {
        let Some((before, unsure)) = self.asks(&Figure::ChainAtGearbox) else { return };
        let Some(side) = self.chain_side else { return };
        let (pack, choices) = match self.settings.pack {
            Some(pack) => (pack, Vec::new()),
            None => choices::compare(|kind| {
                let settings = PlanSettings { pack: Some(kind), ..self.settings.clone() };
                make_plan(self.input, &settings, self.tolerances).steps
            }),
        };
        if !choices.is_empty() {
            let what = format!(
                "The job does not say what brings the sprockets into line. The plan takes what leaves the rim the least work: {}.",
                choices::part(pack)
            );
            let advice =
                "Enter kind under [spacers] in job.toml: \"hub\", \"sprocket\" or \"gearbox\".";
            self.findings.push(
                Finding::note("spacer-kind-assumed", what, advice).about(&Figure::ChainAtGearbox),
            );
        }
        // How far the moved sprocket goes outboard: the rear one to where the gearbox's is, or the
        // other way round.
        let outboard = match pack {
            SpacerKind::Hub | SpacerKind::Sprocket => before.value,
            SpacerKind::Gearbox => {
                -before.value
                    / self
                        .foreseen
                        .get(&Figure::ChainYaw)
                        .unwrap_or(0.0)
                        .to_radians()
                        .cos()
                        .max(0.5)
            }
        };
        let step = match pack {
            SpacerKind::Hub => Move::SlideWheel { outboard },
            SpacerKind::Sprocket => Move::PackSprocket { outboard },
            SpacerKind::Gearbox => Move::ShimGearbox { outboard },
        };
        self.carry(step, &[evenly(SPACER_HALF_WIDTH_MM)]);
        let askew = self.foreseen_decision(&Figure::ChainYaw) == Some(Decision::Out);
        self.push(PlanStep {
            step: StepKind::Chain,
            action: chain_in_words(pack, side, &Measurement { value: outboard, ..before }),
            part: choices::part(pack).to_owned(),
            side: Some(side),
            direction: Some(if outboard > 0.0 { Direction::Outboard } else { Direction::Inboard }),
            distance: Some(Measurement { value: outboard.abs(), ..before }),
            applied_to: pack.word().to_owned(),
            because: Figure::ChainAtGearbox,
            before: Some(before),
            dangers: unsure.into_iter().collect(),
            cautions: cautions::of_chain(pack, askew, self.input, self.settings),
            choices,
            ..blank()
        });
    }

    fn centre(&mut self) {
        let Some((before, unsure)) = self.asks(&self.reference.offset.clone()) else { return };
        // Half the difference between the two sides is the mid-plane's offset, told along the
        // wheel's axis.
        let yaw = self.foreseen.get(&Figure::WheelYaw).unwrap_or(0.0).to_radians();
        let left = -before.value / yaw.cos().max(0.5);
        let old_face = self.foreseen.figure(&Figure::RimFromFace);
        self.carry(Move::ShiftRim { left }, &[evenly(RIM_HALF_WIDTH_MM)]);
        let new_face = self.foreseen.figure(&Figure::RimFromFace);
        let to = if left > 0.0 { Side::Left } else { Side::Right };
        let face = self.input.measured.facts.hub_side.zip(old_face).zip(new_face);
        let runs_out = refer::measured_decision(
            self.tolerances,
            self.input.get(&Figure::RunoutLateral),
            &Figure::RunoutLateral,
        ) == Some(Decision::Out);
        self.push(PlanStep {
            step: StepKind::Centre,
            action: centre_in_words(to, &Measurement { value: left, ..before }, face),
            part: "rim".to_owned(),
            side: Some(to),
            direction: Some(if to == Side::Left { Direction::Left } else { Direction::Right }),
            distance: Some(Measurement { value: left.abs(), ..before }),
            applied_to: "rim".to_owned(),
            because: self.reference.offset.clone(),
            before: Some(before),
            dangers: unsure.into_iter().collect(),
            cautions: cautions::of_centring(runs_out, self.settings.hub_target_mm, new_face),
            ..blank()
        });
    }

    /// What is still out when everything that can be adjusted is done.
    fn refer(&mut self) {
        for tolerance in self.tolerances {
            let field = &tolerance.field;
            let measured = self.input.get(field).filter(|_| !self.foreseen.is_lost(field));
            let figure = self.foreseen.figure(field).or(measured);
            let out = judge(tolerance, figure, self.per_percent(field)).verdict == Decision::Out;
            // A rim that the plan has just centred stands where it stands: that step has told how
            // far the target is off.
            let centred = self.steps.iter().any(|step| step.step == StepKind::Centre)
                && *field == Figure::RimFromFace;
            // One tilt shows in both: the step for the lean names the ends, too.
            let with_lean = *field == Figure::SpindleHeights
                && self.steps.iter().any(|step| step.because == Figure::WheelLean);
            if let (true, Some(figure)) = (out && !centred && !with_lean, figure) {
                let (part, action) =
                    refer::in_words(field, figure, tolerance, self.input, self.settings);
                self.push(PlanStep {
                    step: StepKind::Refer,
                    action,
                    part,
                    applied_to: field.pointer(),
                    because: field.clone(),
                    before: Some(figure),
                    ..blank()
                });
            }
        }
    }

    /// How the figure answers to 1 % of print scale, where nobody laid a rule on the print.
    fn per_percent(&self, field: &Figure) -> f64 {
        match self.settings.print_measured {
            true => 0.0,
            false => {
                self.foreseen.per_percent(field).unwrap_or_else(|| scale_answer(self.input, field))
            }
        }
    }

    fn foreseen_decision(&self, field: &Figure) -> Option<Decision> {
        refer::measured_decision(self.tolerances, self.foreseen.figure(field), field)
    }

    /// The figures with the steps so far taken as done.
    fn expected(&self) -> Expected {
        self.foreseen.expected(&self.input.measured)
    }
}

/// A step with nothing in it, for the fields that a kind of step does not use.
fn blank() -> PlanStep {
    PlanStep {
        n: 0,
        step: StepKind::Refer,
        action: Sentence::default(),
        part: String::new(),
        side: None,
        direction: None,
        distance: None,
        turns: None,
        flats: None,
        applied_to: String::new(),
        because: Figure::Other(String::new()),
        before: None,
        dangers: Vec::new(),
        cautions: Vec::new(),
        after: Expected::default(),
        choices: Vec::new(),
    }
}

/// A setting that only means something above zero.
fn positive(value: Option<f64>) -> Option<f64> {
    value.filter(|value| value.is_finite() && *value > 0.0)
}
