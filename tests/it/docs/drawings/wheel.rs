//! Wheel, rim, hub and spindle.

use super::pen::{Anchor, OUT_OF_TRUE, Pen, Place, turned};
use Anchor::{End, Middle, Start};

pub fn signs() -> String {
    let mut pen = Pen::new(
        480.0,
        270.0,
        "Which way is plus: to the left, front to the left, top to the left",
    );
    pen.cord(130.0, 20.0, 236.0);
    pen.words("soft", (130.0, 14.0), Middle, "front");
    pen.words("soft", (60.0, 236.0), Middle, "left");
    pen.words("soft", (200.0, 236.0), Middle, "right");
    pen.wheel((110.0, 150.0), 16.0, 72.0, OUT_OF_TRUE);
    pen.plus_left((34.0, 150.0));
    pen.line("thin", (110.0, 150.0), (110.0, 40.0));
    pen.angle((110.0, 150.0), 100.0, 0.0, OUT_OF_TRUE);
    pen.words("letter", (84.0, 48.0), End, "yaw +");
    pen.words("soft", (138.0, 200.0), Start, "cord");
    pen.caption(130.0, "from above");

    pen.bench(232.0, 290.0, 460.0);
    pen.cord(380.0, 20.0, 232.0);
    pen.words("soft", (306.0, 226.0), Middle, "left");
    pen.words("soft", (440.0, 226.0), Middle, "right");
    pen.wheel((360.0, 140.0), 16.0, 74.0, OUT_OF_TRUE);
    pen.line("thin", (360.0, 140.0), (360.0, 30.0));
    pen.angle((360.0, 140.0), 101.0, 0.0, OUT_OF_TRUE);
    pen.words("letter", (334.0, 38.0), End, "lean +");
    pen.plus_left((290.0, 140.0));
    pen.circle("dot", (380.0, 228.0), 3.5);
    pen.words("soft", (388.0, 60.0), Start, "the cord's");
    pen.words("soft", (388.0, 75.0), Start, "upright plane");
    pen.caption(380.0, "from behind");
    pen.finished()
}

pub fn rim() -> String {
    let mut pen = Pen::new(
        480.0,
        270.0,
        "From behind: distance of the rim's two faces from the upright plane through the cord",
    );
    pen.bench(236.0, 60.0, 420.0);
    pen.cord(240.0, 18.0, 236.0);
    pen.circle("dot", (240.0, 232.0), 3.5);
    pen.words("soft", (250.0, 228.0), Start, "cord");
    pen.wheel((222.0, 118.0), 46.0, 78.0, 0.0);
    for (x, label, at, anchor) in [(176.0, "tab 1", 166.0, End), (268.0, "tab 2", 278.0, Start)] {
        pen.outline("tab", &[(x - 3.0, 52.0), (x + 3.0, 52.0), (x + 3.0, 74.0), (x - 3.0, 74.0)]);
        pen.words("soft", (at, 60.0), anchor, label);
        pen.line("thin", (x, 74.0), (x, 128.0));
    }
    pen.span((240.0, 92.0), (176.0, 92.0));
    pen.words("letter", (206.0, 86.0), Middle, "L");
    pen.span((240.0, 92.0), (268.0, 92.0));
    pen.words("letter", (254.0, 86.0), Middle, "R");
    pen.span((176.0, 122.0), (268.0, 122.0));
    pen.words("letter", (206.0, 140.0), Middle, "width");
    pen.line("thin", (278.0, 63.0), (350.0, 63.0));
    pen.span((340.0, 63.0), (340.0, 236.0));
    pen.words("letter", (350.0, 154.0), Start, "height");
    pen.words("soft", (90.0, 226.0), Middle, "left");
    pen.words("soft", (400.0, 226.0), Middle, "right");
    pen.caption(240.0, "from behind, at the marked place");
    pen.finished()
}

pub fn wheel() -> String {
    let mut pen = Pen::new(480.0, 280.0, "Offset at the axle, yaw from above, lean from behind");
    pen.cord(150.0, 20.0, 246.0);
    pen.words("soft", (158.0, 236.0), Start, "cord");
    let middle = (112.0, 150.0);
    pen.wheel(middle, 17.0, 76.0, OUT_OF_TRUE);
    pen.line(
        "rod",
        turned((40.0, 150.0), middle, OUT_OF_TRUE),
        turned((184.0, 150.0), middle, OUT_OF_TRUE),
    );
    pen.circle("dot", middle, 4.0);
    pen.line("thin", (112.0, 150.0), (112.0, 34.0));
    pen.angle(middle, 108.0, 0.0, OUT_OF_TRUE);
    pen.words("letter", (90.0, 42.0), End, "yaw");
    pen.line("thin", (112.0, 150.0), (112.0, 196.0));
    pen.arrow((150.0, 188.0), (112.0, 188.0));
    pen.words("letter", (158.0, 193.0), Start, "offset");
    pen.words("soft", (190.0, 146.0), Start, "spindle");
    pen.caption(130.0, "from above, front at the top");

    pen.bench(246.0, 300.0, 460.0);
    pen.line("thin", (380.0, 136.0), (380.0, 22.0));
    pen.wheel((380.0, 136.0), 17.0, 76.0, OUT_OF_TRUE);
    pen.line(
        "rod",
        turned((312.0, 136.0), (380.0, 136.0), OUT_OF_TRUE),
        turned((448.0, 136.0), (380.0, 136.0), OUT_OF_TRUE),
    );
    pen.angle((380.0, 136.0), 108.0, 0.0, OUT_OF_TRUE);
    pen.words("letter", (358.0, 28.0), End, "lean");
    pen.words("soft", (386.0, 28.0), Start, "upright");
    pen.caption(380.0, "from behind");
    pen.finished()
}

