//! Hand-made results: two bikes with something to put right, one that is right, and a job in which
//! nothing could be measured.

use std::collections::BTreeMap;

use sightcord::bench::figures::*;
use sightcord::figure::facts::{
    ChainReference, RimFacts, Station, UpFigures, UpSource, WheelSource,
};
use sightcord::figure::part::Letter;
use sightcord::figure::table::{BudgetEntry, Correlation};
use sightcord::figure::{Figure, RimPlace};
use sightcord::finding::Finding;
use sightcord::measurement::{Measurement, Quality};
use sightcord::plan::outcome::*;
use sightcord::report::entries::{CameraEntry, JobEntry, PhotoEntry};
use sightcord::report::result::{ResultDocument, ResultParts};
use sightcord::say;
use sightcord::text::Amount;

pub fn m(value: f64, u: f64) -> Option<Measurement> {
    Some(Measurement { value, u, quality: Quality::Good })
}

pub fn single(value: f64, u: f64) -> Option<Measurement> {
    Some(Measurement { value, u, quality: Quality::Single })
}

/// Puts a place on the rear rim down with its figures.
fn rim(figures: &mut Figures, at: RimPlace, station: Station, x: f64, offset: f64, u: f64) {
    figures.measured.facts.rim.insert(at.clone(), RimFacts { station: Some(station), x: Some(x) });
    figures.set(Figure::RimOffset(at.clone()), m(offset, u));
    figures.set(Figure::RimHeight(at), m(330.4, 0.9));
}

fn set<const N: usize>(figures: &mut Figures, measured: [(Figure, Option<Measurement>); N]) {
    for (figure, measured) in measured {
        figures.set(figure, measured);
    }
}

/// A plumb line or a pair of stations.
fn letter(index: u8) -> Letter {
    Letter::of(index)
}

fn mark(kind: &str, number: u8, setup: &str, at: [f64; 3], normal: [f64; 3]) -> Mark {
    Mark { kind: kind.to_owned(), number, setup: setup.to_owned(), at, normal }
}

/// A wheel axis from yaw and lean in degrees, pointing left.
pub fn axis(yaw: f64, lean: f64) -> [f64; 3] {
    let (yaw, lean) = (yaw.to_radians(), lean.to_radians());
    [-yaw.sin() * lean.cos(), yaw.cos() * lean.cos(), -lean.sin()]
}

/// Cards along the cord and aside of it, tabs on rim, sprockets and spindle, cameras on both sides.
pub fn layout(offset: f64, yaw: f64, lean: f64, plumb: Option<f64>) -> Layout {
    let along = axis(yaw, lean);
    let at = |x: f64, z: f64, outwards: f64| {
        // A point of the wheel's plane, moved along the axis.
        let y = offset - (along[0] * x + along[2] * (z - 330.0)) / along[1];
        [x + along[0] * outwards, y + along[1] * outwards, z + along[2] * outwards]
    };
    let mut marks = Vec::new();
    for (i, x) in [-330.0, 0.0, 330.0, 660.0].into_iter().enumerate() {
        marks.push(mark(
            "card",
            i as u8 + 1,
            "",
            [x, if i % 2 == 0 { 1.5 } else { -2.0 }, 0.0],
            [0.0, 0.0, 1.0],
        ));
    }
    let right = [-along[0], -along[1], -along[2]];
    for (setup, x) in [("1-mark-forward", 232.0), ("2-mark-rearward", -232.0)] {
        marks.push(mark("tab", 1, setup, at(x, 398.0, 30.0), along));
        marks.push(mark("tab", 2, setup, at(x, 398.0, -30.0), right));
        for (i, angle) in [20.0_f64, 140.0, 260.0].into_iter().enumerate() {
            let turned = if x > 0.0 { angle } else { angle + 180.0 }.to_radians();
            marks.push(mark(
                "tab",
                8 + i as u8,
                setup,
                at(62.0 * turned.cos(), 330.0 + 62.0 * turned.sin(), 66.0),
                along,
            ));
        }
    }
    for (i, angle) in [90.0_f64, 210.0, 330.0].into_iter().enumerate() {
        let angle = angle.to_radians();
        let place = [560.0 + 30.0 * angle.cos(), 71.5, 320.0 + 30.0 * angle.sin()];
        marks.push(mark("tab", 5 + i as u8, "", place, [0.0, 1.0, 0.0]));
    }
    marks.push(mark("tab", 11, "", [0.0, 121.2, 329.6], [0.0, 1.0, 0.0]));
    marks.push(mark("tab", 12, "", [0.0, -114.8, 330.4], [0.0, -1.0, 0.0]));
    let mut lines = vec![("cord".to_owned(), [-480.0, 0.0, 2.6], [820.0, 0.0, 2.6])];
    if let Some(y) = plumb {
        lines.push(("plumb A".to_owned(), [-400.0, y, 420.0], [-400.0, y, 60.0]));
    }
    let mut cameras = Vec::new();
    for (s, setup) in ["1-mark-forward", "2-mark-rearward"].into_iter().enumerate() {
        for i in 0..10 {
            let side = if i % 2 == 0 { 1.0 } else { -1.0 };
            let x = -700.0 + 150.0 * f64::from(i) + 20.0 * s as f64;
            cameras.push((
                format!("{setup}/{:02}.jpg", i + 1),
                [x, side * (620.0 + 25.0 * f64::from(i % 4)), 300.0 + 90.0 * f64::from(i % 5)],
            ));
        }
    }
    Layout {
        bench_from_world: None,
        wheel_axis: Some(along),
        axle: Some([0.0, offset, 330.0]),
        rear_sprocket: Some(at(0.0, 330.0, 66.0)),
        gearbox_sprocket: Some([560.0, 71.5, 320.0]),
        marks,
        lines,
        cameras,
    }
}

