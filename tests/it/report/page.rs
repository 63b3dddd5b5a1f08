//! The page: valid, self-contained, readable by everyone, and showing the figures of the result and
//! no others.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use image::{ImageFormat, RgbImage};
use scraper::{Html, Selector};
use sightcord::figure::{Figure, RimPlace, Side};
use sightcord::plan::since::since;
use sightcord::report::html::{
    Overlay, PhotoPicture, RESIDUAL_FACTOR, files, page, plan_page, since_page, views,
};
use sightcord::report::result::ResultDocument;
use sightcord::text::units::Show;

use crate::report::samples;

pub fn select(text: &str) -> Selector {
    Selector::parse(text).unwrap()
}

/// A reduced photo of plain grey with a few finds in it.
pub fn picture(file: &str, width: u32, height: u32) -> PhotoPicture {
    let grey = RgbImage::from_fn(width, height, |x, y| {
        let tone = 90 + ((x / 24 + y / 24) % 2 * 40) as u8;
        image::Rgb([tone, tone, tone + 6])
    });
    let mut jpeg = std::io::Cursor::new(Vec::new());
    grey.write_to(&mut jpeg, ImageFormat::Jpeg).unwrap();
    let corners = (0..60).map(|i| {
        ([400.0 + 40.0 * f64::from(i % 10), 900.0 + 40.0 * f64::from(i / 10)], [0.05, -0.08])
    });
    PhotoPicture {
        file: file.to_owned(),
        jpeg: jpeg.into_inner(),
        width,
        height,
        sensor: [2400, 1800],
        orientation: 1,
        marked: Vec::new(),
        overlay: Overlay {
            corners: corners.collect(),
            outlines: vec![
                (
                    "card 2".to_owned(),
                    vec![[360.0, 860.0], [820.0, 870.0], [800.0, 1180.0], [350.0, 1160.0]],
                ),
                (
                    "tab 1".to_owned(),
                    vec![[1500.0, 500.0], [1600.0, 510.0], [1590.0, 610.0], [1495.0, 600.0]],
                ),
            ],
            lines: vec![(
                "cord".to_owned(),
                vec![[10.0, 1020.0], [1200.0, 1010.0], [2390.0, 1000.0]],
            )],
        },
    }
}

pub fn pictures() -> Vec<PhotoPicture> {
    samples::grass_track().photos.iter().map(|photo| picture(&photo.file, 1200, 900)).collect()
}

fn parsed(name: &str, html: &str) -> Html {
    let document = Html::parse_document(html);
    assert!(document.errors.is_empty(), "{name}: {:?}", document.errors);
    document
}

#[test]
fn the_page_is_valid_html() {
    for (name, document) in samples::all() {
        for show in [Show::Mm, Show::Inch] {
            parsed(name, &page(&document, &pictures(), show));
        }
    }
}

#[test]
fn the_figures_of_the_page_are_those_of_the_result() {
    for (name, document) in samples::all() {
        let html = parsed(name, &page(&document, &[], Show::Mm));
        figures_agree(name, &html, &document);
    }
}

/// The page shows all figures of the result and no others; the rim's have a table of their own.
pub fn figures_agree(name: &str, html: &Html, document: &ResultDocument) {
    let mut shown = BTreeMap::new();
    for row in html.select(&select("tr[data-field]")) {
        let number = |key: &str| row.value().attr(key).unwrap().parse::<f64>().unwrap();
        shown.insert(
            row.value().attr("data-field").unwrap().to_owned(),
            (number("data-value"), number("data-u")),
        );
    }
    let expected: BTreeMap<String, (f64, f64)> = document
        .measured
        .table
        .measured()
        .map(|(figure, measured)| (figure.pointer(), (measured.value, measured.u)))
        .filter(|(pointer, _)| !pointer.starts_with("/rim"))
        .collect();
    assert_eq!(shown, expected, "{name}");
}

