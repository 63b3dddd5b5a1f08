//! The sheets to print: cards, tabs and a one-page guide, as vector PDF at exact scale.
//!
//! Steps: an [`Order`] says what is wanted; [`draw`] turns it into [`Sheet`]s, each one PDF file in
//! memory. Writing them to disk is not this stage's work.

mod canvas;
mod card_page;
mod deflate;
mod document;
mod guide_page;
mod guide_views;
mod lattice;
pub mod lettering;
mod numbers;
mod paper;
mod rider_page;
mod tab_page;
pub mod tab_words;

pub use card_page::card_centre_mm;
pub use numbers::{Numbers, NumbersError};
pub use paper::{MARGIN_MM, Paper};
pub use rider_page::{CORDS_MM, PlacedRider, USUAL_CORD_MM, centre_from_fold_mm, place_riders};
pub use tab_page::{PlacedTab, TAB_CHECK_LINE_MM, place_tabs};

use super::Pattern;
use document::Document;
use tab_words::{is_left_face, is_rider};

/// What is to be printed.
#[derive(Clone, Debug, PartialEq)]
pub struct Order {
    pub paper: Paper,
    pub cards: Numbers,
    /// Those that are riders come as strips, both faces of each.
    pub tabs: Numbers,
    /// Thickness of the cord that riders are to fit, mm.
    pub cord_mm: f64,
}

impl Order {
    /// Enough for one motorcycle: three cards under the cord and one to each side, or the four
    /// large ones; and every tab with a fixed role up to the brake drum's.
    pub fn usual(paper: Paper) -> Self {
        let cards = match paper {
            Paper::A4 | Paper::Letter => Numbers::range(1, 5),
            Paper::A3 => Numbers::range(13, 16),
        };
        Self { paper, cards, tabs: Numbers::range(1, 32), cord_mm: USUAL_CORD_MM }
    }
}

/// Why an order can't be drawn; the text says what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum OrderError {
    #[error(
        "card {number} is {width_mm} x {height_mm} mm large and does not fit {}: ask for A3 paper, or for cards 1 to 12",
        paper.title()
    )]
    CardTooLarge { number: u8, width_mm: f64, height_mm: f64, paper: Paper },
}

/// One PDF file, still in memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    pub file_name: String,
    /// What it holds, in words.
    pub title: String,
    pub n_pages: usize,
    pub bytes: Vec<u8>,
}

/// Draws what was ordered: one file for all cards, one for all tabs, one for the riders among them,
/// and the guide.
pub fn draw(order: &Order) -> Result<Vec<Sheet>, OrderError> {
    let paper = order.paper;
    let mut sheets = Vec::new();

    let cards: Vec<Pattern> = order.cards.iter().filter_map(|n| Pattern::card(n.into())).collect();
    for &card in &cards {
        let [width_mm, height_mm] = card.size_mm();
        if card_centre_mm(paper, card).is_none() {
            return Err(OrderError::CardTooLarge {
                number: card.number(),
                width_mm,
                height_mm,
                paper,
            });
        }
    }
    if !cards.is_empty() {
        sheets.push(sheet("cards", "Grid cards", &order.cards, paper, |document| {
            for &card in &cards {
                document.page(paper.landscape_mm(), |canvas| card_page::draw(canvas, paper, card));
            }
            cards.len()
        }));
    }

    let (riders, plain) = order.tabs.split(is_rider);
    let tabs: Vec<Pattern> = plain.iter().filter_map(|n| Pattern::tab(n.into())).collect();
    if !tabs.is_empty() {
        sheets.push(sheet("tabs", "Tabs", &plain, paper, |document| {
            let pages = place_tabs(paper, &tabs);
            for (page_idx, placed) in pages.iter().enumerate() {
                document.page(paper.portrait_mm(), |canvas| {
                    tab_page::draw(canvas, placed, page_idx + 1, pages.len())
                });
            }
            pages.len()
        }));
    }

    let lefts: Vec<Pattern> =
        riders.iter().filter(|n| is_left_face(*n)).filter_map(|n| Pattern::tab(n.into())).collect();
    if !lefts.is_empty() {
        sheets.push(sheet("riders", "Riders", &riders, paper, |document| {
            let pages = place_riders(paper, &lefts, order.cord_mm);
            for (page_idx, placed) in pages.iter().enumerate() {
                document.page(paper.portrait_mm(), |canvas| {
                    rider_page::draw(canvas, placed, page_idx + 1, pages.len())
                });
            }
            pages.len()
        }));
    }

    let mut document = Document::new("Guide: setting up and taking the photos");
    document.page(paper.landscape_mm(), |canvas| guide_page::draw(canvas, paper));
    sheets.push(Sheet {
        file_name: format!("guide-{}.pdf", paper.name()),
        title: format!("One-page guide, {} paper", paper.title()),
        n_pages: 1,
        bytes: document.finish(),
    });
    Ok(sheets)
}

fn sheet(
    kind: &str,
    words: &str,
    numbers: &Numbers,
    paper: Paper,
    pages: impl FnOnce(&mut Document) -> usize,
) -> Sheet {
    let title = format!("{words} {numbers}, {} paper", paper.title());
    let mut document = Document::new(&title);
    let n_pages = pages(&mut document);
    // A comma in a file name is a nuisance on a command line.
    let file_name =
        format!("{kind}-{}-{}.pdf", numbers.to_string().replace(',', "_"), paper.name());
    Sheet { file_name, title, n_pages, bytes: document.finish() }
}
