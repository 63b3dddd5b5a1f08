//! A patch of cells is found on the cards: which card, where, and which way up.

use std::collections::BTreeMap;

use super::cells::{Cell, Ground};
use crate::cards::Pattern;
use crate::cards::codes::{CARD_COLS, CARD_ROWS, N_CARDS};

/// Dots by which the best place must beat every other place, turn and mirror image on every card:
/// some 5 x 5 windows of the cards differ by a single dot, and 24 are another's mirror image (the
/// pattern's own rule).
const MIN_MARGIN: u32 = 4;
/// Fewest cells that may be judged at all: 25 cells always differ somewhere.
const MIN_CELLS: u32 = 20;
/// Largest part of wrong dots, as one in this many: dirt and blur spoil a few, a foreign chequer
/// half.
const ONE_WRONG_IN: u32 = 12;
/// Widest patch that is looked at, cells; a card has 26 by 18.
const MAX_SIDE: i32 = 32;

/// A patch's place on a card.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CardPlace {
    pub pattern: Pattern,
    /// The patch is a mirror image, as in chrome: nothing must be measured from it.
    pub mirrored: bool,
    pub place: Placement,
    pub wrong_dots: u32,
    pub read_cells: u32,
    pub margin: u32,
}

/// From lattice nodes (x, y) to the pattern's nodes (r, c): a turn and a shift.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Placement {
    /// Columns per step in x, columns per step in y.
    pub c: [i32; 2],
    /// Rows per step in x, rows per step in y.
    pub r: [i32; 2],
    /// Node (r, c) of lattice node (0, 0).
    pub shift: [i32; 2],
}

impl Placement {
    /// The pattern's node (r, c) of lattice node (x, y).
    pub fn node(&self, x: i32, y: i32) -> (i32, i32) {
        (
            self.r[0] * x + self.r[1] * y + self.shift[0],
            self.c[0] * x + self.c[1] * y + self.shift[1],
        )
    }

    /// The pattern's cell (row, col) of lattice cell (x, y).
    pub fn cell(&self, x: i32, y: i32) -> (i32, i32) {
        let (r0, c0) = self.node(x, y);
        let (r1, c1) = self.node(x + 1, y + 1);
        (r0.min(r1), c0.min(c1))
    }
}

/// The four turns, then the four turns seen in a mirror, as (columns per x and y, rows per x and
/// y).
pub const TURNS: [([i32; 2], [i32; 2]); 8] = [
    ([1, 0], [0, 1]),
    ([0, 1], [-1, 0]),
    ([-1, 0], [0, -1]),
    ([0, -1], [1, 0]),
    ([-1, 0], [0, 1]),
    ([0, 1], [1, 0]),
    ([1, 0], [0, -1]),
    ([0, -1], [-1, 0]),
];
/// Turns before this index are not mirrored.
pub const N_TURNS: usize = 4;

/// A card's rows as bits: bit i = column i. Around the card everything is blank.
struct CardRows {
    dark: [u32; CARD_ROWS],
    dots: [u32; CARD_ROWS],
}

/// A row of a patch as bits: bit i = column i.
#[derive(Clone, Copy, Default)]
struct PatchRow {
    known: u64,
    dark: u64,
    dots: u64,
}

static CARDS: std::sync::LazyLock<Vec<CardRows>> = std::sync::LazyLock::new(|| {
    (1..=N_CARDS as u8)
        .map(|number| {
            let pattern = Pattern::Card(number);
            let row_of = |of: &dyn Fn(usize, usize) -> bool| {
                std::array::from_fn(|row| {
                    (0..CARD_COLS)
                        .filter(|&col| of(row, col))
                        .fold(0, |bits, col| bits | 1_u32 << col)
                })
            };
            CardRows {
                dark: row_of(&|r, c| pattern.is_dark(r, c)),
                dots: row_of(&|r, c| pattern.has_dot(r, c)),
            }
        })
        .collect()
});

/// Where a patch lies, or None when it is on no card for certain.
///
/// `cells` are by (y, x). Cells of the rim that could as well be blank paper must have been left
/// out by the caller.
pub fn place_on_card(cells: &BTreeMap<(i32, i32), Cell>) -> Option<CardPlace> {
    let known: Vec<(i32, i32, bool, bool)> = cells
        .iter()
        .filter(|(_, cell)| cell.ground != Ground::Unclear)
        .filter_map(|(&(y, x), cell)| cell.dot.map(|dot| (x, y, cell.ground == Ground::Dark, dot)))
        .collect();
    let read_cells = known.len() as u32;
    if read_cells < MIN_CELLS {
        return None;
    }
    let Places { best: (wrong_dots, Some((card, turn, place))), second } =
        pulp::Arch::new().dispatch(AllPlaces(&known))?
    else {
        return None;
    };
    let margin = second.saturating_sub(wrong_dots);
    // `place.cell` names cells by their least corner; the shift found for cells is the one for
    // nodes in all four turns, since both ends of a cell were turned alike.
    let accepted = margin >= MIN_MARGIN && wrong_dots * ONE_WRONG_IN <= read_cells;
    let (pattern, mirrored) = (Pattern::Card(card as u8 + 1), turn >= N_TURNS);
    accepted.then_some(CardPlace { pattern, mirrored, place, wrong_dots, read_cells, margin })
}

/// The best place and how many cells differ there, and how many at the second best.
struct Places {
    best: (u32, Option<(usize, usize, Placement)>),
    second: u32,
}