pub fn two_positions() -> String {
    let mut pen = Pen::new(
        480.0,
        290.0,
        "The rim's offsets with the mark forward and with the mark rearward",
    );
    let middle = (222.0, 140.0);
    let turn = 5.0;
    pen.cord(240.0, 16.0, 258.0);
    pen.wheel(middle, 46.0, 96.0, turn);
    let at = |dx: f64, dy: f64| turned((middle.0 + dx, middle.1 + dy), middle, turn);
    for (dy, left, right) in [(-80.0, "Lf", "Rf"), (80.0, "Lr", "Rr")] {
        let (l, r, m) = (at(-46.0, dy), at(46.0, dy), at(0.0, dy));
        pen.span((240.0, l.1), l);
        pen.span((240.0, r.1), r);
        for place in [l, r] {
            pen.circle("tab", place, 5.0);
        }
        pen.words("letter", (l.0 - 12.0, l.1 + 5.0), End, left);
        pen.words("letter", (r.0.max(240.0) + 12.0, r.1 + 5.0), Start, right);
        pen.circle("dot", m, 3.0);
    }
    pen.words("soft", (140.0, 66.0), End, "mark forward");
    pen.words("soft", (150.0, 224.0), End, "mark rearward");
    let (front, rear) = (at(0.0, -80.0), at(0.0, 80.0));
    for place in [front, rear] {
        pen.line("thin", place, (372.0, place.1));
    }
    pen.span((364.0, front.1), (364.0, rear.1));
    pen.words("letter", (374.0, 132.0), Start, "distance");
    pen.words("letter", (374.0, 150.0), Start, "front to rear");
    pen.words("soft", (248.0, 254.0), Start, "cord");
    pen.caption(240.0, "from above, front at the top; the wheel turned by hand between");
    pen.finished()
}

pub fn run_out() -> String {
    let mut pen = Pen::new(
        480.0,
        250.0,
        "Run-out: the rim's face against a plane square to the axle, once round",
    );
    // The rim from the side with six places.
    pen.circle("wheel", (110.0, 110.0), 84.0);
    pen.circle("thin", (110.0, 110.0), 70.0);
    pen.circle("dot", (110.0, 110.0), 4.0);
    for place in 0..6 {
        let at = turned((110.0, 33.0), (110.0, 110.0), 60.0 * f64::from(place));
        pen.circle("tab", at, 6.0);
    }
    pen.words("soft", (110.0, 134.0), Middle, "tabs on one side");
    pen.caption(110.0, "six places round the rim");
    // What a dial gauge would trace.
    let curve = |x: f64| 110.0 - 44.0 * ((x - 240.0) / 210.0 * std::f64::consts::TAU).sin();
    pen.line("thin", (240.0, 110.0), (456.0, 110.0));
    let places: Vec<Place> =
        (0..=42).map(|i| 240.0 + 5.0 * f64::from(i)).map(|x| (x, curve(x))).collect();
    pen.path("rod", &places);
    for i in 0..6 {
        let x = 254.0 + 35.0 * f64::from(i);
        pen.circle("tab", (x, curve(x)), 6.0);
    }
    pen.line("carried", (240.0, 66.0), (470.0, 66.0));
    pen.line("carried", (240.0, 154.0), (470.0, 154.0));
    pen.span((462.0, 66.0), (462.0, 154.0));
    pen.words("letter", (462.0, 54.0), End, "lateral, peak to peak");
    pen.words("soft", (240.0, 178.0), Start, "once round the wheel");
    pen.arrow((376.0, 174.0), (420.0, 174.0));
    pen.caption(350.0, "sideways, as a dial gauge reads it");
    pen.finished()
}

