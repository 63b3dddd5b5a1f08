//! The view from above: front at the top, the bike's left at the left.

use super::bike::{Bike, Sprocket};
use super::canvas::{Anchor, Canvas, Drawing, Place};
use super::labels::{ABOVE_ON_PAPER, HEAD, Labels, WAY, letters};
use crate::figure::{Figure, Side};
use crate::plan::outcome::{Direction, PlanStep, StepKind};
use crate::text::units::Show;

/// From the spindle's middle to where the adjusters hold it, mm; only for the drawing.
const ADJUSTERS: f64 = 104.0;

/// Along the bike x, across it y (+ left): on the sheet.
fn sheet(x: f64, y: f64) -> Place {
    [-y, -x]
}

pub fn above(bike: &Bike, show: Show) -> Drawing {
    let mut canvas = Canvas::default();
    let (rear_end, front_end) = ends(bike);
    // The cord: straight, and what everything is measured from.
    canvas.line("cord", sheet(rear_end, 0.0), sheet(front_end, 0.0));
    frame(&mut canvas, bike, rear_end, front_end);
    ghost(&mut canvas, bike);
    sprockets(&mut canvas, bike);
    wheel(&mut canvas, bike);
    marks(&mut canvas, bike, rear_end, front_end);
    let letters = letters(&canvas, ABOVE_ON_PAPER);
    canvas.words("label", sheet(front_end + 10.0, 0.0), Anchor::Middle, letters, "front");
    label_figures(&mut canvas, bike, rear_end, letters, show);
    canvas.scale_bar(letters);
    let words = format!(
        "View from above, front at the top, the bike's left at the left; sideways departures drawn {} times as large as they are",
        bike.factor
    );
    canvas.finish(&words, bike.factor)
}

/// From behind the wheel to before the gearbox sprocket, and on to plumb lines that hang not far
/// beyond.
fn ends(bike: &Bike) -> (f64, f64) {
    const NOT_FAR: f64 = 260.0;
    let rear = bike.wheel.map_or(-200.0, |wheel| wheel.axle[0] - wheel.radius) - 60.0;
    let front = bike.gearbox_sprocket.map(|sprocket| sprocket.centre[0] + sprocket.radius);
    let front =
        front.or(bike.wheel.map(|wheel| wheel.axle[0] + wheel.radius)).unwrap_or(300.0) + 60.0;
    let lines = bike.document.layout.lines.iter().filter(|(name, ..)| name.starts_with("plumb"));
    let near = lines
        .map(|(_, a, b)| (a[0] + b[0]) / 2.0)
        .filter(|x| (rear - NOT_FAR..front + NOT_FAR).contains(x));
    near.fold((rear, front), |(rear, front), x| (rear.min(x - 20.0), front.max(x + 20.0)))
}

fn frame(canvas: &mut Canvas, bike: &Bike, rear_end: f64, front_end: f64) {
    let at = |x: f64| Some(sheet(x, bike.drawn(0.0, bike.frame_across(x)?)));
    if let (Some(a), Some(b)) = (at(rear_end), at(front_end)) {
        canvas.line("frame", a, b);
    }
    for (name, top, foot) in &bike.document.layout.lines {
        let is_plumb = name.starts_with("plumb");
        let x = (top[0] + foot[0]) / 2.0;
        if is_plumb && (rear_end..front_end).contains(&x) {
            let y = (top[1] + foot[1]) / 2.0;
            canvas.mark("plumb", sheet(x, bike.drawn(0.0, y)), 5.0, name, 0.0);
        }
    }
}

/// Where the wheel would stand if all were true: over the cord, or in the frame where that is
/// known.
fn ghost(canvas: &mut Canvas, bike: &Bike) {
    let Some(wheel) = bike.wheel else { return };
    let x0 = wheel.axle[0];
    let at = |x: f64| sheet(x, bike.frame_across(x).map_or(0.0, |y| bike.drawn(0.0, y)));
    let inset = wheel.half_width;
    canvas.bar(
        "tyre ghost",
        at(x0 + wheel.radius - inset),
        at(x0 - wheel.radius + inset),
        2.0 * wheel.half_width,
    );
}

