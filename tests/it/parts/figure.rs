//! Every figure's identity: its pointer, its line of the catalogue and the name of its part.

use std::collections::BTreeSet;

use sightcord::figure::catalogue::{CATALOGUE, Line};
use sightcord::figure::part::Part;
use sightcord::figure::{Figure, RimPlace};

/// The number of a figure's line in the catalogue.
fn number_of(figure: &Figure) -> Option<usize> {
    let own = figure.line()?;
    CATALOGUE.iter().position(|line| std::ptr::eq(line, own))
}

/// A figure of each line: the name is one that every kind of part can have.
fn one_of_each() -> Vec<Figure> {
    let make = |line: &Line| ["A", "1-a/left"].iter().find_map(|name| (line.make)(name));
    CATALOGUE.iter().filter_map(make).collect()
}

#[test]
fn every_figure_comes_back_from_its_pointer() {
    let all = one_of_each();
    assert_eq!(all.len(), CATALOGUE.len());
    for (number, figure) in all.iter().enumerate() {
        assert_eq!(number_of(figure), Some(number), "{figure:?}");
        assert_eq!(Figure::at(&figure.pointer()), *figure);
        assert!(!figure.name().contains('*') && !figure.short().contains('*'), "{figure:?}");
    }
    let pointers: BTreeSet<String> = all.iter().map(Figure::pointer).collect();
    assert_eq!(pointers.len(), all.len(), "no two figures share a pointer");
}

#[test]
fn the_catalogue_is_in_the_order_of_the_sections() {
    assert!(CATALOGUE.is_sorted_by_key(|line| line.section));
    let mut all = one_of_each();
    all.sort();
    assert!(all.iter().map(number_of).is_sorted());
}

#[test]
fn what_is_no_figure_keeps_its_pointer() {
    for other in [
        "",
        "/",
        "/wheel",
        "/wheel/ofset",
        "/plumb//offset",
        "/plumb/E/offset",
        "wheel/yaw",
        "/rim/x/offset",
    ] {
        assert_eq!(Figure::at(other), Figure::Other(other.to_owned()));
        assert_eq!(Figure::at(other).name(), other);
    }
}

#[test]
fn a_place_on_a_rim_comes_back_from_its_name() {
    for name in ["1-a/left", "1-a/right/3", "x/y/left/front-wheel", "1/right/front-wheel/2"] {
        assert_eq!(RimPlace::named(name).map(|place| place.name()).as_deref(), Some(name));
    }
    for none in ["", "left", "/left", "1-a/middle", "1-a/left/front-wheel/x", "1-a/left/300"] {
        assert_eq!(RimPlace::named(none), None, "{none}");
    }
}
