//! A sheet for drawings to scale: one unit is one millimetre, x to the right, y down as SVG has it.

use svg::Document;
use svg::node::Node;
use svg::node::element::{Circle, Group, Line, Polygon, Rectangle, Style, Text, Title};

/// How wide letters are on the average, in heights: of plain type, and of titles. Measured on the
/// page with a wide font.
const LETTER: f64 = 0.6;
pub const WIDE_LETTER: f64 = 0.66;

/// A place on the sheet, mm.
pub type Place = [f64; 2];

/// Rules for everything drawn, as classes; the page brings its own copy, a file of its own needs
/// one inside.
pub const DRAWING_CSS: &str = include_str!("drawing.css");

/// A drawing in the making, with the rectangle that holds what was drawn.
pub struct Canvas {
    group: Group,
    least: Place,
    most: Place,
}

/// Where a text is anchored.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

/// Places are written to a hundredth of a millimetre: a tenth of what a reader of the drawing may
/// ask for.
fn rounded(x: f64) -> f64 {
    if x.is_finite() { (x * 100.0).round() / 100.0 + 0.0 } else { 0.0 }
}

impl Default for Canvas {
    fn default() -> Self {
        Self { group: Group::new(), least: [f64::INFINITY; 2], most: [f64::NEG_INFINITY; 2] }
    }
}

impl Canvas {
    /// Makes the sheet reach to a place.
    pub fn reach(&mut self, at: Place) {
        for ((x, least), most) in at.into_iter().zip(&mut self.least).zip(&mut self.most) {
            if x.is_finite() {
                *least = least.min(x);
                *most = most.max(x);
            }
        }
    }

    fn put(&mut self, element: impl Node) {
        self.group.append(element);
    }

    pub fn line(&mut self, class: &str, a: Place, b: Place) {
        self.reach(a);
        self.reach(b);
        let [a, b] = [a, b].map(|p| p.map(rounded));
        self.put(
            Line::new()
                .set("class", class)
                .set("x1", a[0])
                .set("y1", a[1])
                .set("x2", b[0])
                .set("y2", b[1]),
        );
    }

    pub fn polygon(&mut self, class: &str, points: &[Place]) {
        points.iter().for_each(|&point| self.reach(point));
        let points: Vec<String> =
            points.iter().map(|p| format!("{},{}", rounded(p[0]), rounded(p[1]))).collect();
        self.put(Polygon::new().set("class", class).set("points", points.join(" ")));
    }

    /// A polygon that says what it stands for when pointed at.
    pub fn titled_polygon(&mut self, class: &str, points: &[Place], title: &str) {
        points.iter().for_each(|&point| self.reach(point));
        let points: Vec<String> =
            points.iter().map(|p| format!("{},{}", rounded(p[0]), rounded(p[1]))).collect();
        self.put(
            Polygon::new()
                .set("class", class)
                .set("points", points.join(" "))
                .set("data-mark", title)
                .add(Title::new(title)),
        );
    }

    pub fn rectangle(&mut self, class: &str, corner: Place, size: Place) {
        self.reach(corner);
        self.reach([corner[0] + size[0], corner[1] + size[1]]);
        let (corner, size) = (corner.map(rounded), size.map(rounded));
        self.put(
            Rectangle::new()
                .set("class", class)
                .set("x", corner[0])
                .set("y", corner[1])
                .set("width", size[0])
                .set("height", size[1]),
        );
    }

    pub fn circle(&mut self, class: &str, centre: Place, radius: f64) {
        self.reach([centre[0] - radius, centre[1] - radius]);
        self.reach([centre[0] + radius, centre[1] + radius]);
        let centre = centre.map(rounded);
        self.put(
            Circle::new()
                .set("class", class)
                .set("cx", centre[0])
                .set("cy", centre[1])
                .set("r", rounded(radius)),
        );
    }

    /// A thing of the scene as a dot that says what it is, and how its place was exaggerated:
    /// across, the drawn place is `base + factor (true - base)`, so that the true place can be
    /// read back.
    pub fn mark(&mut self, class: &str, centre: Place, radius: f64, what: &str, base: f64) {
        self.reach(centre);
        let centre = centre.map(rounded);
        let dot = Circle::new()
            .set("class", class)
            .set("cx", centre[0])
            .set("cy", centre[1])
            .set("r", radius)
            .set("data-mark", what)
            .set("data-base", format!("{base:.4}"))
            .add(Title::new(what));
        self.put(dot);
    }

    /// A bar with round ends, such as a tyre from above: filled by the second of two lines over
    /// each other.
    pub fn bar(&mut self, class: &str, a: Place, b: Place, width: f64) {
        let reach = width / 2.0;
        for place in [a, b] {
            self.reach([place[0] - reach, place[1] - reach]);
            self.reach([place[0] + reach, place[1] + reach]);
        }
        let [a, b] = [a, b].map(|p| p.map(rounded));
        for (part, width) in [("edge", width), ("fill", (width - 4.0).max(0.5))] {
            let line = Line::new().set("x1", a[0]).set("y1", a[1]).set("x2", b[0]).set("y2", b[1]);
            let style = format!("stroke-width:{};stroke-linecap:round", rounded(width));
            self.put(line.set("class", format!("bar-{part} {class}")).set("style", style));
        }
    }

