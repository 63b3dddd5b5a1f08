//! Parts of the report: its numbers as text, letters in its pictures, the list of its own files, and
//! how a new report takes the place of an earlier one.

use std::ffi::OsString;
use std::fs;
use std::path::Path;

use image::{Rgb, RgbImage};
use serde_json::{Value, json};

use sightcord::figure::Figure;
use sightcord::figure::member::Section;
use sightcord::report::html::letters::Letters;
use sightcord::report::json::{pretty, tidy};
use sightcord::report::relative::mark;
use sightcord::report::write::own_files::OwnFiles;
use sightcord::report::write::swap::{aside_of, clear, in_two_steps, restore};
use sightcord::report::write::{Identity, JobPlaces, LIST_NAME, ReportFile, prepare};

#[test]
fn lengths_keep_five_places_and_angles_six() {
    let mut value = json!({
        "wheel": {"offset": {"value": 3.200_004_9, "u": 0.123_456_789, "quality": "good"},
                  "yaw": {"value": -0.350_000_049, "u": 0.012_345_678_9, "quality": "good"}},
        "verdicts": [{"field": Figure::WheelYaw, "value": {"value": 0.123_456_78, "u": 0.1, "quality": "good"}, "tolerance": 0.2}],
        "correlation": {"matrix": [[1.0, 0.123_456_789], [0.0, -0.0]]},
    });
    assert_eq!(tidy(&mut value), Vec::<String>::new());
    assert_eq!(value["wheel"]["offset"]["value"], json!(3.2));
    assert_eq!(value["wheel"]["offset"]["u"], json!(0.12346));
    assert_eq!(value["wheel"]["yaw"]["value"], json!(-0.35));
    assert_eq!(value["wheel"]["yaw"]["u"], json!(0.012346));
    assert_eq!(value["verdicts"][0]["value"]["value"], json!(0.123457));
    assert_eq!(value["correlation"]["matrix"][0][1], json!(0.123457));
    assert!(!value.to_string().contains("-0.0"), "no negative nought");
}

/// A document that holds a number as a length, an angle, a direction, a ratio and as none of these.
fn as_every_kind(x: f64) -> Value {
    json!({"offset": x, "toe_deg": x, "normal": [x], "scale_along": x, "k1": x})
}

#[test]
fn rounding_twice_changes_nothing() {
    for i in 0..2000 {
        let x = (f64::from(i) - 1000.0) * 0.731_234_567_891;
        let mut once = as_every_kind(x);
        tidy(&mut once);
        let mut twice = once.clone();
        tidy(&mut twice);
        assert_eq!(twice, once);
    }
}

#[test]
fn a_figure_that_is_not_a_number_becomes_null_and_is_named() {
    let mut value = json!({"rim": [{"id": "1-a/left", "offset": {"value": f64::NAN, "u": 0.1, "quality": "good"}}]});
    let offset = Figure::of(Section::Rim, "1-a/left", "offset").expect("a rim's offset");
    assert_eq!(tidy(&mut value), [offset.pointer()]);
    assert!(value["rim"][0]["offset"].is_null());
}

#[test]
fn huge_and_tiny_numbers_survive() {
    for x in [f64::MAX, f64::MIN_POSITIVE, 1e-300, -1e300] {
        let mut value = as_every_kind(x);
        tidy(&mut value);
        // As a length to five places, and as another number to six digits.
        for (key, within) in [("offset", 1e-12 * x.abs() + 1e-5), ("k1", 1e-5 * x.abs())] {
            let rounded = value[key].as_f64().expect("a number");
            assert!(rounded.is_finite() && (rounded - x).abs() <= within, "{x} became {rounded}");
        }
    }
}

#[test]
fn what_fits_is_on_one_line() {
    let value = json!({"a": {"value": 1.5, "u": 0.2}, "long": (0..60).collect::<Vec<_>>(), "none": {}, "list": []});
    let text = pretty(&value);
    assert!(text.contains("  \"a\": { \"value\": 1.5, \"u\": 0.2 },\n"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 130));
    assert_eq!(serde_json::from_str::<Value>(&text).unwrap(), value);
}

#[test]
fn figures_of_sections_and_of_lists_are_marked() {
    let mut document = json!({
        "wheel": { "lean": { "value": 1.0 }, "yaw": { "value": 1.0 } },
        "rim": [{ "id": "1-a/left", "offset": { "value": 2.0 }, "height": null }],
    });
    mark(
        &mut document,
        &[
            Figure::WheelLean,
            Figure::of(Section::Rim, "1-a/left", "offset").expect("a rim's offset"),
            Figure::of(Section::Rim, "1-a/left", "height").expect("a rim's height"),
            Figure::Other("/no".to_owned() + "/such"),
        ],
    );
    assert_eq!(document["wheel"]["lean"]["relative_to"], "bench");
    assert_eq!(document["rim"][0]["offset"]["relative_to"], "bench");
    assert!(document["wheel"]["yaw"].get("relative_to").is_none());
    assert!(document["rim"][0]["height"].is_null());
}

