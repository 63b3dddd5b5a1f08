//! The frame: its middle plane, the lines and points that tell it, and faces fixed to it.

use super::pen::{Anchor, OUT_OF_TRUE, Pen, turned};
use Anchor::{End, Middle, Start};

pub fn frame() -> String {
    let mut pen = Pen::new(
        480.0,
        300.0,
        "From above: the frame's middle through plumb lines and pairs of points, its offset at the axle and its yaw",
    );
    let axle = (186.0, 220.0);
    let at = |dy: f64| turned((axle.0, axle.1 + dy), axle, OUT_OF_TRUE);
    pen.cord(250.0, 16.0, 270.0);
    pen.words("soft", (258.0, 264.0), Start, "cord");
    pen.line("frame", at(44.0), at(-206.0));
    pen.words("soft", (at(-150.0).0 - 10.0, 76.0), End, "frame's middle");
    pen.line("thin", (axle.0, axle.1), (axle.0, 30.0));
    pen.angle(axle, 180.0, 0.0, OUT_OF_TRUE);
    pen.words("letter", (196.0, 36.0), Start, "yaw");
    pen.line("rod", (110.0, axle.1), (330.0, axle.1));
    pen.words("soft", (336.0, axle.1 + 5.0), Start, "spindle");
    pen.arrow((250.0, 242.0), (axle.0, 242.0));
    pen.line("thin", axle, (axle.0, 250.0));
    pen.words("letter", (262.0, 244.0), Start, "offset at the axle");
    let (line, pair) = (at(-130.0), at(-60.0));
    pen.circle("dot", line, 5.0);
    pen.words("soft", (line.0 + 12.0, line.1 + 4.0), Start, "plumb line");
    for dx in [-60.0, 60.0] {
        let end = turned((axle.0 + dx, axle.1 - 60.0), axle, OUT_OF_TRUE);
        pen.line("thin", pair, end);
        pen.circle("tab", end, 5.0);
    }
    pen.circle("dot", pair, 5.0);
    pen.words("soft", (50.0, 176.0), Start, "a pair");
    pen.words("soft", (50.0, 190.0), Start, "of tabs");
    pen.span((400.0, line.1), (400.0, pair.1));
    pen.line("thin", (300.0, line.1), (406.0, line.1));
    pen.line("thin", (300.0, pair.1), (406.0, pair.1));
    pen.words("letter", (408.0, 122.0), Start, "200 mm");
    pen.words("letter", (408.0, 138.0), Start, "or more");
    pen.caption(240.0, "from above, front at the top");
    pen.finished()
}

pub fn wheel_in_frame() -> String {
    let mut pen = Pen::new(
        480.0,
        300.0,
        "From above: the wheel against the frame's middle instead of the cord",
    );
    let axle = (210.0, 196.0);
    let frame = |dy: f64| turned((axle.0, axle.1 + dy), axle, 5.0);
    pen.cord(260.0, 40.0, 270.0);
    pen.words("soft", (268.0, 264.0), Start, "cord");
    pen.line("frame", frame(70.0), frame(-180.0));
    pen.words("soft", (frame(-164.0).0 + 8.0, 26.0), Start, "frame's middle");
    let hub = (160.0, 196.0);
    pen.wheel(hub, 17.0, 70.0, 5.0 + OUT_OF_TRUE);
    let beside = |dy: f64, turn: f64| turned((hub.0, hub.1 + dy), hub, turn);
    pen.line("frame", hub, beside(-150.0, 5.0));
    pen.line("carried", hub, beside(-150.0, 5.0 + OUT_OF_TRUE));
    pen.angle(hub, 138.0, 5.0, 5.0 + OUT_OF_TRUE);
    pen.words("letter", (112.0, 48.0), End, "yaw in frame");
    pen.words("soft", (112.0, 62.0), End, "wheel's yaw");
    pen.words("soft", (112.0, 76.0), End, "minus frame's");
    pen.circle("dot", hub, 4.0);
    pen.arrow(axle, hub);
    pen.words("letter", (272.0, 192.0), Start, "offset in frame");
    pen.words("soft", (272.0, 208.0), Start, "wheel's offset minus");
    pen.words("soft", (272.0, 222.0), Start, "frame's, at the axle");
    pen.caption(240.0, "from above, front at the top");
    pen.finished()
}

pub fn plumb() -> String {
    let mut pen = Pen::new(
        480.0,
        270.0,
        "From behind: where a plumb line hangs against the cord's plane, half-way between its flags",
    );
    pen.bench(236.0, 60.0, 420.0);
    pen.cord(270.0, 18.0, 236.0);
    pen.circle("dot", (270.0, 232.0), 3.5);
    pen.words("soft", (280.0, 228.0), Start, "cord");
    pen.line("rod", (200.0, 20.0), (200.0, 196.0));
    pen.outline("dot", &[(194.0, 196.0), (206.0, 196.0), (200.0, 216.0)]);
    for (y, name) in [(56.0, "flag 21"), (170.0, "flag 22")] {
        pen.outline(
            "tab",
            &[(188.0, y - 12.0), (212.0, y - 12.0), (212.0, y + 12.0), (188.0, y + 12.0)],
        );
        pen.line("thin", (200.0, y - 12.0), (200.0, y + 12.0));
        pen.words("soft", (180.0, y + 5.0), End, name);
    }
    pen.arrow((270.0, 113.0), (200.0, 113.0));
    pen.words("letter", (282.0, 118.0), Start, "offset, + to the left");
    pen.span((116.0, 56.0), (116.0, 113.0));
    pen.span((116.0, 113.0), (116.0, 170.0));
    pen.words("soft", (106.0, 118.0), End, "half-way");
    pen.words("soft", (190.0, 32.0), End, "plumb line");
    pen.caption(240.0, "from behind");
    pen.finished()
}

