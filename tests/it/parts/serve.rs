//! What the bench page says of a position of the wheel, of a photo and of the result.

use std::collections::BTreeSet;

use sightcord::figure::Side;
use sightcord::glance::seen::{Glance, SeenPattern};
use sightcord::glance::stand::Stand;
use sightcord::job::Job;
use sightcord::photo::LinearImage;
use sightcord::plan::summary::INTO_A_FOLDER;
use sightcord::serve::answer::is_smeared;
use sightcord::serve::parts::{ask, count, switch_words};
use sightcord::serve::report::on_the_phone;
use sightcord::serve::said::{first_words, without_folders};
use sightcord::serve::tally::{Counted, Tally};

#[test]
fn nobody_is_sent_on_to_a_position_that_is_full() {
    let full = Tally { photos: 6, left: 3, right: 3, ..Tally::default() };
    let enough = Tally { once: vec![1], ..full.clone() };
    assert_eq!(switch_words(&enough, &enough), "Show position ");
    let few = Tally { photos: 2, left: 2, ..Tally::default() };
    assert_eq!(switch_words(&enough, &few), "Good enough: on to position ");
    assert_eq!(switch_words(&enough, &full), "Show position ");
    assert_eq!(switch_words(&few, &few), "The wheel stands in position ");
    assert_eq!(switch_words(&few, &full), "Show position ");
    assert_eq!(switch_words(&full, &few), "Show position ");
    // A whole side is missing: the page does not call this enough, and asks before leaving it.
    let one_sided = Tally { photos: 6, left: 6, unseen: vec![2], ..Tally::default() };
    assert_eq!(switch_words(&one_sided, &few), "The wheel stands in position ");
    assert!(ask(&one_sided, 0, 1).unwrap().contains("no photo from the right"));
    assert_eq!(ask(&enough, 0, 1), None);
    assert_eq!(ask(&Tally::default(), 0, 1), None, "nothing was photographed here yet");
    let words = |n, tally: &Tally| count("Right", n, 3, tally).into_string();
    assert!(words(6, &one_sided).contains("<b>6</b> (3 needed)"));
    let complete = Tally { photos: 8, left: 6, right: 2, ..Tally::default() };
    assert!(words(2, &complete).contains("<b>2</b>, enough"));
    assert!(words(2, &few).contains("<b>2</b> of 3"));
}

fn pattern(number: u8) -> SeenPattern {
    SeenPattern { number, role: None, corners: 100, cell_px: 12.0, mm_per_px: 0.8 }
}

fn photo(tabs: &[u8]) -> Glance {
    Glance {
        cards: vec![pattern(1), pattern(2)],
        tabs: tabs.iter().map(|n| pattern(*n)).collect(),
        ..Glance::default()
    }
}

fn stand(side: Side, bearing: f64, elevation_deg: f64) -> Stand {
    Stand { side, bearing_deg: side.sign() * bearing, elevation_deg }
}

#[test]
fn walking_where_the_ring_says_completes_the_position() {
    let (job, glance) = (Job::default(), photo(&[1, 2, 5, 6, 7, 8, 9, 10]));
    let mut stands: Vec<Stand> = Vec::new();
    let mut walked = Vec::new();
    loop {
        let counted: Vec<Counted> =
            stands.iter().map(|stand| Counted { glance: &glance, stand: Some(*stand) }).collect();
        let tally = Tally::of(&counted, &job);
        let Some(next) = tally.next else {
            assert!(tally.is_complete(), "{tally:?}");
            break;
        };
        assert!(!tally.is_complete(), "{tally:?}");
        walked.push(next.words());
        stands.push(stand(next.side, next.bearing_deg.abs(), if next.low { 15.0 } else { 45.0 }));
    }
    assert_eq!(walked.len(), 6, "{walked:?}");
    assert_eq!(walked.iter().filter(|words| words.contains("low")).count(), 1, "{walked:?}");
    let different: BTreeSet<&str> =
        walked.iter().map(|words| words.trim_end_matches(", phone low")).collect();
    assert_eq!(different.len(), 6, "{walked:?}");
}

#[test]
fn a_tab_that_one_photo_alone_shows_is_wanted_again() {
    let glances = [photo(&[1, 5, 6, 7, 8, 9, 10]), photo(&[5, 6, 7, 8, 9, 10])];
    let counted: Vec<Counted> =
        glances.iter().map(|glance| Counted { glance, stand: None }).collect();
    let tally = Tally::of(&counted, &Job::default());
    assert_eq!((tally.once.as_slice(), tally.unseen.as_slice()), (&[1][..], &[2][..]));
    assert_eq!(tally.wanting(), [1, 2]);
    assert!(!tally.is_complete());
}

/// Squares of 40 px, their edges `blur` px wide along the rows alone.
fn squares(blur: f32) -> LinearImage {
    let (wide, high) = (400, 300);
    let wave = |x: usize, blur: f32| {
        let x = x as f32 % 80.0;
        ((x - 20.0) / blur).clamp(0.0, 1.0) - ((x - 60.0) / blur).clamp(0.0, 1.0)
    };
    let data = (0..wide * high).map(|i| wave(i % wide, blur) * wave(i / wide, 1.0)).collect();
    LinearImage::new(wide, high, data)
}

#[test]
fn a_picture_smeared_one_way_is_told_from_a_sharp_one() {
    assert!(!is_smeared(&squares(1.5)));
    assert!(is_smeared(&squares(12.0)));
    assert!(!is_smeared(&LinearImage::new(2, 2, vec![0.0; 4])), "too small to tell");
}

#[test]
fn the_reason_is_short_and_an_amount_is_not_torn() {
    assert_eq!(
        first_words("The limit lies within its ± of 0.63 mm. A ± of 0.2 mm or less would do."),
        "the limit lies within its ± of 0.63 mm"
    );
    assert_eq!(
        first_words("It sits right on the limit: no more photos will settle it."),
        "it sits right on the limit"
    );
    assert_eq!(first_words(""), "");
    assert_eq!(
        without_folders(&format!("three from the right{INTO_A_FOLDER}.")),
        "three from the right."
    );
}

#[test]
fn the_ticks_stand_in_the_report_and_a_way_leads_back() {
    let step = "<li><input type=\"checkbox\"></li>";
    let page = format!("<html><head></head><body>{step}{step}</body></html>");
    let shown = on_the_phone(&page, "../", &vec![false, true]);
    assert!(shown.contains("<body><nav class=\"back\"><a href=\"../\">"), "{shown}");
    let ticked = shown.find("checkbox\" checked").unwrap();
    assert!(shown.find("checkbox\">").unwrap() < ticked, "the second one is ticked: {shown}");
    assert_eq!(shown.matches("checked").count(), 1);
}