fn photos() -> Vec<PhotoEntry> {
    let mut photos = vec![PhotoEntry {
        file: "0-camera/01.jpg".to_owned(),
        sha256: format!("{:064x}", 7),
        setup: "0-camera".to_owned(),
        used: true,
        cards: vec![1, 2, 3],
        corners: 980,
        rms_px: Some(0.0291),
        ..PhotoEntry::default()
    }];
    for (s, setup) in ["1-mark-forward", "2-mark-rearward"].into_iter().enumerate() {
        for i in 0..10_usize {
            let unread = s == 1 && i == 9;
            photos.push(PhotoEntry {
                file: format!("{setup}/{:02}.jpg", i + 1),
                sha256: format!("{:064x}", 0xabc000 + 100 * s + i),
                setup: setup.to_owned(),
                used: !unread,
                cards: if unread { vec![] } else { vec![1, 2, 3, 4] },
                tabs: if unread { vec![] } else { vec![1, 5, 6, 7, 8, 9, 10] },
                corners: if unread { 0 } else { 1204 + 7 * i },
                rms_px: (!unread).then_some(0.031 + 0.001 * i as f64),
                position: (!unread).then_some([-700.0 + 150.0 * i as f64, 620.0, 300.0]),
                taken: Some("2026-05-16".to_owned()),
            });
        }
    }
    photos
}

fn camera() -> Vec<CameraEntry> {
    vec![CameraEntry {
        photos: photos()
            .iter()
            .filter(|photo| photo.used)
            .map(|photo| photo.file.clone())
            .collect(),
        width: 4032,
        height: 3024,
        fx: m(3_060.123_456_78, 2.1),
        fy: m(3_060.123_456_78, 2.1),
        cx: m(2021.4, 3.3),
        cy: m(1508.9, 3.1),
        k1: 0.112_345_678,
        k2: -0.221_234_567,
        p1: -0.000_61,
        p2: 0.000_52,
        k3: 0.108,
        rms_px: Some(0.0312),
    }]
}

fn verdict(
    field: &str,
    value: Option<Measurement>,
    tolerance: f64,
    unit: Unit,
    source: &str,
    verdict: Decision,
) -> Verdict {
    Verdict {
        field: Figure::at(field),
        value,
        nominal: 0.0,
        tolerance,
        unit,
        source: source.to_owned(),
        verdict,
        decide: None,
        blocked: false,
    }
}

fn choice(applied_to: &str, distance: f64, direction: Direction, rim: f64, taken: bool) -> Choice {
    Choice {
        applied_to: applied_to.to_owned(),
        distance: m(distance, 0.14).unwrap(),
        direction,
        rim: m(rim, 0.38),
        rim_undecided: None,
        taken,
        tied: false,
        warnings: Vec::new(),
    }
}

const PRACTICE: &str = "common practice, no source";
const HANDBOOK: &str = "a chain maker's handbook, by centre distance";

/// A bike after the first shared photo set: the wheel points and stands to the left, the chain line
/// is out with it.
pub fn grass_track() -> ResultDocument {
    ResultDocument::new(grass_track_parts())
}

