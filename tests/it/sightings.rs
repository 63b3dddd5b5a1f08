//! The pattern finder on drawn pictures whose corners are known.

use crate::shared_truth;

use crate::drawn::{Bar, Drawing, Print};
use sightcord::cards::Pattern;
use sightcord::cards::codes::{N_TABS, TAB_SIDE};
use sightcord::photo::LinearImage;
use sightcord::sightings::{PatternSighting, PhotoSightings, PredictedPattern, look, look_again};

/// Corners in the picture, at least two cells from its edge: those the finder should see.
fn n_corners_inside(print: &Print, width: usize, height: usize) -> usize {
    let inside = |&(r, c): &(usize, usize)| {
        let (margin, at) = (2.0 * print.cell_px(r, c), print.node(r as f64, c as f64));
        at[0] > margin
            && at[1] > margin
            && at[0] < width as f64 - margin
            && at[1] < height as f64 - margin
    };
    print.pattern.corners().filter(inside).count()
}

/// Largest distance of a sighting's corners from where they were drawn, px.
fn worst_error(sighting: &PatternSighting, print: &Print) -> f64 {
    assert_eq!(sighting.pattern, print.pattern);
    let error = |corner: &sightcord::sightings::CornerSighting| {
        let at = print.node(f64::from(corner.row), f64::from(corner.col));
        (at[0] - corner.at[0]).hypot(at[1] - corner.at[1])
    };
    sighting.corners.iter().map(error).fold(0.0, f64::max)
}

/// Looks at one print and checks that it alone is seen, with at least this part of its corners and
/// none farther off than this (px).
fn assert_seen(
    what: &str,
    drawing: &Drawing,
    least_part: f64,
    largest_error: f64,
) -> PhotoSightings {
    let seen = look(&drawing.image());
    let print = &drawing.prints[0];
    let patterns: Vec<Pattern> = seen.patterns.iter().map(|sighting| sighting.pattern).collect();
    assert_eq!(patterns, [print.pattern], "{what}");
    let n_expected = n_corners_inside(print, drawing.width, drawing.height);
    assert!(n_expected >= 16, "{what}: the picture shows only {n_expected} corners");
    let n_found = seen.patterns[0].corners.len();
    assert!(
        n_found as f64 >= least_part * n_expected as f64,
        "{what}: {n_found} of {n_expected} corners"
    );
    let error = worst_error(&seen.patterns[0], print);
    assert!(error < largest_error, "{what}: a corner is {error:.3} px off");
    seen
}

fn assert_no_pattern(what: &str, image: &LinearImage) -> PhotoSightings {
    let seen = look(image);
    let patterns: Vec<(Pattern, u32, u32)> =
        seen.patterns.iter().map(|s| (s.pattern, s.wrong_dots, s.read_cells)).collect();
    assert!(patterns.is_empty(), "{what}: {patterns:?}");
    seen
}

#[test]
fn a_card_is_seen_in_every_turn() {
    for turn in [0.0, 17.0, 45.0, 90.0, 133.0, 180.0, 241.0, 270.0, 315.0] {
        let print =
            Print::new(Pattern::Card(3), [350.0, 350.0], 20.0).turned(turn).tilted(30.0, 20.0);
        assert_seen(&format!("turned by {turn}"), &Drawing::of(700, 700, print), 1.0, 0.15);
    }
}

#[test]
fn a_card_is_seen_under_steep_tilt() {
    for (tilt, axis) in [(50.0, 0.0), (60.0, 90.0), (65.0, 40.0), (70.0, 0.0), (70.0, 25.0)] {
        let mut print =
            Print::new(Pattern::Card(7), [450.0, 350.0], 27.0).tilted(tilt, axis).turned(10.0);
        print.distance = 90.0;
        assert_seen(
            &format!("tilted by {tilt} about {axis}"),
            &Drawing::of(900, 700, print),
            0.95,
            0.25,
        );
    }
}