#[test]
fn every_verdict_of_the_result_is_given_in_words() {
    let document = samples::grass_track();
    let html = parsed("grass-track", &page(&document, &[], Show::Mm));
    for verdict in &document.verdicts {
        let row = html
            .select(&select(&format!("tr[data-field='{}'] .badge", verdict.field)))
            .next()
            .unwrap();
        assert!(row.text().collect::<String>().contains(verdict.verdict.word()));
    }
}

#[test]
fn the_page_needs_nothing_from_elsewhere_and_no_script() {
    let text = page(&samples::grass_track(), &pictures(), Show::Mm);
    let html = parsed("grass-track", &text);
    assert_eq!(html.select(&select("script, link, iframe, object, embed, base")).count(), 0);
    for element in html.select(&select("[src], [href]")) {
        let at = element.value().attr("src").or(element.value().attr("href")).unwrap();
        assert!(at.starts_with("data:") || at.starts_with('#'), "{}", &at[..at.len().min(60)]);
    }
    assert!(!text.contains("url(") && !text.contains("@import"));
}

#[test]
fn screen_readers_get_the_same() {
    let html = parsed("grass-track", &page(&samples::grass_track(), &pictures(), Show::Mm));
    assert_eq!(html.select(&select("html[lang]")).count(), 1);
    assert_eq!(html.select(&select("h1")).count(), 1);
    for image in html.select(&select("img")) {
        assert!(image.value().attr("alt").is_some_and(|alt| alt.len() > 10));
    }
    for svg in html.select(&select("svg")) {
        let hidden = svg.value().attr("aria-hidden") == Some("true");
        let told = svg.value().attr("role") == Some("img")
            && svg.value().attr("aria-label").is_some_and(|label| label.len() > 5);
        assert!(hidden || told);
    }
    // Headings go down one level at a time.
    let levels: Vec<u8> = html
        .select(&select("h1, h2, h3, h4"))
        .map(|h| h.value().name().as_bytes()[1] - b'0')
        .collect();
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    for table in html.select(&select("table")) {
        assert!(table.select(&select("th[scope]")).next().is_some());
    }
}

#[test]
fn sections_come_in_the_order_of_use() {
    let html = parsed("grass-track", &page(&samples::grass_track(), &pictures(), Show::Mm));
    let ids: Vec<&str> =
        html.select(&select("section")).filter_map(|section| section.value().attr("id")).collect();
    assert_eq!(
        ids,
        [
            "plan",
            "views",
            "judged",
            "figures",
            "uncertainty",
            "photos",
            "findings",
            "mind",
            "lens",
            "settings"
        ]
    );
}

#[test]
fn steps_come_with_tick_boxes_and_nothing_unfinished_sounds_like_success() {
    let html = parsed("grass-track", &page(&samples::grass_track(), &[], Show::Mm));
    assert_eq!(html.select(&select("#plan li.step input[type=checkbox]")).count(), 3);
    let headline = |name: &str, document: &ResultDocument| {
        let html = parsed(name, &page(document, &[], Show::Mm));
        let header: String = html.select(&select("header")).next().unwrap().text().collect();
        header
    };
    assert!(headline("in-tolerance", &samples::in_tolerance()).contains("All well"));
    for (name, document) in
        [("not-finished", samples::not_finished()), ("nothing", samples::nothing())]
    {
        let said = headline(name, &document);
        assert!(!said.contains("well") && !said.contains('\u{2713}'), "{name}: {said}");
    }
}

