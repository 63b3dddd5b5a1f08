//! Riders for the datum cord: strips to fold round it, a tab on either face.
//!
//! A strip carries two tabs foot to foot. Printed side out it is folded round the cord and glued
//! back to back from the top down to the marks, so that it stands on the cord like a little sail.
//! The cord's axis must then lie one pattern side below both patterns' centres, midway between the
//! faces. How long the bridge between the feet must be for that follows from the fold as it is seen
//! along the cord: cord's radius r, paper's thickness t, the glued seam ending at the height h
//! above the axis.
//!
//! Paper bends without stretching in the middle of its thickness, so lengths are counted there.
//! Round the cord that fibre runs at the radius R = r + t/2. In the seam it runs t/2 off the
//! middle plane, so that it leaves the seam at P = (t/2, h), at the distance D = sqrt(h^2 +
//! (t/2)^2) from the axis and at the angle a = atan(t / 2h) off the upright. The flanks are
//! straight, the paper being pulled tight: from P they touch the circle at the angle a + acos(R/D)
//! off the upright, sqrt(D^2 - R^2) away. From there the fibre goes round to the lowest point. From
//! the fold's middle to a pattern's centre, side above the axis, that is
//!
//! R (pi - a - acos(R/D)) + sqrt(D^2 - R^2) + (side - h).
//!
//! Paper that is wrapped less tightly, or glued a millimetre higher or lower, changes it by a few
//! tenths of a millimetre; a cord that is 1 mm thicker than the print was made for by 0.85 mm. That
//! is the half millimetre (k = 1) by which a rider's height is taken to be known.

use super::canvas::{Align, BLACK, Canvas, Ink, Pen, Point};
use super::lattice::draw_pattern;
use super::lettering::Face;
use super::paper::{MARGIN_MM, Paper};
use super::tab_page::draw_title;
use super::tab_words::tab_words;
use crate::cards::Pattern;
use crate::cards::pattern::PATTERN_VERSION;

/// Height of the glued seam's lower end above the cord's axis, mm: just below the patterns' white
/// rims.
pub const SEAM_MM: f64 = 8.0;
/// Thickness of office paper, mm.
const PAPER_MM: f64 = 0.10;
/// Cords that a rider can be printed for, mm thick: beyond, its flanks would reach the seam.
pub const CORDS_MM: std::ops::RangeInclusive<f64> = 0.5..=6.0;
/// The cord that riders are printed for by default, mm.
pub const USUAL_CORD_MM: f64 = 2.0;

/// Width of a strip in pattern sides, and how far it reaches beyond a pattern's centre at its head.
const WIDTH_SIDES: f64 = 1.4;
const HEAD_SIDES: f64 = 0.7;
/// Left edge of words and strips, from the paper's.
const SIDE_MM: f64 = MARGIN_MM + 2.0;
/// Height of the words at the top of the page.
const HEAD_MM: f64 = 72.0;
const CUT_LINE: Pen = Pen { ink: Ink::Gray(0.65), width_mm: 0.15, dash_mm: 0.0 };
const FOLD_LINE: Pen = Pen { ink: Ink::Gray(0.65), width_mm: 0.15, dash_mm: 1.0 };

/// From the fold's middle to the centre of either pattern, on the flat print, for a cord of this
/// thickness, mm.
pub fn centre_from_fold_mm(cord_mm: f64, side_mm: f64) -> f64 {
    let radius = (cord_mm + PAPER_MM) / 2.0;
    let half_paper = PAPER_MM / 2.0;
    let distance = SEAM_MM.hypot(half_paper);
    let touches = (half_paper / SEAM_MM).atan() + (radius / distance).acos();
    radius * (std::f64::consts::PI - touches)
        + (distance * distance - radius * radius).sqrt()
        + (side_mm - SEAM_MM)
}

/// A strip and where it lies on the page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlacedRider {
    /// The tabs of the left and of the right face.
    pub faces: [Pattern; 2],
    /// Where the fold meets the strip's middle line, mm from the page's lower left corner.
    pub fold_mm: Point,
    pub cord_mm: f64,
}

impl PlacedRider {
    fn side_mm(&self) -> f64 {
        self.faces[0].tab_side_mm()
    }