pub fn grass_track_parts() -> ResultParts {
    let (one, two) = ("1-mark-forward", "2-mark-rearward");
    let mut figures = Figures {
        budget: vec![
            BudgetEntry { field: Figure::at("/wheel/offset"), from: "up".to_owned(), u: 0.166 },
            BudgetEntry { field: Figure::at("/wheel/offset"), from: "tabs lying flat".to_owned(), u: 0.09 },
            BudgetEntry { field: Figure::at("/wheel/offset"), from: "photos".to_owned(), u: 0.061 },
            BudgetEntry { field: Figure::at("/wheel/yaw"), from: "tabs lying flat".to_owned(), u: 0.0092 },
            BudgetEntry { field: Figure::at("/wheel/yaw"), from: "photos".to_owned(), u: 0.0066 },
        ],
        correlation: Correlation {
            fields: vec![Figure::WheelOffset, Figure::WheelYaw],
            matrix: vec![vec![1.0, 0.071_234_567_8], vec![0.071_234_567_8, 1.0]],
        },
        scale_sensitivity: BTreeMap::from([(Figure::RimOffset(RimPlace::at_mark(one, Side::Left)), 0.3461)]),
        crosscheck_ratio: Some(0.874_321_9),
        layout: layout(3.2, 0.35, 0.2, Some(1.4)),
        findings: vec![
            Finding::warning(
                "print-scale-not-measured",
                say![
                    "The check lines of the cards were not measured: distances may be wrong by ",
                    Amount::tenths(0.1),
                    " on a rim offset for every 0.3 % of scale.",
                ],
                "Lay a steel rule on the check line of a card and write the length to job.toml as [print] measured_along_mm.",
            ),
            Finding::note(
                "frame-one-line",
                "One plumb line only: the frame is taken to point along the cord.",
                "Hang a second line 200 mm or more from the first to measure where the frame points.",
            )
            .about("/frame/yaw"),
        ],
        ..Figures::default()
    };
    figures.measured.up = UpFigures {
        sources: vec![
            UpSource {
                source: "plumb line A".to_owned(),
                sigma_deg: 0.0162,
                differs_across_deg: 0.0021,
                differs_along_deg: 0.0,
            },
            UpSource {
                source: "cards' plane".to_owned(),
                sigma_deg: 0.031,
                differs_across_deg: -0.0098,
                differs_along_deg: 0.0,
            },
        ],
        sigma_deg: Some(0.0144),
        ..UpFigures::default()
    };
    for (at, station, x, offset, u) in [
        (RimPlace::at_mark(one, Side::Left), Station::Front, 232.0, 34.61, 0.24),
        (RimPlace::at_mark(one, Side::Right), Station::Front, 232.0, 25.39, 0.24),
        (RimPlace::at_mark(two, Side::Left), Station::Rear, -232.0, 31.80, 0.25),
        (RimPlace::at_mark(two, Side::Right), Station::Rear, -232.0, 28.19, 0.25),
    ] {
        rim(&mut figures, at, station, x, offset, u);
    }
    let wheel = [
        (Figure::WheelOffset, m(3.214_321, 0.208)),
        (Figure::WheelOffsetAtMark, m(3.198, 0.206)),
        (Figure::WheelYaw, m(0.3512, 0.0113)),
        (Figure::WheelLean, m(0.2034, 0.031)),
        (Figure::WheelYawFromOffsets, m(0.3479, 0.0142)),
        (Figure::WheelToe, m(2.8013, 0.1142)),
    ];
    let chain = [
        (Figure::ChainCentres, m(560.55, 0.61)),
        (Figure::ChainAtGearbox, m(2.391, 0.118)),
        (Figure::ChainAtRear, m(3.33, 0.41)),
        (Figure::ChainYaw, m(-0.097, 0.045)),
        (Figure::ChainLean, m(-0.204, 0.052)),
        (Figure::GearboxLean, m(-0.002, 0.047)),
        (Figure::RearLean, m(0.2034, 0.031)),
    ];
    set(&mut figures, wheel.clone());
    set(&mut figures, chain.clone());
    set(
        &mut figures,
        [
            (Figure::ScaleAlong, m(1.0002, 0.006)),
            (Figure::ScaleAcross, m(0.9997, 0.006)),
            (Figure::RimWidth(one.to_owned()), m(60.0, 0.19)),
            (Figure::RimWidth(two.to_owned()), m(59.99, 0.19)),
            (Figure::SpindleHeights, m(-0.81, 0.9)),
            (Figure::SpindleLeft, m(121.2, 0.8)),
            (Figure::SpindleRight, m(114.8, 0.8)),
            (Figure::PlumbOffset(letter(0)), m(1.4, 0.31)),
            (Figure::FrameOffset, m(1.4, 0.31)),
            (Figure::WheelInFrameOffset, m(1.81, 0.36)),
            (Figure::LevelAlong, m(-0.008, 0.02)),
            (Figure::LevelAcross, m(0.012, 0.021)),
            (Figure::CordStraightness, m(0.04, 0.03)),
            (Figure::CordMoved, m(0.02, 0.05)),
            (Figure::Flatness, m(0.11, 0.06)),
        ],
    );
    let facts = &mut figures.measured.facts;
    facts.wheel_source = Some(WheelSource::Axis);
    facts.chain_side = Some(Side::Left);
    facts.chain_reference = Some(ChainReference::Faces);
    let mut after_square = Expected::default();
    after_square.facts.wheel_source = Some(WheelSource::Axis);
    for (figure, measured) in wheel {
        after_square.table.set(figure, measured);
    }
    after_square.table.set(Figure::WheelYaw, m(0.01, 0.05));
    after_square.table.set(Figure::WheelOffset, m(1.4, 0.4));
    let mut expected = after_square.clone();
    expected.facts.chain_side = Some(Side::Left);
    expected.facts.chain_reference = Some(ChainReference::Faces);
    for (figure, measured) in chain {
        expected.table.set(figure, measured);
    }
    expected.table.set(Figure::FrameOffset, m(1.4, 0.31));
    expected.table.set(Figure::WheelInFrameOffset, m(0.0, 0.45));
    expected.table.set(Figure::ChainAtGearbox, m(0.02, 0.2));
    let outcome = Outcome {
        state: State::ToDo,
        headline: "Three steps to do".to_owned(),
        summary: "Three steps to do: square the wheel, bring the sprockets into line and centre the rim.".to_owned(),
        plan: vec![
            PlanStep {
                n: 1,
                step: StepKind::Square,
                action: say![
                    "Draw the right end of the spindle ",
                    Amount::measured(&m(1.42, 0.06).unwrap(), Unit::Mm),
                    " rearward: 1 turn and 1 flat of its adjuster; the left end stays.",
                ],
                part: "right end of the spindle".to_owned(),
                side: Some(Side::Right),
                direction: Some(Direction::Rearward),
                distance: m(1.42, 0.06),
                turns: Some(1.17),
                flats: Some(7),
                applied_to: "spindle".to_owned(),
                because: Figure::at("/wheel_in_frame/yaw"),
                before: m(0.3512, 0.0113),
                dangers: vec![],
                cautions: vec!["Slacken the nuts just enough to move the spindle, and keep the other end where it is.".into()],
                after: after_square,
                choices: vec![],
            },
            PlanStep {
                n: 2,
                step: StepKind::Chain,
                action: say![
                    "Take ",
                    Amount::measured(&m(1.0, 0.14).unwrap(), Unit::Mm),
                    " off the hub's chain-side spacer and put it on the other side: sprocket and rim move as much outboard.",
                ],
                part: "hub spacers".to_owned(),
                side: Some(Side::Left),
                direction: Some(Direction::Outboard),
                distance: m(1.0, 0.14),
                turns: None,
                flats: None,
                applied_to: "hub".to_owned(),
                because: Figure::at("/chain/offset_at_gearbox"),
                before: m(1.0, 0.14),
                dangers: vec![],
                cautions: vec![],
                after: Expected::default(),
                choices: vec![
                    choice("hub", 1.0, Direction::Outboard, 2.81, true),
                    choice("sprocket", 1.0, Direction::Outboard, 3.81, false),
                    choice("gearbox", 1.0, Direction::Inboard, 3.81, false),
                ],
            },
            PlanStep {
                n: 3,
                step: StepKind::Centre,
                action: say![
                    "Move the rim ",
                    Amount::measured(&m(2.81, 0.38).unwrap(), Unit::Mm),
                    " to the right by its spokes: loosen those that run to the hub's left flange and tighten those that run to its right \
                     flange by as much, a little at a time all round.",
                ],
                part: "rim".to_owned(),
                side: Some(Side::Right),
                direction: Some(Direction::Right),
                distance: m(2.81, 0.38),
                turns: None,
                flats: None,
                applied_to: "rim".to_owned(),
                because: Figure::at("/wheel_in_frame/offset"),
                before: m(2.81, 0.38),
                dangers: vec![],
                cautions: vec!["Have spoke tension checked by a wheel builder.".into()],
                after: Expected::default(),
                choices: vec![],
            },
        ],
        expected,
        verdicts: vec![
            verdict("/wheel_in_frame/offset", m(1.81, 0.36), 1.0, Unit::Mm, PRACTICE, Decision::Out),
            verdict("/wheel/yaw", m(0.3512, 0.0113), 0.15, Unit::Deg, PRACTICE, Decision::Out),
            Verdict {
                decide: Some(say![
                    "Its ± of ",
                    Amount::at_least(0.031, Unit::Deg),
                    " reaches over the limit; a second plumb line, photographed from low down, would bring it to ",
                    Amount::at_least(0.02, Unit::Deg),
                    ".",
                ]),
                ..verdict("/wheel/lean", m(0.2034, 0.031), 0.2, Unit::Deg, PRACTICE, Decision::Undecided)
            },
            verdict("/chain/offset_at_gearbox", m(2.391, 0.118), 1.4, Unit::Mm, HANDBOOK, Decision::Out),
            verdict("/chain/yaw", m(-0.097, 0.045), 0.25, Unit::Deg, HANDBOOK, Decision::In),
        ],
        hand: vec![
            HandComparison {
                field: Figure::at("/rim/1-mark-forward/left/offset"),
                unit: Unit::Mm,
                tool: "square and rule".to_owned(),
                hand: Measurement { value: 34.5, u: 0.5, quality: Quality::Good },
                photo: m(34.61, 0.24),
                agree: Some(true),
            },
            HandComparison {
                field: Figure::at("/chain/rear_lean"),
                unit: Unit::Deg,
                tool: "angle gauge".to_owned(),
                hand: Measurement { value: -0.4, u: 0.2, quality: Quality::Good },
                photo: m(0.2034, 0.031),
                agree: Some(false),
            },
        ],
        findings: vec![],
    };
    ResultParts {
        job: JobEntry {
            id: "9f2c4e6a8b0d1f3e5c7a9b8d6f4e2c0a1b3d5f7e9c8a6b4d2f0e1c3a5b7d9f8e".to_owned(),
            bike: Some("Grass-track special, frame in primer".to_owned()),
            chain_side: Some(Side::Left),
        },
        figures,
        outcome,
        camera: camera(),
        photos: photos(),
        grouping: Vec::new(),
        findings: vec![
            Finding::refused(
                "photo-no-card",
                "No card was found in this photo, so it was not used.",
                "Step back until two whole cards are in the picture.",
            )
            .in_photo("2-mark-rearward/10.jpg"),
        ],
        settings: serde_json::json!({ "adjusters": { "thread_pitch_mm": 1.25, "spacing_mm": 236.0 }, "spacers": { "kind": "hub" } }),
    }
}

