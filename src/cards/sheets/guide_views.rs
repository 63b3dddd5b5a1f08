//! The guide's drawings. Sizes are those of no particular bike; the drawings are to show places,
//! not lengths.
//!
//! Tabs and cards are drawn as plain chequers, never as real patterns: a guide that lies on the
//! bench must not be read as one.

use std::f64::consts::PI;

use super::canvas::{Align, BLACK, Canvas, Ink, Pen, Point, WHITE};
use super::lettering::Face;

pub(super) const WORDS_MM: f64 = 2.7;

const CORD: Pen = Pen { ink: Ink::Colour(0.85, 0.3, 0.0), width_mm: 0.6, dash_mm: 0.0 };
const PLUMB: Pen = Pen { ink: Ink::Gray(0.25), width_mm: 0.25, dash_mm: 0.0 };
const METAL: Pen = Pen { ink: Ink::Gray(0.35), width_mm: 0.3, dash_mm: 0.0 };
const SPOKE: Pen = Pen { ink: Ink::Gray(0.75), width_mm: 0.15, dash_mm: 0.0 };
const TUBE: Pen = Pen { ink: Ink::Gray(0.72), width_mm: 2.2, dash_mm: 0.0 };
const LEADER: Pen = Pen { ink: Ink::Gray(0.0), width_mm: 0.15, dash_mm: 0.0 };
const BENCH: Ink = Ink::Gray(0.9);

/// The bike of the drawings, mm: x forward of the rear axle, up from the bench.
const AXLE_UP: f64 = 330.0;
const RIM_RADII: [f64; 2] = [258.0, 232.0];
const REAR_SPROCKET_RADIUS: f64 = 105.0;
const GEARBOX: [f64; 2] = [560.0, 325.0];
const GEARBOX_RADIUS: f64 = 62.0;
const CARD_SPACING: f64 = 340.0;
const CARD_PAPER: [f64; 2] = [297.0, 210.0];

/// Where the bike's points fall on the page. Forward is to the left, as one sees a bike from its
/// left side.
struct View {
    origin: Point,
    scale: f64,
}

impl View {
    fn at(&self, forward: f64, up: f64) -> Point {
        [self.origin[0] - self.scale * forward, self.origin[1] + self.scale * up]
    }
}

/// Points of an arc; angles in degrees, counter-clockwise from the page's right.
fn arc(centre: Point, radius: f64, from: f64, to: f64) -> Vec<Point> {
    const N_STEPS: i32 = 24;
    (0..=N_STEPS)
        .map(|i| {
            let angle = (from + (to - from) * f64::from(i) / f64::from(N_STEPS)).to_radians();
            [centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()]
        })
        .collect()
}

/// On which side of a tab's sign its number is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum NumberOn {
    Left,
    Right,
}

/// A tab's sign: white paper with a plain chequer, and its number next to it.
fn tab_sign(canvas: &mut Canvas, at: Point, number: &str, number_on: NumberOn) {
    const CELL: f64 = 1.1;
    const TO_NUMBER: f64 = 2.8;
    let [width, height] = [4.6, 5.6];
    let lower_left = [at[0] - width / 2.0, at[1] - height / 2.0 - 0.5];
    canvas.filled_rect(lower_left, [width, height], WHITE);
    canvas.outlined_rect(lower_left, [width, height], LEADER);
    let mut area = canvas.area();
    for (row, col) in (0..3)
        .flat_map(|row| (0..3).map(move |col| (row, col)))
        .filter(|(row, col)| (row + col) % 2 == 0)
    {
        area.rect(
            [at[0] + CELL * (f64::from(col) - 1.5), at[1] + CELL * (f64::from(row) - 1.5)],
            [CELL, CELL],
        );
    }
    area.fill(BLACK);
    let (x, align) = match number_on {
        NumberOn::Left => (at[0] - TO_NUMBER, Align::Right),
        NumberOn::Right => (at[0] + TO_NUMBER, Align::Left),
    };
    canvas.text([x, at[1] - 0.9], align, Face::Bold, WORDS_MM, number);
}