#[test]
fn words_from_a_job_stay_words() {
    let nasty = "<script>alert('x')</script> & \"quoted\"";
    let mut parts = samples::swing_arm_parts();
    samples::face(&mut parts.figures, nasty);
    parts
        .figures
        .set(Figure::RimOffset(RimPlace::at_mark(nasty, Side::Left)), samples::m(30.0, 0.2));
    let mut document = ResultDocument::new(parts);
    document.job.bike = Some(nasty.to_owned());
    document.photos[1].file = format!("1-a/{nasty}.jpg");
    document.layout.marks[6].setup = nasty.to_owned();
    document.settings = serde_json::json!({ "bike": { "name": nasty } });
    let mut photo = picture(&document.photos[1].file, 60, 40);
    photo.overlay.outlines[0].0 = nasty.to_owned();
    photo.overlay.lines[0].0 = nasty.to_owned();
    let html = parsed("nasty", &page(&document, &[photo], Show::Mm));
    assert_eq!(html.select(&select("script")).count(), 0);
    assert!(
        html.select(&select("header strong"))
            .next()
            .unwrap()
            .text()
            .collect::<String>()
            .contains(nasty)
    );
}

#[test]
fn a_page_of_24_photos_stays_below_six_megabytes() {
    // Noise at the size and quality advised is about as large as a JPEG gets: a photo of a bench is
    // a third of it.
    let mut photo = picture("1-mark-forward/01.jpg", 1200, 900);
    photo.jpeg = vec![0xff; 150_000];
    photo.overlay.corners = (0..1400)
        .map(|i| ([f64::from(i % 100) * 23.7, f64::from(i / 100) * 111.3], [0.03, 0.04]))
        .collect();
    let pictures = vec![photo; 24];
    let size = page(&samples::grass_track(), &pictures, Show::Mm).len();
    assert!(size < 6_000_000, "{size} bytes");
}

#[test]
fn the_same_result_gives_the_same_page() {
    let make = || files(&samples::swing_arm(), &pictures(), Show::Mm);
    assert_eq!(make(), make());
}

/// Places of marks in a drawing, read back: name, along-or-across, up-or-along, in millimetres of
/// the scene.
fn marks(svg: &str, factor: f64) -> Vec<(String, f64, f64)> {
    let html = Html::parse_fragment(svg);
    html.select(&select("circle[data-mark]"))
        .map(|mark| {
            let number = |key: &str| mark.value().attr(key).unwrap().parse::<f64>().unwrap();
            let base = number("data-base");
            (
                mark.value().attr("data-mark").unwrap().to_owned(),
                base + (-number("cx") - base) / factor,
                -number("cy"),
            )
        })
        .collect()
}

fn view(document: &ResultDocument, name: &str) -> (String, f64) {
    let (_, drawing) =
        views(document, Show::Mm).into_iter().find(|(view, _)| *view == name).unwrap();
    let file = drawing.file();
    let factor = Html::parse_fragment(&file)
        .select(&select("svg"))
        .next()
        .unwrap()
        .value()
        .attr("data-factor")
        .unwrap()
        .parse()
        .unwrap();
    (file, factor)
}

#[test]
fn places_read_back_from_the_drawings_are_those_of_the_scene() {
    for (name, document) in samples::all().into_iter().take(3) {
        let (above, factor) = view(&document, "above");
        assert!(factor > 1.0, "{name}: something is out of true, and drawn larger");
        let drawn = marks(&above, factor);
        let (side, _) = view(&document, "side");
        let from_the_side = marks(&side, 1.0);
        let tabs: Vec<_> = document.layout.marks.iter().filter(|mark| mark.kind == "tab").collect();
        assert!(tabs.len() >= 15);
        for tab in tabs {
            let mark = if tab.setup.is_empty() {
                format!("tab {}", tab.number)
            } else {
                format!("tab {}, {}", tab.number, tab.setup)
            };
            let (_, across, along) = drawn
                .iter()
                .find(|(known, ..)| *known == mark)
                .unwrap_or_else(|| panic!("{name}: no {mark}"));
            assert!(
                (across - tab.at[1]).abs() < 0.1 && (along - tab.at[0]).abs() < 0.1,
                "{name} {mark}: {across} {along} for {:?}",
                tab.at
            );
            let (_, x, z) = from_the_side.iter().find(|(known, ..)| *known == mark).unwrap();
            // From the side the sheet's x is minus the place along the bike; nothing is
            // exaggerated.
            assert!(
                (x - tab.at[0]).abs() < 0.1 && (z - tab.at[2]).abs() < 0.1,
                "{name} {mark} from the side: {x} {z}"
            );
        }
        let cameras = Html::parse_fragment(&side).select(&select("polygon[data-mark]")).count();
        assert_eq!(cameras, document.layout.cameras.len());
    }
}