pub fn hub() -> String {
    let mut pen = Pen::new(
        480.0,
        250.0,
        "From the brake drum's or hub's face to the rim's outside face on the same side, along the axle",
    );
    // Section from behind: rim above, hub below, spokes between.
    pen.line("rod", (80.0, 180.0), (400.0, 180.0));
    pen.outline("wheel", &[(190.0, 30.0), (290.0, 30.0), (290.0, 62.0), (190.0, 62.0)]);
    pen.words("soft", (240.0, 50.0), Middle, "rim");
    pen.outline("wheel", &[(150.0, 140.0), (320.0, 140.0), (320.0, 216.0), (150.0, 216.0)]);
    pen.words("soft", (240.0, 204.0), Middle, "hub with drum");
    for (a, b) in [((205.0, 62.0), (165.0, 140.0)), ((275.0, 62.0), (305.0, 140.0))] {
        pen.line("thin", a, b);
    }
    pen.line("carried", (150.0, 140.0), (150.0, 84.0));
    pen.line("carried", (190.0, 62.0), (190.0, 116.0));
    pen.span((150.0, 104.0), (190.0, 104.0));
    pen.words("letter", (142.0, 96.0), End, "rim from face");
    pen.words("soft", (142.0, 112.0), End, "inboard here: -");
    pen.outline("tab", &[(144.0, 156.0), (150.0, 156.0), (150.0, 176.0), (144.0, 176.0)]);
    pen.words("soft", (136.0, 158.0), End, "tab 31 on the face");
    pen.outline("tab", &[(184.0, 36.0), (190.0, 36.0), (190.0, 56.0), (184.0, 56.0)]);
    pen.words("soft", (176.0, 50.0), End, "tab 1");
    pen.arrow((104.0, 232.0), (74.0, 232.0));
    pen.words("letter", (110.0, 237.0), Start, "+ outboard");
    pen.words("soft", (410.0, 184.0), Start, "spindle");
    pen.caption(320.0, "from behind");
    pen.finished()
}

pub fn spindle() -> String {
    let mut pen = Pen::new(
        480.0,
        250.0,
        "From behind: the spindle's two ends, their heights and their distances from the cord's plane",
    );
    pen.bench(216.0, 40.0, 440.0);
    pen.cord(240.0, 20.0, 216.0);
    pen.circle("dot", (240.0, 212.0), 3.5);
    pen.words("soft", (248.0, 206.0), Start, "cord");
    let (left, right) = ((90.0, 78.0), (376.0, 112.0));
    pen.line("metal", left, right);
    for place in [left, right] {
        pen.circle("tab", place, 6.0);
    }
    pen.line("thin", left, (430.0, left.1));
    pen.line("thin", right, (430.0, right.1));
    pen.arrow((422.0, 136.0), (422.0, 112.0));
    pen.arrow((422.0, 54.0), (422.0, 78.0));
    pen.words("letter", (434.0, 44.0), End, "height difference");
    pen.words("soft", (434.0, 26.0), End, "+ left end higher");
    pen.words("soft", (90.0, 62.0), Middle, "tab 11");
    pen.words("soft", (376.0, 136.0), Middle, "tab 12");
    pen.line("carried", left, (90.0, 176.0));
    pen.line("carried", (376.0, 142.0), (376.0, 176.0));
    pen.span((90.0, 170.0), (240.0, 170.0));
    pen.words("letter", (165.0, 162.0), Middle, "left");
    pen.span((240.0, 170.0), (376.0, 170.0));
    pen.words("letter", (308.0, 162.0), Middle, "right");
    pen.caption(240.0, "from behind");
    pen.finished()
}

pub fn track() -> String {
    let mut pen = Pen::new(
        480.0,
        310.0,
        "The front wheel's middle against the rear wheel's middle plane, and its lean",
    );
    let rear = (150.0, 216.0);
    pen.wheel(rear, 18.0, 56.0, -4.0);
    pen.line("carried", turned((150.0, 160.0), rear, -4.0), turned((150.0, 20.0), rear, -4.0));
    pen.words("soft", (178.0, 240.0), Start, "rear wheel");
    let front = (128.0, 92.0);
    pen.wheel(front, 13.0, 50.0, 0.0);
    pen.circle("dot", front, 4.0);
    pen.words("soft", (106.0, 76.0), End, "front wheel");
    let plane = turned((150.0, 92.0), rear, -4.0);
    pen.arrow((plane.0, 92.0), front);
    pen.words("letter", (172.0, 97.0), Start, "offset, + to the left");
    pen.caption(150.0, "from above, front at the top");
    pen.bench(276.0, 320.0, 460.0);
    let middle = (400.0, 180.0);
    pen.line("thin", middle, (400.0, 76.0));
    pen.wheel(middle, 13.0, 68.0, OUT_OF_TRUE);
    pen.angle(middle, 94.0, 0.0, OUT_OF_TRUE);
    pen.words("letter", (400.0, 66.0), Middle, "lean");
    pen.caption(400.0, "front wheel, from behind");
    pen.finished()
}
