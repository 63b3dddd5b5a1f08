//! A page to draw on, in millimetres: origin at the page's lower left corner, x to the right, y up.
//!
//! What is measured later (patterns, check lines, ticks) is drawn as filled areas, never as
//! strokes: a viewer or printer driver may shift a stroke to whole device pixels ("stroke
//! adjustment"), and a filled area stays where it is.

use pdf_writer::types::LineCapStyle;
use pdf_writer::{Content, Str};

use super::lettering::{Face, UsedGlyphs};

/// Points in a millimetre: a point is 1/72 inch, an inch 25.4 mm.
pub const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// How far a cubic's handles reach for a quarter circle of radius 1; the arc is then true to 0.03 %
/// of its radius.
const QUARTER_HANDLE: f64 = 0.552_284_75;

/// A position on the page, mm.
pub type Point = [f64; 2];

/// A colour; DeviceGray prints with black ink alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ink {
    /// 0 is black, 1 is white.
    Gray(f64),
    Colour(f64, f64, f64),
}

pub const BLACK: Ink = Ink::Gray(0.0);
pub const WHITE: Ink = Ink::Gray(1.0);

/// Where a text goes relative to the point given for its baseline.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    Left,
    Centre,
    Right,
}

/// A pen for lines that are not measured.
#[derive(Clone, Copy, Debug)]
pub struct Pen {
    pub ink: Ink,
    pub width_mm: f64,
    /// Length of dash and gap, mm; 0 for a solid line.
    pub dash_mm: f64,
}

impl Pen {
    pub fn solid(ink: Ink, width_mm: f64) -> Self {
        Self { ink, width_mm, dash_mm: 0.0 }
    }

    pub fn dashed(ink: Ink, width_mm: f64, dash_mm: f64) -> Self {
        Self { ink, width_mm, dash_mm }
    }
}

/// One page being drawn.
pub struct Canvas<'a> {
    content: Content,
    glyphs: &'a mut UsedGlyphs,
    pub size_mm: [f64; 2],
}

impl<'a> Canvas<'a> {
    pub fn new(size_mm: [f64; 2], glyphs: &'a mut UsedGlyphs) -> Self {
        let mut content = Content::new();
        let scale = POINTS_PER_MM as f32;
        content.transform([scale, 0.0, 0.0, scale, 0.0, 0.0]);
        Self { content, glyphs, size_mm }
    }

    /// The page's content stream.
    pub fn finish(self) -> Vec<u8> {
        self.content.finish().into_vec()
    }

    /// From here on, positions and lengths are multiplied by `scale` and then moved by `offset`.
    /// For what is not measured.
    pub fn zoom(&mut self, scale: f64, offset: Point) {
        self.content.transform([
            scale as f32,
            0.0,
            0.0,
            scale as f32,
            mm(offset[0]),
            mm(offset[1]),
        ]);
    }

    /// Draws with the page turned half round about a point: exact, so that what is drawn may be
    /// measured.
    pub fn half_turn(&mut self, [x, y]: Point, draw: impl FnOnce(&mut Self)) {
        self.content.save_state();
        self.content.transform([-1.0, 0.0, 0.0, -1.0, mm(2.0 * x), mm(2.0 * y)]);
        draw(self);
        self.content.restore_state();
    }

