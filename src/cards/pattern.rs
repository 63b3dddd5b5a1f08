//! The geometry of a card or tab: cells, dots and metric points.
//!
//! Pattern frame: origin at the pattern's centre, x to the right, y up, z out of the paper,
//! millimetres. Cell (row, col) is dark where row + col is even; row 0 is at the top. The corner
//! (r, c), with 1 <= r < rows and 1 <= c < cols, is where cells (r-1, c-1), (r-1, c), (r, c-1) and
//! (r, c) meet.

use super::codes::{
    CARD_CODES, CARD_COLS, CARD_ROWS, LANE_ROWS, N_CARDS, N_TABS, TAB_CODES, TAB_SIDE,
};

/// Version of the printed pattern: it changes whenever an older print would be read or scaled
/// differently.
pub const PATTERN_VERSION: &str = "1";

/// Radius of a dot in cell sides.
pub const DOT_RADIUS: f64 = 0.22;

/// One of the printed patterns, by its number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Pattern {
    /// Grid card 1 to 16.
    Card(u8),
    /// Tab 1 to 64.
    Tab(u8),
}

impl Pattern {
    /// The card with this number, if there is one.
    pub fn card(number: usize) -> Option<Self> {
        (1..=N_CARDS).contains(&number).then_some(Self::Card(number as u8))
    }

    /// The tab with this number, if there is one.
    pub fn tab(number: usize) -> Option<Self> {
        (1..=N_TABS).contains(&number).then_some(Self::Tab(number as u8))
    }

    pub fn number(self) -> u8 {
        match self {
            Self::Card(number) | Self::Tab(number) => number,
        }
    }

    pub fn rows(self) -> usize {
        match self {
            Self::Card(_) => CARD_ROWS,
            Self::Tab(_) => TAB_SIDE,
        }
    }

    pub fn cols(self) -> usize {
        match self {
            Self::Card(_) => CARD_COLS,
            Self::Tab(_) => TAB_SIDE,
        }
    }

    /// Side of a cell as designed, mm. A job may say that a tab was printed at another size.
    pub fn pitch_mm(self) -> f64 {
        match self {
            Self::Card(number) if number <= 12 => 10.0,
            Self::Card(_) => 15.0,
            Self::Tab(_) => self.tab_side_mm() / TAB_SIDE as f64,
        }
    }

    /// Side of a tab's pattern as designed, mm (a card's is its longer side).
    pub fn tab_side_mm(self) -> f64 {
        match self {
            Self::Card(_) => self.pitch_mm() * CARD_COLS as f64,
            Self::Tab(1..=4) => 25.0,
            Self::Tab(5..=48) => 20.0,
            Self::Tab(_) => 12.0,
        }
    }

    /// Width and height of the pattern as designed, mm.
    pub fn size_mm(self) -> [f64; 2] {
        [self.cols(), self.rows()].map(|n| n as f64 * self.pitch_mm())
    }

    /// Lengths of a card's two check lines, along and across, mm: what a rule shows on a true
    /// print. A tab has none of its own.
    pub fn check_lines_mm(self) -> Option<[f64; 2]> {
        match self {
            Self::Card(_) => Some([25.0, 16.0].map(|cells| cells * self.pitch_mm())),
            Self::Tab(_) => None,
        }
    }

    /// Whether the cell's ground is dark. Lane cells of a card are blank paper.
    pub fn is_dark(self, row: usize, col: usize) -> bool {
        !self.is_lane(row) && (row + col).is_multiple_of(2)
    }

    /// Whether this row of cells is part of a card's blank lane.
    pub fn is_lane(self, row: usize) -> bool {
        matches!(self, Self::Card(_)) && LANE_ROWS.contains(&row)
    }

    /// Whether the cell carries a dot of the opposite tone.
    pub fn has_dot(self, row: usize, col: usize) -> bool {
        match self {
            Self::Card(number) => CARD_CODES[number as usize - 1][row * CARD_COLS + col],
            Self::Tab(number) => TAB_CODES[number as usize - 1] >> (row * TAB_SIDE + col) & 1 == 1,
        }
    }

    /// Whether (r, c) is a metric point: an inner corner where four printed cells meet.
    pub fn is_corner(self, r: usize, c: usize) -> bool {
        r >= 1
            && r < self.rows()
            && c >= 1
            && c < self.cols()
            && !self.is_lane(r - 1)
            && !self.is_lane(r)
    }

    /// All metric points, row by row.
    pub fn corners(self) -> impl Iterator<Item = (usize, usize)> {
        (1..self.rows())
            .flat_map(move |r| (1..self.cols()).map(move |c| (r, c)))
            .filter(move |&(r, c)| self.is_corner(r, c))
    }

    /// Where lattice node (r, c) lies in the pattern frame, in cell sides; r and c may be fractions
    /// (a cell's centre is at +0.5).
    pub fn node(self, r: f64, c: f64) -> [f64; 2] {
        [c - self.cols() as f64 / 2.0, self.rows() as f64 / 2.0 - r]
    }
}