#[test]
fn cells_of_every_size_are_seen() {
    for (cell, error) in
        [(6.0, 0.3), (7.0, 0.25), (10.0, 0.2), (25.0, 0.15), (60.0, 0.15), (150.0, 0.15)]
    {
        let (width, height) = if cell > 30.0 { (1600, 1350) } else { (800, 600) };
        let print = Print::new(Pattern::Card(12), [400.0, 300.0], cell).turned(8.0);
        assert_seen(&format!("cells of {cell} px"), &Drawing::of(width, height, print), 0.9, error);
    }
}

#[test]
fn blurred_cells_are_seen() {
    for (cell, blur) in [(12.0, 1.5), (30.0, 4.0), (60.0, 8.0)] {
        let print = Print::new(Pattern::Card(5), [400.0, 350.0], cell).turned(-20.0);
        let drawing = Drawing { blur, noise: 0.005, ..Drawing::of(900, 700, print) };
        assert_seen(
            &format!("cells of {cell} px, blur {blur} px"),
            &drawing,
            0.9,
            0.1 * blur + 0.15,
        );
    }
}

#[test]
fn dark_bright_and_glaring_photos_are_read() {
    for (what, gain, glare, noise) in [
        ("a dark photo", 0.06, 0.0, 0.01),
        ("a bright photo", 1.4, 0.0, 0.01),
        ("glare", 0.6, 0.8, 0.01),
        ("noise", 0.8, 0.0, 0.06),
    ] {
        let print =
            Print::new(Pattern::Card(9), [350.0, 300.0], 18.0).turned(30.0).tilted(40.0, 60.0);
        let drawing = Drawing { gain, glare, noise, ..Drawing::of(700, 600, print) };
        assert_seen(what, &drawing, 0.9, 0.35);
    }
}

#[test]
fn every_tab_is_read_in_every_turn() {
    for number in 1..=N_TABS {
        let pattern = Pattern::tab(number).unwrap();
        let turn = 90.0 * (number % 4) as f64 + 11.0;
        let print = Print::new(pattern, [80.0, 75.0], 12.0).turned(turn).tilted(35.0, 50.0);
        let seen = assert_seen(&format!("tab {number}"), &Drawing::of(160, 150, print), 1.0, 0.2);
        assert_eq!(
            (seen.patterns[0].wrong_dots, seen.patterns[0].corners.len()),
            (0, 16),
            "tab {number}"
        );
    }
}

#[test]
fn small_tabs_are_read() {
    for cell in [7.0, 8.0, 10.0] {
        let print = Print::new(Pattern::Tab(49), [60.0, 55.0], cell).turned(25.0);
        assert_seen(&format!("cells of {cell} px"), &Drawing::of(120, 110, print), 0.9, 0.25);
    }
}

#[test]
fn mirror_images_are_refused_and_reported() {
    for number in [2, 4, 39, 50] {
        let mut print = Print::new(Pattern::Tab(number), [80.0, 75.0], 14.0).turned(20.0);
        print.mirrored = true;
        let seen = assert_no_pattern(
            &format!("tab {number} in a mirror"),
            &Drawing::of(160, 150, print).image(),
        );
        assert_eq!(seen.mirrored, [Pattern::Tab(number)]);
    }
    let mut print = Print::new(Pattern::Card(4), [350.0, 300.0], 20.0);
    print.mirrored = true;
    let seen = assert_no_pattern("a card in a mirror", &Drawing::of(700, 600, print).image());
    // Each of its two fields is a patch of its own.
    assert_eq!(seen.mirrored, [Pattern::Card(4); 2]);
}

#[test]
fn one_wrong_dot_on_a_tab_is_forgiven_and_two_are_not() {
    for number in [1, 14, 33, 64] {
        let mut print = Print::new(Pattern::Tab(number), [80.0, 75.0], 13.0);
        print.flipped_dots = vec![(1, 3)];
        let seen = assert_seen(
            &format!("tab {number}, one dot"),
            &Drawing::of(160, 150, print.clone()),
            1.0,
            0.2,
        );
        assert_eq!(seen.patterns[0].wrong_dots, 1);
        print.flipped_dots.push((3, 1));
        assert_no_pattern(
            &format!("tab {number}, two dots"),
            &Drawing::of(160, 150, print).image(),
        );
    }
}