#[test]
fn a_drawing_of_its_own_is_whole_svg() {
    for (name, document) in samples::all() {
        for (view, drawing) in views(&document, Show::Mm) {
            let file = drawing.file();
            assert!(
                file.starts_with("<svg") && file.contains("xmlns=\"http://www.w3.org/2000/svg\""),
                "{name} {view}"
            );
            resvg::usvg::Tree::from_str(&file, &resvg::usvg::Options::default())
                .unwrap_or_else(|e| panic!("{name} {view}: {e}"));
        }
    }
}

#[test]
fn an_empty_or_broken_layout_does_not_panic() {
    assert!(views(&samples::nothing(), Show::Mm).is_empty());
    let mut document = samples::grass_track();
    for broken in [f64::NAN, f64::INFINITY, 1e12] {
        document.layout.axle = Some([broken; 3]);
        document.layout.gearbox_sprocket = Some([broken; 3]);
        document.layout.marks[0].at = [broken; 3];
        document.layout.cameras[0].1 = [broken; 3];
        page(&document, &pictures(), Show::Mm);
    }
    document.layout.axle = None;
    page(&document, &[], Show::Inch);
    document.layout.wheel_axis = Some([1.0, 0.0, 0.0]);
    document.layout.axle = Some([0.0; 3]);
    page(&document, &[], Show::Inch);
}

#[test]
fn finds_lie_where_they_are_seen_however_the_phone_was_held() {
    // The sensor's top-left pixel, and one near its top right, for the eight orientations of EXIF;
    // the upright picture is half as large as the sensor's.
    let corners = [
        (1, [0.25, 0.25], [599.75, 0.25]),
        (2, [599.75, 0.25], [0.25, 0.25]),
        (3, [599.75, 449.75], [0.25, 449.75]),
        (4, [0.25, 449.75], [599.75, 449.75]),
        (5, [0.25, 0.25], [0.25, 599.75]),
        (6, [449.75, 0.25], [449.75, 599.75]),
        (7, [449.75, 599.75], [449.75, 0.25]),
        (8, [0.25, 599.75], [0.25, 0.25]),
    ];
    for (orientation, top_left, top_right) in corners {
        let (width, height) = if orientation >= 5 { (450, 600) } else { (600, 450) };
        let picture = PhotoPicture {
            width,
            height,
            sensor: [1200, 900],
            orientation,
            ..PhotoPicture::default()
        };
        assert_eq!(picture.place([0.0, 0.0]), top_left, "orientation {orientation}");
        assert_eq!(picture.place([1199.0, 0.0]), top_right, "orientation {orientation}");
    }
}

#[test]
fn residuals_are_enlarged_by_the_factor_that_is_stated() {
    let text =
        page(&samples::grass_track(), &[picture("1-mark-forward/01.jpg", 1200, 900)], Show::Mm);
    let html = parsed("one photo", &text);
    let path = html
        .select(&select("path.residuals"))
        .next()
        .unwrap()
        .value()
        .attr("d")
        .unwrap()
        .to_owned();
    let first: Vec<f64> = path
        .trim_start_matches('M')
        .split(['M', 'l', ' '])
        .take(4)
        .map(|n| n.parse().unwrap())
        .collect();
    // 0.05 px and -0.08 px of the photo, which is twice as large as the reduced one.
    assert!((first[2] - RESIDUAL_FACTOR * 0.05 / 2.0).abs() < 0.06, "{first:?}");
    assert!((first[3] + RESIDUAL_FACTOR * 0.08 / 2.0).abs() < 0.06, "{first:?}");
    assert!(text.contains(&format!("{RESIDUAL_FACTOR} times enlarged")));
}