fn wheel(canvas: &mut Canvas, bike: &Bike) {
    let Some(wheel) = bike.wheel else { return };
    let [x0, _, z0] = wheel.axle;
    let across =
        |x: f64, side: f64| sheet(x, side * wheel.half_width + bike.factor * wheel.across(x, z0));
    let (rear, front) = (x0 - wheel.radius, x0 + wheel.radius);
    // The spindle, square to the wheel as drawn: its slope is as exaggerated as the wheel's.
    let slope = bike.factor * wheel.axis[0] / wheel.axis[1];
    let middle = bike.factor * wheel.across(x0, z0);
    let end = |reach: f64| sheet(x0 + slope * reach, middle + reach);
    canvas.line("spindle", end(122.0), end(-122.0));
    for reach in [ADJUSTERS, -ADJUSTERS] {
        let [x, y] = end(reach);
        canvas.rectangle("part", [x - 6.0, y - 24.0], [12.0, 48.0]);
    }
    let inset = wheel.half_width;
    canvas.bar(
        "tyre",
        across(front - inset, 0.0),
        across(rear + inset, 0.0),
        2.0 * wheel.half_width,
    );
    for side in [0.62, -0.62] {
        canvas.line("rim", across(front - inset, side), across(rear + inset, side));
    }
    canvas.line("midline", across(rear - 25.0, 0.0), across(front + 25.0, 0.0));
}

fn sprockets(canvas: &mut Canvas, bike: &Bike) {
    let face = |sprocket: &Sprocket, x: f64| {
        let at_centre = bike.drawn(sprocket.base, sprocket.centre[1]);
        sheet(x, at_centre + bike.factor * sprocket.along * (x - sprocket.centre[0]))
    };
    if let (Some(rear), Some(gearbox)) = (bike.rear_sprocket, bike.gearbox_sprocket) {
        // The chain, from tooth to tooth.
        let middle = |s: &Sprocket| face(s, s.centre[0]);
        canvas.bar("chain-run", middle(&rear), middle(&gearbox), 10.0);
        // The rear sprocket's plane carried to the gearbox: what a straight-edge shows there.
        canvas.line(
            "reach",
            face(&rear, rear.centre[0] + rear.radius),
            face(&rear, gearbox.centre[0] + gearbox.radius),
        );
    }
    for sprocket in [bike.rear_sprocket, bike.gearbox_sprocket].into_iter().flatten() {
        let [x, _, _] = sprocket.centre;
        canvas.line(
            "sprocket",
            face(&sprocket, x - sprocket.radius),
            face(&sprocket, x + sprocket.radius),
        );
    }
}

/// Tabs and flags, each in its place.
fn marks(canvas: &mut Canvas, bike: &Bike, rear_end: f64, front_end: f64) {
    for mark in bike.document.layout.marks.iter().filter(|mark| mark.kind == "tab") {
        let [x, y, _] = mark.at;
        let base = bike.base(mark);
        if (rear_end..front_end).contains(&x) && y.abs() < 400.0 {
            let class = if mark.setup.is_empty() { "tab" } else { "tab turned" };
            canvas.mark(class, sheet(x, bike.drawn(base, y)), 3.2, &Bike::mark_name(mark), base);
        }
    }
}

