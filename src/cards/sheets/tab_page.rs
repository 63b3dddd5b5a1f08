//! Pages of tabs to cut out, each on its own piece of white paper with its number and role below
//! the pattern.

use crate::cards::Pattern;
use crate::cards::pattern::PATTERN_VERSION;

use super::canvas::{Align, BLACK, Canvas, Ink, LEADING, Pen, Point};
use super::lattice::{draw_check_line_along, draw_pattern};
use super::lettering::Face;
use super::paper::{MARGIN_MM, Paper};
use super::tab_words::{is_flag, tab_words};
pub use crate::job::print_prior::TAB_CHECK_LINE_MM;

/// Which tabs a job can't do without.
const ENOUGH: &str = "Enough for the least job: tabs 1, 2 and 5 to 10. With 11, 12 and a plumb line (21, 22) you learn more.";

/// White paper of a tab in pattern sides, across and upright; the pattern is centred across, its
/// centre 0.7 sides below the top.
const PAPER_SIDES: [f64; 2] = [1.4, 1.7];
const CENTRE_BELOW_TOP_SIDES: f64 = 0.7;

/// Left edge of words and tabs, from the paper's; the same is kept free at the right.
const SIDE_MM: f64 = MARGIN_MM + 2.0;
/// Height of the words at the top of a page, mm.
const HEAD_MM: f64 = 31.0;
/// Light enough not to be taken for part of a pattern, dark enough to cut along.
const CUT_LINE: Pen = Pen { ink: Ink::Gray(0.65), width_mm: 0.15, dash_mm: 0.0 };

/// A tab and where its piece of paper lies on the page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlacedTab {
    pub tab: Pattern,
    /// Upper left corner of the paper, mm from the page's lower left corner.
    pub upper_left_mm: Point,
}

impl PlacedTab {
    /// Width and height of the tab's paper, mm.
    pub fn paper_mm(&self) -> [f64; 2] {
        PAPER_SIDES.map(|sides| sides * self.tab.tab_side_mm())
    }

    /// The pattern's centre, mm from the page's lower left corner.
    pub fn centre_mm(&self) -> Point {
        let [x, y] = self.upper_left_mm;
        [x + self.paper_mm()[0] / 2.0, y - CENTRE_BELOW_TOP_SIDES * self.tab.tab_side_mm()]
    }
}

/// Lays tabs out page by page, in rows of one size. Neighbours share a cut line.
pub fn place_tabs(paper: Paper, tabs: &[Pattern]) -> Vec<Vec<PlacedTab>> {
    let [page_width, page_height] = paper.portrait_mm();
    let mut pages: Vec<Vec<PlacedTab>> = Vec::new();
    let mut row_top = 0.0;
    for same_size in tabs.chunk_by(|a, b| a.tab_side_mm() == b.tab_side_mm()) {
        let [width, height] = PAPER_SIDES.map(|sides| sides * same_size[0].tab_side_mm());
        // A hair of rounding must not cost A4 its seventh column, which fits exactly.
        let n_across = ((page_width - 2.0 * SIDE_MM) / width + 1e-6).floor().max(1.0) as usize;
        for row in same_size.chunks(n_across) {
            if pages.is_empty() || row_top - height < MARGIN_MM {
                pages.push(Vec::new());
                row_top = page_height - MARGIN_MM - HEAD_MM;
            }
            if let Some(page) = pages.last_mut() {
                page.extend(row.iter().enumerate().map(|(i, &tab)| PlacedTab {
                    tab,
                    upper_left_mm: [SIDE_MM + i as f64 * width, row_top],
                }));
            }
            row_top -= height;
        }
    }
    pages
}

pub fn draw(canvas: &mut Canvas, placed: &[PlacedTab], page_number: usize, n_pages: usize) {
    draw_head(canvas, page_number, n_pages);
    for tab in placed {
        draw_tab(canvas, tab);
    }
}

