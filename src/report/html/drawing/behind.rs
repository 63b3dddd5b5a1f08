//! The view from behind: the bike's left at the left, the bench at the bottom.

use super::bike::Bike;
use super::canvas::{Anchor, Canvas, Drawing, Place};
use super::labels::{BEHIND_ON_PAPER, HEAD, Labels, WAY, letters};
use crate::figure::Figure;
use crate::plan::outcome::{Direction, StepKind};
use crate::text::units::Show;

/// How far from the wheel a plumb line may hang to be shown, mm along the bike.
const NEAR: f64 = 2000.0;

/// Across the bike y (+ left), above the bench z: on the sheet.
fn sheet(y: f64, z: f64) -> Place {
    [-y, -z]
}

pub fn behind(bike: &Bike, show: Show) -> Drawing {
    let mut canvas = Canvas::default();
    let top = bike.wheel.map_or(500.0, |wheel| wheel.axle[2] + wheel.radius) + 40.0;
    canvas.line("bench", sheet(140.0, 0.0), sheet(-140.0, 0.0));
    // The cord's upright plane, and the cord in it.
    canvas.line("cord", sheet(0.0, 0.0), sheet(0.0, top));
    canvas.circle("cord-end", sheet(0.0, 3.0), 3.5);
    plumb(&mut canvas, bike);
    spindle(&mut canvas, bike);
    sprockets(&mut canvas, bike);
    wheel(&mut canvas, bike);
    let letters = letters(&canvas, BEHIND_ON_PAPER);
    canvas.words("label", sheet(100.0, top + 8.0), Anchor::Middle, letters, "left");
    canvas.words("label", sheet(-100.0, top + 8.0), Anchor::Middle, letters, "right");
    label_figures(&mut canvas, bike, letters, show);
    canvas.scale_bar(letters);
    let words = format!(
        "View from behind, the bike's left at the left, the bench at the bottom; sideways departures drawn {} times as large as they are",
        bike.factor
    );
    canvas.finish(&words, bike.factor)
}

fn plumb(canvas: &mut Canvas, bike: &Bike) {
    for (name, a, b) in &bike.document.layout.lines {
        if name.starts_with("plumb") && a[0].abs() < NEAR {
            canvas.line(
                "plumb-line",
                sheet(bike.drawn(0.0, a[1]), a[2]),
                sheet(bike.drawn(0.0, b[1]), b[2]),
            );
        }
    }
}

fn wheel(canvas: &mut Canvas, bike: &Bike) {
    let Some(wheel) = bike.wheel else { return };
    let [x0, _, z0] = wheel.axle;
    let across =
        |z: f64, side: f64| sheet(side * wheel.half_width + bike.factor * wheel.across(x0, z), z);
    let (low, high) = (z0 - wheel.radius, z0 + wheel.radius);
    let inset = wheel.half_width;
    let true_place = bike.frame_across(x0).map_or(0.0, |y| bike.drawn(0.0, y));
    canvas.bar(
        "tyre ghost",
        sheet(true_place, low + inset),
        sheet(true_place, high - inset),
        2.0 * wheel.half_width,
    );
    canvas.bar("tyre", across(low + inset, 0.0), across(high - inset, 0.0), 2.0 * wheel.half_width);
    for side in [0.62, -0.62] {
        canvas.line("rim", across(low + inset, side), across(high - inset, side));
    }
    canvas.line("midline", across(low - 12.0, 0.0), across(high + 25.0, 0.0));
}

fn sprockets(canvas: &mut Canvas, bike: &Bike) {
    for sprocket in [bike.gearbox_sprocket, bike.rear_sprocket].into_iter().flatten() {
        let [_, y, z] = sprocket.centre;
        let face = |height: f64| {
            sheet(bike.drawn(sprocket.base, y) + bike.factor * sprocket.up * height, z + height)
        };
        canvas.line("sprocket", face(-sprocket.radius), face(sprocket.radius));
    }
}

fn spindle(canvas: &mut Canvas, bike: &Bike) {
    let ends: Vec<_> = bike
        .document
        .layout
        .marks
        .iter()
        .filter(|m| m.kind == "tab" && matches!(m.number, 11 | 12))
        .collect();
    let level = ends.iter().map(|mark| mark.at[2]).sum::<f64>() / ends.len().max(1) as f64;
    // Up and down, too, the ends are drawn apart by the factor; level is where they are taken to
    // belong.
    let at = |mark: &crate::bench::figures::Mark| {
        let base = bike.base(mark);
        (sheet(bike.drawn(base, mark.at[1]), bike.drawn(level, mark.at[2])), base)
    };
    if let [a, b, ..] = ends.as_slice() {
        canvas.line("spindle", at(a).0, at(b).0);
    }
    for mark in ends {
        let (place, base) = at(mark);
        canvas.mark("tab", place, 3.2, &Bike::mark_name(mark), base);
    }
}

/// The rim's step with its arrow, or how far off centre the wheel stands; how it leans; which end
/// of the spindle stands higher.
fn label_figures(canvas: &mut Canvas, bike: &Bike, letters: f64, show: Show) {
    let Some(wheel) = bike.wheel else { return };
    let [x0, _, z0] = wheel.axle;
    let mut labels = Labels::new(bike, show);
    let low = z0 - 0.6 * wheel.radius;
    let at_rim = sheet(bike.factor * wheel.across(x0, low), low);
    match labels.step(StepKind::Centre) {
        Some(step) => {
            let way = if step.direction == Some(Direction::Left) { -1.0 } else { 1.0 };
            canvas.arrow(
                "arrow",
                [at_rim[0] - way * 4.0, at_rim[1]],
                [at_rim[0] + way * WAY, at_rim[1]],
                HEAD,
            );
            labels.label_step(step, at_rim);
        }
        None => labels.figure(&Figure::WheelOffset, "wheel off by", at_rim),
    }
    if bike.document.figure(&Figure::WheelLean).is_some() {
        let top = z0 + wheel.radius + 14.0;
        let (foot, offset) = (z0 - wheel.radius, bike.factor * wheel.across(x0, z0));
        canvas.line("reach", sheet(offset, foot), sheet(offset, top));
        labels.figure(
            &Figure::WheelLean,
            "wheel lean",
            sheet(bike.factor * wheel.across(x0, top), top),
        );
    }
    if bike.document.figure(&Figure::SpindleHeights).is_some() {
        // The end on that side, where both were seen: out there it is drawn clear of everything
        // else.
        let away = -bike.chain_sign();
        let is_end = |m: &&crate::bench::figures::Mark| {
            m.kind == "tab" && matches!(m.number, 11 | 12) && m.at[1] * away > 0.0
        };
        let end = bike.document.layout.marks.iter().find(is_end);
        let (y, z) = end.map_or((away * 112.0, z0), |mark| {
            (bike.drawn(bike.base(mark), mark.at[1]), mark.at[2])
        });
        labels.figure(&Figure::SpindleHeights, "spindle ends", sheet(y, z));
    }
    labels.write(canvas, letters);
}
