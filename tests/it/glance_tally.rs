//! What `glance` counts, and what it says of several folders, of one photo and of the cord.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use sightcord::figure::Side;
use sightcord::glance::missing::missing;
use sightcord::glance::seen::{Glance, SeenCord, SeenPattern};
use sightcord::glance::tally::tally;
use sightcord::job::Job;
use sightcord::measurement::{Measurement, Quality};

fn pattern(number: u8) -> SeenPattern {
    SeenPattern { number, role: None, corners: 100, cell_px: 12.0, mm_per_px: 0.8 }
}

/// A good photo from a side, with the cord clear of its shadow on some of cards 1 to 4.
fn photo(n: usize, from: Side, clear: &[u8]) -> Glance {
    let read = Measurement { value: 0.2, u: 0.5, quality: Quality::Good };
    let cord = |card: u8| SeenCord {
        card,
        offset: Some(read),
        angle: Some(read),
        view_deg: Some(40.0),
        told_apart: clear.contains(&card),
        not_read: None,
    };
    Glance {
        photo: format!("1-mark-forward/{n}.jpg"),
        setup: Some("1-mark-forward".to_owned()),
        from: Some(from),
        cards: (1..=4).map(pattern).collect(),
        tabs: [1, 2, 5, 6, 7, 8, 9, 10].map(pattern).to_vec(),
        cord: (1..=4).map(cord).collect(),
        ..Glance::default()
    }
}

fn cord_line(photos: &[Glance]) -> Option<String> {
    let tally = tally(photos, &Job::default());
    tally.setups.into_iter().find(|line| line.name == "cord").map(|line| line.what)
}

#[test]
fn the_tally_says_where_the_cord_is_clear_of_its_shadow() {
    let three = |side: Side, clear: &[u8]| [1, 2, 3].map(|n| photo(n, side, clear)).to_vec();
    let one_side = three(Side::Left, &[3]);
    assert_eq!(
        cord_line(&one_side).expect("a line"),
        "clear of its shadow on card 3 only; cards 1, 2, 4 from the right, too"
    );
    let both: Vec<Glance> = [three(Side::Left, &[3]), three(Side::Right, &[3])].concat();
    assert!(cord_line(&both).expect("a line").contains("cards 1, 2, 4 in other light"));
    let clear: Vec<Glance> = [three(Side::Left, &[1, 3]), three(Side::Right, &[2])].concat();
    assert_eq!(cord_line(&clear), None, "three cards are enough");
    let mut riders = both;
    riders[0].tabs.extend([39, 41].map(pattern));
    assert_eq!(cord_line(&riders), None, "two riders show it in any light");
}

#[test]
fn photos_enough_and_yet_a_tab_too_few_is_said_as_such() {
    let mut photos: Vec<Glance> = (1..=3).map(|n| photo(n, Side::Left, &[1, 2, 3])).collect();
    photos.extend((4..=6).map(|n| photo(n, Side::Right, &[])));
    assert_eq!(tally(&photos, &Job::default()).setups[0].what, "6 of 6: complete");
    for photo in photos.iter_mut().skip(1) {
        photo.tabs.retain(|tab| tab.number != 7);
    }
    let what = tally(&photos, &Job::default()).setups[0].what.clone();
    assert!(what.starts_with("6 of 6: enough photos, but one more with tab 7"), "{what}");
}

#[test]
fn of_one_photo_it_is_not_said_that_a_tab_is_all_that_is_missing() {
    let mut one = photo(1, Side::Left, &[1]);
    one.setup = None;
    one.tabs.retain(|tab| tab.number != 2);
    let missing = missing(std::slice::from_ref(&one), &Job::default());
    assert!(missing[0].starts_with("Not in this photo: tab 2"), "{missing:?}");
    let text = glance(&["samples/grass-track/1-mark-forward/02.jpg"]);
    assert!(text.contains("6 photos of each of 2 wheel positions"), "{text}");
}

fn glance(arguments: &[&str]) -> String {
    let out = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .arg("glance")
        .args(arguments)
        .output()
        .unwrap();
    String::from_utf8_lossy(&out.stdout).split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn folders_that_are_named_one_by_one_are_counted_one_by_one() {
    let around = tempfile::tempdir().unwrap();
    let folders: Vec<String> = ["one", "other"]
        .iter()
        .map(|name| {
            let folder = around.path().join(name);
            fs::create_dir(&folder).unwrap();
            for photo in ["02.jpg", "07.jpg"] {
                let from = Path::new("samples/grass-track/1-mark-forward").join(photo);
                fs::copy(from, folder.join(photo)).unwrap();
            }
            folder.display().to_string()
        })
        .collect();
    let text = glance(&[&folders[0], &folders[1]]);
    assert_eq!(text.matches("mark forward 2 of 6:").count(), 2, "{text}");
    assert!(folders.iter().all(|folder| text.contains(&format!("{folder}:"))), "{text}");
}