    fn reach_mm(&self) -> f64 {
        centre_from_fold_mm(self.cord_mm, self.side_mm())
    }

    /// Centres of both patterns, mm from the page's lower left corner: the left face's above the
    /// fold, upright; the right face's below it, the other way up.
    pub fn centres_mm(&self) -> [Point; 2] {
        let [x, y] = self.fold_mm;
        [1.0, -1.0].map(|way| [x, y + way * self.reach_mm()])
    }
}

/// Lays riders out side by side, page by page. `riders` are the tabs of left faces.
pub fn place_riders(paper: Paper, lefts: &[Pattern], cord_mm: f64) -> Vec<Vec<PlacedRider>> {
    let [page_width, page_height] = paper.portrait_mm();
    let placed: Vec<(Pattern, Pattern)> = lefts
        .iter()
        .filter_map(|left| Some((*left, Pattern::tab(usize::from(left.number()) + 1)?)))
        .collect();
    let Some((first, _)) = placed.first() else { return Vec::new() };
    let side = first.tab_side_mm();
    let width = WIDTH_SIDES * side;
    let half = centre_from_fold_mm(cord_mm, side) + HEAD_SIDES * side;
    let n_across = ((page_width - 2.0 * SIDE_MM) / width).floor().max(1.0) as usize;
    let fold_y = page_height - MARGIN_MM - HEAD_MM - half;
    let at = |i: usize| [SIDE_MM + (i as f64 + 0.5) * width, fold_y];
    let page = |pairs: &[(Pattern, Pattern)]| {
        pairs
            .iter()
            .enumerate()
            .map(|(i, (l, r))| PlacedRider { faces: [*l, *r], fold_mm: at(i), cord_mm })
            .collect()
    };
    placed.chunks(n_across).map(page).collect()
}

pub fn draw(canvas: &mut Canvas, placed: &[PlacedRider], page_number: usize, n_pages: usize) {
    let cord_mm = placed.first().map_or(USUAL_CORD_MM, |rider| rider.cord_mm);
    draw_head(canvas, cord_mm, page_number, n_pages);
    for rider in placed {
        draw_rider(canvas, rider);
    }
}

fn draw_head(canvas: &mut Canvas, cord_mm: f64, page_number: usize, n_pages: usize) {
    let facts = format!(
        "for a cord {cord_mm} mm thick; page {page_number} of {n_pages}, pattern version {PATTERN_VERSION}"
    );
    draw_title(canvas, "RIDERS", &facts);
    let [width, height] = canvas.size_mm;
    let (left, right, top) = (SIDE_MM, width - SIDE_MM, height - MARGIN_MM);
    let thickness = format!(
        "Print at 100 % on matt white paper; check the line above. Measure the cord: these are for one {cord_mm} mm thick, give or take \
         half a millimetre. For another: sheets --cord-mm."
    );
    let words = [
        thickness.as_str(),
        "1  Cut along the grey lines. Fold along the dashed line, the patterns outside, and lay the fold under the cord.",
        "2  Glue the two backs together from the top down to the marks at the patterns' feet, no further, edges flush, and pull the \
         fold tight round the cord. It stands on the cord like a sail; a lean of ten degrees does no harm.",
        "3  The odd number looks to the bike's left, the even one to its right; the arrows point to the front.",
        "4  Two riders 600 mm apart, or three, between the cards, so that they hide no lane. Leave them there until the last photo.",
    ];
    let column = right - left - 72.0;
    let mut y = top - 16.0;
    for line in words {
        y = canvas.paragraph([left, y], column, Face::Plain, 2.6, line) - 1.0;
    }
    draw_gluing(canvas, [right - 68.0, top - 56.0]);
}

/// How the strip goes round the cord, with words.
fn draw_gluing(canvas: &mut Canvas, [x, y]: Point) {
    let axis = [x + 16.0, y + 8.0];
    draw_fold(canvas, axis, 1.0);
    let words = |canvas: &mut Canvas, dy: f64, text: &str| {
        canvas.text([axis[0] + 6.0, axis[1] + dy], Align::Left, Face::Plain, 2.4, text);
    };
    words(canvas, 28.0, "right face");
    words(canvas, 23.0, "glued back to back");
    words(canvas, 15.2, "down to the marks");
    words(canvas, 5.0, "free flanks, pulled tight");
    words(canvas, -1.0, "cord, seen from behind");
    canvas.text([axis[0] - 3.0, axis[1] + 28.0], Align::Right, Face::Plain, 2.4, "left face");
}

