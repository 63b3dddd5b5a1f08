//! The pen that all drawings of the figures page are made with, so that they look alike: places on
//! a sheet, x to the right, y down.

use std::fmt::Write;

pub type Place = (f64, f64);

/// Angle of everything that is drawn out of true, degrees: large enough to be seen at a glance.
pub const OUT_OF_TRUE: f64 = 8.0;

const STYLE: &str = "text{font:14px sans-serif;fill:#22282b}\
    .soft{font-size:12px;fill:#596166}.letter{font-weight:bold;fill:#8a2a10}\
    .cord{stroke:#22282b;stroke-width:1.5;stroke-dasharray:12 4 2 4;fill:none}\
    .frame{stroke:#31506e;stroke-width:2;stroke-dasharray:7 4;fill:none}\
    .thin{stroke:#596166;stroke-width:1;fill:none}.carried{stroke:#596166;stroke-width:1;stroke-dasharray:3 3;fill:none}\
    .wheel{fill:#dde3e4;stroke:#46545c;stroke-width:1.5}.card{fill:#ece9df;stroke:#b9b4a4}\
    .metal{stroke:#22282b;stroke-width:4;stroke-linecap:round;fill:none}.rod{stroke:#22282b;stroke-width:2.5;fill:none}\
    .tab{fill:#fffdf8;stroke:#22282b;stroke-width:1.5}.dot{fill:#22282b}\
    .size{stroke:#8a2a10;stroke-width:1.5;fill:none}.head{fill:#8a2a10}";

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

pub struct Pen {
    width: f64,
    height: f64,
    title: String,
    body: String,
}

/// A place turned about another, degrees: front to the left, or top to the left, where the bike's
/// left is the sheet's.
pub fn turned((x, y): Place, (about_x, about_y): Place, degrees: f64) -> Place {
    let (sin, cos) = degrees.to_radians().sin_cos();
    let (dx, dy) = (x - about_x, y - about_y);
    (about_x + dx * cos + dy * sin, about_y - dx * sin + dy * cos)
}

impl Pen {
    pub fn new(width: f64, height: f64, title: &str) -> Self {
        Self { width, height, title: title.to_owned(), body: String::new() }
    }

    fn put(&mut self, element: std::fmt::Arguments) {
        // Writing to a String can't fail.
        let _ = writeln!(self.body, "{element}");
    }

    pub fn line(&mut self, class: &str, a: Place, b: Place) {
        self.put(format_args!(
            r#"<line class="{class}" x1="{:.1}" y1="{:.1}" x2="{:.1}" y2="{:.1}"/>"#,
            a.0, a.1, b.0, b.1
        ));
    }

    pub fn outline(&mut self, class: &str, corners: &[Place]) {
        let points: Vec<String> = corners.iter().map(|(x, y)| format!("{x:.1},{y:.1}")).collect();
        self.put(format_args!(r#"<polygon class="{class}" points="{}"/>"#, points.join(" ")));
    }

    pub fn path(&mut self, class: &str, places: &[Place]) {
        let points: Vec<String> = places.iter().map(|(x, y)| format!("{x:.1},{y:.1}")).collect();
        self.put(format_args!(r#"<polyline class="{class}" points="{}"/>"#, points.join(" ")));
    }

    pub fn circle(&mut self, class: &str, (x, y): Place, radius: f64) {
        self.put(format_args!(
            r#"<circle class="{class}" cx="{x:.1}" cy="{y:.1}" r="{radius:.1}"/>"#
        ));
    }

    pub fn words(&mut self, class: &str, (x, y): Place, anchor: Anchor, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        self.put(format_args!(
            r#"<text class="{class}" x="{x:.1}" y="{y:.1}" text-anchor="{anchor}">{text}</text>"#
        ));
    }

    /// What a panel shows, at the sheet's lower edge.
    pub fn caption(&mut self, x: f64, text: &str) {
        let y = self.height - 8.0;
        self.words("soft", (x, y), Anchor::Middle, text);
    }

    /// An arrow; its tip is at `to`.
    pub fn arrow(&mut self, from: Place, to: Place) {
        self.line("size", from, to);
        self.head(from, to);
    }

    /// A dimension: arrow tips at both ends.
    pub fn span(&mut self, a: Place, b: Place) {
        self.arrow(a, b);
        self.head(b, a);
    }

    fn head(&mut self, from: Place, tip: Place) {
        let along = (tip.1 - from.1).atan2(tip.0 - from.0);
        let corner =
            |off: f64| (tip.0 - 9.0 * (along + off).cos(), tip.1 - 9.0 * (along + off).sin());
        self.outline("head", &[tip, corner(0.35), corner(-0.35)]);
    }

    /// An angle between two directions, each as degrees to the left of straight up; the arrow tip
    /// is at the second.
    pub fn angle(&mut self, centre: Place, radius: f64, from: f64, to: f64) {
        let at = |degrees: f64| turned((centre.0, centre.1 - radius), centre, degrees);
        let arc: Vec<Place> =
            (0..=16).map(|i| at(from + (to - from) * f64::from(i) / 16.0)).collect();
        self.path("size", &arc);
        self.head(arc[14], arc[16]);
    }

    // ---- parts of bike and bench
    // --------------------------------------------------------------------------------------

    /// A wheel seen from above or from behind, turned about its middle, with its middle plane
    /// carried on beyond it.
    pub fn wheel(&mut self, middle: Place, half_width: f64, half_length: f64, degrees: f64) {
        let at = |dx: f64, dy: f64| turned((middle.0 + dx, middle.1 + dy), middle, degrees);
        let (w, l) = (half_width, half_length);
        let round = w * 0.5;
        let corners = [
            at(-w, -l + round),
            at(-w + round, -l),
            at(w - round, -l),
            at(w, -l + round),
            at(w, l - round),
            at(w - round, l),
            at(-w + round, l),
            at(-w, l - round),
        ];
        self.outline("wheel", &corners);
        self.line("carried", at(0.0, -l - 26.0), at(0.0, l + 8.0));
    }

    /// The datum cord from above, or its upright plane from behind.
    pub fn cord(&mut self, x: f64, top: f64, bottom: f64) {
        self.line("cord", (x, top), (x, bottom));
    }

    /// The bench from behind or from the side, hatched below.
    pub fn bench(&mut self, y: f64, left: f64, right: f64) {
        self.line("rod", (left, y), (right, y));
        let mut x = left + 6.0;
        while x < right {
            self.line("thin", (x, y + 1.0), (x - 6.0, y + 8.0));
            x += 14.0;
        }
    }

    /// Which way is which: an arrow to the left with a plus sign.
    pub fn plus_left(&mut self, (x, y): Place) {
        self.arrow((x + 26.0, y), (x, y));
        self.words("letter", (x + 32.0, y + 5.0), Anchor::Start, "+");
    }

    pub fn finished(self) -> String {
        let Self { width, height, title, body } = self;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" \
             role=\"img\">\n<title>{title}</title>\n<style>{STYLE}</style>\n\
             <rect width=\"{width}\" height=\"{height}\" fill=\"#fffdf8\"/>\n{body}</svg>\n"
        )
    }
}
