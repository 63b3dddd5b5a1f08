//! Every key of `job.toml`, with its range and its meaning in words. Reader, messages and template
//! all follow this table.
//!
//! The ranges are wide enough for anything from a moped to a sidecar outfit and narrow enough to
//! catch a slipped decimal point or inches (common practice, no source).

/// What may stand behind a key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Text of 1 to `max_chars` characters.
    Text {
        max_chars: usize,
    },
    Number {
        min: f64,
        max: f64,
        unit: &'static str,
    },
    Whole {
        min: i64,
        max: i64,
    },
    Flag,
    OneOf(&'static [&'static str]),
    /// Read by its own rule: a list, a sub-table, or text or number.
    Own,
}

/// One key: the section it belongs to, what values it takes, and what it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Key {
    /// `bike` for `[bike]`, `tab` for `[[tab]]`, `print.card` for `[[print.card]]`; empty for the
    /// top of the file.
    pub section: &'static str,
    pub name: &'static str,
    pub kind: Kind,
    /// What it is, to stand behind "It is".
    pub meaning: &'static str,
}

const SIDES: Kind = Kind::OneOf(&["left", "right"]);
const NAME: Kind = Kind::Text { max_chars: 200 };
const TAB_NUMBER: Kind = Kind::Whole { min: 1, max: 64 };

const fn mm(min: f64, max: f64) -> Kind {
    Kind::Number { min, max, unit: "mm" }
}

const fn deg(min: f64, max: f64) -> Kind {
    Kind::Number { min, max, unit: "degrees" }
}

const fn key(section: &'static str, name: &'static str, kind: Kind, meaning: &'static str) -> Key {
    Key { section, name, kind, meaning }
}

/// Sections written once, `[so]`.
pub const SECTIONS: &[&str] =
    &["bike", "print", "bench", "adjusters", "spacers", "sprockets", "hub", "rim", "assumed"];
/// Sections that may be written again and again, `[[so]]`.
pub const LISTS: &[&str] = &["tab", "face", "tolerance", "hand", "setup"];

