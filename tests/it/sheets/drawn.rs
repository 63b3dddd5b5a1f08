//! Rasterised sheets, measured with a ruler in the picture.

use crate::sheets::raster::{Raster, pages};
use sightcord::cards::Pattern;
use sightcord::cards::sheets::{
    MARGIN_MM, Numbers, Order, Paper, PlacedTab, Sheet, TAB_CHECK_LINE_MM, card_centre_mm, draw,
    place_tabs,
};

/// Ten pixels in a millimetre: an edge is then found to better than a hundredth of a pixel, since
/// ink is area.
const PX_PER_MM: f64 = 10.0;

/// Each paper with one card of each size that fits it.
const CARDS: [(Paper, u8); 4] =
    [(Paper::A4, 2), (Paper::Letter, 12), (Paper::A3, 7), (Paper::A3, 16)];

pub fn sheets(paper: Paper, cards: &str, tabs: &str) -> Vec<Sheet> {
    let cards = Numbers::parse(cards, "cards", 16).unwrap();
    let tabs = Numbers::parse(tabs, "tabs", 64).unwrap();
    draw(&Order { paper, cards, tabs, ..Order::usual(paper) }).unwrap()
}

fn card_page(paper: Paper, number: u8) -> (Pattern, [f64; 2], Raster) {
    let card = Pattern::Card(number);
    let centre = card_centre_mm(paper, card).expect("the card fits");
    let sheet = &sheets(paper, &number.to_string(), "none")[0];
    (card, centre, pages(&sheet.bytes, PX_PER_MM).remove(0))
}

fn tab_pages(paper: Paper, list: &str) -> Vec<(Vec<PlacedTab>, Raster)> {
    let tabs: Vec<Pattern> =
        Numbers::parse(list, "tabs", 64).unwrap().iter().map(Pattern::Tab).collect();
    let sheet = &sheets(paper, "none", list)[0];
    let placed = place_tabs(paper, &tabs);
    let rasters = pages(&sheet.bytes, PX_PER_MM);
    assert_eq!(placed.len(), rasters.len());
    assert_eq!(placed.iter().map(Vec::len).sum::<usize>(), tabs.len());
    placed.into_iter().zip(rasters).collect()
}

/// Largest distance of a pattern's corners from where they should be, in x or in y, mm. Beside each
/// corner, closer than any dot, the ink along a short band across an edge shows where that edge is.
fn worst_corner_mm(raster: &Raster, pattern: Pattern, centre: [f64; 2]) -> f64 {
    let pitch = pattern.pitch_mm();
    let reach = 0.25 * pitch;
    let mut worst: f64 = 0.0;
    for (r, c) in pattern.corners() {
        let [x, y] = pattern.node(r as f64, c as f64).map(|cells| cells * pitch);
        let [x, y] = [centre[0] + x, centre[1] + y];
        // The cell up and to the left of node (r, c) is (r - 1, c - 1).
        let dark_upper_left = if pattern.is_dark(r - 1, c - 1) { 1.0 } else { -1.0 };
        for side in [1.0, -1.0] {
            let band = |middle: f64| {
                let (a, b) = (middle + side * 0.05 * pitch, middle + side * reach);
                a.min(b)..a.max(b)
            };
            let height = reach - 0.05 * pitch;
            // Above the corner (side = 1) the ink lies on the left if the upper left cell is dark;
            // below it, on the right.
            let across = raster.ink_mm2(x - reach..x + reach, band(y)) / height - reach;
            let along = raster.ink_mm2(band(x), y - reach..y + reach) / height - reach;
            let error_x = dark_upper_left * side * across;
            let error_y = dark_upper_left * side * along;
            worst = worst.max(error_x.abs()).max(error_y.abs());
        }
    }
    worst
}

#[test]
fn every_card_corner_lies_where_it_should() {
    for (paper, number) in CARDS {
        let (card, centre, raster) = card_page(paper, number);
        assert_eq!(card.corners().count(), 350);
        let worst = worst_corner_mm(&raster, card, centre);
        assert!(worst < 0.02, "card {number} on {paper:?}: a corner is {worst:.4} mm off");
    }
}