/// The search through all places, turns and mirror images on all cards for cells (x, y, dark, dot),
/// compiled for what the processor can do: some count bits at once. None where the patch is larger
/// than any card.
struct AllPlaces<'a>(&'a [(i32, i32, bool, bool)]);

impl pulp::NullaryFnOnce for AllPlaces<'_> {
    type Output = Option<Places>;

    #[inline(always)]
    fn call(self) -> Option<Places> {
        let mut places = Places { best: (u32::MAX, None), second: u32::MAX };
        for (turn, (c, r)) in TURNS.into_iter().enumerate() {
            let unshifted = Placement { c, r, shift: [0, 0] };
            let turned = self.0.iter().map(|&(x, y, dark, dot)| (unshifted.cell(x, y), dark, dot));
            let turned: Vec<(i32, i32, bool, bool)> =
                turned.map(|((r, c), dark, dot)| (r, c, dark, dot)).collect();
            let top = turned.iter().map(|cell| cell.0).min()?;
            let left = turned.iter().map(|cell| cell.1).min()?;
            let height = turned.iter().map(|cell| cell.0).max()? - top + 1;
            let width = turned.iter().map(|cell| cell.1).max()? - left + 1;
            if height > MAX_SIDE || width > MAX_SIDE {
                return None;
            }
            let mut rows = [PatchRow::default(); MAX_SIDE as usize];
            for &(row, col, dark, dot) in &turned {
                let bit = 1_u64 << (col - left);
                let row = &mut rows[(row - top) as usize];
                row.known |= bit;
                row.dark |= if dark { bit } else { 0 };
                row.dots |= if dot { bit } else { 0 };
            }
            // The chequer shows which shifts are possible at all.
            let n_even = turned
                .iter()
                .filter(|&&(row, col, dark, _)| dark == ((row - top + col - left) % 2 == 0))
                .count();
            let parity = i32::from(2 * n_even < turned.len());
            for col_shift in 2 - width..=CARD_COLS as i32 - 2 {
                let shifted = Shifted::new(&rows[..height as usize], col_shift);
                let mut row_shift = 2 - height;
                row_shift += i32::from((row_shift + col_shift).rem_euclid(2) != parity);
                while row_shift <= CARD_ROWS as i32 - 2 {
                    let place = Placement { c, r, shift: [row_shift - top, col_shift - left] };
                    places.compare(&shifted, row_shift, |card| (card, turn, place));
                    row_shift += 2;
                }
            }
        }
        Some(places)
    }
}

impl Places {
    /// Compares a patch with every card at a shift.
    #[inline(always)]
    fn compare(
        &mut self,
        patch: &Shifted,
        row_shift: i32,
        place: impl Fn(usize) -> (usize, usize, Placement),
    ) {
        let outside = patch.outside(row_shift);
        if outside >= self.second {
            return;
        }
        for (card, printed) in CARDS.iter().enumerate() {
            let wrong = outside + patch.mismatches(printed, row_shift, self.second - outside);
            if wrong < self.best.0 {
                self.second = self.best.0;
                self.best = (wrong, Some(place(card)));
            } else {
                self.second = self.second.min(wrong);
            }
        }
    }
}

/// A patch shifted along the rows of a card.
struct Shifted {
    /// What falls on the card's columns: known, dark, dots.
    rows: [[u32; 3]; MAX_SIDE as usize],
    height: i32,
    /// Cells of each row that are not blank paper, on the card's columns and outside them.
    printed: [[u32; 2]; MAX_SIDE as usize],
}

impl Shifted {
    #[inline(always)]
    fn new(patch: &[PatchRow], col_shift: i32) -> Self {
        const COLUMNS: u64 = (1 << CARD_COLS) - 1;
        let on_card = |bits: u64| {
            let shifted = if col_shift < 0 { bits >> -col_shift } else { bits << col_shift };
            (shifted & COLUMNS) as u32
        };
        let mut shifted = Self {
            rows: [[0; 3]; MAX_SIDE as usize],
            height: patch.len() as i32,
            printed: [[0; 2]; MAX_SIDE as usize],
        };
        for (i, row) in patch.iter().enumerate() {
            let printed = (row.dark | row.dots) & row.known;
            let on = on_card(printed).count_ones();
            shifted.rows[i] = [row.known, row.dark, row.dots].map(on_card);
            shifted.printed[i] = [on, printed.count_ones() - on];
        }
        shifted
    }

    /// Cells outside the card that are not blank paper.
    #[inline(always)]
    fn outside(&self, row_shift: i32) -> u32 {
        let is_on_card = |i: usize| (0..CARD_ROWS as i32).contains(&(row_shift + i as i32));
        let count =
            |i: usize| self.printed[i][1] + if is_on_card(i) { 0 } else { self.printed[i][0] };
        (0..self.height as usize).map(count).sum()
    }

    /// Cells that differ from the card itself, counted no further than `enough`.
    #[inline(always)]
    fn mismatches(&self, card: &CardRows, row_shift: i32, enough: u32) -> u32 {
        let first = (-row_shift).max(0) as usize;
        let last = self.height.min(CARD_ROWS as i32 - row_shift) as usize;
        let top = (row_shift + first as i32) as usize;
        let mut wrong = 0;
        let rows =
            self.rows[first..last].iter().zip(card.dark[top..].iter().zip(&card.dots[top..]));
        for (&[known, dark, dots], (card_dark, card_dots)) in rows {
            wrong += (((dark ^ card_dark) | (dots ^ card_dots)) & known).count_ones();
            if wrong >= enough {
                break;
            }
        }
        wrong
    }
}
