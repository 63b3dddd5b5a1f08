//! Rasterised sheets, read back by the detector that reads the photos.

use crate::drawn::sheets;
use crate::raster::{Raster, pages};
use sightcord::cards::Pattern;
use sightcord::cards::sheets::{Paper, card_centre_mm, place_tabs};
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
    let tabs: Vec<Pattern> = (1..=64).map(Pattern::Tab).collect();
    for paper in Paper::ALL {
        let sheet = &sheets(paper, "none", "1-64")[0];
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
                assert!(sighting.corners.len() >= 14, "{:?} has {} corners", sighting.pattern, sighting.corners.len());
                let worst = worst_mm(&raster, sighting, placed.centre_mm());
                assert!(worst < 0.02, "{:?} on {paper:?}: {worst:.4} mm", sighting.pattern);
            }
        }
    }
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
