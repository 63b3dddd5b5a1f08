//! Bench, cord, print and camera, and how a figure is judged.

use super::pen::{Anchor, OUT_OF_TRUE, Pen, Place, turned};
use Anchor::{End, Middle, Start};

pub fn level() -> String {
    let mut pen = Pen::new(
        480.0,
        200.0,
        "The bench's level along the bike from the side, and across it from behind",
    );
    for (x, turn, letter, left, right, caption) in [
        // Front is at the left from the bike's left side, so that front high is drawn turned
        // clockwise.
        (124.0, -OUT_OF_TRUE, "level along +", "front", "rear", "from the bike's left"),
        (356.0, -OUT_OF_TRUE, "level across +", "left", "right", "from behind"),
    ] {
        let middle = (x, 110.0);
        let at = |dx: f64, dy: f64| turned((x + dx, 110.0 + dy), middle, turn);
        pen.line("carried", (x - 100.0, 110.0), (x + 104.0, 110.0));
        pen.words("soft", (x + 104.0, 104.0), End, "level");
        pen.line("metal", at(-96.0, 0.0), at(96.0, 0.0));
        for dx in [-62.0, 50.0] {
            pen.outline(
                "card",
                &[
                    at(dx - 22.0, -4.0),
                    at(dx + 22.0, -4.0),
                    at(dx + 22.0, -8.0),
                    at(dx - 22.0, -8.0),
                ],
            );
        }
        pen.angle(middle, 88.0, 90.0, 90.0 + turn);
        pen.words("letter", (x - 96.0, 78.0), Start, letter);
        pen.words("soft", (x - 96.0, 152.0), Start, left);
        pen.words("soft", (x + 96.0, 152.0), End, right);
        pen.caption(x, caption);
    }
    pen.finished()
}

pub fn cord() -> String {
    let mut pen = Pen::new(
        480.0,
        290.0,
        "The cord's straightness and movement from above, the cards' flatness from the side",
    );
    for y in [60.0, 200.0] {
        pen.outline(
            "card",
            &[(40.0, y - 38.0), (160.0, y - 38.0), (160.0, y + 38.0), (40.0, y + 38.0)],
        );
    }
    let bow: Vec<Place> = (0..=20)
        .map(|i| 20.0 + 11.0 * f64::from(i))
        .map(|y| (100.0 - 22.0 * (1.0 - ((y - 130.0) / 110.0).powi(2)), y))
        .collect();
    pen.line("carried", (100.0, 20.0), (100.0, 240.0));
    pen.path("rod", &bow);
    pen.arrow((130.0, 130.0), (100.0, 130.0));
    pen.arrow((48.0, 130.0), (78.0, 130.0));
    pen.words("letter", (100.0, 258.0), Middle, "cord straightness");
    for y in [60.0, 200.0] {
        pen.outline(
            "card",
            &[(200.0, y - 38.0), (320.0, y - 38.0), (320.0, y + 38.0), (200.0, y + 38.0)],
        );
    }
    pen.line("rod", (272.0, 20.0), (260.0, 240.0));
    pen.line("carried", (250.0, 20.0), (256.0, 240.0));
    pen.arrow((220.0, 28.0), (250.0, 28.0));
    pen.arrow((302.0, 28.0), (272.0, 28.0));
    pen.words("letter", (260.0, 258.0), Middle, "cord moved");
    pen.words("soft", (248.0, 134.0), End, "before");
    pen.words("soft", (274.0, 134.0), Start, "after");
    pen.caption(180.0, "from above");
    pen.line("carried", (350.0, 150.0), (470.0, 150.0));
    for (x, up) in [(352.0, 0.0), (392.0, 22.0), (432.0, 4.0)] {
        pen.outline(
            "card",
            &[(x, 146.0 - up), (x + 34.0, 146.0 - up), (x + 34.0, 154.0 - up), (x, 154.0 - up)],
        );
    }
    pen.span((409.0, 132.0), (409.0, 150.0));
    pen.words("letter", (409.0, 112.0), Middle, "flatness");
    pen.words("soft", (410.0, 178.0), Middle, "cards on the bench");
    pen.caption(410.0, "from the side");
    pen.finished()
}