/// A tab in a picture large enough for its grain to be measured. `noise` is a part of the print's
/// contrast, which is 0.65 of white.
fn grainy(print: Print, noise: f64) -> Drawing {
    Drawing { noise: 0.65 * noise, gain: 0.6, ..Drawing::of(260, 220, print) }
}

#[test]
fn grain_hides_no_tab_of_eight_pixels_and_more() {
    for (noise, least) in [(0.25, 29), (0.4, 27), (0.55, 15)] {
        let mut n_found = 0;
        for (i, number) in [1, 2, 5, 8, 12, 15, 31, 40, 50, 64].into_iter().enumerate() {
            for cell in [8.0, 10.0, 14.0] {
                let pattern = Pattern::tab(number).unwrap();
                let print = Print::new(pattern, [130.0, 105.0], cell)
                    .turned(36.0 * i as f64)
                    .tilted(25.0, 50.0);
                let seen = look(&grainy(print.clone(), noise).image());
                assert!(
                    seen.patterns.iter().all(|sighting| sighting.pattern == pattern),
                    "tab {number} is taken for another"
                );
                if let [sighting] = &seen.patterns[..] {
                    n_found += 1;
                    // Each corner's own uncertainty grows with the grain; half a cell off is
                    // another corner.
                    assert!(
                        worst_error(sighting, &print) < 0.25 * cell,
                        "tab {number}, noise {noise}"
                    );
                }
            }
        }
        assert!(n_found >= least, "noise {noise}: {n_found} of 30");
    }
}

#[test]
fn a_pale_print_in_grain_is_read() {
    for (number, ink, noise) in [(6, 0.40, 0.2), (14, 0.30, 0.3), (33, 0.45, 0.15)] {
        let pattern = Pattern::Tab(number);
        let print = Print { ink, ..Print::new(pattern, [130.0, 105.0], 12.0).turned(20.0) };
        let drawing = Drawing { noise: noise * (0.7 - ink), ..Drawing::of(260, 220, print) };
        let found: Vec<Pattern> =
            look(&drawing.image()).patterns.iter().map(|sighting| sighting.pattern).collect();
        assert_eq!(found, [pattern], "ink {ink}, noise {noise}");
    }
}

#[test]
fn a_card_in_grain_is_read_and_its_corners_are_not_shifted() {
    for noise in [0.3, 0.5] {
        let print =
            Print::new(Pattern::Card(9), [350.0, 300.0], 16.0).turned(30.0).tilted(35.0, 60.0);
        let drawing =
            Drawing { noise: 0.65 * noise, gain: 0.6, ..Drawing::of(700, 600, print.clone()) };
        let seen = look(&drawing.image());
        assert_eq!(seen.patterns.len(), 1, "noise {noise}");
        let mut sum = [0.0; 2];
        for corner in &seen.patterns[0].corners {
            let at = print.node(f64::from(corner.row), f64::from(corner.col));
            sum = [sum[0] + corner.at[0] - at[0], sum[1] + corner.at[1] - at[1]];
        }
        let n = seen.patterns[0].corners.len() as f64;
        assert!(n > 250.0, "noise {noise}: {n} corners");
        // Three standard deviations of the mean of corners that each err by 0.3 px.
        assert!(
            sum[0].hypot(sum[1]) / n < 0.9 / n.sqrt(),
            "noise {noise}: shifted by {sum:?} / {n}"
        );
    }
}