/// A page's title, what it is for, and the check line of tabs.
pub fn draw_title(canvas: &mut Canvas, title: &str, facts: &str) {
    let [width, height] = canvas.size_mm;
    let (left, right, top) = (SIDE_MM, width - SIDE_MM, height - MARGIN_MM);
    canvas.text([left, top - 6.0], Align::Left, Face::Bold, 6.0, title);
    canvas.text([left, top - 10.6], Align::Left, Face::Plain, 2.6, facts);
    let line_left = right - TAB_CHECK_LINE_MM - 0.5;
    draw_check_line_along(canvas, [line_left, top - 3.0], TAB_CHECK_LINE_MM);
    let check = format!(
        "check line: {TAB_CHECK_LINE_MM} mm with a steel rule, middle of tick to middle of tick"
    );
    canvas.text(
        [line_left + TAB_CHECK_LINE_MM / 2.0, top - 7.4],
        Align::Centre,
        Face::Plain,
        2.6,
        &check,
    );
}

fn draw_head(canvas: &mut Canvas, page_number: usize, n_pages: usize) {
    let facts = format!("page {page_number} of {n_pages}, pattern version {PATTERN_VERSION}");
    draw_title(canvas, "TABS", &facts);
    let (left, top) = (SIDE_MM, canvas.size_mm[1] - MARGIN_MM);
    let behind_facts = left + Face::Plain.width_mm(&facts, 2.6) + 5.0;
    canvas.text([behind_facts, top - 10.6], Align::Left, Face::Bold, 2.6, ENOUGH);
    let words = [
        "Print at 100 % (\u{201c}actual size\u{201d}, no fitting to the page), on one side of matt white paper. \
         The line above is measured_tabs_mm in job.toml.",
        "Cut along the grey lines. Keep the white all round the pattern: it is needed. Stick the tab flat, on clean metal, \
         any way up.",
        "Flags (21 to 30): fix them to the line so that it runs straight along the two marks, over the middle of the pattern.",
        "A tab stuck to something stiff or magnetic: write the thickness of the backing into job.toml under [[tab]].",
    ];
    for (i, line) in words.iter().enumerate() {
        canvas.text([left, top - 16.0 - 3.9 * i as f64], Align::Left, Face::Plain, 2.6, line);
    }
}

fn draw_tab(canvas: &mut Canvas, placed: &PlacedTab) {
    let side = placed.tab.tab_side_mm();
    let [left, top] = placed.upper_left_mm;
    let [width, height] = placed.paper_mm();
    let [centre_x, centre_y] = placed.centre_mm();
    canvas.outlined_rect([left, top - height], [width, height], CUT_LINE);
    draw_pattern(canvas, placed.tab, placed.centre_mm());

    let number = placed.tab.number();
    if is_flag(number) {
        // Where the line enters and leaves the tab; both marks stay outside the pattern's white
        // rim.
        for (y_from, y_to) in [(top, top - 0.1 * side), (top - height, top - height + 0.1 * side)] {
            canvas.line(&[[centre_x, y_from], [centre_x, y_to]], Pen::solid(BLACK, 0.25));
        }
    }

    // The words go below the pattern, clear of its edge by a tenth of its side.
    let pad = 0.08 * side;
    let words_top = centre_y - side / 2.0 - 0.1 * side;
    let words_height = words_top - (top - height) - pad / 2.0;
    let number_size = 0.22 * side;
    let digits = number.to_string();
    let number_width = Face::Bold.width_mm(&digits, number_size);
    canvas.text(
        [left + pad, words_top - 0.75 * number_size],
        Align::Left,
        Face::Bold,
        number_size,
        &digits,
    );

    let words_left = left + pad + number_width + 0.06 * side;
    let words_width = left + width - pad - words_left;
    let lines = tab_words(number);
    let size = fitting_size(&lines, [words_width, words_height], 0.125 * side);
    for (i, line) in lines.iter().enumerate() {
        let baseline = words_top - size * (0.75 + LEADING * i as f64);
        canvas.text([words_left, baseline], Align::Left, Face::Narrow, size, line);
    }
}

/// The size, up to `largest`, at which lines fit a box.
fn fitting_size(lines: &[String], [width, height]: [f64; 2], largest: f64) -> f64 {
    let widest = lines.iter().map(|line| Face::Narrow.width_mm(line, 1.0)).fold(0.0, f64::max);
    largest.min(width / widest).min(height / (LEADING * lines.len() as f64))
}
