//! A small drawing for each step of the plan: what is moved, and which way. Not to scale.

use super::canvas::{Anchor, Canvas, Drawing, Place};
use crate::bench::figures::Side;
use crate::plan::outcome::{Direction, PlanStep, StepKind};

const HEAD: f64 = 9.0;
const LETTERS: f64 = 10.0;

pub fn step(step: &PlanStep, chain: Option<Side>) -> Drawing {
    let mut canvas = Canvas::default();
    // All are of one size, whatever is on them.
    canvas.reach([-95.0, -70.0]);
    canvas.reach([95.0, 70.0]);
    match step.step {
        StepKind::Square => square(&mut canvas, step),
        StepKind::Chain => line_up(&mut canvas, step, chain),
        StepKind::Centre => centre(&mut canvas, step),
        StepKind::Rehang => rehang(&mut canvas, step),
        StepKind::Refer => refer(&mut canvas, step),
    }
    canvas.finish(&format!("Step {}: {}", step.n, step.part), 1.0)
}

/// Left is at the left of the sheet, for a view from above with front at the top and for one from
/// behind.
fn across(side: Option<Side>) -> f64 {
    side.map_or(0.0, |side| -side.sign())
}

/// From above: the wheel between the fork ends, the arrow at the end that is drawn.
fn square(canvas: &mut Canvas, step: &PlanStep) {
    let side = across(step.side);
    let down = match step.direction {
        Some(Direction::Forward) => -1.0,
        _ => 1.0,
    };
    // The wheel as it will stand, square; and faintly as it stands, turned about the end that
    // stays.
    let tilt = 0.10 * side * down;
    let turned = |x: f64, y: f64| -> Place { [x - tilt * y, y + tilt * (x + side * 60.0)] };
    canvas.polygon(
        "ghost",
        &[turned(-11.0, -56.0), turned(11.0, -56.0), turned(11.0, 56.0), turned(-11.0, 56.0)],
    );
    canvas.polygon("wheel", &[[-11.0, -56.0], [11.0, -56.0], [11.0, 56.0], [-11.0, 56.0]]);
    canvas.line("spindle", [-72.0, 0.0], [72.0, 0.0]);
    for x in [-60.0, 60.0] {
        canvas.rectangle("part", [x - 7.0, -34.0], [14.0, 60.0]);
    }
    canvas.arrow("arrow", [side * 84.0, -down * 18.0], [side * 84.0, down * 18.0], HEAD);
    canvas.words("label", [-46.0, -58.0], Anchor::Middle, LETTERS, "front");
}

/// From above: both sprockets' faces, the arrow at the part that moves.
fn line_up(canvas: &mut Canvas, step: &PlanStep, chain: Option<Side>) {
    let side = across(step.side.or(chain).or(Some(Side::Left)));
    let out = match step.direction {
        Some(Direction::Inboard) => -side,
        Some(Direction::Left) => -1.0,
        Some(Direction::Right) => 1.0,
        _ => side,
    };
    let at_gearbox = step.applied_to == "gearbox";
    let face = side * 40.0;
    let (moving_y, still_y) = if at_gearbox { (-48.0, 34.0) } else { (34.0, -48.0) };
    canvas.line("reach", [face, -62.0], [face, 62.0]);
    canvas.line("sprocket", [face, still_y - 16.0], [face, still_y + 16.0]);
    canvas.line(
        "ghost",
        [face - out * 24.0, moving_y - 18.0],
        [face - out * 24.0, moving_y + 18.0],
    );
    canvas.line("sprocket", [face, moving_y - 18.0], [face, moving_y + 18.0]);
    canvas.arrow(
        "arrow",
        [face - out * 24.0, moving_y - 10.0],
        [face - out * 3.0, moving_y - 10.0],
        HEAD,
    );
    if step.applied_to == "hub" {
        // The rim is carried along.
        let x = -side * 20.0;
        canvas.polygon(
            "wheel",
            &[[x - 10.0, 6.0], [x + 10.0, 6.0], [x + 10.0, 62.0], [x - 10.0, 62.0]],
        );
        canvas.line("spindle", [-80.0, 34.0], [80.0, 34.0]);
    } else if !at_gearbox {
        canvas.line("spindle", [-80.0, 34.0], [80.0, 34.0]);
    }
    canvas.words(
        "label",
        [-side * 88.0, -44.0],
        if side > 0.0 { Anchor::Start } else { Anchor::End },
        LETTERS,
        "gearbox",
    );
}

/// From behind: rim, spokes, hub; the arrow at the rim.
fn centre(canvas: &mut Canvas, step: &PlanStep) {
    let way = match step.direction {
        Some(Direction::Left) => -1.0,
        Some(Direction::Right) => 1.0,
        _ => across(step.side),
    };
    let rim = way * 12.0;
    canvas.line("cord", [rim, -68.0], [rim, 68.0]);
    for y in [-48.0, 48.0] {
        canvas.rectangle("ghost", [-14.0, y - 9.0], [28.0, 18.0]);
        canvas.rectangle("wheel", [rim - 14.0, y - 9.0], [28.0, 18.0]);
        for flange in [-24.0, 24.0] {
            canvas.line("spoke", [flange, y.signum() * 10.0], [rim, y - y.signum() * 9.0]);
        }
    }
    canvas.rectangle("part", [-26.0, -10.0], [52.0, 20.0]);
    canvas.line("spindle", [-62.0, 0.0], [62.0, 0.0]);
    canvas.arrow("arrow", [rim - way * 62.0, -48.0], [rim - way * 20.0, -48.0], HEAD);
}

/// From behind: the frame's line next to the cord's plane.
fn rehang(canvas: &mut Canvas, step: &PlanStep) {
    let way = match step.direction {
        Some(Direction::Left) => -1.0,
        Some(Direction::Right) => 1.0,
        _ => across(step.side),
    };
    canvas.line("bench", [-85.0, 62.0], [85.0, 62.0]);
    canvas.line("cord", [0.0, -66.0], [0.0, 62.0]);
    canvas.line("frame", [-way * 34.0, -60.0], [-way * 34.0, 40.0]);
    canvas.arrow("arrow", [-way * 32.0, -20.0], [-way * 3.0, -20.0], HEAD);
    canvas.words(
        "label",
        [-way * 40.0, -46.0],
        if way > 0.0 { Anchor::End } else { Anchor::Start },
        LETTERS,
        "frame",
    );
}

/// What can't be adjusted, from behind: the wheel or the sprocket out of its place, and nothing to
/// turn.
fn refer(canvas: &mut Canvas, step: &PlanStep) {
    // Top to the left is +, and left is at the left of the sheet.
    let lean = if step.before.is_some_and(|figure| figure.value > 0.0) { -12.0 } else { 12.0 };
    canvas.line("bench", [-85.0, 62.0], [85.0, 62.0]);
    canvas.line("cord", [0.0, -66.0], [0.0, 62.0]);
    if step.applied_to.starts_with("/chain") {
        canvas.line("ghost", [-30.0, -34.0], [-30.0, 34.0]);
        canvas.line("sprocket", [-30.0 + lean, -34.0], [-30.0 - lean, 34.0]);
    } else {
        canvas.polygon(
            "wheel",
            &[
                [lean - 11.0, -56.0],
                [lean + 11.0, -56.0],
                [11.0 - lean, 56.0],
                [-11.0 - lean, 56.0],
            ],
        );
    }
    canvas.words("label title", [58.0, -2.0], Anchor::Middle, LETTERS * 2.6, "?");
}
