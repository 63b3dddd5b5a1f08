//! The view from behind: the bike's left at the left, the bench at the bottom.

use super::bike::Bike;
use super::canvas::{Anchor, Canvas, Drawing, Place};
use crate::figure::Figure;
use crate::report::fields::InWords;
use crate::report::units::Show;

const LETTERS: f64 = 13.0;
const HEAD: f64 = 11.0;
/// How far from the wheel a plumb line may hang to be shown, mm along the bike.
const NEAR: f64 = 2000.0;

/// Across the bike y (+ left), above the bench z: on the sheet.
fn sheet(y: f64, z: f64) -> Place {
    [-y, -z]
}

pub fn behind(bike: &Bike, show: Show) -> Drawing {
    let mut canvas = Canvas::default();
    let top = bike.wheel.map_or(500.0, |wheel| wheel.axle[2] + wheel.radius) + 40.0;
    canvas.line("bench", sheet(150.0, 0.0), sheet(-150.0, 0.0));
    // The cord's upright plane, and the cord in it.
    canvas.line("cord", sheet(0.0, 0.0), sheet(0.0, top));
    canvas.circle("cord-end", sheet(0.0, 3.0), 3.5);
    canvas.words("label", sheet(130.0, top + 6.0), Anchor::Middle, LETTERS, "left");
    canvas.words("label", sheet(-130.0, top + 6.0), Anchor::Middle, LETTERS, "right");
    plumb(&mut canvas, bike);
    wheel(&mut canvas, bike);
    sprockets(&mut canvas, bike);
    spindle(&mut canvas, bike);
    arrows(&mut canvas, bike, show);
    canvas.scale_bar(LETTERS);
    let words = format!(
        "View from behind, the bike's left at the left, the bench at the bottom; sideways departures drawn {} times as large as they are",
        bike.factor
    );
    canvas.finish(&words, bike.factor)
}

fn plumb(canvas: &mut Canvas, bike: &Bike) {
    for (name, a, b) in &bike.document.layout.lines {
        if name.starts_with("plumb") && a[0].abs() < NEAR {
            canvas.line("plumb-line", sheet(bike.drawn(0.0, a[1]), a[2]), sheet(bike.drawn(0.0, b[1]), b[2]));
        }
    }
}

fn wheel(canvas: &mut Canvas, bike: &Bike) {
    let Some(wheel) = bike.wheel else { return };
    let [x0, _, z0] = wheel.axle;
    let across = |z: f64, side: f64| sheet(side * wheel.half_width + bike.factor * wheel.across(x0, z), z);
    let (low, high) = (z0 - wheel.radius, z0 + wheel.radius);
    canvas.polygon("wheel", &[across(high, 1.0), across(high, -1.0), across(low, -1.0), across(low, 1.0)]);
    canvas.line("midline", across(low - 12.0, 0.0), across(high + 25.0, 0.0));
}

fn sprockets(canvas: &mut Canvas, bike: &Bike) {
    for sprocket in [bike.gearbox_sprocket, bike.rear_sprocket].into_iter().flatten() {
        let [_, y, z] = sprocket.centre;
        let face = |height: f64| sheet(bike.drawn(sprocket.base, y) + bike.factor * sprocket.up * height, z + height);
        canvas.line("sprocket", face(-sprocket.radius), face(sprocket.radius));
    }
}

fn spindle(canvas: &mut Canvas, bike: &Bike) {
    let ends: Vec<_> = bike.document.layout.marks.iter().filter(|m| m.kind == "tab" && matches!(m.number, 11 | 12)).collect();
    let level = ends.iter().map(|mark| mark.at[2]).sum::<f64>() / ends.len().max(1) as f64;
    // Up and down, too, the ends are drawn apart by the factor; level is where they are taken to belong.
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

fn arrows(canvas: &mut Canvas, bike: &Bike, show: Show) {
    let Some(wheel) = bike.wheel else { return };
    let [x0, _, z0] = wheel.axle;
    let words = |figure: &Figure| {
        let measured = bike.document.figure(figure)?;
        Some(figure.in_words(&measured, show))
    };
    let away = -bike.chain_sign();
    let anchor = if away > 0.0 { Anchor::End } else { Anchor::Start };
    let told = |canvas: &mut Canvas, from: Place, z: f64, title: &str, words: &str| {
        let at = sheet(away * 138.0, z);
        canvas.line("leader", from, [at[0] + if away > 0.0 { 4.0 } else { -4.0 }, at[1] - LETTERS * 0.3]);
        canvas.words("label title", at, anchor, LETTERS, title);
        canvas.words("label", [at[0], at[1] + LETTERS * 1.25], anchor, LETTERS, words);
    };
    let offset = bike.factor * wheel.across(x0, z0);
    if let Some(words) = words(&Figure::WheelOffset) {
        canvas.arrow("arrow", sheet(0.0, z0), sheet(offset, z0), HEAD);
        told(canvas, sheet(offset / 2.0, z0), z0 - 60.0, "wheel, sideways", &words);
    }
    if let Some(words) = words(&Figure::WheelLean) {
        let top = z0 + wheel.radius + 14.0;
        let leaning = bike.factor * wheel.across(x0, top);
        canvas.line("reach", sheet(offset, z0), sheet(offset, top));
        canvas.arrow("arrow", sheet(offset, top), sheet(leaning, top), HEAD);
        told(canvas, sheet((offset + leaning) / 2.0, top), z0 + wheel.radius - 40.0, "wheel, upright", &words);
    }
    if let Some(words) = words(&Figure::SpindleHeights) {
        // The end on that side, where both were seen: out there it is drawn clear of everything else.
        let end =
            bike.document.layout.marks.iter().find(|m| m.kind == "tab" && matches!(m.number, 11 | 12) && m.at[1] * away > 0.0);
        let (y, z) = end.map_or((away * 112.0, z0), |mark| (bike.drawn(bike.base(mark), mark.at[1]), mark.at[2]));
        told(canvas, sheet(y, z), z0 + 60.0, "spindle ends", &words);
    }
}