    /// An arrow with its head at `to`. One that would be too short for its head begins further
    /// back.
    pub fn arrow(&mut self, class: &str, from: Place, to: Place, head: f64) {
        let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
        let length = dx.hypot(dy);
        if !(length > 1e-6) {
            return;
        }
        let (ux, uy) = (dx / length, dy / length);
        let from = if length < 1.8 * head {
            [to[0] - 1.8 * head * ux, to[1] - 1.8 * head * uy]
        } else {
            from
        };
        let neck = [to[0] - ux * head, to[1] - uy * head];
        self.line(class, from, neck);
        let wing = head * 0.42;
        self.polygon(
            &format!("{class} tip"),
            &[
                to,
                [neck[0] - uy * wing, neck[1] + ux * wing],
                [neck[0] + uy * wing, neck[1] - ux * wing],
            ],
        );
    }

    /// From where to where the drawing reaches across so far, mm.
    pub fn across(&self) -> [f64; 2] {
        if self.least[0] <= self.most[0] { [self.least[0], self.most[0]] } else { [0.0, 100.0] }
    }

    /// From the top to the foot of the drawing so far, mm down the sheet.
    pub fn upright(&self) -> [f64; 2] {
        if self.least[1] <= self.most[1] { [self.least[1], self.most[1]] } else { [0.0, 100.0] }
    }

    /// Words; `size` is the height of the letters, mm. The sheet reaches as far as they are likely
    /// to.
    pub fn words(&mut self, class: &str, at: Place, anchor: Anchor, size: f64, words: &str) {
        let share = if class.contains("title") { WIDE_LETTER } else { LETTER };
        let width = share * size * words.chars().count() as f64;
        let (before, behind) = match anchor {
            Anchor::Start => (0.0, width),
            Anchor::Middle => (width / 2.0, width / 2.0),
            Anchor::End => (width, 0.0),
        };
        self.reach([at[0] - before, at[1] - size]);
        self.reach([at[0] + behind, at[1] + size * 0.3]);
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let at = at.map(rounded);
        let text = Text::new(words)
            .set("class", class)
            .set("x", at[0])
            .set("y", at[1])
            .set("font-size", rounded(size))
            .set("text-anchor", anchor);
        self.put(text);
    }

    /// A rule of 100 mm with its length, below what was drawn so far.
    pub fn scale_bar(&mut self, size: f64) {
        const LENGTH: f64 = 100.0;
        let (x, y) = (self.least[0], self.most[1] + 2.2 * size);
        self.line("rule", [x, y], [x + LENGTH, y]);
        for end in [x, x + LENGTH / 2.0, x + LENGTH] {
            self.line("rule", [end, y - size * 0.35], [end, y + size * 0.35]);
        }
        self.words(
            "label",
            [x + LENGTH + size * 0.5, y + size * 0.35],
            Anchor::Start,
            size,
            "100 mm",
        );
    }

    /// The finished drawing: what it shows for those who can't see it, and for a reader of the file
    /// the factor by which the out-of-true is exaggerated.
    pub fn finish(self, title: &str, factor: f64) -> Drawing {
        const MARGIN: f64 = 8.0;
        let (least, most) = if self.least[0] <= self.most[0] {
            (self.least, self.most)
        } else {
            ([0.0; 2], [100.0; 2])
        };
        let (x, y) = (rounded(least[0] - MARGIN), rounded(least[1] - MARGIN));
        let (width, height) = (
            rounded(most[0] - least[0] + 2.0 * MARGIN),
            rounded(most[1] - least[1] + 2.0 * MARGIN),
        );
        Drawing { group: self.group, view: [x, y, width, height], title: title.to_owned(), factor }
    }
}

/// A finished drawing.
pub struct Drawing {
    group: Group,
    /// Left, top, width and height of the sheet, mm.
    view: [f64; 4],
    title: String,
    factor: f64,
}

impl Drawing {
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Width over height.
    pub fn aspect(&self) -> f64 {
        self.view[2] / self.view[3]
    }

    fn document(&self) -> Document {
        let view = self.view.map(|x| x.to_string()).join(" ");
        Document::new()
            .set("class", "drawing")
            .set("viewBox", view)
            .set("role", "img")
            .set("aria-label", self.title.as_str())
            .set("data-factor", self.factor)
    }

    /// For the page, whose style sheet holds the drawing's rules.
    pub fn inline(self) -> String {
        self.document().add(self.group).to_string()
    }

    /// A file of its own, true to scale where it is printed as it is.
    pub fn file(&self) -> String {
        let document = self
            .document()
            .set("width", format!("{}mm", self.view[2]))
            .set("height", format!("{}mm", self.view[3]))
            .add(Title::new(self.title.as_str()))
            .add(Style::new(DRAWING_CSS))
            .add(
                Rectangle::new()
                    .set("class", "sheet")
                    .set("x", self.view[0])
                    .set("y", self.view[1])
                    .set("width", self.view[2])
                    .set("height", self.view[3]),
            )
            .add(self.group.clone());
        format!("{document}\n")
    }
}