/// All keys, in the order in which the template shows them.
pub const KEYS: &[Key] = &[
    key("", "schema", Kind::OneOf(&["sightcord-job/1"]), "the version of this file's layout"),
    key("bike", "name", NAME, "how the report names the bike"),
    key("bike", "chain_side", SIDES, "the side of the chain as the rider sits"),
    key(
        "print",
        "measured_along_mm",
        mm(200.0, 450.0),
        "the check line below the pattern as a steel rule shows it (made to be 250 mm, on A3 375 mm)",
    ),
    key(
        "print",
        "measured_across_mm",
        mm(130.0, 290.0),
        "the check line at the left edge as a steel rule shows it (made to be 160 mm, on A3 240 mm)",
    ),
    key(
        "print",
        "measured_u_mm",
        mm(0.02, 2.0),
        "by how much your reading of the check lines may be out (95 of 100 readings lie within)",
    ),
    key(
        "print",
        "paper_mm",
        mm(0.02, 2.0),
        "the thickness of the paper with its glue, from the face it is stuck on to the print",
    ),
    key(
        "print",
        "measured_tabs_mm",
        mm(90.0, 110.0),
        "the check line at the top of the tabs' pages as a steel rule shows it (made to be 100 mm)",
    ),
    key("print", "card", Kind::Own, "one sheet that differs from the others"),
    key("print.card", "number", Kind::Whole { min: 1, max: 16 }, "the card's printed number"),
    key(
        "print.card",
        "measured_along_mm",
        mm(200.0, 450.0),
        "this card's check line below the pattern",
    ),
    key(
        "print.card",
        "measured_across_mm",
        mm(130.0, 290.0),
        "this card's check line at the left edge",
    ),
    key(
        "print.card",
        "measured_u_mm",
        mm(0.02, 2.0),
        "by how much your reading of them may be out",
    ),
    key("print.card", "paper_mm", mm(0.02, 2.0), "this card's thickness with its glue"),
    key(
        "bench",
        "levelled",
        Kind::OneOf(&["no", "spirit level"]),
        "whether the bench was levelled, and with what",
    ),
    key(
        "bench",
        "level_along_deg",
        deg(-5.0, 5.0),
        "the bench's tilt along the cord as a level shows it, + = front high",
    ),
    key(
        "bench",
        "level_across_deg",
        deg(-5.0, 5.0),
        "the bench's tilt across the cord as a level shows it, + = left high",
    ),
    key(
        "bench",
        "level_u_deg",
        deg(0.005, 2.0),
        "by how much the level's readings may be out (95 of 100 lie within)",
    ),
    key("adjusters", "thread_pitch_mm", mm(0.4, 3.0), "how far the adjuster moves in one turn"),
    key(
        "adjusters",
        "spacing_mm",
        mm(60.0, 500.0),
        "the distance between the two adjusters, across the bike",
    ),
    key("adjusters", "draw", SIDES, "the end of the spindle you would rather move"),
    key(
        "spacers",
        "kind",
        Kind::OneOf(&["hub", "sprocket", "gearbox"]),
        "where you can add or take away spacers to bring the sprockets into line",
    ),
    key(
        "sprockets",
        "rear_face_to_tooth_centre_mm",
        mm(-60.0, 60.0),
        "the distance from the rear sprocket's outside face inward to the middle of its teeth",
    ),
    key(
        "sprockets",
        "gearbox_face_to_tooth_centre_mm",
        mm(-60.0, 60.0),
        "the distance from the gearbox sprocket's outside face inward to the middle of its teeth",
    ),
    key(
        "sprockets",
        "rear_teeth",
        Kind::Whole { min: 8, max: 120 },
        "the number of teeth of the rear sprocket",
    ),
    key(
        "sprockets",
        "gearbox_teeth",
        Kind::Whole { min: 6, max: 60 },
        "the number of teeth of the gearbox sprocket",
    ),
    key(
        "sprockets",
        "chain_pitch_mm",
        mm(6.0, 26.0),
        "the chain's pitch (12.7 for 1/2 inch, 15.875 for 5/8)",
    ),
    key(
        "hub",
        "face_side",
        SIDES,
        "the side on which the brake drum's or hub's reference face lies",
    ),
    key(
        "hub",
        "face_turns",
        Kind::Flag,
        "whether that face turns with the wheel (a drum does, a brake plate does not)",
    ),
    key(
        "hub",
        "target_mm",
        mm(-200.0, 200.0),
        "how far outboard of the hub's face the rim should stand, on the same side",
    ),
    key(
        "rim",
        "width_mm",
        mm(15.0, 400.0),
        "the rim's width over its outside faces as a caliper shows it",
    ),
    key(
        "rim",
        "lateral_tir_mm",
        mm(0.0, 20.0),
        "the rim's sideways run-out, peak to peak, as a dial gauge shows it",
    ),
    key(
        "assumed",
        "paper_u_mm",
        mm(0.005, 5.0),
        "by how much paper and glue under a tab may be out, along its normal",
    ),
    key(
        "assumed",
        "flat_u_mm",
        mm(0.01, 5.0),
        "by how far a tab's middle may stand off its face where it does not lie flat",
    ),
    key(
        "assumed",
        "place_u_mm",
        mm(0.02, 20.0),
        "by how far a tab may sit off the point that it marks",
    ),
    key(
        "assumed",
        "spindle_place_u_mm",
        mm(0.02, 20.0),
        "the same for tabs 11 and 12 on the spindle's ends",
    ),
    key("assumed", "flag_u_mm", mm(0.02, 20.0), "by how far a flag's middle may be off its line"),
    key(
        "assumed",
        "print_u_percent",
        Kind::Number { min: 0.02, max: 5.0, unit: "percent" },
        "by how much a print is out whose check lines nobody measured",
    ),
    key(
        "assumed",
        "card_bow_u_mm",
        mm(0.05, 10.0),
        "by how much a card's middle may stand over its edges",
    ),
    key(
        "assumed",
        "level_u_deg",
        deg(0.005, 2.0),
        "by how much the bench may be off level where nobody levelled it",
    ),
    key(
        "assumed",
        "levelled_u_deg",
        deg(0.005, 2.0),
        "by how much the bench may be off level where a spirit level was laid",
    ),
    key(
        "assumed",
        "plumb_u_deg",
        deg(0.005, 2.0),
        "by how much a plumb line may hang, or be seen, off plumb",
    ),
    key(
        "assumed",
        "cord_moved_u_mm",
        mm(0.01, 10.0),
        "by how much each end of the cord may move between set-ups",
    ),
    key(
        "assumed",
        "rider_u_mm",
        mm(0.02, 5.0),
        "by how far a rider may stand off the cord, both its faces seen",
    ),
    key("assumed", "rider_one_face_u_mm", mm(0.02, 5.0), "the same where one of its faces is seen"),
    key(
        "assumed",
        "rider_height_u_mm",
        mm(0.1, 10.0),
        "by how far a rider's bridge may be too long or too short for the cord",
    ),
    key(
        "assumed",
        "cord_light_u_mm",
        mm(0.01, 5.0),
        "by how much light and shadow may move the cord's middle as it is seen",
    ),
    key(
        "assumed",
        "line_light_u_mm",
        mm(0.01, 5.0),
        "by how much light may move a plumb line's middle as it is seen",
    ),
    key(
        "assumed",
        "gearbox_centre_u_mm",
        mm(0.1, 50.0),
        "by how far the gearbox sprocket's tabs may sit off its centre",
    ),
    key(
        "assumed",
        "rim_tir_mm",
        mm(0.0, 20.0),
        "the rim's sideways run-out, peak to peak, where nobody measured it",
    ),
    key(
        "assumed",
        "focus_u_percent",
        Kind::Number { min: 0.01, max: 10.0, unit: "percent" },
        "by how much the focal length may change from photo to photo",
    ),
    key(
        "assumed",
        "lens_centre_u_px",
        Kind::Number { min: 0.1, max: 200.0, unit: "px" },
        "by how much the middle of the lens may move from photo to photo",
    ),
    key("tab", "number", TAB_NUMBER, "the tab's printed number"),
    key(
        "tab",
        "role",
        Kind::OneOf(&[
            "rim",
            "front-rim",
            "gearbox-sprocket",
            "rear-sprocket",
            "spindle-end",
            "station",
            "plumb-flag",
            "backbone-flag",
            "hub-face",
            "cord-rider",
            "free",
        ]),
        "what the tab is stuck to",
    ),
    key("tab", "side", SIDES, "the side of the bike it is on"),
    key("tab", "place", Kind::Own, "which of several like places"),
    key(
        "tab",
        "moves_with",
        Kind::OneOf(&["wheel", "front-wheel", "gearbox", "frame"]),
        "what the tab turns with between set-ups",
    ),
    key("tab", "backing_mm", mm(0.0, 40.0), "the thickness of the plate or magnet it is glued to"),
    key(
        "tab",
        "side_mm",
        mm(8.0, 200.0),
        "the side of its printed pattern, where it was printed at another size",
    ),
    key("face", "name", NAME, "how the report names the face"),
    key("face", "tabs", Kind::Own, "the tabs stuck to it, three or more"),
    key("tolerance", "field", NAME, "the figure it is for"),
    key("tolerance", "mm", mm(0.01, 100.0), "how far off the figure may be, to either side"),
    key("tolerance", "deg", deg(0.005, 45.0), "how far off the figure may be, to either side"),
    key("tolerance", "source", NAME, "where the tolerance comes from"),
    key("hand", "field", NAME, "the figure that was measured by hand"),
    key("hand", "value_mm", mm(-5000.0, 5000.0), "what was read"),
    key("hand", "value_deg", deg(-180.0, 180.0), "what was read"),
    key(
        "hand",
        "u_mm",
        mm(0.001, 100.0),
        "by how much the reading may be out (95 of 100 readings lie within)",
    ),
    key(
        "hand",
        "u_deg",
        deg(0.001, 45.0),
        "by how much the reading may be out (95 of 100 readings lie within)",
    ),
    key("hand", "tool", NAME, "what it was measured with"),
    key("setup", "name", NAME, "how the set-up is named, such as 1-mark-forward"),
    key(
        "setup",
        "photos",
        Kind::Own,
        "the photos that belong to it, by their paths in the job folder",
    ),
];

/// The keys of one section, in order.
pub fn keys_of(section: &str) -> impl Iterator<Item = &'static Key> {
    KEYS.iter().filter(move |key| key.section == section)
}