/// The strip round the cord, seen along it: drawn large, lengths not to scale. It reaches from 4.3
/// below the axis to 38 above it, 4.5 to either side, times `scale`.
pub fn draw_fold(canvas: &mut Canvas, axis: Point, scale: f64) {
    let (radius, seam, head) = (4.0, 16.0, 38.0);
    canvas.filled_circle(axis, scale * (radius - 0.5), Ink::Colour(0.85, 0.3, 0.0));
    for side in [1.0, -1.0] {
        let at = |dx: f64, dy: f64| [axis[0] + scale * side * dx, axis[1] + scale * dy];
        let touch = (radius / seam).acos();
        let mut fold = vec![at(0.35, head), at(0.35, seam)];
        let n = 16;
        fold.extend((0..=n).map(|i| {
            let angle = touch + (std::f64::consts::PI - touch) * f64::from(i) / f64::from(n);
            at(radius * angle.sin(), radius * angle.cos())
        }));
        canvas.line(&fold, Pen::solid(BLACK, 0.5 * scale));
        // The pattern on the face, and the mark at which the seam ends.
        canvas.line(
            &[at(1.1, seam + 3.0), at(1.1, head - 3.0)],
            Pen::dashed(BLACK, 0.9 * scale, 1.6 * scale),
        );
        canvas.line(&[at(1.8, seam), at(4.2, seam)], Pen::solid(BLACK, 0.25));
    }
}

fn draw_rider(canvas: &mut Canvas, rider: &PlacedRider) {
    let [x, y] = rider.fold_mm;
    let side = rider.side_mm();
    let (half_width, half) = (WIDTH_SIDES * side / 2.0, rider.reach_mm() + HEAD_SIDES * side);
    canvas.outlined_rect([x - half_width, y - half], [2.0 * half_width, 2.0 * half], CUT_LINE);
    canvas.line(&[[x - half_width, y], [x + half_width, y]], FOLD_LINE);
    draw_face(canvas, rider, 0);
    canvas.half_turn(rider.fold_mm, |canvas| draw_face(canvas, rider, 1));
}

/// One half of the strip, upright above the fold.
fn draw_face(canvas: &mut Canvas, rider: &PlacedRider, face: usize) {
    let [x, y] = rider.fold_mm;
    let side = rider.side_mm();
    let half_width = WIDTH_SIDES * side / 2.0;
    let centre = [x, y + rider.reach_mm()];
    draw_pattern(canvas, rider.faces[face], centre);
    // The seam ends here; on the strip's edges, clear of the pattern.
    let seam = centre[1] - (side - SEAM_MM);
    for edge in [-1.0, 1.0] {
        let at = |inside: f64| [x + edge * (half_width - inside), seam];
        canvas.line(&[at(0.0), at(3.0)], Pen::solid(BLACK, 0.25));
    }
    let number = rider.faces[face].number().to_string();
    let number_mm = 3.6;
    let baseline = seam - 4.2;
    canvas.text([x - half_width + 1.6, baseline], Align::Left, Face::Bold, number_mm, &number);
    let words_left = x - half_width + 1.6 + Face::Bold.width_mm(&number, number_mm) + 1.2;
    // In two lines, or they would reach over the strip's edge.
    for (line, dy) in tab_words(rider.faces[face].number()).iter().zip([1.3, -0.9]) {
        canvas.text([words_left, baseline + dy], Align::Left, Face::Narrow, 2.0, line);
    }
    // Seen from its own side, the left face has the bike's front to the left.
    let (tail, tip) = if face == 0 { (9.0, -9.0) } else { (-9.0, 9.0) };
    canvas.arrow(
        [x + tail, baseline - 3.3],
        [x + tip, baseline - 3.3],
        1.6,
        Pen::solid(BLACK, 0.3),
    );
}
