//! The page as it comes out of photos: both samples measured, and a whole shared set for its size.

use std::path::Path;

use scraper::Html;
use sightcord::figure::Figure;
use sightcord::pictures::pictures;
use sightcord::report::fields::InWords;
use sightcord::report::html::{PhotoPicture, RESIDUAL_FACTOR, page};
use sightcord::report::result::ResultDocument;
use sightcord::text::units::Show;

use crate::common;
use crate::report::browser;
use crate::report::page::{figures_agree, select};

const SAMPLES: [&str; 2] = ["samples/grass-track", "samples/swing-arm"];

/// What result.json says, read back as anyone else would, and the photos with what was found in
/// them.
fn measured(folder: &str) -> (ResultDocument, Vec<PhotoPicture>) {
    let measured = common::measured::measured(Path::new(folder));
    let pictures = pictures(measured);
    let json = measured.document.to_json();
    (
        ResultDocument::from_json(json.as_bytes(), Path::new("result.json")).expect("a result"),
        pictures,
    )
}

#[test]
fn the_pages_of_the_samples_show_result_json_and_what_was_found() {
    for sample in SAMPLES {
        let (document, pictures) = measured(sample);
        let text = page(&document, &pictures, Show::Mm);
        let html = Html::parse_document(&text);
        assert!(html.errors.is_empty(), "{sample}: {:?}", html.errors);
        figures_agree(sample, &html, &document);
        // What people read is the same figure, rounded to its uncertainty.
        for row in html.select(&select("tr[data-field]")) {
            let pointer = row.value().attr("data-field").expect("a field");
            let figure = Figure::at(pointer);
            let measured = document.figure(&figure);
            let read: String =
                row.select(&select("td.value")).next().expect("a value").text().collect();
            assert_eq!(
                read,
                figure.in_words(&measured.expect("measured"), Show::Mm),
                "{sample}: {pointer}"
            );
        }
        assert!(text.contains(&format!("{RESIDUAL_FACTOR} times enlarged")), "{sample}");
        assert!(
            text.contains("what is out of true is drawn"),
            "{sample}: the drawings state their factor"
        );
        // Photos for the lens alone show nothing of the bike, and have no picture.
        let of_bike: Vec<_> =
            document.photos.iter().filter(|photo| photo.setup != "0-camera").collect();
        assert_eq!(pictures.len(), of_bike.len(), "{sample}");
        assert_eq!(html.select(&select(".photo img")).count(), pictures.len(), "{sample}");
        let count = |what: &str| html.select(&select(what)).count();
        assert_eq!(count(".overlay path.corners"), pictures.len(), "{sample}");
        assert!(
            count(".overlay polyline.cord") > pictures.len() / 2,
            "{sample}: the cord is drawn in most photos"
        );
        assert!(count(".overlay polyline.plumb") > 2, "{sample}: plumb lines are drawn");
        let patterns: usize =
            of_bike.iter().map(|photo| photo.cards.len() + photo.tabs.len()).sum();
        assert!(
            count(".overlay polygon") >= patterns,
            "{sample}: every card and tab has its outline"
        );
    }
}

#[test]
#[ignore = "needs chromium"]
fn the_pages_of_the_samples_hold_together() {
    for sample in SAMPLES {
        let (document, pictures) = measured(sample);
        let name = format!("measured-{}", sample.trim_start_matches("samples/"));
        browser::check(&name, &document, &pictures);
    }
}

#[test]
#[ignore = "needs ../shared"]
fn the_page_of_a_whole_shared_set_stays_below_six_megabytes() {
    let (document, pictures) = measured("../shared/photos/swing-arm");
    assert!(pictures.len() >= 24, "{} photos", pictures.len());
    let size = page(&document, &pictures, Show::Mm).len();
    let for_24 = size * 24 / pictures.len();
    assert!(for_24 < 6_000_000, "{size} bytes for {} photos", pictures.len());
}
