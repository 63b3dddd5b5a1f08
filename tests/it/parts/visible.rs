//! What comes from outside, shown so that no terminal and no page obeys it.

use std::borrow::Cow;

use sightcord::visible::{is_hidden, json, lines, one_line, styled};

#[test]
fn what_a_terminal_obeys_is_shown_as_its_number() {
    assert_eq!(
        one_line("a\u{1b}[2Kb\rc\nd\u{9b}1m\u{202e}e\u{7f}"),
        "a\\u{1b}[2Kb\\u{d}c\\u{a}d\\u{9b}1m\\u{202e}e\\u{7f}"
    );
    assert_eq!(lines("a\nb\tc"), "a\nb\\u{9}c");
    for plain in
        ["Ñandú, é, 車, 👩\u{200d}🔧", "\u{feff}".trim_start_matches('\u{feff}'), "a-b_c.jpg"]
    {
        assert!(matches!(one_line(plain), Cow::Borrowed(_)), "{plain}");
    }
}

#[test]
fn styles_pass_and_other_orders_do_not() {
    assert_eq!(styled("\u{1b}[1mbold\u{1b}[0m"), "\u{1b}[1mbold\u{1b}[0m");
    assert_eq!(
        styled("\u{1b}[38;5;9mx\u{1b}[2Jy\u{1b}]0;title\u{7}"),
        "\u{1b}[38;5;9mx\\u{1b}[2Jy\\u{1b}]0;title\\u{7}"
    );
}

#[test]
fn json_means_the_same() {
    let text = serde_json::to_string(&"\u{9b}31m\u{202e}\u{e0041}\u{7f}é").unwrap();
    let shown = json(&text);
    assert!(!shown.chars().any(is_hidden), "{shown}");
    assert_eq!(
        serde_json::from_str::<String>(&shown).unwrap(),
        serde_json::from_str::<String>(&text).unwrap()
    );
}
