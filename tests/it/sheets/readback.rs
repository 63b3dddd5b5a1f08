//! Rasterised sheets, read back by the detector that reads the photos.

use crate::sheets::drawn::sheets;
use crate::sheets::raster::{Raster, pages};
use sightcord::cards::Pattern;
use sightcord::cards::sheets::{
    Numbers, Order, Paper, card_centre_mm, draw, place_riders, place_tabs,
};
use sightcord::sightings::{PatternSighting, look};

/// A desk scanner's usual 150 dpi: the smallest tabs' cells are 14 px there.
const PX_PER_MM: f64 = 150.0 / 25.4;

/// All that is read on a page; nothing may have been read wrong, or as a mirror image.
fn read(raster: &Raster) -> Vec<PatternSighting> {
    let seen = look(&raster.luminance());
    assert!(seen.mirrored.is_empty(), "{:?}", seen.mirrored);
    for sighting in &seen.patterns {
        assert_eq!(sighting.wrong_dots, 0, "{:?}", sighting.pattern);
    }
    seen.patterns
}

/// Worst distance of the sighted corners from where the pattern was drawn, mm.
fn worst_mm(raster: &Raster, sighting: &PatternSighting, centre: [f64; 2]) -> f64 {
    let pitch = sighting.pattern.pitch_mm();
    let distance = |corner: &sightcord::sightings::CornerSighting| {
        let [x, y] = sighting.pattern.node(corner.row.into(), corner.col.into());
        let [u, v] = raster.px([centre[0] + pitch * x, centre[1] + pitch * y]);
        (corner.at[0] - u).hypot(corner.at[1] - v) / PX_PER_MM
    };
    sighting.corners.iter().map(distance).fold(0.0, f64::max)
}

#[test]
fn every_card_is_read_back_with_its_number() {
    for (paper, list) in [(Paper::A4, "1-12"), (Paper::Letter, "1-3"), (Paper::A3, "11-16")] {
        let sheet = &sheets(paper, list, "none")[0];
        let (first, last) = list.split_once('-').unwrap();
        let numbers = first.parse::<u8>().unwrap()..=last.parse().unwrap();
        for (number, raster) in numbers.zip(pages(&sheet.bytes, PX_PER_MM)) {
            let seen = read(&raster);
            let card = Pattern::Card(number);
            assert_eq!(seen.iter().map(|s| s.pattern).collect::<Vec<_>>(), [card]);
            assert_eq!(seen[0].corners.len(), 350, "{card:?}");
            let worst = worst_mm(&raster, &seen[0], card_centre_mm(paper, card).unwrap());
            assert!(worst < 0.02, "{card:?} on {paper:?}: {worst:.4} mm");
        }
    }
}

#[test]
fn every_tab_is_read_back_with_its_number() {
    let tabs: Vec<Pattern> = (1..=38).chain(45..=64).map(Pattern::Tab).collect();
    for paper in Paper::ALL {
        let sheet = &sheets(paper, "none", "1-38,45-64")[0];
        let placed = place_tabs(paper, &tabs);
        for (placed, raster) in placed.iter().zip(pages(&sheet.bytes, PX_PER_MM)) {
            let seen = read(&raster);
            assert_eq!(
                seen.iter().map(|s| s.pattern).collect::<Vec<_>>(),
                placed.iter().map(|p| p.tab).collect::<Vec<_>>(),
                "{paper:?}"
            );
            for (sighting, placed) in seen.iter().zip(placed) {
                // The fit may turn a corner away; what it keeps must be right.
                assert!(
                    sighting.corners.len() >= 14,
                    "{:?} has {} corners",
                    sighting.pattern,
                    sighting.corners.len()
                );
                let worst = worst_mm(&raster, sighting, placed.centre_mm());
                assert!(worst < 0.02, "{:?} on {paper:?}: {worst:.4} mm", sighting.pattern);
            }
        }
    }
}

/// Both faces of every rider are read from the flat strip, the right one upside down, and stand as
/// far apart as their cord wants.
#[test]
fn every_rider_is_read_back_with_its_bridge_between_the_feet() {
    for (paper, cord_mm) in [(Paper::A4, 2.0), (Paper::Letter, 0.8), (Paper::A3, 5.0)] {
        let order = Order {
            cards: Numbers::default(),
            tabs: Numbers::range(39, 44),
            cord_mm,
            ..Order::usual(paper)
        };
        let sheet = &draw(&order).unwrap()[0];
        assert!(sheet.file_name.starts_with("riders-39-44"), "{}", sheet.file_name);
        let raster = &pages(&sheet.bytes, PX_PER_MM)[0];
        let seen = read(raster);
        assert_eq!(
            seen.iter().map(|s| s.pattern).collect::<Vec<_>>(),
            (39..=44).map(Pattern::Tab).collect::<Vec<_>>()
        );
        let lefts = [39, 41, 43].map(Pattern::Tab);
        let placed = place_riders(paper, &lefts, cord_mm).remove(0);
        for rider in &placed {
            let [left, right] = rider.centres_mm();
            let sighting = |pattern: Pattern| seen.iter().find(|s| s.pattern == pattern).unwrap();
            let worst = worst_mm(raster, sighting(rider.faces[0]), left);
            assert!(worst < 0.02, "{:?}: {worst:.4} mm", rider.faces[0]);
            let turned = turned_half(sighting(rider.faces[1]));
            let worst = worst_mm(raster, &turned, right);
            assert!(worst < 0.02, "{:?}: {worst:.4} mm", rider.faces[1]);
            // By Cauchy's formula the hull of the fold's fibre and the seam's end is as long as its
            // widths' mean says.
            let (radius, seam) = ((cord_mm + 0.1) / 2.0, 8.0);
            let n = 100_000;
            let width = |i: usize| {
                f64::max(radius, seam * (std::f64::consts::TAU * i as f64 / n as f64).cos())
            };
            let half_hull = (0..n).map(width).sum::<f64>() / n as f64 * std::f64::consts::PI;
            let expected = half_hull + 20.0 - seam;
            assert!(
                ((left[1] - right[1]) / 2.0 - expected).abs() < 0.02,
                "{} for {expected}",
                (left[1] - right[1]) / 2.0
            );
        }
    }
}

/// The sighting of a pattern that lies upside down, as if the paper had been turned: its corners
/// counted from the other end.
fn turned_half(sighting: &PatternSighting) -> PatternSighting {
    let mut turned = sighting.clone();
    for corner in &mut turned.corners {
        (corner.row, corner.col) = (5 - corner.row, 5 - corner.col);
    }
    turned
}

/// A guide left lying on the bench must not be taken for a card or tab.
#[test]
fn the_guide_shows_nothing_that_could_be_read() {
    for paper in Paper::ALL {
        let guide = sheets(paper, "none", "none").pop().unwrap();
        for px_per_mm in [PX_PER_MM, 2.0 * PX_PER_MM] {
            let seen = look(&pages(&guide.bytes, px_per_mm)[0].luminance());
            assert!(seen.patterns.is_empty() && seen.mirrored.is_empty(), "{paper:?}: {seen:?}");
        }
    }
}