#[test]
fn five_by_five_cells_that_spell_nothing_are_no_tab_in_any_grain() {
    let mut dice = shared_truth::Dice(29);
    for i in 0..60 {
        let mut print =
            Print::new(Pattern::Tab(1 + i % 64), [80.0, 75.0], 12.0).turned(6.0 * f64::from(i));
        // Half of the dots are as they should be not: a word that nobody printed.
        print.flipped_dots =
            (0..25).filter(|_| dice.uniform() < 0.5).map(|cell| (cell / 5, cell % 5)).collect();
        let noise = 0.65 * 0.6 * dice.uniform();
        let seen = look(&Drawing { noise, ..Drawing::of(160, 150, print.clone()) }.image());
        let nearest = print.flipped_dots.len().min(25 - print.flipped_dots.len());
        assert!(
            seen.patterns.is_empty() || nearest <= 1,
            "picture {i}: {:?}",
            seen.patterns[0].pattern
        );
    }
}

/// A flag with its line over the middle column, of this width in cells.
fn flag(number: u8, width: f64, light: f64) -> Drawing {
    let print = Print::new(Pattern::Tab(number), [100.0, 95.0], 14.0).turned(12.0);
    let bar =
        Bar { from: print.node(-6.0, 2.5), to: print.node(11.0, 2.5), width: width * 14.0, light };
    Drawing { bars: vec![bar], ..Drawing::of(200, 190, print) }
}

#[test]
fn flags_are_read_beside_their_line() {
    for number in 21..=30 {
        for (width, light) in [(0.2, 0.5), (0.5, 0.1), (0.65, 0.35)] {
            let drawing = flag(number, width, light);
            let seen =
                assert_seen(&format!("flag {number}, line of {width} cells"), &drawing, 0.5, 0.2);
            assert!(seen.patterns[0].read_cells <= 20);
        }
    }
}

#[test]
fn no_wrong_dot_is_forgiven_on_a_flag() {
    for number in 21..=30 {
        let mut drawing = flag(number, 0.5, 0.1);
        drawing.prints[0].flipped_dots = vec![(2, 4)];
        assert_no_pattern(&format!("flag {number} with a wrong dot"), &drawing.image());
    }
}

#[test]
fn a_window_of_a_card_is_no_tab() {
    // All that is left of the card are 5 x 5 to 8 x 6 cells between dark bars.
    for (rows, cols) in [(5.0, 5.0), (6.0, 6.0), (6.0, 8.0)] {
        let print = Print::new(Pattern::Card(2), [400.0, 300.0], 24.0);
        let (centre, far) = (print.node(14.0, 6.0), 400.0);
        let bar = |du: f64, dv: f64| {
            let at = [
                centre[0] + du * (0.5 * cols * 24.0 + far),
                centre[1] + dv * (0.5 * rows * 24.0 + far),
            ];
            let along = [2000.0 * dv, 2000.0 * du];
            let (from, to) =
                ([at[0] - along[0], at[1] - along[1]], [at[0] + along[0], at[1] + along[1]]);
            Bar { from, to, width: 2.0 * far, light: 0.08 }
        };
        let bars = vec![bar(1.0, 0.0), bar(-1.0, 0.0), bar(0.0, 1.0), bar(0.0, -1.0)];
        let seen = look(&Drawing { bars, ..Drawing::of(800, 600, print) }.image());
        assert!(
            seen.patterns.iter().all(|s| s.pattern == Pattern::Card(2)),
            "{rows} x {cols}: {:?}",
            seen.patterns.len()
        );
    }
}

#[test]
fn corners_beyond_an_occlusion_and_across_the_lane_are_found_and_none_is_shifted() {
    for (width, light) in [(10.0, 0.04), (60.0, 0.04), (60.0, 0.5), (130.0, 0.2)] {
        let print =
            Print::new(Pattern::Card(6), [400.0, 300.0], 22.0).turned(15.0).tilted(45.0, 10.0);
        let bar = Bar { from: [250.0, -50.0], to: [480.0, 700.0], width, light };
        let cord =
            Bar { from: print.node(9.0, -9.0), to: print.node(9.0, 40.0), width: 8.0, light: 0.3 };
        let drawing = Drawing { bars: vec![bar, cord], ..Drawing::of(800, 600, print) };
        let seen = assert_seen(&format!("bar of {width} px, light {light}"), &drawing, 0.6, 0.2);
        let n_left = seen.patterns[0].corners.iter().filter(|corner| corner.col < 7).count();
        let n_right = seen.patterns[0].corners.iter().filter(|corner| corner.col > 19).count();
        assert!(n_left > 70 && n_right > 70, "{n_left} left, {n_right} right");
    }
}

