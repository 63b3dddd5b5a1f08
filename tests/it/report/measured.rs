//! What the terminal shows of the samples, measured as they are. The snapshots are there to be
//! read, too.

use std::path::Path;

use crate::common::measured::measured;
use sightcord::report::text::report;
use sightcord::text::units::Show;

/// The report of a sample, as plain text of 80 columns.
fn terminal(sample: &str) -> String {
    let measured = measured(Path::new(sample));
    let text = anstream::adapter::strip_str(&report(&measured.document, Show::Mm)).to_string();
    for line in text.lines() {
        assert!(textwrap::core::display_width(line) <= 80, "{line}");
    }
    text
}

#[test]
fn the_grass_track_sample_in_the_terminal() {
    insta::assert_snapshot!(terminal("samples/grass-track"));
}

#[test]
fn the_swing_arm_sample_in_the_terminal() {
    insta::assert_snapshot!(terminal("samples/swing-arm"));
}