/// Where a card's number is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Labelled {
    /// On the card.
    On,
    /// Below it: wheel, spindle and cord are drawn over it.
    Below,
}

/// A card's sign seen from above, its lane along the page's x.
fn card_sign(canvas: &mut Canvas, centre: Point, scale: f64, label: &str, labelled: Labelled) {
    let [width, height] = CARD_PAPER.map(|side| side * scale);
    let lower_left = [centre[0] - width / 2.0, centre[1] - height / 2.0];
    canvas.filled_rect(lower_left, [width, height], WHITE);
    canvas.outlined_rect(lower_left, [width, height], LEADER);
    let cell = 10.0 * scale * 2.0;
    let mut area = canvas.area();
    for row in [-4, -3, -2, 1, 2, 3] {
        for col in -6..6 {
            if (row + col) % 2 == 0 {
                let lift = if row < 0 { cell * 0.5 } else { -cell * 0.5 };
                area.rect(
                    [centre[0] + f64::from(col) * cell, centre[1] + f64::from(row) * cell + lift],
                    [cell, cell],
                );
            }
        }
    }
    area.fill(Ink::Gray(0.45));
    let label_mm = 3.6;
    let across = centre[0] - width * 0.32;
    if labelled == Labelled::Below {
        let base = lower_left[1] - 1.0 - 0.75 * label_mm;
        canvas.text([across, base], Align::Centre, Face::Bold, label_mm, label);
        return;
    }
    let label_width = Face::Bold.width_mm(label, label_mm) + 1.6;
    let label_at = [across, centre[1] - height * 0.24];
    canvas.filled_rect(
        [label_at[0] - label_width / 2.0, label_at[1] - 2.2],
        [label_width, 4.4],
        WHITE,
    );
    canvas.text([label_at[0], label_at[1] - 1.3], Align::Centre, Face::Bold, label_mm, label);
}

fn forward_arrow(canvas: &mut Canvas, tip: Point) {
    canvas.arrow([tip[0] + 13.0, tip[1]], tip, 2.4, Pen::solid(BLACK, 0.5));
    canvas.text([tip[0] + 14.5, tip[1] - 1.0], Align::Left, Face::Bold, WORDS_MM, "front");
}

pub fn draw_from_above(canvas: &mut Canvas, [left, below]: Point) {
    let view = View { origin: [left + 60.5, below + 29.0], scale: 0.065 };
    let scale = view.scale;
    let [bench_right, bench_low] = view.at(-560.0, -425.0);
    let [bench_left, bench_high] = view.at(830.0, 425.0);
    canvas.filled_rect(
        [bench_left, bench_low],
        [bench_right - bench_left, bench_high - bench_low],
        BENCH,
    );

    for (place, label) in [(1.0, "1"), (0.0, "2"), (-1.0, "3")] {
        card_sign(canvas, view.at(place * CARD_SPACING, 0.0), scale, label, Labelled::Below);
    }
    for (side, label) in [(300.0, "4"), (-300.0, "5")] {
        card_sign(canvas, view.at(90.0, side), scale, label, Labelled::On);
    }

    // The wheel, spindle and sprockets from above, chain side on the left.
    let [rim, _] = RIM_RADII;
    let wheel = view.at(rim, -32.0);
    canvas.filled_rect(wheel, [2.0 * rim * scale, 64.0 * scale], Ink::Gray(0.82));
    canvas.outlined_rect(wheel, [2.0 * rim * scale, 64.0 * scale], METAL);
    canvas.line(&[view.at(0.0, -125.0), view.at(0.0, 125.0)], Pen::solid(Ink::Gray(0.35), 0.9));
    for (middle, radius) in [(0.0, REAR_SPROCKET_RADIUS), (GEARBOX[0], GEARBOX_RADIUS)] {
        canvas.line(
            &[view.at(middle - radius, 80.0), view.at(middle + radius, 80.0)],
            Pen::solid(Ink::Gray(0.35), 0.9),
        );
    }
    canvas.line(&[view.at(-545.0, 0.0), view.at(815.0, 0.0)], CORD);
    for end in [-545.0, 815.0] {
        canvas.filled_circle(view.at(end, 0.0), 0.9, BLACK);
    }
    forward_arrow(canvas, [bench_left + 2.0, bench_high - 3.5]);
    canvas.text([bench_left + 2.0, bench_low + 2.0], Align::Left, Face::Plain, WORDS_MM, "bench");

    let words_left = left + 102.0;
    let width = 63.0;
    let mut y = below + 53.5;
    for words in [
        "Stretch the cord tight along the bench, roughly below the middle of the wheel. It need not be exact; it must be \
         straight.",
        "Push cards 1, 2, 3 under it, about 340 mm apart, the cord along each blank lane. They reach from behind the axle to \
         below the gearbox sprocket.",
        "Cards 4 and 5 lie about 300 mm to each side: they show what is level, above all where no plumb line hangs.",
        "Either way round will do. Tape the cards down flat.",
    ] {
        y = canvas.paragraph([words_left, y], width, Face::Plain, WORDS_MM, words) - 1.7;
    }
}

