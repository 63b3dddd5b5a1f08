//! The two tables of dots: which cell of which card or tab carries a dot.
//!
//! Both are regenerated from their rule instead of being stored, so that there is no need to trust
//! a table. The generator is SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom
//! number generators", OOPSLA 2014).

use std::sync::LazyLock;

/// Rows and columns of cells on a card.
pub const CARD_ROWS: usize = 18;
pub const CARD_COLS: usize = 26;
/// The blank rows between a card's two fields: the lane in which the cord runs.
pub const LANE_ROWS: [usize; 2] = [8, 9];
/// Rows and columns of cells on a tab.
pub const TAB_SIDE: usize = 5;
pub const N_CARDS: usize = 16;
pub const N_TABS: usize = 64;

/// Where the codes come from: changed, every printed card and tab is another.
const CARD_SEED: u64 = 20_261_125;
const TAB_SEED: u64 = 5;
const TAB_MASK: u32 = (1 << 25) - 1;

/// A card's dots, row-major, `CARD_ROWS * CARD_COLS` cells; lane cells are always `false`.
pub type CardCode = [bool; CARD_ROWS * CARD_COLS];
/// A tab's dots: bit i is cell i in row-major order, 25 bits.
pub type TabCode = u32;

/// Codes of cards 1 to 16 (index = number - 1).
pub static CARD_CODES: LazyLock<Vec<CardCode>> = LazyLock::new(make_cards);
/// Codes of tabs 1 to 64 (index = number - 1).
pub static TAB_CODES: LazyLock<Vec<TabCode>> = LazyLock::new(make_tabs);

struct SplitMix64(u64);

impl SplitMix64 {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
}

fn make_cards() -> Vec<CardCode> {
    let mut random = SplitMix64(CARD_SEED);
    (0..N_CARDS)
        .map(|_| {
            let mut code = [false; CARD_ROWS * CARD_COLS];
            for (cell, bit) in code.iter_mut().enumerate() {
                // A word is drawn for lane cells too, so that the lane's place can change without
                // changing the rest.
                let word = random.next();
                *bit = word >> 63 == 1 && !LANE_ROWS.contains(&(cell / CARD_COLS));
            }
            code
        })
        .collect()
}

/// A 5 x 5 word turned a quarter counter-clockwise.
pub fn turned(word: TabCode) -> TabCode {
    moved(word, |row, col| (col, TAB_SIDE - 1 - row))
}

/// A 5 x 5 word as seen in a mirror (columns reversed).
pub fn mirrored(word: TabCode) -> TabCode {
    moved(word, |row, col| (row, TAB_SIDE - 1 - col))
}

fn moved(word: TabCode, from: impl Fn(usize, usize) -> (usize, usize)) -> TabCode {
    let mut out = 0;
    for row in 0..TAB_SIDE {
        for col in 0..TAB_SIDE {
            let (r, c) = from(row, col);
            out |= (word >> (r * TAB_SIDE + c) & 1) << (row * TAB_SIDE + col);
        }
    }
    out
}

/// A word in its four turns, beginning with itself.
pub fn turns(word: TabCode) -> [TabCode; 4] {
    let quarter = turned(word);
    let half = turned(quarter);
    [word, quarter, half, turned(half)]
}

/// Number of cells in which two words differ.
pub fn distance(a: TabCode, b: TabCode) -> u32 {
    (a ^ b).count_ones()
}

/// Every 5 x 5 window that lies inside one field of one card, as a word.
fn card_windows(cards: &[CardCode]) -> Vec<TabCode> {
    let mut windows = Vec::new();
    for card in cards {
        for top in 0..=CARD_ROWS - TAB_SIDE {
            if (top..top + TAB_SIDE).any(|row| LANE_ROWS.contains(&row)) {
                continue;
            }
            for left in 0..=CARD_COLS - TAB_SIDE {
                let mut word = 0;
                for row in 0..TAB_SIDE {
                    for col in 0..TAB_SIDE {
                        let bit = card[(top + row) * CARD_COLS + left + col];
                        word |= TabCode::from(bit) << (row * TAB_SIDE + col);
                    }
                }
                windows.push(word);
            }
        }
    }
    windows
}

fn make_tabs() -> Vec<TabCode> {
    let windows = card_windows(&CARD_CODES);
    let mut random = SplitMix64(TAB_SEED);
    let mut kept: Vec<TabCode> = Vec::new();
    let mut next = |kept: &[TabCode]| loop {
        let word = random.next() as TabCode & TAB_MASK;
        let own = turns(word);
        let apart_from_itself = own[1..].iter().all(|&t| distance(word, t) >= 7);
        let apart_from_cards = || windows.iter().all(|&w| own.iter().all(|&t| distance(t, w) >= 3));
        let apart_from_kept = || kept.iter().all(|&k| own.iter().all(|&t| distance(t, k) >= 7));
        if apart_from_itself && apart_from_kept() && apart_from_cards() {
            return word;
        }
    };
    while kept.len() < N_TABS {
        let word = next(&kept);
        kept.push(word);
    }
    // Numbers 4 and 39 lie two cells from their own mirror images: a reflection in chrome could be
    // read as the tab.
    for number in [4, 39] {
        kept[number - 1] = loop {
            let word = next(&kept);
            let mirror = turns(mirrored(word));
            let apart = |other: TabCode| mirror.iter().all(|&m| distance(m, other) >= 4);
            let others = kept.iter().enumerate().filter(|(i, _)| i + 1 != number);
            if apart(word) && others.clone().all(|(_, &k)| apart(k)) {
                break word;
            }
        };
    }
    kept
}
