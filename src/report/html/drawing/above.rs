//! The view from above: front at the top, the bike's left at the left.

use super::bike::{Bike, Sprocket};
use super::canvas::{Anchor, Canvas, Drawing, Place};
use crate::figure::{Figure, Side};
use crate::report::fields::InWords;
use crate::report::units::{Kind, Show, Shown};

/// Height of letters, mm on the drawing.
const LETTERS: f64 = 13.0;
const HEAD: f64 = 11.0;
/// Half sizes of a card, mm: 26 by 18 cells of 10 or 15 mm, the long side along the cord.
const CARD: [f64; 2] = [130.0, 90.0];
const LARGE_CARD: [f64; 2] = [195.0, 135.0];

/// Along the bike x, across it y (+ left): on the sheet.
fn sheet(x: f64, y: f64) -> Place {
    [-y, -x]
}

pub fn above(bike: &Bike, show: Show) -> Drawing {
    let mut canvas = Canvas::default();
    let (rear_end, front_end) = ends(bike);
    cards(&mut canvas, bike, rear_end, front_end);
    // The cord: straight, and what everything is told from.
    canvas.line("cord", sheet(rear_end, 0.0), sheet(front_end, 0.0));
    canvas.words("label", sheet(front_end + 8.0, 0.0), Anchor::Middle, LETTERS, "front");
    frame(&mut canvas, bike, rear_end, front_end);
    wheel(&mut canvas, bike);
    sprockets(&mut canvas, bike);
    marks(&mut canvas, bike, rear_end, front_end);
    arrows(&mut canvas, bike, show);
    canvas.scale_bar(LETTERS);
    let words = format!(
        "View from above, front at the top, the bike's left at the left; sideways departures drawn {} times as large as they are",
        bike.factor
    );
    canvas.finish(&words, bike.factor)
}

/// From behind the wheel to before the gearbox sprocket, and on to plumb lines that hang not far beyond.
fn ends(bike: &Bike) -> (f64, f64) {
    const NOT_FAR: f64 = 260.0;
    let rear = bike.wheel.map_or(-200.0, |wheel| wheel.axle[0] - wheel.radius) - 60.0;
    let front = bike.gearbox_sprocket.map(|sprocket| sprocket.centre[0] + sprocket.radius);
    let front = front.or(bike.wheel.map(|wheel| wheel.axle[0] + wheel.radius)).unwrap_or(300.0) + 60.0;
    let lines = bike.document.layout.lines.iter().filter(|(name, ..)| name.starts_with("plumb"));
    let near = lines.map(|(_, a, b)| (a[0] + b[0]) / 2.0).filter(|x| (rear - NOT_FAR..front + NOT_FAR).contains(x));
    near.fold((rear, front), |(rear, front), x| (rear.min(x - 20.0), front.max(x + 20.0)))
}

fn cards(canvas: &mut Canvas, bike: &Bike, rear_end: f64, front_end: f64) {
    for card in bike.document.layout.marks.iter().filter(|mark| mark.kind == "card") {
        let [x, y, _] = card.at;
        let half = if card.number <= 12 { CARD } else { LARGE_CARD };
        // Cards far from the bike would make everything else small; the part that lies in the picture is drawn.
        let (low, high) = ((x - half[0]).max(rear_end), (x + half[0]).min(front_end));
        if low < high && y.abs() < 400.0 {
            canvas.rectangle("card", sheet(high, y + half[1]), [2.0 * half[1], high - low]);
        }
    }
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
            canvas.mark("plumb", sheet(x, bike.drawn(0.0, y)), 4.0, name, 0.0);
        }
    }
}

fn wheel(canvas: &mut Canvas, bike: &Bike) {
    let Some(wheel) = bike.wheel else { return };
    let [x0, _, z0] = wheel.axle;
    let across = |x: f64, side: f64| sheet(x, side * wheel.half_width + bike.factor * wheel.across(x, z0));
    let (rear, front) = (x0 - wheel.radius, x0 + wheel.radius);
    canvas.polygon("wheel", &[across(front, 1.0), across(front, -1.0), across(rear, -1.0), across(rear, 1.0)]);
    canvas.line("midline", across(rear - 25.0, 0.0), across(front + 25.0, 0.0));
    // The spindle, square to the wheel as drawn: its slope is as exaggerated as the wheel's.
    let slope = bike.factor * wheel.axis[0] / wheel.axis[1];
    let (_, middle) = (0.0, bike.factor * wheel.across(x0, z0));
    let end = |reach: f64| sheet(x0 + slope * reach, middle + reach);
    canvas.line("spindle", end(118.0), end(-118.0));
}