pub fn print() -> String {
    let mut pen =
        Pen::new(480.0, 270.0, "A card's two check lines: 250 mm along and 160 mm across as drawn");
    pen.outline("card", &[(40.0, 20.0), (350.0, 20.0), (350.0, 216.0), (40.0, 216.0)]);
    for row in 0..6 {
        for column in 0..9 {
            if (row + column) % 2 == 0 {
                let (x, y) = (64.0 + 28.0 * f64::from(column), 36.0 + 28.0 * f64::from(row));
                pen.outline("dot", &[(x, y), (x + 28.0, y), (x + 28.0, y + 28.0), (x, y + 28.0)]);
            }
        }
    }
    pen.span((48.0, 236.0), (342.0, 236.0));
    pen.words("letter", (195.0, 254.0), Middle, "250 mm x scale along");
    pen.span((366.0, 24.0), (366.0, 212.0));
    pen.words("letter", (376.0, 112.0), Start, "160 mm x");
    pen.words("letter", (376.0, 130.0), Start, "scale");
    pen.words("letter", (376.0, 148.0), Start, "across");
    pen.finished()
}

pub fn lens() -> String {
    let mut pen = Pen::new(
        480.0,
        240.0,
        "The camera: focal length and middle of the picture, both in pixels",
    );
    pen.outline("card", &[(280.0, 30.0), (330.0, 60.0), (330.0, 200.0), (280.0, 170.0)]);
    pen.circle("dot", (100.0, 116.0), 5.0);
    pen.words("soft", (100.0, 100.0), Middle, "lens");
    pen.line("carried", (100.0, 116.0), (450.0, 116.0));
    pen.circle("dot", (305.0, 116.0), 4.0);
    pen.words("letter", (340.0, 108.0), Start, "cx, cy");
    pen.words("soft", (340.0, 140.0), Start, "where the lens's axis");
    pen.words("soft", (340.0, 154.0), Start, "meets the picture");
    pen.span((100.0, 190.0), (305.0, 190.0));
    pen.line("thin", (100.0, 116.0), (100.0, 198.0));
    pen.line("thin", (305.0, 116.0), (305.0, 198.0));
    pen.words("letter", (200.0, 182.0), Middle, "fx, fy");
    pen.words("soft", (200.0, 208.0), Middle, "focal length, in pixels");
    pen.words("soft", (305.0, 24.0), Middle, "picture");
    pen.finished()
}

pub fn verdict() -> String {
    let mut pen = Pen::new(480.0, 240.0, "Value, uncertainty and tolerance: in, undecided or out");
    let (zero, limit) = (200.0, 90.0);
    pen.outline(
        "card",
        &[(zero - limit, 30.0), (zero + limit, 30.0), (zero + limit, 200.0), (zero - limit, 200.0)],
    );
    pen.line("thin", (zero, 30.0), (zero, 206.0));
    pen.words("soft", (zero, 222.0), Middle, "0");
    pen.words("soft", (zero + limit, 222.0), Middle, "+ tolerance");
    pen.words("soft", (zero - limit, 222.0), Middle, "- tolerance");
    for (y, value, word) in [(70.0, 30.0, "in"), (120.0, 84.0, "undecided"), (170.0, 150.0, "out")]
    {
        let x = zero + value;
        pen.line("metal", (x - 34.0, y), (x + 34.0, y));
        pen.circle("tab", (x, y), 6.0);
        pen.words("", (zero + 196.0, y + 5.0), Start, word);
    }
    pen.span((196.0, 52.0), (230.0, 52.0));
    pen.span((230.0, 52.0), (264.0, 52.0));
    pen.words("letter", (213.0, 46.0), Middle, "U");
    pen.words("letter", (247.0, 46.0), Middle, "U");
    pen.words("letter", (230.0, 92.0), Middle, "value");
    pen.finished()
}
