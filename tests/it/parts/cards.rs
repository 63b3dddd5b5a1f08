//! Parts of the printed sheets: lists of numbers, letters, and the words on the tabs.

use proptest::prelude::*;

use sightcord::cards::sheets::lettering::Face;
use sightcord::cards::sheets::tab_words::{is_flag, tab_words};
use sightcord::cards::sheets::{Numbers, NumbersError};

fn cards(text: &str) -> Result<Numbers, NumbersError> {
    Numbers::parse(text, "cards", 16)
}

#[test]
fn lists_are_read_sorted_and_without_repeats() {
    let read = |text| cards(text).unwrap().iter().collect::<Vec<u8>>();
    assert_eq!(read("8,1-3, 2-5"), [1, 2, 3, 4, 5, 8]);
    assert_eq!(read(" 16 "), [16]);
    assert_eq!(read("none"), [] as [u8; 0]);
}

#[test]
fn each_mistake_is_recognised() {
    let message = |text| cards(text).unwrap_err().to_string();
    assert_eq!(message("5-1"), "`5-1` runs backwards: write the smaller number first");
    assert_eq!(message("17"), "17 is not among them: cards are numbered 1 to 16");
    assert_eq!(message("0-3"), "0 is not among them: cards are numbered 1 to 16");
    assert_eq!(message("300"), "300 is not among them: cards are numbered 1 to 16");
    assert!(message("a-b").starts_with("`a` is not a whole number"));
    assert!(message("+3").starts_with("`+3` is not a whole number"));
    assert!(message("99999999999999999999999").contains("not a whole number"));
    for gap in ["", "1,,2", "1-", "-3", "1,"] {
        assert_eq!(cards(gap), Err(NumbersError::Gap), "{gap:?}");
    }
}

proptest! {
    #[test]
    fn what_is_written_reads_back(mut numbers in prop::collection::vec(1_u8..=64, 0..64)) {
        let each: Vec<String> = numbers.iter().map(u8::to_string).collect();
        let list = if each.is_empty() { "none".to_owned() } else { each.join(",") };
        let written = Numbers::parse(&list, "tabs", 64).unwrap();
        numbers.sort_unstable();
        numbers.dedup();
        prop_assert_eq!(written.iter().collect::<Vec<u8>>(), numbers);
        prop_assert_eq!(Numbers::parse(&written.to_string(), "tabs", 64).unwrap(), written);
    }

    #[test]
    fn no_text_makes_it_panic(text in ".{0,40}") {
        let _ = Numbers::parse(&text, "tabs", 64);
    }
}

#[test]
fn lines_are_broken_at_spaces_and_fit_the_width() {
    let lines = Face::Plain.wrap("the quick brown fox jumps over the lazy dog", 3.0, 25.0);
    assert!(lines.len() > 1);
    assert!(lines.iter().all(|line| Face::Plain.width_mm(line, 3.0) <= 25.0), "{lines:?}");
    assert_eq!(lines.join(" "), "the quick brown fox jumps over the lazy dog");
}

#[test]
fn a_word_wider_than_the_line_gets_its_own() {
    assert_eq!(
        Face::Bold.wrap("a incomprehensibilities b", 3.0, 10.0),
        ["a", "incomprehensibilities", "b"]
    );
}

#[test]
fn width_is_proportional_to_size() {
    let narrow = Face::Narrow.width_mm("check", 2.0);
    assert!((Face::Narrow.width_mm("check", 4.0) - 2.0 * narrow).abs() < 1e-9);
    assert!(narrow < Face::Plain.width_mm("check", 2.0));
}

#[test]
fn pairs_and_letters_follow_the_table() {
    for (number, words) in [
        (1, "rear rim, left, at the mark"),
        (4, "front rim, right, at the mark"),
        (12, "spindle end, right"),
        (13, "frame station A, left"),
        (20, "frame station D, right"),
        (21, "plumb line A, upper flag"),
        (28, "plumb line D, lower flag"),
        (32, "drum or hub face, does not turn"),
        (38, "rear rim, left, further place 6"),
        (64, "free: name it in the job"),
    ] {
        assert_eq!(tab_words(number).join(" "), words);
    }
    assert!((21..=30).all(|number| is_flag(number) && tab_words(number)[1].ends_with("flag")));
    assert_eq!((1..=64).filter(|&number| is_flag(number)).count(), 10);
}