#[test]
fn every_tab_corner_lies_where_it_should() {
    for paper in Paper::ALL {
        for (placed, raster) in tab_pages(paper, "1-38,45-64") {
            for tab in placed {
                let worst = worst_corner_mm(&raster, tab.tab, tab.centre_mm());
                assert!(worst < 0.02, "{:?} on {paper:?}: a corner is {worst:.4} mm off", tab.tab);
            }
        }
    }
}

/// The measurement itself: a corner that is off by 0.05 mm is seen.
#[test]
fn a_shifted_corner_would_be_noticed() {
    let (card, [x, y], raster) = card_page(Paper::A4, 1);
    let worst = worst_corner_mm(&raster, card, [x + 0.05, y]);
    assert!((worst - 0.05).abs() < 0.005, "{worst}");
}

#[test]
fn check_lines_have_their_length_from_tick_to_tick() {
    for (paper, number) in CARDS {
        let (card, [x, y], raster) = card_page(paper, number);
        let [along, across] = card.check_lines_mm().unwrap();
        let expected = if number > 12 { [375.0, 240.0] } else { [250.0, 160.0] };
        assert_eq!([along, across], expected);
        let [width, height] = card.size_mm();

        // The line's own middle is found where there is nothing but the line; the ticks reach a
        // millimetre and more beyond it.
        let below = y - height / 2.0;
        let line_y = raster.middle(x - along / 4.0..x + along / 4.0, below - 4.5..below - 0.5)[1];
        let tick = |at: f64| raster.middle(at - 2.0..at + 2.0, line_y - 1.4..line_y - 0.4)[0];
        let measured = tick(x + along / 2.0) - tick(x - along / 2.0);
        assert!(
            (measured - along).abs() < 0.05,
            "card {number} on {paper:?}: {measured:.3} mm along"
        );

        let left = x - width / 2.0;
        let line_x = raster.middle(left - 5.0..left - 0.5, y + across / 8.0..y + across / 4.0)[0];
        let tick = |at: f64| raster.middle(line_x + 0.4..line_x + 1.4, at - 2.0..at + 2.0)[1];
        let measured = tick(y + across / 2.0) - tick(y - across / 2.0);
        assert!(
            (measured - across).abs() < 0.05,
            "card {number} on {paper:?}: {measured:.3} mm across"
        );
    }
}

#[test]
fn the_tab_page_has_a_check_line_of_100_mm() {
    for paper in Paper::ALL {
        for (_, raster) in tab_pages(paper, "1-38,45-64") {
            let [width, height] = paper.portrait_mm();
            let line_y = raster.middle(width - 100.0..width - 20.0, height - 10.0..height - 6.5)[1];
            let right = raster.middle(width - 9.0..width - 5.5, line_y + 0.4..line_y + 1.4)[0];
            let left = raster.middle(right - 102.0..right - 98.0, line_y + 0.4..line_y + 1.4)[0];
            assert!(
                (right - left - TAB_CHECK_LINE_MM).abs() < 0.05,
                "{:.3} mm on {paper:?}",
                right - left
            );
        }
    }
}

#[test]
fn lane_ticks_stand_every_two_millimetres_and_point_into_the_lane() {
    for (paper, number) in CARDS {
        let (card, [x, y], raster) = card_page(paper, number);
        let half_lane = card.pitch_mm();
        let n = (card.size_mm()[0] / 4.0).floor() as i32;
        for k in -n..=n {
            let at = x + 2.0 * f64::from(k);
            let long = k % 5 == 0;
            for side in [1.0, -1.0] {
                let band = |from: f64, to: f64| {
                    let (a, b) = (y + side * (half_lane - from), y + side * (half_lane - to));
                    a.min(b)..a.max(b)
                };
                let middle = raster.middle(at - 0.6..at + 0.6, band(0.2, 1.5))[0];
                assert!(
                    (middle - at).abs() < 0.02,
                    "tick {k} of card {number} on {paper:?}: {middle:.3} instead of {at:.3}"
                );
                let width = raster.ink_mm2(at - 0.6..at + 0.6, band(0.2, 1.5)) / 1.3;
                let length = raster.ink_mm2(at - 0.6..at + 0.6, band(0.2, 4.0)) / width + 0.2;
                let expected = if long { 3.0 } else { 1.6 };
                assert!(
                    (length - expected).abs() < 0.05,
                    "tick {k} of card {number} on {paper:?} is {length:.2} mm long"
                );
            }
        }
    }
}