/// Puts a named face down with its figures.
pub fn face(figures: &mut Figures, name: &str) {
    figures.set(Figure::FaceOffset(name.to_owned()), m(62.1, 0.4));
    figures.set(Figure::FaceYaw(name.to_owned()), m(0.1, 0.1));
    figures.set(Figure::FaceLean(name.to_owned()), m(0.15, 0.1));
}

/// Everything that can be measured, on the bike of the third shared photo set, with a front wheel
/// and a named face besides.
pub fn swing_arm() -> ResultDocument {
    ResultDocument::new(swing_arm_parts())
}

pub fn swing_arm_parts() -> ResultParts {
    let mut parts = grass_track_parts();
    let figures = &mut parts.figures;
    set(
        figures,
        [
            (Figure::WheelOffset, m(-2.09, 0.22)),
            (Figure::WheelOffsetAtMark, m(-1.72, 0.2)),
            (Figure::WheelYaw, m(-0.548, 0.012)),
            (Figure::WheelLean, m(-0.352, 0.033)),
            (Figure::WheelYawFromOffsets, m(-0.551, 0.015)),
            (Figure::WheelToe, m(-4.42, 0.12)),
            (Figure::FrameOffset, m(-0.48, 0.2)),
            (Figure::FrameYaw, m(0.067, 0.021)),
            (Figure::WheelInFrameOffset, m(-1.61, 0.28)),
            (Figure::WheelInFrameYaw, m(-0.615, 0.025)),
            (Figure::RunoutLateral, m(1.02, 0.14)),
            (Figure::RimFromFace, m(-28.1, 0.3)),
            (Figure::StationOffset(letter(0)), m(0.43, 0.3)),
            (Figure::StationHeights(letter(0)), single(-0.25, 0.6)),
            (Figure::StationOffset(letter(1)), m(0.75, 0.3)),
            (Figure::StationHeights(letter(1)), m(-0.25, 0.6)),
            (Figure::BackboneFront, m(0.11, 0.33)),
            (Figure::BackboneRear, m(-0.47, 0.33)),
            (Figure::BackboneYaw, m(0.067, 0.05)),
            (Figure::TrackOffset, m(-3.1, 0.7)),
            (Figure::TrackLean, m(0.12, 0.06)),
            (Figure::PlumbOffset(letter(0)), m(-0.91, 0.31)),
            (Figure::PlumbOffset(letter(1)), m(0.52, 0.31)),
        ],
    );
    face(figures, "left engine plate");
    figures.measured.facts.runout_places = 6;
    figures.measured.facts.hub_side = Some(Side::Right);
    let at = RimPlace { place: 2, ..RimPlace::at_mark("1-mark-forward", Side::Left) };
    rim(figures, at, Station::Top, 60.0, 29.2, 0.25);
    figures.layout = layout(-2.1, -0.55, -0.35, Some(-0.9));
    parts.job.bike = Some("Swing-arm hill-climber, second dry build".to_owned());
    parts
}