pub fn stations() -> String {
    let mut pen = Pen::new(
        480.0,
        260.0,
        "From behind: a pair of like points on the frame, their middle against the cord and their heights",
    );
    pen.bench(226.0, 40.0, 440.0);
    pen.cord(250.0, 18.0, 226.0);
    pen.circle("dot", (250.0, 222.0), 3.5);
    pen.words("soft", (260.0, 218.0), Start, "cord");
    let (left, right) = ((100.0, 74.0), (340.0, 104.0));
    pen.line("thin", left, right);
    let middle = (220.0, 89.0);
    for place in [left, right] {
        pen.circle("tab", place, 7.0);
    }
    pen.words("soft", (100.0, 58.0), Middle, "left point, tab 13");
    pen.words("soft", (340.0, 132.0), Middle, "right point, tab 14");
    pen.circle("dot", middle, 4.0);
    pen.words("soft", (212.0, 110.0), End, "middle");
    pen.line("carried", middle, (220.0, 160.0));
    pen.arrow((250.0, 150.0), (220.0, 150.0));
    pen.words("letter", (210.0, 155.0), End, "offset, + to the left");
    pen.line("thin", (107.0, 74.0), (430.0, 74.0));
    pen.line("thin", (347.0, 104.0), (430.0, 104.0));
    pen.arrow((422.0, 128.0), (422.0, 104.0));
    pen.arrow((422.0, 50.0), (422.0, 74.0));
    pen.words("letter", (440.0, 40.0), End, "height difference");
    pen.words("soft", (440.0, 22.0), End, "+ left higher");
    pen.caption(240.0, "from behind");
    pen.finished()
}

pub fn backbone() -> String {
    let mut pen = Pen::new(
        480.0,
        280.0,
        "From above: a second cord along the backbone with two flags, against the datum cord below",
    );
    let rear = (190.0, 216.0);
    let at = |dy: f64| turned((rear.0, rear.1 + dy), rear, OUT_OF_TRUE);
    pen.cord(260.0, 16.0, 250.0);
    pen.words("soft", (268.0, 244.0), Start, "cord on the bench");
    pen.line("rod", at(20.0), at(-190.0));
    pen.words("soft", (at(-100.0).0 - 12.0, 120.0), End, "backbone cord");
    let front = at(-160.0);
    for (place, name, letter) in [(front, "flag 29", "front"), (rear, "flag 30", "rear")] {
        pen.arrow((260.0, place.1), place);
        pen.circle("tab", place, 7.0);
        pen.words("soft", (place.0 - 14.0, place.1 + 5.0), End, name);
        pen.words("letter", (270.0, place.1 + 5.0), Start, letter);
    }
    pen.line("thin", rear, (rear.0, 30.0));
    pen.angle(rear, 178.0, 0.0, OUT_OF_TRUE);
    pen.words("letter", (196.0, 36.0), Start, "yaw");
    pen.caption(240.0, "from above, front at the top");
    pen.finished()
}

pub fn faces() -> String {
    let mut pen = Pen::new(
        480.0,
        280.0,
        "A face with three tabs: offset and yaw from above, lean from behind",
    );
    let middle = (100.0, 130.0);
    let at = |dy: f64| turned((middle.0, middle.1 + dy), middle, OUT_OF_TRUE);
    pen.cord(180.0, 16.0, 246.0);
    pen.words("soft", (188.0, 240.0), Start, "cord");
    pen.line("metal", at(60.0), at(-60.0));
    pen.line("carried", at(-60.0), at(-106.0));
    pen.line("thin", middle, (100.0, 24.0));
    pen.angle(middle, 100.0, 0.0, OUT_OF_TRUE);
    pen.words("letter", (78.0, 36.0), End, "yaw");
    for dy in [-44.0, 0.0, 44.0] {
        pen.circle("tab", at(dy), 5.0);
    }
    pen.arrow((180.0, 130.0), (107.0, 130.0));
    pen.words("letter", (190.0, 135.0), Start, "offset");
    pen.words("soft", (118.0, 190.0), Start, "a face");
    pen.caption(130.0, "from above, front at the top");
    pen.bench(246.0, 310.0, 460.0);
    let foot = (390.0, 160.0);
    let up = |dy: f64| turned((foot.0, foot.1 + dy), foot, OUT_OF_TRUE);
    pen.line("thin", foot, (390.0, 34.0));
    pen.line("metal", up(60.0), up(-60.0));
    pen.line("carried", up(-60.0), up(-124.0));
    pen.angle(foot, 116.0, 0.0, OUT_OF_TRUE);
    pen.words("letter", (362.0, 42.0), End, "lean");
    pen.words("soft", (396.0, 40.0), Start, "upright");
    pen.caption(390.0, "from behind");
    pen.finished()
}