#[test]
fn the_lane_is_blank_beyond_its_ticks_to_both_edges_of_the_paper() {
    for (paper, number) in CARDS {
        let (card, [_, y], raster) = card_page(paper, number);
        let half_lane = card.pitch_mm() - 3.2;
        assert_eq!(
            raster.ink_mm2(0.0..paper.landscape_mm()[0], y - half_lane..y + half_lane),
            0.0,
            "card {number} on {paper:?}"
        );
    }
}

#[test]
fn nothing_is_drawn_in_the_printers_margins() {
    let px_per_mm = 5.0;
    for paper in Paper::ALL {
        let cards = if paper == Paper::A3 { "1,13" } else { "1" };
        for sheet in sheets(paper, cards, "1-64") {
            let upright = ["tabs", "riders"].iter().any(|kind| sheet.file_name.starts_with(kind));
            let [width, height] = if upright { paper.portrait_mm() } else { paper.landscape_mm() };
            for raster in pages(&sheet.bytes, px_per_mm) {
                // A line on the margin itself may share a pixel with it, where the paper is not a
                // whole number of pixels.
                let margin = MARGIN_MM - 1.0 / px_per_mm;
                let all = raster.ink_mm2(0.0..width, 0.0..height);
                let printable = raster.ink_mm2(margin..width - margin, margin..height - margin);
                assert!(all > 100.0, "{} is not empty", sheet.file_name);
                assert!(
                    (all - printable).abs() < 0.01,
                    "{} has {} mm^2 in the margins",
                    sheet.file_name,
                    all - printable
                );
            }
        }
    }
}

#[test]
fn tabs_have_white_paper_all_round() {
    for (placed, raster) in tab_pages(Paper::A4, "1-20,31-38,45-64") {
        for tab in placed {
            let side = tab.tab.tab_side_mm();
            let [x, y] = tab.centre_mm();
            let [left, top] = tab.upper_left_mm;
            let [width, height] = tab.paper_mm();
            assert!((width - 1.4 * side).abs() < 1e-9 && (height - 1.7 * side).abs() < 1e-9);
            assert!((top - y - 0.7 * side).abs() < 1e-9 && (x - left - width / 2.0).abs() < 1e-9);
            // The cut line is half a pen's width inside the paper.
            let (edge, half) = (0.12, side / 2.0 + 0.02);
            let rim = [
                raster.ink_mm2(left + edge..left + width - edge, y + half..top - edge),
                raster.ink_mm2(left + edge..x - half, y - half..top - edge),
                raster.ink_mm2(x + half..left + width - edge, y - half..top - edge),
                raster.ink_mm2(left + edge..left + width - edge, y - half - 0.08 * side..y - half),
            ];
            assert!(rim.iter().all(|&ink| ink < 1e-6), "{:?}: {rim:?}", tab.tab);
            let words = raster.ink_mm2(
                left + edge..left + width - edge,
                top - height + edge..y - half - 0.08 * side,
            );
            assert!(words > 0.004 * side * side, "{:?} has no words", tab.tab);
        }
    }
}

#[test]
fn marks_on_a_flag_stand_on_its_middle_column() {
    for (placed, raster) in tab_pages(Paper::Letter, "21-30") {
        for tab in placed {
            let [x, _] = tab.centre_mm();
            let [_, top] = tab.upper_left_mm;
            let [_, height] = tab.paper_mm();
            for y in [top - 1.5..top - 0.5, top - height + 0.5..top - height + 1.5] {
                let middle = raster.middle(x - 4.0..x + 4.0, y)[0];
                assert!((middle - x).abs() < 0.02, "{:?}: {middle:.3} instead of {x:.3}", tab.tab);
            }
        }
    }
}
