//! The files as PDF: readable by a parser that is not ours, with all they need inside, and the same
//! bytes each time.

use crate::sheets::drawn::sheets;
use hayro::hayro_syntax::Pdf;
use hayro::hayro_syntax::object::{Array, Dict, Name, Object, Stream};
use sightcord::cards::sheets::{Order, OrderError, Paper, draw};
use skrifa::raw::TableProvider;

#[test]
fn pages_have_the_papers_size() {
    for paper in Paper::ALL {
        let cards = if paper == Paper::A3 { "13-16" } else { "1-5" };
        for sheet in sheets(paper, cards, "1-64") {
            let pdf = Pdf::new(sheet.bytes).unwrap();
            assert_eq!(pdf.pages().len(), sheet.n_pages, "{}", sheet.file_name);
            let expected =
                if ["tabs", "riders"].iter().any(|kind| sheet.file_name.starts_with(kind)) {
                    paper.portrait_mm()
                } else {
                    paper.landscape_mm()
                };
            for page in pdf.pages().iter() {
                let media_box = page.media_box();
                let size =
                    [media_box.width(), media_box.height()].map(|points| points * 25.4 / 72.0);
                for (mm, expected) in size.into_iter().zip(expected) {
                    assert!((mm - expected).abs() < 0.01, "{}: {size:?}", sheet.file_name);
                }
            }
        }
    }
}

#[test]
fn every_font_is_embedded_and_its_text_can_be_selected() {
    for sheet in sheets(Paper::A4, "1-2", "1-64") {
        let pdf = Pdf::new(sheet.bytes).unwrap();
        let mut n_fonts = 0;
        for page in pdf.pages().iter() {
            let fonts: Dict = page.raw().get::<Dict>(b"Resources").unwrap().get(b"Font").unwrap();
            for (name, _) in fonts.entries() {
                let font: Dict = fonts.get(name.as_ref()).unwrap();
                assert!(
                    font.get::<Stream>(b"ToUnicode").is_some(),
                    "{}: text without characters",
                    sheet.file_name
                );
                let descendant: Dict =
                    font.get::<Array>(b"DescendantFonts").unwrap().iter::<Dict>().next().unwrap();
                let descriptor: Dict = descendant.get(b"FontDescriptor").unwrap();
                let file: Stream = descriptor.get(b"FontFile2").expect("an embedded font");
                let data = file.decoded().unwrap();
                assert_eq!(
                    skrifa::FontRef::new(&data).unwrap().head().unwrap().units_per_em(),
                    2048
                );
                n_fonts += 1;
            }
        }
        assert!(n_fonts >= 2, "{}", sheet.file_name);
    }
}

#[test]
fn the_file_asks_the_viewer_not_to_scale_and_to_print_on_one_side() {
    for sheet in sheets(Paper::A4, "1", "1") {
        let pdf = Pdf::new(sheet.bytes).unwrap();
        let preferences = pdf
            .objects()
            .into_iter()
            .filter_map(Object::into_dict)
            .find_map(|dict| dict.get::<Dict>(b"ViewerPreferences"))
            .expect("viewer preferences");
        assert_eq!(preferences.get::<Name>(b"PrintScaling").unwrap().as_ref(), b"None");
        assert_eq!(preferences.get::<Name>(b"Duplex").unwrap().as_ref(), b"Simplex");
    }
}

/// Each entry of the cross-reference table points at the object that it says; a lenient parser
/// would not notice if not.
#[test]
fn the_cross_reference_table_points_at_its_objects() {
    for sheet in sheets(Paper::Letter, "1-3", "1-64") {
        let bytes = &sheet.bytes;
        let find_last =
            |what: &[u8]| bytes.windows(what.len()).rposition(|window| window == what).unwrap();
        let text = |from: usize| String::from_utf8_lossy(&bytes[from..]).into_owned();
        let start: usize = text(find_last(b"startxref")).lines().nth(1).unwrap().parse().unwrap();
        let table = text(start);
        let mut lines = table.lines();
        assert_eq!(lines.next(), Some("xref"));
        let count: usize = lines.next().unwrap().strip_prefix("0 ").unwrap().parse().unwrap();
        assert!(count > 5);
        for (number, line) in lines.take(count).enumerate().skip(1) {
            let (offset, rest) = line.split_at(10);
            assert!(rest.trim().ends_with('n'), "{line}");
            let offset: usize = offset.parse().unwrap();
            let header = format!("{number} 0 obj");
            assert!(
                bytes[offset..].starts_with(header.as_bytes()),
                "{}: object {number}",
                sheet.file_name
            );
        }
    }
}

#[test]
fn the_same_order_gives_the_same_bytes() {
    for paper in Paper::ALL {
        assert_eq!(draw(&Order::usual(paper)).unwrap(), draw(&Order::usual(paper)).unwrap());
    }
}

#[test]
fn large_cards_are_refused_on_small_paper() {
    for paper in [Paper::A4, Paper::Letter] {
        let mut order = Order::usual(paper);
        order.cards = sightcord::cards::sheets::Numbers::range(12, 13);
        let error = draw(&order).unwrap_err();
        assert!(matches!(error, OrderError::CardTooLarge { number: 13, .. }), "{error}");
        assert!(error.to_string().contains("ask for A3 paper"), "{error}");
    }
}