/// A bike that needs nothing.
pub fn in_tolerance() -> ResultDocument {
    let mut parts = grass_track_parts();
    let figures = &mut parts.figures;
    set(
        figures,
        [
            (Figure::WheelOffset, m(0.003, 0.22)),
            (Figure::WheelOffsetAtMark, m(0.01, 0.2)),
            (Figure::WheelYaw, m(0.081, 0.012)),
            (Figure::WheelLean, m(0.05, 0.033)),
            (Figure::WheelYawFromOffsets, m(0.08, 0.015)),
            (Figure::WheelToe, m(0.64, 0.12)),
        ],
    );
    for gone in [Figure::WheelInFrameOffset, Figure::FrameOffset, Figure::PlumbOffset(letter(0))] {
        figures.measured.table.remove_part(&gone);
    }
    figures.findings.clear();
    figures.layout = layout(0.0, 0.08, 0.05, None);
    parts.outcome = Outcome {
        state: State::Done,
        headline: "All well".to_owned(),
        summary: "All well: leave it alone. Everything that was judged is inside its limits."
            .to_owned(),
        verdicts: vec![
            verdict("/wheel/offset", m(0.003, 0.22), 2.0, Unit::Mm, PRACTICE, Decision::In),
            verdict("/wheel/yaw", m(0.081, 0.012), 0.15, Unit::Deg, PRACTICE, Decision::In),
        ],
        ..Outcome::default()
    };
    ResultDocument::new(parts)
}