/// Relative luminance of an sRGB colour, and the contrast of two, as WCAG 2.2 defines them.
fn contrast(a: &str, b: &str) -> f64 {
    let luminance = |colour: &str| {
        let channel = |i: usize| {
            let c = f64::from(u8::from_str_radix(&colour[i..i + 2], 16).unwrap()) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn text_stands_out_in_light_in_dark_and_on_paper() {
    let css = concat!(
        include_str!("../../../src/report/html/palette.css"),
        include_str!("../../../src/report/html/page.css")
    );
    let themes: Vec<BTreeMap<&str, &str>> = css
        .split(":root {")
        .skip(1)
        .map(|block| {
            let block = block.split('}').next().unwrap();
            block
                .split(';')
                .filter_map(|rule| rule.trim().strip_prefix("--")?.split_once(": "))
                .collect()
        })
        .collect();
    assert_eq!(themes.len(), 3, "light, dark and print");
    for theme in themes {
        let pairs = [
            ("ink", "paper"),
            ("ink", "sheet"),
            ("soft", "paper"),
            ("soft", "sheet"),
            ("ink", "fill"),
            ("in", "sheet"),
            ("out", "sheet"),
            ("open", "sheet"),
            ("open", "paper"),
            ("out", "paper"),
            ("in", "paper"),
            ("accent", "paper"),
            ("in", "in-bg"),
            ("out", "out-bg"),
            ("open", "open-bg"),
            ("ink", "in-bg"),
            ("ink", "out-bg"),
            ("ink", "open-bg"),
        ];
        for (front, back) in pairs {
            let ratio = contrast(theme[front], theme[back]);
            assert!(ratio >= 4.5, "{front} {} on {back} {}: {ratio:.2}", theme[front], theme[back]);
        }
    }
}

#[test]
fn before_and_after_and_what_if_have_pages_of_their_own() {
    let (before, after) = (samples::grass_track(), samples::in_tolerance());
    let compared = since(&before.evening(), &after.evening()).unwrap();
    for show in [Show::Mm, Show::Inch] {
        let html = parsed("since", &since_page(&before, &after, &compared, show));
        let headline: String = html.select(&select("h1")).next().unwrap().text().collect();
        assert_eq!(headline, "Better: all 2 are right now.");
        assert_eq!(html.select(&select("#plan li.step")).count(), compared.steps.len());
        assert_eq!(html.select(&select("script")).count(), 0);
        let html = parsed("what if", &plan_page(&before, show));
        assert_eq!(html.select(&select("#plan li.step")).count(), 3);
    }
}

#[test]
fn a_page_is_written_to_a_new_file_and_over_none() {
    let folder = tempfile::tempdir().unwrap();
    let result = folder.path().join("result.json");
    std::fs::write(&result, samples::grass_track().to_json()).unwrap();
    let page = folder.path().join("since.html");
    let since = || {
        let program = Path::new(env!("CARGO_BIN_EXE_sightcord"));
        Command::new(program)
            .arg("since")
            .args([&result, &result])
            .arg("--page")
            .arg(&page)
            .output()
            .unwrap()
    };
    let written = since();
    assert_eq!(written.status.code(), Some(0), "{written:?}");
    let first = std::fs::read(&page).unwrap();
    assert!(String::from_utf8_lossy(&first).contains("right now"));
    let again = since();
    assert_eq!(again.status.code(), Some(2), "{again:?}");
    assert!(String::from_utf8_lossy(&again.stderr).contains("not there yet"), "{again:?}");
    assert_eq!(std::fs::read(&page).unwrap(), first);
}