pub fn draw_from_left(canvas: &mut Canvas, [left, below]: Point) {
    let view = View { origin: [left + 79.5, below + 10.0], scale: 0.1 };
    let axle = view.at(0.0, AXLE_UP);
    let gearbox = view.at(GEARBOX[0], GEARBOX[1]);
    let [bench_left, bench_top] = view.at(765.0, 0.0);
    let bench_right = view.at(-505.0, 0.0)[0];
    canvas.filled_rect([bench_left, bench_top - 5.0], [bench_right - bench_left, 5.0], BENCH);

    // Prop and frame, drawn behind the wheel.
    let foot = view.at(450.0, 0.0);
    canvas.filled_rect([foot[0] - 2.5, foot[1]], [5.0, view.scale * 235.0], Ink::Gray(0.88));
    for tube in [
        [[0.0, AXLE_UP], [350.0, 245.0]],
        [[350.0, 245.0], [650.0, 245.0]],
        [[0.0, AXLE_UP], [290.0, 650.0]],
        [[350.0, 245.0], [290.0, 650.0]],
        [[650.0, 245.0], [680.0, 650.0]],
        [[-350.0, 650.0], [730.0, 650.0]],
    ] {
        canvas.line(&tube.map(|[forward, up]| view.at(forward, up)), TUBE);
    }
    canvas.text([foot[0] + 3.6, foot[1] + 8.0], Align::Left, Face::Plain, WORDS_MM, "prop");

    wheel(canvas, axle, RIM_RADII.map(|radius| radius * view.scale), 18);
    for (centre, radius) in [(axle, REAR_SPROCKET_RADIUS), (gearbox, GEARBOX_RADIUS)] {
        canvas.filled_circle(centre, radius * view.scale, Ink::Gray(0.85));
        canvas.outlined_circle(centre, radius * view.scale, METAL);
    }

    for (place, label) in [(1.0, "card 1"), (0.0, "card 2"), (-1.0, "card 3")] {
        let middle = view.at(place * CARD_SPACING, 0.0);
        let width = CARD_PAPER[0] * view.scale;
        canvas.filled_rect([middle[0] - width / 2.0, bench_top], [width, 0.9], BLACK);
        canvas.text([middle[0], bench_top - 3.5], Align::Centre, Face::Plain, WORDS_MM, label);
    }
    canvas.line(&[[bench_left + 1.0, bench_top + 1.6], [bench_right - 1.0, bench_top + 1.6]], CORD);
    canvas.text([bench_right - 1.5, bench_top + 2.8], Align::Right, Face::Plain, WORDS_MM, "cord");

    draw_plumb_line(canvas, &view, 730.0, ["23", "24"]);
    draw_plumb_line(canvas, &view, -350.0, ["21", "22"]);

    let rear = [
        ("8", 100.0_f64, NumberOn::Left),
        ("9", 215.0, NumberOn::Left),
        ("10", 330.0, NumberOn::Right),
    ];
    for (number, angle, number_on) in rear {
        let (sin, cos) = angle.to_radians().sin_cos();
        tab_sign(canvas, [axle[0] + 8.6 * cos, axle[1] + 8.6 * sin], number, number_on);
    }
    tab_sign(canvas, axle, "11", NumberOn::Right);
    let front = [
        ("5", [0.0, 4.6], NumberOn::Right),
        ("6", [-3.6, -2.6], NumberOn::Left),
        ("7", [3.6, -2.6], NumberOn::Right),
    ];
    for (number, [dx, dy], number_on) in front {
        tab_sign(canvas, [gearbox[0] + dx, gearbox[1] + dy], number, number_on);
    }
    tab_sign(canvas, view.at(245.0, AXLE_UP), "1", NumberOn::Left);

    forward_arrow(canvas, [left + 22.0, below + 66.0]);
    draw_legend(canvas, [left + 132.0, below + 86.0]);
}

