//! The two sprockets, the chain on the left as it is drawn here; on the right everything is
//! mirrored.

use super::pen::{Anchor, OUT_OF_TRUE, Pen, turned};
use Anchor::{End, Middle, Start};

/// Both sprockets from above: the rear one below, its face turned; where they stand on the sheet.
fn sprockets(pen: &mut Pen, rear_turn: f64, gearbox_turn: f64) -> ((f64, f64), (f64, f64)) {
    let (rear, gearbox) = ((230.0, 196.0), (176.0, 60.0));
    let face = |middle: (f64, f64), half: f64, turn: f64| {
        let end = |dy: f64| turned((middle.0, middle.1 + dy), middle, turn);
        (end(-half), end(half))
    };
    for (middle, half, turn, name) in [
        (rear, 52.0, rear_turn, "rear sprocket"),
        (gearbox, 24.0, gearbox_turn, "gearbox sprocket"),
    ] {
        let (a, b) = face(middle, half, turn);
        let shaft = |dx: f64| turned((middle.0 + dx, middle.1), middle, turn);
        pen.line("rod", middle, shaft(if half > 30.0 { 150.0 } else { 60.0 }));
        pen.line("metal", a, b);
        pen.circle("dot", middle, 4.0);
        pen.words("soft", (shaft(70.0).0, shaft(70.0).1 - 10.0), Start, name);
    }
    pen.words("soft", (30.0, 20.0), Start, "chain side: left");
    pen.arrow((52.0, 130.0), (24.0, 130.0));
    pen.words("letter", (58.0, 135.0), Start, "+ outboard");
    (rear, gearbox)
}

pub fn at_gearbox() -> String {
    let mut pen = Pen::new(
        480.0,
        270.0,
        "From above: a straight-edge on the rear sprocket's face, and how far the gearbox sprocket's face is off it",
    );
    let (rear, gearbox) = sprockets(&mut pen, 3.0, 0.0);
    let edge = |dy: f64| turned((rear.0, rear.1 + dy), rear, 3.0);
    pen.line("carried", edge(52.0), edge(-184.0));
    pen.words(
        "soft",
        (edge(-184.0).0 + 8.0, 22.0),
        Start,
        "straight-edge on the rear sprocket's face",
    );
    let foot = edge(gearbox.1 - rear.1);
    pen.arrow((foot.0, gearbox.1), gearbox);
    pen.words("letter", (gearbox.0 - 12.0, gearbox.1 + 5.0), End, "offset at gearbox");
    pen.line("thin", (gearbox.0 + 64.0, gearbox.1), (410.0, gearbox.1));
    pen.line("thin", rear, (410.0, rear.1));
    pen.span((400.0, gearbox.1), (400.0, rear.1));
    pen.words("letter", (408.0, 134.0), Start, "centres");
    pen.caption(240.0, "from above, front at the top");
    pen.finished()
}

pub fn at_rear() -> String {
    let mut pen = Pen::new(
        480.0,
        270.0,
        "From above: the gearbox sprocket's plane carried back to the rear sprocket's centre",
    );
    let (rear, gearbox) = sprockets(&mut pen, 0.0, -5.0);
    let edge = |dy: f64| turned((gearbox.0, gearbox.1 + dy), gearbox, -5.0);
    pen.line("carried", edge(-24.0), edge(180.0));
    pen.words("soft", (edge(180.0).0 - 8.0, 248.0), End, "gearbox sprocket's plane");
    let foot = edge(rear.1 - gearbox.1);
    pen.arrow(rear, (foot.0, rear.1));
    pen.words("letter", (foot.0 - 10.0, rear.1 - 6.0), End, "offset at rear");
    pen.caption(300.0, "from above, front at the top");
    pen.finished()
}

pub fn angles() -> String {
    let mut pen = Pen::new(
        480.0,
        290.0,
        "The sprockets' yaw against each other from above, and each one's lean from behind",
    );
    let (rear, gearbox) = ((120.0, 200.0), (120.0, 78.0));
    pen.line("metal", (120.0, 152.0), (120.0, 248.0));
    let tip = |dy: f64| turned((gearbox.0, gearbox.1 + dy), gearbox, OUT_OF_TRUE);
    pen.line("metal", tip(-26.0), tip(26.0));
    pen.line("carried", rear, (120.0, 16.0));
    pen.line("carried", gearbox, tip(-64.0));
    pen.angle(gearbox, 58.0, 0.0, OUT_OF_TRUE);
    pen.words("letter", (100.0, 24.0), End, "yaw +");
    pen.words("soft", (134.0, 84.0), Start, "gearbox");
    pen.words("soft", (134.0, 206.0), Start, "rear");
    pen.caption(120.0, "from above, front at the top");
    pen.bench(256.0, 240.0, 470.0);
    for (x, y, half, turn, letter, name) in [
        (300.0, 176.0, 30.0, 5.0, "gearbox lean", "gearbox"),
        (410.0, 176.0, 56.0, OUT_OF_TRUE + 3.0, "rear lean", "rear"),
    ] {
        let middle = (x, y);
        let end = |dy: f64| turned((x, y + dy), middle, turn);
        pen.line("thin", middle, (x, y - 104.0));
        pen.line("metal", end(-half), end(half));
        pen.line("carried", middle, end(-104.0));
        pen.angle(middle, 96.0, 0.0, turn);
        pen.words("letter", (x, y - 114.0), Middle, letter);
        pen.words("soft", (x + 14.0, y + 14.0), Start, name);
    }
    pen.caption(355.0, "from behind, each against upright");
    pen.finished()
}
