//! A page with one grid card: the pattern, its ticks and check lines, and what to do with it in
//! words.

use super::canvas::{Align, Canvas, Point};
use super::lattice::{
    CHECK_TICK_MM, draw_check_line_across, draw_check_line_along, draw_lane_ticks, draw_pattern,
};
use super::lettering::Face;
use super::paper::{MARGIN_MM, Paper};
use crate::cards::Pattern;
use crate::cards::pattern::PATTERN_VERSION;

/// Strip left of the pattern, for the check line across and its words, mm. Letter leaves no more:
/// 279.4 - 2 x 5 - 260.
const LEFT_STRIP_MM: f64 = 9.4;
/// Strip below the pattern, for the check line along and the words, mm. A3 leaves no more: 297 - 2
/// x 5 - 270.
const LOWER_STRIP_MM: f64 = 17.0;

/// The check line across lies this far left of the pattern, and the one along this far below it, to
/// the middle of the line.
const CHECK_LINE_LEFT_MM: f64 = 3.6;
const CHECK_LINE_BELOW_MM: f64 = 3.2;

const WORDS_MM: f64 = 2.6;
const NUMBER_MM: f64 = 6.6;
/// Baselines of the three lines of words, below the pattern.
const BASELINES_BELOW_MM: [f64; 3] = [9.0, 12.5, 16.0];

/// Where the pattern's centre lies on the page, or None if the card does not fit this paper's
/// printable area.
pub fn card_centre_mm(paper: Paper, card: Pattern) -> Option<Point> {
    let [width, height] = paper.landscape_mm();
    let [pattern_width, pattern_height] = card.size_mm();
    let left = (width - LEFT_STRIP_MM - pattern_width) / 2.0;
    let below = (height - LOWER_STRIP_MM - pattern_height) / 2.0;
    // A hair of rounding must not refuse Letter, where the card fits exactly.
    let fits = left >= MARGIN_MM - 1e-6 && below >= MARGIN_MM - 1e-6;
    fits.then_some([
        left + LEFT_STRIP_MM + pattern_width / 2.0,
        below + LOWER_STRIP_MM + pattern_height / 2.0,
    ])
}

pub fn draw(canvas: &mut Canvas, paper: Paper, card: Pattern) {
    let (Some(centre), Some([along_mm, across_mm])) =
        (card_centre_mm(paper, card), card.check_lines_mm())
    else {
        return;
    };
    let [pattern_width, pattern_height] = card.size_mm();
    let left = centre[0] - pattern_width / 2.0;
    let below = centre[1] - pattern_height / 2.0;

    draw_pattern(canvas, card, centre);
    draw_lane_ticks(canvas, card, centre);

    let lane_mm =
        card.pitch_mm() * (0..card.rows()).filter(|&row| card.is_lane(row)).count() as f64;
    let line_x = left - CHECK_LINE_LEFT_MM;
    draw_check_line_across(canvas, [line_x, centre[1] - across_mm / 2.0], across_mm, lane_mm);
    let line_y = below - CHECK_LINE_BELOW_MM;
    draw_check_line_along(canvas, [centre[0] - along_mm / 2.0, line_y], along_mm);

    let words_x = line_x - CHECK_TICK_MM / 2.0 - 1.0;
    let words_y = centre[1] - (across_mm + lane_mm) / 4.0;
    let across_words = format!("two pieces, end to end: {across_mm} mm");
    canvas.upward_text([words_x, words_y], Align::Centre, Face::Plain, WORDS_MM, &across_words);

    let along_words = format!("check line along: {along_mm} mm");
    let right = left + pattern_width;
    canvas.text(
        [centre[0] + along_mm / 2.0, line_y - 4.2],
        Align::Right,
        Face::Plain,
        WORDS_MM,
        &along_words,
    );

    let baselines = BASELINES_BELOW_MM.map(|down| below - down);
    let number = format!("CARD {}", card.number());
    canvas.text([left, baselines[2]], Align::Left, Face::Bold, NUMBER_MM, &number);
    let column = left + Face::Bold.width_mm(&number, NUMBER_MM) + 5.0;
    let facts = format!(
        "cells {} mm, pattern version {PATTERN_VERSION}, {} paper",
        card.pitch_mm(),
        paper.title()
    );
    canvas.text([right, baselines[2]], Align::Right, Face::Plain, WORDS_MM, &facts);
    let lines = [
        "Print at 100 % (\u{201c}actual size\u{201d}, no fitting to the page), on one side of matt white paper. Keep it flat."
            .to_owned(),
        format!(
            "Check with a steel rule, middle of tick to middle of tick: {along_mm} mm along, {across_mm} mm across. \
             Write what you read into job.toml under [print]."
        ),
        "Lay it under the cord, the cord along the blank lane between the two fields. Either way round will do.".to_owned(),
    ];
    for (baseline, line) in baselines.iter().zip(&lines) {
        canvas.text([column, *baseline], Align::Left, Face::Plain, WORDS_MM, line);
    }
}