/// What the numbers in the drawing stand for; only what is of use to begin with.
const LEGEND: [[&str; 2]; 8] = [
    ["1, 2", "rear rim at one mark, left and right side"],
    ["5, 6, 7", "gearbox sprocket, or a straight-edge held to it"],
    ["8, 9, 10", "rear sprocket, outside face"],
    ["11, 12", "spindle ends, left and right"],
    ["13 to 20", "pairs of like points on the frame"],
    ["21 to 28", "flags on plumb lines, upper and lower"],
    ["29, 30", "flags on a cord along the backbone"],
    ["33 to 38", "more places round the rim, for run-out"],
];

fn draw_legend(canvas: &mut Canvas, [left, top]: Point) {
    let mut y = top;
    for [numbers, words] in LEGEND {
        canvas.text([left, y], Align::Left, Face::Bold, WORDS_MM, numbers);
        y = canvas.paragraph([left, y - 3.5], 35.0, Face::Narrow, WORDS_MM, words) - 0.6;
    }
    canvas.text([left, y], Align::Left, Face::Bold, WORDS_MM, "Enough: 1, 2, 5 to 10");
}

/// A wheel with this many spokes; outer and inner radius of the rim on the page.
fn wheel(canvas: &mut Canvas, hub: Point, [outer, inner]: [f64; 2], n_spokes: u32) {
    for i in 0..n_spokes {
        let (sin, cos) = (f64::from(i) * 2.0 * PI / f64::from(n_spokes)).sin_cos();
        canvas.line(&[hub, [hub[0] + inner * cos, hub[1] + inner * sin]], SPOKE);
    }
    canvas.outlined_circle(hub, outer, METAL);
    canvas.outlined_circle(hub, inner, METAL);
}

/// A plumb line with its two flags and bob, from where it hangs to just above the bench.
fn draw_plumb_line(canvas: &mut Canvas, view: &View, forward: f64, flags: [&str; 2]) {
    canvas.line(&[view.at(forward, 650.0), view.at(forward, 75.0)], PLUMB);
    let [x, y] = view.at(forward, 75.0);
    canvas.filled_circle([x, y], 1.5, Ink::Gray(0.25));
    canvas.filled_polygon(&[[x - 1.3, y - 0.7], [x + 1.3, y - 0.7], [x, y - 3.6]], Ink::Gray(0.25));
    for (up, number) in [(530.0, flags[0]), (160.0, flags[1])] {
        tab_sign(canvas, view.at(forward, up), number, NumberOn::Right);
    }
}