#[test]
fn a_letter_is_as_high_as_it_was_asked_for_and_is_upright_in_its_place() {
    let letters = Letters::of_height(40.0).unwrap();
    let mut picture = RgbImage::new(60, 60);
    letters.draw(&mut picture, Rgb([200, 100, 0]), [10, 5], "L");
    let lit = |x: u32, y: u32| picture.get_pixel(x, y).0[0] > 150;
    let rows: Vec<u32> = (0..60).filter(|&y| (0..60).any(|x| lit(x, y))).collect();
    // A capital letter is 0.73 em high in this font, and a line of 40 px has an em of 34 px.
    let high = rows.last().unwrap() - rows[0] + 1;
    assert!((24..=26).contains(&high) && rows[0] >= 5, "{rows:?}");
    // The foot is broader than the stem: not upside down, not mirrored.
    let breadth = |y: u32| (0..60).filter(|&x| lit(x, y)).count();
    assert!(breadth(rows[rows.len() - 2]) > 2 * breadth(rows[1]), "{rows:?}");
    assert!((letters.width("LL") - 2.0 * letters.width("L")).abs() < 1e-3);
}

#[test]
fn what_lies_outside_the_picture_is_left_out() {
    let mut picture = RgbImage::new(16, 16);
    Letters::of_height(20.0).unwrap().draw(
        &mut picture,
        Rgb([255; 3]),
        [4, 4],
        "card 12 \u{1F6B2}",
    );
    assert!(picture.pixels().any(|pixel| pixel.0[0] > 0));
}

#[test]
fn a_list_reads_back_and_any_other_text_is_no_list() {
    let files =
        [ReportFile::new("index.html", *b"page"), ReportFile::new("views/side.svg", *b"<svg/>")];
    let list = OwnFiles::of(&files);
    let text = list.text();
    assert_eq!(OwnFiles::parse(&text), Some(list));
    let sum = "0".repeat(64);
    for other in [
        text.trim_end().to_owned(),
        text.to_uppercase(),
        format!("{sum}  ../precious\n"),
        format!("{sum}  /etc/precious\n"),
        format!("{sum}  a/b/c\n"),
        format!("{sum}  {LIST_NAME}\n"),
        format!("{sum} *index.html\n"),
        format!("{sum}  b\n{sum}  a\n"),
        format!("{sum}  a\n{sum}  a\n"),
    ] {
        assert_eq!(OwnFiles::parse(&other), None, "{other}");
    }
}

/// A report as this program writes it, with one page.
fn report(folder: &Path, page: &str) {
    fs::create_dir(folder).unwrap();
    fs::write(folder.join("index.html"), page).unwrap();
    fs::write(folder.join(LIST_NAME), OwnFiles::of(&[ReportFile::new("index.html", page)]).text())
        .unwrap();
}

fn page(folder: &Path) -> String {
    fs::read_to_string(folder.join("index.html")).unwrap()
}

fn names(folder: &Path) -> Vec<OsString> {
    fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name()).collect()
}

#[test]
fn two_steps_leave_the_same_as_one() {
    let parent = tempfile::tempdir().unwrap();
    let (new, old) = (parent.path().join("new"), parent.path().join("report"));
    report(&new, "two");
    report(&old, "one");
    in_two_steps(&new, &old, &aside_of(&old)).unwrap();
    assert_eq!((page(&new), page(&old)), ("one".to_owned(), "two".to_owned()));
    clear(&new, Some(&old)).unwrap();
    assert_eq!(names(parent.path()), ["report"]);
}

#[test]
fn a_run_broken_off_between_the_steps_loses_no_report() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("report");
    report(&aside_of(&folder), "one");
    // The next run finds the earlier report. It is of another job here, so that it stays as
    // well.
    let prepared = prepare(&folder, Identity::default(), JobPlaces::default());
    assert!(prepared.is_err(), "a report of another job is not free to be replaced");
    assert_eq!(page(&folder), "one");
    assert_eq!(names(parent.path()), ["report"]);
}

#[test]
fn a_run_broken_off_after_both_steps_is_tidied_up_unless_there_is_something_else() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("report");
    report(&folder, "two");
    report(&aside_of(&folder), "one");
    fs::write(aside_of(&folder).join("mine.txt"), "mine").unwrap();
    let why = restore(&folder).unwrap_err();
    assert!(why.to_string().contains(".sightcord-earlier-report"), "{why}");
    assert_eq!((page(&folder), page(&aside_of(&folder))), ("two".to_owned(), "one".to_owned()));
    fs::remove_file(aside_of(&folder).join("mine.txt")).unwrap();
    restore(&folder).unwrap();
    assert_eq!(names(parent.path()), ["report"]);
    assert_eq!(page(&folder), "two");
}

#[test]
fn a_report_with_the_longest_of_names_can_be_put_aside() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("r".repeat(255));
    report(&folder, "one");
    fs::rename(&folder, aside_of(&folder)).unwrap();
    restore(&folder).unwrap();
    assert_eq!(page(&folder), "one");
}