fn sprockets(canvas: &mut Canvas, bike: &Bike) {
    let face = |sprocket: &Sprocket, x: f64| {
        let at_centre = bike.drawn(sprocket.base, sprocket.centre[1]);
        sheet(x, at_centre + bike.factor * sprocket.along * (x - sprocket.centre[0]))
    };
    if let (Some(rear), Some(gearbox)) = (bike.rear_sprocket, bike.gearbox_sprocket) {
        // The rear sprocket's plane carried to the gearbox: what a straight-edge shows there.
        canvas.line("reach", face(&rear, rear.centre[0] + rear.radius), face(&rear, gearbox.centre[0] + gearbox.radius));
    }
    for sprocket in [bike.rear_sprocket, bike.gearbox_sprocket].into_iter().flatten() {
        let [x, _, _] = sprocket.centre;
        canvas.line("sprocket", face(&sprocket, x - sprocket.radius), face(&sprocket, x + sprocket.radius));
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

/// The figures where they belong, on the side away from the chain.
fn arrows(canvas: &mut Canvas, bike: &Bike, show: Show) {
    let document = bike.document;
    let words = |figure: &Figure| document.figure(figure).map(|measured| figure.in_words(&measured, show));
    let away = -bike.chain_sign();
    let anchor = if away > 0.0 { Anchor::End } else { Anchor::Start };
    let column = away * 138.0;
    let told = |canvas: &mut Canvas, from: Place, x: f64, title: &str, words: &str| {
        let at = sheet(x, column);
        canvas.line("leader", from, [at[0] + if away > 0.0 { 4.0 } else { -4.0 }, at[1] - LETTERS * 0.3]);
        canvas.words("label title", at, anchor, LETTERS, title);
        canvas.words("label", [at[0], at[1] + LETTERS * 1.25], anchor, LETTERS, words);
    };
    if let Some(wheel) = bike.wheel {
        let [x0, _, z0] = wheel.axle;
        let offset = bike.factor * wheel.across(x0, z0);
        if let Some(words) = words(&Figure::WheelOffset) {
            canvas.arrow("arrow", sheet(x0, 0.0), sheet(x0, offset), HEAD);
            told(canvas, sheet(x0, offset / 2.0), x0 - 60.0, "wheel, sideways", &words);
        }
        if let Some(words) = words(&Figure::WheelYaw) {
            let x = x0 + wheel.radius + 18.0;
            let (from, to) = (offset, bike.factor * wheel.across(x, z0));
            canvas.line("reach", sheet(x0, offset), sheet(x, offset));
            canvas.arrow("arrow", sheet(x, from), sheet(x, to), HEAD);
            told(canvas, sheet(x, (from + to) / 2.0), x, "wheel, square", &words);
        }
    }
    if let (Some(rear), Some(gearbox), Some(words)) = (bike.rear_sprocket, bike.gearbox_sprocket, words(&Figure::ChainAtGearbox))
    {
        let x = gearbox.centre[0];
        let plane = bike.drawn(rear.base, rear.centre[1]) + bike.factor * rear.along * (x - rear.centre[0]);
        let sprocket = bike.drawn(gearbox.base, gearbox.centre[1]);
        canvas.arrow("arrow", sheet(x, plane), sheet(x, sprocket), HEAD);
        told(canvas, sheet(x, plane), x, "gearbox sprocket", &words);
    }
    rim_offsets(canvas, bike, show);
    if let (Some(words), Some(frame)) = (words(&Figure::FrameOffset), bike.frame_across(0.0)) {
        let x = bike.wheel.map_or(-300.0, |wheel| wheel.axle[0] - wheel.radius - 30.0);
        told(canvas, sheet(x, bike.factor * frame), x, "frame", &words);
    }
}

/// At each tab on the rim how far its face stands from the cord, as a square would show it.
fn rim_offsets(canvas: &mut Canvas, bike: &Bike, show: Show) {
    for rim in bike.document.measured.rims().into_iter().filter(|rim| rim.at.is_rear_mark()) {
        let number = if rim.at.side == Side::Left { 1 } else { 2 };
        let tab = bike.document.layout.marks.iter().find(|m| m.kind == "tab" && m.number == number && m.setup == rim.at.setup);
        if let (Some(tab), Some(offset)) = (tab, rim.offset) {
            let y = bike.drawn(bike.base(tab), tab.at[1]) + rim.at.side.sign() * 8.0;
            let anchor = if rim.at.side == Side::Left { Anchor::End } else { Anchor::Start };
            let [x_sheet, y_sheet] = sheet(tab.at[0], y);
            let amount = Shown::of(&offset, Kind::Length, show).signed().trim_start_matches('+').to_owned();
            canvas.words("label", [x_sheet, y_sheet + LETTERS * 0.35], anchor, LETTERS, &amount);
        }
    }
}
