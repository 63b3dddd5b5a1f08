//! Five by five cells are compared with the tabs' words.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use super::cells::{Cell, Ground};
use super::read_card::{N_TURNS, Placement, TURNS};
use crate::cards::Pattern;
use crate::cards::codes::{CARD_COLS, CARD_ROWS, LANE_ROWS, N_CARDS, N_TABS, TAB_CODES, TAB_SIDE};

/// Tabs that are flags: the line they are fixed to may hide their middle column.
const FLAGS: std::ops::RangeInclusive<u8> = 21..=30;
const HIDDEN_COL: usize = 2;
/// Wrong dots forgiven where nearly all cells were read: words are 7 cells apart, words and mirror
/// images 3.
const MAX_WRONG: u32 = 1;
/// Least cells read for a wrong dot to be forgiven, and how far the next reading must then lie
/// behind if any was hidden.
const MIN_READ_WITH_WRONG: u32 = 22;
const MIN_MARGIN_WITH_WRONG: u32 = 3;
/// Least cells read at all; 7 hidden cells could not make two words alike.
const MIN_READ: u32 = 18;
/// Least cells read outside a flag's hidden column.
const MIN_READ_OF_FLAG: u32 = 17;
/// Cells by which the reading must beat every other word, turn and mirror image. Whole words are at
/// least 2 better with one wrong dot, flags read from 20 cells too.
const MIN_MARGIN: u32 = 2;
/// The same against the windows of the cards, which come as near as 3 cells (1 with a flag's column
/// hidden).
const MIN_MARGIN_TO_CARDS: u32 = 1;

pub const N_CELLS: usize = TAB_SIDE * TAB_SIDE;

/// A word as it appears in one turn.
pub struct TabWord {
    pub tab: u8,
    /// Index into [`TURNS`].
    pub turn: usize,
    /// Bit y * 5 + x: whether cell (y, x) has a dot.
    pub bits: u32,
    /// Cells that count: all, or for a flag those its line can't hide.
    pub counted: u32,
}

/// What 25 cells say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TabReading {
    /// A tab, and how its nodes lie: lattice nodes (0, 0) to (5, 5) are the corners of the cells,
    /// the outermost included.
    Tab {
        pattern: Pattern,
        place: Placement,
        wrong_dots: u32,
        read_cells: u32,
        margin: u32,
    },
    /// A mirror image of a tab, as in chrome.
    Mirrored(Pattern),
    Nothing,
}

/// All words in all turns and mirror images.
static WORDS: LazyLock<Vec<TabWord>> = LazyLock::new(|| {
    let mut words = Vec::with_capacity(N_TABS * TURNS.len());
    for tab in 1..=N_TABS as u8 {
        for turn in 0..TURNS.len() {
            let (mut bits, mut counted) = (0, 0);
            for (y, x) in (0..TAB_SIDE).flat_map(|y| (0..TAB_SIDE).map(move |x| (y, x))) {
                let (row, col) = placement(turn).cell(x as i32, y as i32);
                let (row, col) = (row as usize, col as usize);
                let bit = 1 << (y * TAB_SIDE + x);
                bits |= if TAB_CODES[tab as usize - 1] >> (row * TAB_SIDE + col) & 1 == 1 {
                    bit
                } else {
                    0
                };
                counted |= if FLAGS.contains(&tab) && col == HIDDEN_COL { 0 } else { bit };
            }
            words.push(TabWord { tab, turn, bits, counted });
        }
    }
    words
});

/// All windows of the cards' fields in all turns and mirror images.
static CARD_WINDOWS: LazyLock<Vec<u32>> = LazyLock::new(|| {
    let mut windows = Vec::new();
    for card in (1..=N_CARDS as u8).map(Pattern::Card) {
        let tops = (0..=CARD_ROWS - TAB_SIDE)
            .filter(|top| !(*top..top + TAB_SIDE).any(|row| LANE_ROWS.contains(&row)));
        for (top, left) in
            tops.flat_map(|top| (0..=CARD_COLS - TAB_SIDE).map(move |left| (top, left)))
        {
            for turn in 0..TURNS.len() {
                let mut bits = 0;
                for (y, x) in (0..TAB_SIDE).flat_map(|y| (0..TAB_SIDE).map(move |x| (y, x))) {
                    let (row, col) = placement(turn).cell(x as i32, y as i32);
                    let dot = card.has_dot(top + row as usize, left + col as usize);
                    bits |= u32::from(dot) << (y * TAB_SIDE + x);
                }
                windows.push(bits);
            }
        }
    }
    windows
});

/// All words in all turns and mirror images.
pub fn tab_words() -> &'static [TabWord] {
    &WORDS
}

