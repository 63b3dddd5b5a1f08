//! The ink of a pattern: dark cells, dots, and a card's lane ticks.

use super::canvas::{Area, BLACK, Canvas, Point};
use crate::cards::Pattern;
use crate::cards::pattern::DOT_RADIUS;

/// Spacing of the lane's ticks, mm, and which of them are long.
const TICK_STEP_MM: f64 = 2.0;
const LONG_TICK_EVERY: i32 = 5;
const TICK_MM: f64 = 1.6;
const LONG_TICK_MM: f64 = 3.0;
/// Thin enough to read half a tick by eye, thick enough for a 300 dpi printer (two dots).
const TICK_WIDTH_MM: f64 = 0.2;

/// Draws a pattern with its centre at a point of the page.
///
/// Dark cells are filled rectangles of their exact size in one path. They meet only at corners,
/// never along an edge, so there is no seam to close and nothing overlaps: each inner corner is a
/// shared vertex. If a printer makes all ink a little fat, opposite cells grow alike and the corner
/// stays.
pub fn draw_pattern(canvas: &mut Canvas, pattern: Pattern, centre: Point) {
    let pitch = pattern.pitch_mm();
    let on_page = |r: f64, c: f64| {
        let [x, y] = pattern.node(r, c);
        [centre[0] + pitch * x, centre[1] + pitch * y]
    };
    let mut area = canvas.area();
    for row in 0..pattern.rows() {
        for col in 0..pattern.cols() {
            let (r, c) = (row as f64, col as f64);
            if pattern.is_dark(row, col) {
                area.rect(on_page(r + 1.0, c), [pitch, pitch]);
            }
            if pattern.has_dot(row, col) {
                // In a dark cell the even-odd rule makes this disc a hole.
                area.circle(on_page(r + 0.5, c + 0.5), DOT_RADIUS * pitch);
            }
        }
    }
    area.fill(BLACK);
}

/// Ticks along both edges of a card's lane, into the lane: a ruler for the eye, counted from the
/// pattern's middle.
pub fn draw_lane_ticks(canvas: &mut Canvas, pattern: Pattern, centre: Point) {
    let pitch = pattern.pitch_mm();
    let half_width = pattern.cols() as f64 / 2.0 * pitch;
    let lane: Vec<usize> = (0..pattern.rows()).filter(|&row| pattern.is_lane(row)).collect();
    let (Some(&first), Some(&last)) = (lane.first(), lane.last()) else {
        return;
    };
    let upper_edge = centre[1] + pitch * pattern.node(first as f64, 0.0)[1];
    let lower_edge = centre[1] + pitch * pattern.node(last as f64 + 1.0, 0.0)[1];
    let n = (half_width / TICK_STEP_MM).floor() as i32;
    let mut area = canvas.area();
    for k in -n..=n {
        let length = if k % LONG_TICK_EVERY == 0 { LONG_TICK_MM } else { TICK_MM };
        let left = centre[0] + f64::from(k) * TICK_STEP_MM - TICK_WIDTH_MM / 2.0;
        area.rect([left, upper_edge - length], [TICK_WIDTH_MM, length]);
        area.rect([left, lower_edge], [TICK_WIDTH_MM, length]);
    }
    area.fill(BLACK);
}

/// Thickness of check lines and of the ticks at their ends, mm.
pub const CHECK_LINE_WIDTH_MM: f64 = 0.2;
/// Length of the ticks at the ends, mm.
pub const CHECK_TICK_MM: f64 = 3.0;

/// A check line along the page's x, from the middle of its left end tick to the middle of its right
/// one.
pub fn draw_check_line_along(canvas: &mut Canvas, left_end: Point, length_mm: f64) {
    let mut area = canvas.area();
    add_bar(&mut area, left_end, [length_mm, 0.0]);
    for x in [left_end[0], left_end[0] + length_mm] {
        add_bar(&mut area, [x, left_end[1] - CHECK_TICK_MM / 2.0], [0.0, CHECK_TICK_MM]);
    }
    area.fill_all(BLACK);
}

/// A check line along the page's y, from the middle of its lower end tick to the middle of its
/// upper one, with a gap about its middle: there the datum cord passes, and nothing dark should lie
/// next to it.
pub fn draw_check_line_across(canvas: &mut Canvas, lower_end: Point, length_mm: f64, gap_mm: f64) {
    let half = (length_mm - gap_mm) / 2.0;
    let mut area = canvas.area();
    add_bar(&mut area, lower_end, [0.0, half]);
    add_bar(&mut area, [lower_end[0], lower_end[1] + length_mm - half], [0.0, half]);
    for y in [lower_end[1], lower_end[1] + length_mm] {
        add_bar(&mut area, [lower_end[0] - CHECK_TICK_MM / 2.0, y], [CHECK_TICK_MM, 0.0]);
    }
    area.fill_all(BLACK);
}

/// A bar of check-line thickness about a segment.
fn add_bar(area: &mut Area, [x, y]: Point, [dx, dy]: [f64; 2]) {
    let half = CHECK_LINE_WIDTH_MM / 2.0;
    let [wide, high] = if dy == 0.0 { [dx, 2.0 * half] } else { [2.0 * half, dy] };
    let [left, low] = if dy == 0.0 { [x, y - half] } else { [x - half, y] };
    area.rect([left, low], [wide, high]);
}