/// The steps where they are done, with arrows that say which way; of what needs no step, how far it
/// is out.
fn label_figures(canvas: &mut Canvas, bike: &Bike, rear_end: f64, letters: f64, show: Show) {
    let mut labels = Labels::new(bike, show);
    if let Some(wheel) = bike.wheel {
        let [x0, _, z0] = wheel.axle;
        let offset = bike.factor * wheel.across(x0, z0);
        match labels.step(StepKind::Square) {
            Some(step) => {
                let from = draw_spindle(canvas, step, x0, offset);
                labels.label_step(step, from);
            }
            None => {
                let x = x0 + wheel.radius + 14.0;
                let at = sheet(x, bike.factor * wheel.across(x, z0));
                canvas.line("reach", sheet(x0, offset), sheet(x, offset));
                labels.figure(&square_figure(bike), "wheel square", at);
            }
        }
        if labels.step(StepKind::Centre).is_none() && labels.step(StepKind::Rehang).is_none() {
            let at = sheet(
                x0 - 0.55 * wheel.radius,
                bike.factor * wheel.across(x0 - 0.55 * wheel.radius, z0),
            );
            labels.figure(&side_figure(bike), "wheel off by", at);
        }
    }
    chain(canvas, bike, &mut labels);
    if let Some(frame) = bike.frame_across(rear_end + 30.0) {
        let at = sheet(rear_end + 30.0, bike.drawn(0.0, frame));
        match labels.step(StepKind::Rehang) {
            Some(step) => {
                let way = sideways(step);
                canvas.arrow("arrow", at, [at[0] + way * WAY, at[1]], HEAD);
                labels.label_step(step, at);
            }
            None => labels.figure(&Figure::FrameOffset, "frame", at),
        }
    }
    labels.write(canvas, letters);
}

/// The wheel's squareness as it is judged.
fn square_figure(bike: &Bike) -> Figure {
    let all = [Figure::WheelInFrameYaw, Figure::WheelYaw, Figure::WheelYawFromOffsets];
    let judged = all.iter().find(|figure| bike.document.verdict(figure).is_some());
    judged.cloned().unwrap_or(Figure::WheelYaw)
}

/// The wheel's place across as it is judged.
fn side_figure(bike: &Bike) -> Figure {
    let all = [Figure::WheelInFrameOffset, Figure::WheelOffset, Figure::WheelOffsetAtMark];
    let judged = all.iter().find(|figure| bike.document.verdict(figure).is_some());
    judged.cloned().unwrap_or(Figure::WheelOffset)
}

/// -1 to the left of the sheet, which is the bike's, +1 to its right.
fn sideways(step: &PlanStep) -> f64 {
    match (step.direction, step.side) {
        (Some(Direction::Left), _) => -1.0,
        (Some(Direction::Right), _) => 1.0,
        (Some(Direction::Inboard), Some(side)) => side.sign(),
        (_, Some(side)) => -side.sign(),
        _ => 1.0,
    }
}

/// The arrow at the end of the spindle that is drawn.
fn draw_spindle(canvas: &mut Canvas, step: &PlanStep, x0: f64, offset: f64) -> Place {
    let side = step.side.map_or(-1.0, Side::sign);
    let way = if step.direction == Some(Direction::Forward) { 1.0 } else { -1.0 };
    let y = offset + side * (ADJUSTERS + 22.0);
    canvas.arrow("arrow", sheet(x0 - way * WAY / 2.0, y), sheet(x0 + way * WAY / 2.0, y), HEAD);
    sheet(x0, y)
}

/// What brings the sprockets into line, at the part that moves; else what a straight-edge shows at
/// the gearbox.
fn chain(canvas: &mut Canvas, bike: &Bike, labels: &mut Labels) {
    let (Some(rear), Some(gearbox)) = (bike.rear_sprocket, bike.gearbox_sprocket) else { return };
    let at_gearbox = sheet(gearbox.centre[0], bike.drawn(gearbox.base, gearbox.centre[1]));
    let Some(step) = labels.step(StepKind::Chain) else {
        labels.figure(&Figure::ChainAtGearbox, "sprockets", at_gearbox);
        return;
    };
    let at_rear = sheet(rear.centre[0] + rear.radius, bike.drawn(rear.base, rear.centre[1]));
    let at = match (step.applied_to.as_str(), bike.wheel) {
        ("gearbox", _) => at_gearbox,
        ("hub", Some(wheel)) => {
            let x = wheel.axle[0] - 0.5 * wheel.radius;
            sheet(x, bike.factor * wheel.across(x, wheel.axle[2]))
        }
        _ => at_rear,
    };
    let way = sideways(step);
    canvas.arrow("arrow", [at[0] - way * 4.0, at[1]], [at[0] + way * WAY, at[1]], HEAD);
    labels.label_step(step, at);
}
