//! Labels next to a drawing, in one column, each with a line to the part that it is about: the
//! steps of the plan where there are any, else how far a part is out.

use super::bike::Bike;
use super::canvas::{Anchor, Canvas, Place, WIDE_LETTER};
use crate::figure::Figure;
use crate::plan::outcome::{Direction, PlanStep, StepKind};
use crate::text::units::{Kind, Show, Shown};

/// Least height of letters, mm on the drawing.
const LEAST_LETTERS: f64 = 15.0;
/// Height of letters on paper, mm: a little over 7 points.
const ON_PAPER: f64 = 2.6;
/// What words and scale bar add to the height of a drawing: this many heights of letters, and mm.
const LINES: f64 = 4.0;
const ROOM: f64 = 26.0;
/// How high the drawings are at most on paper, mm, as the page's style sheet has them.
pub const ABOVE_ON_PAPER: f64 = 116.0;
pub const BEHIND_ON_PAPER: f64 = 70.0;
/// Letters in the longest line, "1 draw forward".
const LONGEST: f64 = 14.0;
/// Height of letters over the width of the whole drawing: 12.5 px on a phone that shows it 358 px
/// wide.
const OF_WIDTH: f64 = 12.5 / 358.0;
/// Length of an arrow's head, and of an arrow that only says which way, mm.
pub const HEAD: f64 = 15.0;
pub const WAY: f64 = 46.0;
/// From the drawing to the column, and around it all, mm.
const GAP: f64 = 14.0;
const AROUND: f64 = 16.0;
/// From the first line of one label to that of the next, in heights of letters.
const SPACING: f64 = 3.6;

/// Height of letters that can be read on a phone, whatever the drawing's width becomes with a
/// column of them next to it, and on paper, where the drawing is `paper_mm` high.
pub fn letters(canvas: &Canvas, paper_mm: f64) -> f64 {
    let ([least, most], [top, foot]) = (canvas.across(), canvas.upright());
    let drawn = most - least + GAP + AROUND;
    let on_phone = OF_WIDTH * drawn / (1.0 - OF_WIDTH * WIDE_LETTER * LONGEST);
    let on_paper = ON_PAPER * (foot - top + ROOM) / (paper_mm - LINES * ON_PAPER);
    on_phone.max(on_paper).max(LEAST_LETTERS)
}

/// A text written next to the drawing.
struct Label {
    from: Place,
    class: &'static str,
    lines: Vec<String>,
}

/// The labels of one drawing.
pub struct Labels<'a> {
    bike: &'a Bike<'a>,
    show: Show,
    labels: Vec<Label>,
}

impl<'a> Labels<'a> {
    pub fn new(bike: &'a Bike<'a>, show: Show) -> Self {
        Self { bike, show, labels: Vec::new() }
    }

    /// The step of a kind, if the plan has one.
    pub fn step(&self, kind: StepKind) -> Option<&'a PlanStep> {
        self.bike.document.plan.iter().find(|step| step.step == kind)
    }

    /// How far a part is out, with a line to a place of the sheet.
    pub fn figure(&mut self, figure: &Figure, title: &str, from: Place) {
        let Some(measured) = self.bike.document.figure(figure) else { return };
        let shown = Shown::of(&measured, figure.kind(), self.show);
        let way = figure.sense().words(shown.sign).replace("to the ", "");
        let lines = [title.to_owned(), shown.with_unit(), way];
        let lines = lines.into_iter().filter(|line| !line.is_empty()).collect();
        self.labels.push(Label { from, class: "label", lines });
    }

    /// A step with its number and amount.
    pub fn label_step(&mut self, step: &PlanStep, from: Place) {
        let way = match step.direction {
            Some(Direction::Rearward) => "back",
            Some(Direction::Forward) => "forward",
            Some(Direction::Outboard) => "out",
            Some(Direction::Inboard) => "in",
            Some(direction) => direction.word(),
            None => "",
        };
        let verb = match (step.step, step.applied_to.as_str()) {
            (StepKind::Square, _) => "draw",
            (StepKind::Centre, _) => "rim",
            (StepKind::Rehang, _) => "frame",
            (StepKind::Chain, "hub") => "wheel",
            (StepKind::Chain, "gearbox") => "gearbox",
            (StepKind::Chain, _) => "rear",
            (StepKind::Refer, _) => "",
        };
        let amount =
            step.distance.map(|distance| Shown::of(&distance, Kind::Length, self.show).with_unit());
        let lines = [Some(format!("{} {verb} {way}", step.n)), amount];
        self.labels.push(Label {
            from,
            class: "label step",
            lines: lines.into_iter().flatten().collect(),
        });
    }

    /// Writes all of them in a column on the side away from the chain, in the order of their
    /// places, none over another.
    pub fn write(mut self, canvas: &mut Canvas, letters: f64) {
        let away = self.bike.chain_sign();
        let [least, most] = canvas.across();
        let column = if away > 0.0 { most + GAP } else { least - GAP };
        let anchor = if away > 0.0 { Anchor::Start } else { Anchor::End };
        self.labels.retain(|label| label.from.iter().all(|x| x.is_finite()));
        self.labels.sort_by(|a, b| a.from[1].total_cmp(&b.from[1]));
        let mut free = f64::NEG_INFINITY;
        for label in &self.labels {
            let top = (label.from[1] - letters * 0.6).max(free);
            free = top + letters * (SPACING - 3.0 + 1.25 * label.lines.len() as f64);
            let class = if label.class == "label" { "leader" } else { "leader step" };
            canvas.line(class, label.from, [column - away * 5.0, top + letters * 0.6]);
            for (i, line) in label.lines.iter().enumerate() {
                let class =
                    if i == 0 { format!("{} title", label.class) } else { label.class.to_owned() };
                canvas.words(
                    &class,
                    [column, top + letters * (0.95 + 1.2 * i as f64)],
                    anchor,
                    letters,
                    line,
                );
            }
        }
    }
}
