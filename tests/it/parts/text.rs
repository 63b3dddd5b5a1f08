//! Words and amounts: how many places a number is shown with, in either unit, and how sentences are
//! put together.

use sightcord::measurement::{Measurement, Quality};
use sightcord::say;
use sightcord::text::units::{Kind, MM_PER_INCH, Show, Shown, angle, length};
use sightcord::text::{Amount, Sentence};

fn shown(value: f64, u: f64, kind: Kind, show: Show) -> Shown {
    Shown::of(&Measurement { value, u, quality: Quality::Good }, kind, show)
}

#[test]
fn no_more_decimals_than_the_uncertainty_supports() {
    let cases = [
        (3.2, 0.21, "3.20", "0.21"),
        (3.2, 0.043, "3.20", "0.05"),
        (559.504, 1.73, "559.5", "1.8"),
        (559.504, 12.3, "560", "13"),
        (0.004, 0.2, "0.00", "0.20"),
        (-2.1, 1.0, "2.1", "1.0"),
    ];
    for (value, u, amount, printed_u) in cases {
        let s = shown(value, u, Kind::Length, Show::Mm);
        assert_eq!((s.amount.as_str(), s.u.as_str()), (amount, printed_u), "{value} +- {u}");
    }
}

#[test]
fn an_uncertainty_is_never_printed_smaller_than_it_is() {
    for i in 1..4000 {
        let u = f64::from(i) * 0.00317;
        let printed: f64 = shown(1.0, u, Kind::Length, Show::Mm).u.parse().unwrap();
        assert!(printed >= u * (1.0 - 1e-6), "{u} printed as {printed}");
        assert!(printed > 0.0);
    }
}

#[test]
fn what_rounds_to_nought_has_no_direction() {
    assert_eq!(shown(-0.001, 0.2, Kind::Length, Show::Mm).sign, 0);
    assert_eq!(shown(-0.31, 0.2, Kind::Length, Show::Mm).sign, -1);
    assert_eq!(shown(-0.31, 0.2, Kind::Length, Show::Mm).signed(), "-0.31");
}

#[test]
fn inches_come_with_the_nearest_sixty_fourth() {
    let s = shown(3.2, 0.21, Kind::Length, Show::Inch);
    assert_eq!(s.with_unit(), "0.126 in (1/8)");
    assert_eq!(s.u, "0.009");
    let sixty_fourths = |inches: f64| {
        let shown = Shown::exact(inches * MM_PER_INCH, Kind::Length, Show::Inch);
        shown.fraction.expect("inches have a fraction")
    };
    assert_eq!(sixty_fourths(1.0 / 64.0), "1/64");
    assert_eq!(sixty_fourths(2.36), "2 23/64");
    assert_eq!(sixty_fourths(0.9999), "1");
    assert_eq!(sixty_fourths(0.001), "0");
    assert_eq!(sixty_fourths(f64::NAN), "-");
}

#[test]
fn a_ratio_is_shown_as_what_it_differs_from_one() {
    let s = shown(0.997, 0.001, Kind::Ratio, Show::Mm);
    assert_eq!((s.signed().as_str(), s.u.as_str(), s.unit), ("-0.30", "0.10", "%"));
}

#[test]
fn stated_numbers_lose_their_trailing_noughts() {
    assert_eq!(length(2.0, Show::Mm), "2 mm");
    assert_eq!(length(1.25, Show::Mm), "1.25 mm");
    assert_eq!(angle(0.2), "0.2 deg");
    assert_eq!(length(25.4, Show::Inch), "1 in (1)");
    assert_eq!(length(100.0, Show::Mm), "100 mm");
}

#[test]
fn numbers_that_are_none_do_not_panic() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX] {
        let _ = shown(bad, bad, Kind::Length, Show::Inch).with_unit();
        let _ = shown(bad, 0.0, Kind::Angle, Show::Mm).signed();
    }
}

fn measured(value: f64, u: f64) -> Measurement {
    Measurement { value, u, quality: Quality::Good }
}

#[test]
fn a_sentence_is_shown_in_the_unit_asked_for() {
    let by = measured(1.55, 0.2);
    let sentence = say![
        "Draw it by ",
        Amount::with_u(&by, Kind::Length),
        " (1/6 turn), M8, 2 mm2; ",
        Amount::mm(2.0),
        " thick."
    ];
    assert_eq!(sentence, "Draw it by 1.55 ± 0.20 mm (1/6 turn), M8, 2 mm2; 2 mm thick.");
    assert_eq!(
        sentence.shown(Show::Inch),
        "Draw it by 0.061 ± 0.008 in (1/16) (1/6 turn), M8, 2 mm2; 0.079 in (5/64) thick."
    );
}

#[test]
fn a_measured_amount_has_the_places_that_its_uncertainty_supports() {
    let shown = |value, u| Amount::measured(&measured(value, u), Kind::Length).shown(Show::Mm);
    assert_eq!(shown(-559.504, 1.73), "-559.5 mm");
    assert_eq!(shown(1.4249, 0.06), "1.42 mm");
    assert_eq!(shown(-0.001, 0.2), "0.00 mm");
    assert_eq!(
        Amount::measured(&measured(-0.35, 0.01), Kind::Angle).size().shown(Show::Inch),
        "0.35 degrees"
    );
}

#[test]
fn what_must_be_reached_is_never_rounded_down() {
    assert_eq!(Amount::at_least(0.301, Kind::Length).shown(Show::Mm), "0.31 mm");
    assert_eq!(Amount::at_most(0.309, Kind::Length).shown(Show::Mm), "0.30 mm");
    assert_eq!(Amount::at_least(0.3, Kind::Length).shown(Show::Mm), "0.30 mm");
    assert_eq!(Amount::at_least(25.41, Kind::Length).shown(Show::Inch), "1.001 in (1)");
    assert_eq!(Amount::at_most(25.39, Kind::Length).shown(Show::Inch), "0.999 in (1)");
}

#[test]
fn names_from_outside_are_made_harmless_and_amounts_stay() {
    let sentence = say!["a\u{1b}[2K ", Amount::tenths(25.4), "\r"].visible();
    assert_eq!(sentence.shown(Show::Inch), "a\\u{1b}[2K 1.000 in (1)\\u{d}");
}

#[test]
fn sentences_join_and_numbers_that_are_none_do_not_panic() {
    let joined = say!["One ", Amount::mm(1.0), "."].and(say!["Two ", Amount::mm(25.4), "."]);
    assert_eq!(joined.shown(Show::Inch), "One 0.039 in (3/64). Two 1 in (1).");
    assert_eq!(Sentence::default().and("x"), "x");
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX] {
        for amount in [Amount::mm(bad), Amount::tenths(bad), Amount::at_least(bad, Kind::Angle)] {
            let _ = (amount.shown(Show::Mm), amount.shown(Show::Inch));
        }
    }
}