/// A bike with one position of the wheel photographed.
pub fn not_finished() -> ResultDocument {
    let mut parts = grass_track_parts();
    let figures = &mut parts.figures;
    for gone in [Figure::WheelOffset, Figure::WheelInFrameOffset] {
        figures.measured.table.remove_part(&gone);
    }
    let rear = RimPlace::at_mark("2-mark-rearward", Side::Left);
    figures.measured.table.remove_part(&Figure::RimOffset(rear.clone()));
    figures.measured.table.remove_part(&Figure::RimOffset(RimPlace { side: Side::Right, ..rear }));
    parts.photos.retain(|photo| photo.setup != "2-mark-rearward");
    parts.findings.clear();
    let outcome = sightcord::plan::plan(&parts.figures, &sightcord::plan::PlanSettings::default());
    parts.outcome = outcome;
    ResultDocument::new(parts)
}

/// A job in which nothing could be measured.
pub fn nothing() -> ResultDocument {
    ResultDocument::new(ResultParts {
        job: JobEntry { id: "00".repeat(32), bike: None, chain_side: None },
        outcome: Outcome {
            headline: "Nothing could be measured".to_owned(),
            summary:
                "Nothing could be measured. What is missing, and what to do about it, is listed below."
                    .to_owned(),
            ..Outcome::default()
        },
        findings: vec![Finding::refused(
            "no-cards",
            "No card was found in any photo.",
            "Photograph with two whole cards in each picture.",
        )],
        settings: serde_json::json!({}),
        ..ResultParts::default()
    })
}

pub fn all() -> Vec<(&'static str, ResultDocument)> {
    vec![
        ("grass-track", grass_track()),
        ("swing-arm", swing_arm()),
        ("in-tolerance", in_tolerance()),
        ("not-finished", not_finished()),
        ("nothing", nothing()),
    ]
}