pub fn draw_standpoints(canvas: &mut Canvas, [left, below]: Point) {
    let middle = [left + 27.0, below + 29.0];
    let view = View { origin: middle, scale: 0.032 };
    let [bench_left, bench_low] = view.at(650.0, -300.0);
    canvas.filled_rect([bench_left, bench_low], [1300.0 * view.scale, 600.0 * view.scale], BENCH);
    canvas.line(&[view.at(640.0, 0.0), view.at(-640.0, 0.0)], CORD);
    let [rim, _] = RIM_RADII;
    canvas.filled_rect(
        view.at(rim, -32.0),
        [2.0 * rim * view.scale, 64.0 * view.scale],
        Ink::Gray(0.55),
    );

    for side in [1.0, -1.0] {
        for turn in [-38.0, 0.0, 38.0_f64] {
            let (sin, cos) = turn.to_radians().sin_cos();
            let at = |reach: f64| [middle[0] + reach * sin, middle[1] + side * reach * cos];
            canvas.line(&[at(20.0), at(4.0)], Pen::dashed(Ink::Gray(0.45), 0.2, 1.0));
            phone(canvas, at(23.0), turn.to_radians() * -side);
        }
    }
    canvas.line(&arc(middle, 14.0, 52.0, 90.0), LEADER);
    canvas.text([middle[0] + 1.0, middle[1] + 15.6], Align::Left, Face::Bold, 2.4, "25\u{b0}+");

    let mut y = below + 53.5;
    for words in [
        "Six photos or more: three a side, at least 25\u{b0} apart, one of the three held low.",
        "About 0.7 m from the wheel, the phone level or upright, as you like.",
        "In each photo: two cards or more, the cord, and as many tabs as you can.",
        "Focus, then hold still. No zoom, no flash, no filter; the same phone for all.",
        "Better still: eight of the cards alone, into 0-camera.",
    ] {
        y = canvas.paragraph([left + 55.0, y], 42.5, Face::Plain, WORDS_MM, words) - 1.2;
    }
}

/// A phone seen from above, turned by an angle (radians, counter-clockwise).
fn phone(canvas: &mut Canvas, centre: Point, angle: f64) {
    let (sin, cos) = angle.sin_cos();
    let corner = |x: f64, y: f64| [centre[0] + x * cos - y * sin, centre[1] + x * sin + y * cos];
    canvas.filled_polygon(
        &[corner(-3.0, -0.8), corner(3.0, -0.8), corner(3.0, 0.8), corner(-3.0, 0.8)],
        BLACK,
    );
}

pub fn draw_half_turn(canvas: &mut Canvas, [left, below]: Point) {
    let radius = 13.0;
    let turns = [
        (20.0, -radius, NumberOn::Right, "1-mark-forward"),
        (79.4, radius, NumberOn::Left, "2-mark-rearward"),
    ];
    for (x, to_mark, number_on, folder) in turns {
        let hub = [left + x, below + 30.0];
        wheel(canvas, hub, [radius + 1.4, radius], 12);
        tab_sign(canvas, [hub[0] + to_mark, hub[1]], "1", number_on);
        canvas.text([hub[0], below + 10.0], Align::Centre, Face::Bold, WORDS_MM, folder);
    }
    let points = arc([left + 49.5, below + 25.0], 13.0, 145.0, 40.0);
    canvas.line(&points, Pen::solid(BLACK, 0.5));
    if let [.., before, last] = points[..] {
        canvas.arrow(before, [last[0] + 1.6, last[1] - 1.7], 2.6, Pen::solid(BLACK, 0.5));
    }
    canvas.text([left + 49.5, below + 30.0], Align::Centre, Face::Bold, WORDS_MM, "half a turn");
    canvas.text(
        [left + 49.5, below + 26.5],
        Align::Centre,
        Face::Plain,
        2.4,
        "60\u{b0} to 300\u{b0} will do",
    );
    let words = "Only the wheel turns. Cards, cord and frame stay as they are.";
    canvas.text([left + 2.5, below + 3.6], Align::Left, Face::Plain, WORDS_MM, words);
}