    /// Begins an area to be filled; add parts to it, then fill it.
    pub fn area(&mut self) -> Area<'_> {
        Area { content: &mut self.content }
    }

    pub fn filled_rect(&mut self, lower_left: Point, size: [f64; 2], ink: Ink) {
        let mut area = self.area();
        area.rect(lower_left, size);
        area.fill(ink);
    }

    pub fn filled_circle(&mut self, centre: Point, radius: f64, ink: Ink) {
        let mut area = self.area();
        area.circle(centre, radius);
        area.fill(ink);
    }

    pub fn filled_polygon(&mut self, points: &[Point], ink: Ink) {
        let mut area = self.area();
        area.polygon(points);
        area.fill(ink);
    }

    pub fn line(&mut self, points: &[Point], pen: Pen) {
        self.take_pen(pen);
        self.trace(points);
        self.content.stroke();
    }

    pub fn outlined_rect(&mut self, lower_left: Point, size: [f64; 2], pen: Pen) {
        self.take_pen(pen);
        self.content.rect(mm(lower_left[0]), mm(lower_left[1]), mm(size[0]), mm(size[1]));
        self.content.stroke();
    }

    pub fn outlined_circle(&mut self, centre: Point, radius: f64, pen: Pen) {
        self.take_pen(pen);
        trace_circle(&mut self.content, centre, radius);
        self.content.stroke();
    }

    /// A line with an arrow head of this length at its far end.
    pub fn arrow(&mut self, from: Point, to: Point, head_mm: f64, pen: Pen) {
        let [dx, dy] = [to[0] - from[0], to[1] - from[1]];
        let length = dx.hypot(dy);
        if length == 0.0 {
            return;
        }
        let [ux, uy] = [dx / length, dy / length];
        let neck = [to[0] - ux * head_mm, to[1] - uy * head_mm];
        let half = head_mm * 0.4;
        self.line(&[from, neck], pen);
        self.filled_polygon(
            &[
                to,
                [neck[0] - uy * half, neck[1] + ux * half],
                [neck[0] + uy * half, neck[1] - ux * half],
            ],
            pen.ink,
        );
    }

    /// A line of text; `at` is on its baseline.
    pub fn text(&mut self, at: Point, align: Align, face: Face, size_mm: f64, text: &str) {
        let shift = align.shift(face.width_mm(text, size_mm));
        self.show(face, size_mm, text, [1.0, 0.0, 0.0, 1.0, mm(at[0] + shift), mm(at[1])]);
    }

    /// A line of text that reads upwards; `at` is on its baseline.
    pub fn upward_text(&mut self, at: Point, align: Align, face: Face, size_mm: f64, text: &str) {
        let shift = align.shift(face.width_mm(text, size_mm));
        self.show(face, size_mm, text, [0.0, 1.0, -1.0, 0.0, mm(at[0]), mm(at[1] + shift)]);
    }

    /// A text broken into lines; returns the baseline below its last line.
    pub fn paragraph(
        &mut self,
        at: Point,
        width_mm: f64,
        face: Face,
        size_mm: f64,
        text: &str,
    ) -> f64 {
        let mut y = at[1];
        for line in face.wrap(text, size_mm, width_mm) {
            self.text([at[0], y], Align::Left, face, size_mm, &line);
            y -= size_mm * LEADING;
        }
        y
    }

    fn show(&mut self, face: Face, size_mm: f64, text: &str, matrix: [f32; 6]) {
        let codes = self.glyphs.encode(face, text);
        self.content.set_fill_gray(0.0).begin_text().set_font(face.resource_name(), mm(size_mm));
        self.content.set_text_matrix(matrix).show(Str(&codes)).end_text();
    }

    fn take_pen(&mut self, pen: Pen) {
        match pen.ink {
            Ink::Gray(gray) => self.content.set_stroke_gray(gray as f32),
            Ink::Colour(r, g, b) => self.content.set_stroke_rgb(r as f32, g as f32, b as f32),
        };
        self.content.set_line_width(mm(pen.width_mm)).set_line_cap(LineCapStyle::RoundCap);
        let dash = (pen.dash_mm > 0.0).then(|| mm(pen.dash_mm));
        self.content.set_dash_pattern(dash, 0.0);
    }

    fn trace(&mut self, points: &[Point]) {
        trace(&mut self.content, points);
    }
}

/// Distance between baselines in units of the letters' size.
pub const LEADING: f64 = 1.3;

/// An area under construction, made of parts.
pub struct Area<'a> {
    content: &'a mut Content,
}

impl Area<'_> {
    pub fn rect(&mut self, lower_left: Point, size: [f64; 2]) {
        self.content.rect(mm(lower_left[0]), mm(lower_left[1]), mm(size[0]), mm(size[1]));
    }

    pub fn circle(&mut self, centre: Point, radius: f64) {
        trace_circle(self.content, centre, radius);
    }

    pub fn polygon(&mut self, points: &[Point]) {
        trace(self.content, points);
        self.content.close_path();
    }

    /// Fills the area; where two parts overlap there is none (even-odd rule).
    pub fn fill(self, ink: Ink) {
        set_fill(self.content, ink);
        self.content.fill_even_odd();
    }

    /// Fills the area and all that its parts share (non-zero rule).
    pub fn fill_all(self, ink: Ink) {
        set_fill(self.content, ink);
        self.content.fill_nonzero();
    }
}

impl Align {
    fn shift(self, width: f64) -> f64 {
        match self {
            Self::Left => 0.0,
            Self::Centre => -width / 2.0,
            Self::Right => -width,
        }
    }
}

fn set_fill(content: &mut Content, ink: Ink) {
    match ink {
        Ink::Gray(gray) => content.set_fill_gray(gray as f32),
        Ink::Colour(r, g, b) => content.set_fill_rgb(r as f32, g as f32, b as f32),
    };
}

fn trace(content: &mut Content, points: &[Point]) {
    for (i, &[x, y]) in points.iter().enumerate() {
        if i == 0 {
            content.move_to(mm(x), mm(y));
        } else {
            content.line_to(mm(x), mm(y));
        }
    }
}

fn trace_circle(content: &mut Content, [x, y]: Point, radius: f64) {
    let h = radius * QUARTER_HANDLE;
    let (east, west, north, south) = (x + radius, x - radius, y + radius, y - radius);
    content.move_to(mm(east), mm(y));
    content.cubic_to(mm(east), mm(y + h), mm(x + h), mm(north), mm(x), mm(north));
    content.cubic_to(mm(x - h), mm(north), mm(west), mm(y + h), mm(west), mm(y));
    content.cubic_to(mm(west), mm(y - h), mm(x - h), mm(south), mm(x), mm(south));
    content.cubic_to(mm(x + h), mm(south), mm(east), mm(y - h), mm(east), mm(y));
    content.close_path();
}

/// A coordinate rounded to a tenth of a micrometre: shorter files, and never a number in exponent
/// notation, which PDF lacks.
fn mm(value: f64) -> f32 {
    ((value * 1e4).round() / 1e4) as f32
}
