//! The one-page guide: where cards, tabs and flags go, where to stand, and what to watch for.
//! Nothing is measured on it.

use super::canvas::{Align, BLACK, Canvas, Ink, Pen, Point};
use super::guide_views::{
    WORDS_MM, draw_from_above, draw_from_left, draw_half_turn, draw_standpoints,
};
use super::lettering::Face;
use super::paper::{MARGIN_MM, Paper};
use super::rider_page::draw_fold;

/// The guide is laid out in this area, which fits A4 and Letter as it is; on A3 it is enlarged.
const WIDTH: f64 = 269.4;
const HEIGHT: f64 = 199.9;

const HEADING_MM: f64 = 3.5;
const PANEL: Pen = Pen { ink: Ink::Gray(0.6), width_mm: 0.2, dash_mm: 0.0 };

/// A panel of the guide: lower left corner and size.
struct Panel {
    at: Point,
    size: [f64; 2],
}

const FROM_ABOVE: Panel = Panel { at: [0.0, 124.0], size: [168.0, 64.0] };
const FROM_LEFT: Panel = Panel { at: [0.0, 29.0], size: [168.0, 93.0] };
const STANDPOINTS: Panel = Panel { at: [170.0, 124.0], size: [99.4, 64.0] };
const HALF_TURN: Panel = Panel { at: [170.0, 65.0], size: [99.4, 57.0] };
const CAUTIONS: Panel = Panel { at: [170.0, 29.0], size: [54.0, 34.0] };
const RIDER: Panel = Panel { at: [226.0, 29.0], size: [43.4, 34.0] };
const STEPS: Panel = Panel { at: [0.0, 0.0], size: [WIDTH, 27.0] };

const CAUTION_LINES: [&str; 4] = [
    "Prop the bike on its own.",
    "Keep fingers off chain and sprockets while the wheel turns.",
    "Never run the engine with the bike on the bench.",
    "Leave spokes to a wheel builder; local rules apply.",
];

const STEP_LINES: [[&str; 2]; 6] = [
    [
        "Print",
        "at 100 %, check the lines on each sheet with a steel rule, and note what you read in job.toml.",
    ],
    [
        "Lay out",
        "the cards on a flat, level bench; stretch the cord straight over their lanes, 2 to 5 mm above them.",
    ],
    [
        "Stick",
        "the tabs flat on clean faces, 5 to 10 on the side of the chain; hang plumb lines from the frame.",
    ],
    [
        "Photograph",
        "from both sides, JPEG or HEIC. Nothing may move. On the computer, sightcord glance says what is missing.",
    ],
    ["Turn", "the wheel half round by hand, touch nothing else, and photograph again."],
    [
        "Measure",
        "with sightcord measure FOLDER. Adjust as it says, measure again. Local rules and licensed practice apply.",
    ],
];

pub fn draw(canvas: &mut Canvas, paper: Paper) {
    let printable = paper.landscape_mm().map(|side| side - 2.0 * MARGIN_MM);
    // The outermost frames reach half their pen's width over the edge.
    let drawn = [WIDTH, HEIGHT].map(|side| side + PANEL.width_mm);
    let scale = (printable[0] / drawn[0]).min(printable[1] / drawn[1]);
    let spare = [printable[0] - scale * WIDTH, printable[1] - scale * HEIGHT];
    canvas.zoom(scale, spare.map(|free| MARGIN_MM + free / 2.0));

    canvas.text(
        [0.0, HEIGHT - 7.0],
        Align::Left,
        Face::Bold,
        6.5,
        "Setting up and taking the photos",
    );
    let title_end = Face::Bold.width_mm("Setting up and taking the photos", 6.5) + 5.0;
    let subtitle = "Is the rear wheel square, upright and central, and does the chain run in line?";
    canvas.text([title_end, HEIGHT - 7.0], Align::Left, Face::Plain, 3.0, subtitle);

    for (panel, heading, picture) in [
        (&FROM_ABOVE, "From above: cards and cord", draw_from_above as fn(&mut Canvas, Point)),
        (&FROM_LEFT, "From the left: tabs, flags and plumb lines", draw_from_left),
        (&STANDPOINTS, "Where to stand", draw_standpoints),
        (&HALF_TURN, "Then turn the wheel half round, and walk again", draw_half_turn),
        (&CAUTIONS, "Mind", draw_cautions),
        (&RIDER, "A rider on the cord", draw_rider),
    ] {
        canvas.outlined_rect(panel.at, panel.size, PANEL);
        canvas.text(panel.inside(2.5, 4.8), Align::Left, Face::Bold, HEADING_MM, heading);
        picture(canvas, panel.at);
    }
    draw_steps(canvas);
}

impl Panel {
    /// A point so far from the panel's left edge and so far below its top.
    fn inside(&self, right: f64, down: f64) -> Point {
        [self.at[0] + right, self.at[1] + self.size[1] - down]
    }
}

fn draw_cautions(canvas: &mut Canvas, [left, below]: Point) {
    let [x, mut y] = [left + 2.5, below + 24.5];
    for line in CAUTION_LINES {
        canvas.filled_polygon(&[[x, y - 0.4], [x + 3.4, y - 0.4], [x + 1.7, y + 2.7]], BLACK);
        y = canvas.paragraph([x + 5.0, y], CAUTIONS.size[0] - 9.0, Face::Plain, WORDS_MM, line)
            - 0.6;
    }
}

fn draw_rider(canvas: &mut Canvas, [left, below]: Point) {
    draw_fold(canvas, [left + 5.5, below + 4.5], 0.6);
    let words = "Where light hides the cord's edges: two strips folded round it, 600 mm apart or more, glued back to back down to the \
                 marks; 39 looks left, 40 right. They have a page of their own.";
    canvas.paragraph([left + 10.5, below + 24.5], RIDER.size[0] - 12.0, Face::Plain, 2.4, words);
}

fn draw_steps(canvas: &mut Canvas) {
    canvas.outlined_rect(STEPS.at, STEPS.size, PANEL);
    let column = WIDTH / STEP_LINES.len() as f64;
    for (i, [word, rest]) in STEP_LINES.into_iter().enumerate() {
        let left = STEPS.at[0] + column * i as f64 + 2.5;
        let top = STEPS.at[1] + STEPS.size[1];
        let number = (i + 1).to_string();
        canvas.text([left, top - 7.8], Align::Left, Face::Bold, 7.5, &number);
        canvas.text([left + 7.0, top - 7.8], Align::Left, Face::Bold, 4.0, word);
        canvas.paragraph([left, top - 12.6], column - 4.0, Face::Plain, WORDS_MM, rest);
    }
}