/// All windows of the cards' fields, as bits like a word's, in all turns and mirror images.
pub fn card_windows() -> &'static [u32] {
    &CARD_WINDOWS
}

/// What a word is in the picture.
pub fn reading_of(word: &TabWord, wrong_dots: u32, read_cells: u32, margin: u32) -> TabReading {
    let pattern = Pattern::Tab(word.tab);
    if word.turn >= N_TURNS {
        return TabReading::Mirrored(pattern);
    }
    TabReading::Tab { pattern, place: placement(word.turn), wrong_dots, read_cells, margin }
}

/// A turn about the tab's centre, on nodes 0 to 5.
fn placement(turn: usize) -> Placement {
    let (c, r) = TURNS[turn];
    let shift = [r, c].map(|steps| if steps[0] + steps[1] < 0 { TAB_SIDE as i32 } else { 0 });
    Placement { c, r, shift }
}

/// Whether a tab is a flag.
pub fn is_flag(pattern: Pattern) -> bool {
    matches!(pattern, Pattern::Tab(number) if FLAGS.contains(&number))
}

/// Reads cells (y, x) from 0 to 4; those with x + y even must be dark. `margin_is_white`
/// says whether what could be seen of the surroundings is paper.
pub fn read_tab(cells: &BTreeMap<(i32, i32), Cell>, margin_is_white: bool) -> TabReading {
    let (known, dots) = readable(cells);
    let judge = |word: &TabWord| {
        let counted = known & word.counted;
        ((word.bits ^ dots) & counted).count_ones()
    };
    let mut best: Option<(u32, &TabWord)> = None;
    let mut second = u32::MAX;
    for word in WORDS.iter() {
        let wrong = judge(word);
        match best {
            Some((least, _)) if wrong >= least => second = second.min(wrong),
            _ => {
                second = best.map_or(u32::MAX, |(least, _)| least);
                best = Some((wrong, word));
            }
        }
    }
    let Some((wrong_dots, word)) = best else { return TabReading::Nothing };
    let counted = known & word.counted;
    let read_cells = counted.count_ones();
    let flag = word.counted.count_ones() < N_CELLS as u32;
    let margin = second.saturating_sub(wrong_dots);
    let enough = match (flag, wrong_dots) {
        (true, 0) => read_cells >= MIN_READ_OF_FLAG && margin >= MIN_MARGIN,
        (false, 0) => read_cells >= MIN_READ && margin >= MIN_MARGIN,
        (false, MAX_WRONG) if read_cells == N_CELLS as u32 => margin >= MIN_MARGIN,
        (false, MAX_WRONG) => read_cells >= MIN_READ_WITH_WRONG && margin >= MIN_MARGIN_WITH_WRONG,
        _ => false,
    };
    if !enough || !margin_is_white {
        return TabReading::Nothing;
    }
    let nearest_window =
        CARD_WINDOWS.iter().map(|window| ((window ^ dots) & counted).count_ones()).min();
    if nearest_window.is_some_and(|wrong| wrong < wrong_dots + MIN_MARGIN_TO_CARDS) {
        return TabReading::Nothing;
    }
    reading_of(word, wrong_dots, read_cells, margin)
}

/// Masks of the cells that can be judged and of their dots.
fn readable(cells: &BTreeMap<(i32, i32), Cell>) -> (u32, u32) {
    // A cell of the wrong tone is hidden by something.
    let is_hidden = |y: i32, x: i32| match cells.get(&(y, x)) {
        Some(cell) if cell.ground == Ground::Dark => (x + y) % 2 != 0,
        Some(cell) if cell.ground == Ground::Bright => (x + y) % 2 == 0,
        _ => true,
    };
    let (mut known, mut dots) = (0, 0);
    for (y, x) in (0..TAB_SIDE as i32).flat_map(|y| (0..TAB_SIDE as i32).map(move |x| (y, x))) {
        let Some(Cell { dot: Some(dot), .. }) = cells.get(&(y, x)) else { continue };
        let around = [(y - 1, x), (y + 1, x), (y, x - 1), (y, x + 1)];
        let inside = around.iter().filter(|(y, x)| (0..5).contains(y) && (0..5).contains(x));
        let n_hidden_around = inside.filter(|&&(y, x)| is_hidden(y, x)).count();
        // What hides two neighbours may well cover this cell in its own tone; a dot proves that it
        // doesn't.
        if is_hidden(y, x) || (n_hidden_around >= 2 && !dot) {
            continue;
        }
        let bit = 1 << (y * TAB_SIDE as i32 + x);
        known |= bit;
        dots |= if *dot { bit } else { 0 };
    }
    (known, dots)
}
