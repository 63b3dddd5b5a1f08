//! In which order and under which headings the figures are shown: the same in the terminal and on the page.

use super::result::ResultDocument;
use crate::bench::figures::Station;
use crate::measurement::Measurement;

/// Figures that belong together.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    pub title: &'static str,
    /// What the figures are told against.
    pub about: String,
    /// Those that were measured, by JSON pointer.
    pub figures: Vec<(String, Measurement)>,
}

/// The title of the group that the rim's offsets belong behind.
pub const REAR_WHEEL: &str = "Rear wheel";
/// The title of the rim's offsets, which have a table of their own, [`rim_rows`].
pub const RIM: &str = "Rim offsets";
const CHAIN: &str = "Chain line";
const SPINDLE: &str = "Spindle";
const FRAME: &str = "Frame";
const BENCH: &str = "Bench and print";

/// Titles and figures of the groups in their order: JSON pointers, or what all pointers of several figures begin with.
const GROUPS: [(&str, &[&str]); 6] = [
    (
        REAR_WHEEL,
        &[
            "/wheel_in_frame/",
            "/wheel/offset",
            "/wheel/offset_at_mark",
            "/wheel/yaw",
            "/wheel/yaw_from_offsets",
            "/wheel/lean",
            "/runout/lateral",
            "/hub/",
            "/track/",
        ],
    ),
    (RIM, &["/rim/", "/rim_width/"]),
    (
        CHAIN,
        &[
            "/chain/offset_at_gearbox",
            "/chain/offset_at_rear",
            "/chain/yaw",
            "/chain/lean",
            "/chain/rear_lean",
            "/chain/gearbox_lean",
            "/chain/centres",
        ],
    ),
    (SPINDLE, &["/spindle/"]),
    (FRAME, &["/frame/", "/plumb/", "/stations/", "/backbone/", "/faces/"]),
    (BENCH, &["/bench/", "/pattern/"]),
];

/// Whether the figure at a JSON pointer is meant by an entry of [`GROUPS`].
fn is_meant(pointer: &str, entry: &str) -> bool {
    pointer == entry || (entry.ends_with('/') && pointer.starts_with(entry))
}

/// A group's title and its figures out of some that are told by JSON pointer, in the order in which groups are shown.
pub fn in_groups<'a, T>(figures: &'a [T], pointer: impl Fn(&T) -> &str + Copy) -> Vec<(&'static str, Vec<&'a T>)> {
    let of = |entries: &'static [&'static str]| -> Vec<&'a T> {
        entries.iter().flat_map(|entry| figures.iter().filter(move |figure| is_meant(pointer(figure), entry))).collect()
    };
    GROUPS.iter().map(|(title, entries)| (*title, of(entries))).filter(|(_, figures)| !figures.is_empty()).collect()
}

/// The groups that hold at least one measured figure, save the rim's offsets.
pub fn groups(document: &ResultDocument) -> Vec<Group> {
    let measured: Vec<(String, Measurement)> =
        document.figures().iter().filter_map(|(pointer, figure)| Some((pointer.clone(), (*figure)?))).collect();
    in_groups(&measured, |(pointer, _)| pointer)
        .into_iter()
        .filter(|(title, _)| *title != RIM)
        .map(|(title, figures)| Group { title, about: about(document, title), figures: figures.into_iter().cloned().collect() })
        .collect()
}

fn about(document: &ResultDocument, title: &str) -> String {
    match title {
        REAR_WHEEL => wheel_about(document),
        CHAIN => chain_about(document),
        SPINDLE => "each end's height and distance from the cord".to_owned(),
        FRAME => "against the datum cord".to_owned(),
        _ => "how good the ground is that all this stands on".to_owned(),
    }
}

fn wheel_about(document: &ResultDocument) -> String {
    match document.wheel_in_frame.offset {
        Some(_) => "in the frame, and against the datum cord".to_owned(),
        None => "against the datum cord".to_owned(),
    }
}

fn chain_about(document: &ResultDocument) -> String {
    let between = match document.chain.reference.as_deref() {
        Some("tooth_centres") => "between the teeth's middles",
        _ => "between the sprockets' outside faces",
    };
    match document.chain.side {
        Some(side) => format!("chain on the {}, {between}", side.word()),
        None => between.to_owned(),
    }
}

/// The rim in one set-up at one place.
#[derive(Clone, Debug, PartialEq)]
pub struct RimRow {
    pub setup: String,
    /// "rear" or "front".
    pub wheel: String,
    pub place: u8,
    /// Where the place stood: "front", "top" ...; empty where not known.
    pub station: &'static str,
    pub left: Option<Measurement>,
    pub right: Option<Measurement>,
    /// Left plus right, at the marked place of the rear wheel.
    pub width: Option<Measurement>,
}

/// The rim's offsets, one row a set-up and place, in the order of the document.
pub fn rim_rows(document: &ResultDocument) -> Vec<RimRow> {
    let mut rows: Vec<RimRow> = Vec::new();
    for rim in &document.rim {
        let same = |row: &RimRow| row.setup == rim.setup && row.wheel == rim.wheel && row.place == rim.place;
        let at = rows.iter().position(same).unwrap_or_else(|| {
            let is_marked_rear = rim.place == 0 && rim.wheel == "rear";
            let width = document.rim_width.get(&rim.setup).copied().flatten().filter(|_| is_marked_rear);
            rows.push(RimRow {
                setup: rim.setup.clone(),
                wheel: rim.wheel.clone(),
                place: rim.place,
                station: "",
                left: None,
                right: None,
                width,
            });
            rows.len() - 1
        });
        let row = &mut rows[at];
        if let Some(station) = rim.station {
            row.station = station_word(station);
        }
        match rim.side {
            crate::bench::figures::Side::Left => row.left = rim.offset,
            crate::bench::figures::Side::Right => row.right = rim.offset,
        }
    }
    rows.retain(|row| row.left.is_some() || row.right.is_some());
    rows
}

fn station_word(station: Station) -> &'static str {
    match station {
        Station::Front => "front",
        Station::Rear => "rear",
        Station::Top => "top",
        Station::Bottom => "bottom",
    }
}