#[test]
fn two_prints_of_one_number_are_two_sightings() {
    let left = Print::new(Pattern::Card(1), [230.0, 200.0], 14.0).turned(5.0);
    let right = Print::new(Pattern::Card(1), [650.0, 230.0], 14.0).turned(-8.0);
    let drawing = Drawing { prints: vec![left.clone(), right.clone()], ..Drawing::new(900, 430) };
    let seen = look(&drawing.image());
    assert_eq!(seen.patterns.len(), 2);
    for print in [left, right] {
        assert!(
            seen.patterns.iter().any(|sighting| worst_error(sighting, &print) < 0.2),
            "one of the prints is missing"
        );
    }
}

#[test]
fn nothing_is_seen_where_nothing_is() {
    let mut dice = shared_truth::Dice(11);
    for (width, height) in [(1, 1), (2, 300), (31, 31), (32, 32), (33, 500), (640, 480)] {
        let noise = (0..width * height).map(|_| dice.uniform() as f32).collect();
        assert_no_pattern("noise", &LinearImage::new(width, height, noise));
        for level in [0.0, 0.5, 1.0] {
            let seen = assert_no_pattern(
                "one tone",
                &LinearImage::new(width, height, vec![level; width * height]),
            );
            assert!(seen.blur_px.is_nan() && seen.mirrored.is_empty());
        }
    }
}

#[test]
fn a_plain_chequer_is_not_a_card() {
    for cell in [7, 12, 30] {
        let tone =
            |i: usize| if (i % 600 / cell + i / 600 / cell).is_multiple_of(2) { 0.05 } else { 0.7 };
        assert_no_pattern(
            "a plain chequer",
            &LinearImage::new(600, 400, (0..600 * 400).map(tone).collect()),
        );
    }
}

/// The corners of a print as a solved scene would predict them, all off by the same amount.
fn predicted(print: &Print, off: [f64; 2]) -> PredictedPattern {
    let place = |(r, c): (usize, usize)| {
        let at = print.node(r as f64, c as f64);
        (r as u8, c as u8, [at[0] + off[0], at[1] + off[1]])
    };
    PredictedPattern {
        pattern: print.pattern,
        corners: print.pattern.corners().map(place).collect(),
    }
}

#[test]
fn the_second_look_finds_what_is_too_small_for_the_first() {
    for (cell, off) in [(4.5, [0.7, -0.6]), (5.0, [-1.2, 1.0]), (6.0, [1.5, 1.4])] {
        let print = Print::new(Pattern::Tab(52), [50.3, 48.1], cell).turned(33.0);
        let image = Drawing::of(100, 96, print.clone()).image();
        let seen = look_again(&image, &PhotoSightings::default(), &[predicted(&print, off)]);
        assert_eq!(seen.patterns.len(), 1, "cells of {cell} px");
        assert!(seen.patterns[0].corners.len() >= 10);
        let error = worst_error(&seen.patterns[0], &print);
        assert!(error < 0.35, "cells of {cell} px: {error:.3} px off");
    }
}

#[test]
fn the_second_look_finds_in_grain_what_the_scene_expects_and_nothing_else() {
    let mut n_found = 0;
    for (i, number) in [5, 8, 9, 12, 31, 36, 47, 60].into_iter().enumerate() {
        let print = Print::new(Pattern::Tab(number), [130.0, 105.0], 9.0)
            .turned(25.0 * i as f64)
            .tilted(30.0, 10.0);
        let image = grainy(print.clone(), 0.3).image();
        let nothing = PhotoSightings::default();
        n_found += look_again(&image, &nothing, &[predicted(&print, [1.0, -0.8])]).patterns.len();
        let other = Print { pattern: Pattern::Tab(number + 1), ..print.clone() };
        assert_eq!(
            look_again(&image, &nothing, &[predicted(&other, [0.0; 2])]).patterns,
            [],
            "tab {number}"
        );
        let turned = print.clone().turned(25.0 * i as f64 + 90.0);
        assert_eq!(
            look_again(&image, &nothing, &[predicted(&turned, [0.0; 2])]).patterns,
            [],
            "tab {number}, turned"
        );
    }
    assert!(n_found >= 6, "{n_found} of 8");
}

#[test]
fn the_second_look_believes_no_prediction_that_the_photo_contradicts() {
    let print = Print::new(Pattern::Tab(8), [60.0, 55.0], 11.0);
    let image = Drawing::of(120, 110, print.clone()).image();
    let nothing = PhotoSightings::default();
    let other = Print { pattern: Pattern::Tab(9), ..print.clone() };
    assert_eq!(look_again(&image, &nothing, &[predicted(&other, [0.0; 2])]).patterns, []);
    let turned = print.clone().turned(90.0);
    assert_eq!(look_again(&image, &nothing, &[predicted(&turned, [0.0; 2])]).patterns, []);
    let elsewhere = Print { centre: [30.0, 30.0], ..print.clone() };
    assert_eq!(look_again(&image, &nothing, &[predicted(&elsewhere, [0.0; 2])]).patterns, []);
    assert_eq!(look_again(&image, &nothing, &[predicted(&print, [1.0, 1.0])]).patterns.len(), 1);
}

#[test]
fn the_second_look_keeps_every_corner_of_the_first() {
    let print = Print::new(Pattern::Card(11), [350.0, 300.0], 19.0).tilted(50.0, 30.0);
    let image = Drawing::of(700, 600, print.clone()).image();
    let mut first = look(&image);
    let all = first.patterns[0].corners.clone();
    // As if the first look had missed one field.
    first.patterns[0].corners.retain(|corner| corner.row < 8);
    let second = look_again(&image, &first, &[predicted(&print, [0.8, -0.5])]);
    assert_eq!(second.patterns.len(), 1);
    let corners = &second.patterns[0].corners;
    assert!(first.patterns[0].corners.iter().all(|corner| corners.contains(corner)));
    assert!(corners.len() + 5 > all.len(), "{} of {}", corners.len(), all.len());
    assert!(corners.is_sorted_by_key(|corner| (corner.row, corner.col)));
}

#[test]
fn the_same_photo_gives_the_same_sightings() {
    let drawing =
        Drawing::of(600, 450, Print::new(Pattern::Card(8), [300.0, 220.0], 16.0).turned(3.0));
    let image = drawing.image();
    assert_eq!(look(&image), look(&image));
}

#[test]
fn a_tab_needs_its_white_margin() {
    // A tab cut out along its pattern and laid on a dark sheet could be anything, such as a window
    // of something larger.
    let print = Print::new(Pattern::Tab(15), [80.0, 75.0], 14.0);
    let (low, high) = (print.node(0.0, 0.0), print.node(TAB_SIDE as f64, TAB_SIDE as f64));
    let bar = |from: [f64; 2], to: [f64; 2]| Bar { from, to, width: 60.0, light: 0.06 };
    let bars = vec![
        bar([low[0] - 30.0, 0.0], [low[0] - 30.0, 150.0]),
        bar([high[0] + 30.0, 0.0], [high[0] + 30.0, 150.0]),
        bar([0.0, low[1] - 30.0], [160.0, low[1] - 30.0]),
        bar([0.0, high[1] + 30.0], [160.0, high[1] + 30.0]),
    ];
    assert_no_pattern(
        "a tab without margin",
        &Drawing { bars, ..Drawing::of(160, 150, print) }.image(),
    );
}
