//! In which order and under which headings the figures are shown: the same in the terminal and on
//! the page.

use super::result::ResultDocument;
use crate::figure::facts::{ChainReference, Station};
use crate::figure::member::Group as Heading;
use crate::figure::part::Wheel;
use crate::figure::{Figure, Side};
use crate::measurement::Measurement;

/// Figures that belong together.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    pub heading: Heading,
    /// What the figures are measured against.
    pub about: String,
    /// Those that were measured.
    pub figures: Vec<(Figure, Measurement)>,
}

/// A group and its figures out of some, in the order in which groups are shown.
pub fn in_groups<'a, T>(
    figures: &'a [T],
    of: impl Fn(&T) -> &Figure + Copy,
) -> Vec<(Heading, Vec<&'a T>)> {
    let in_heading = |heading: Heading| {
        let mut found: Vec<(u8, &'a T)> = figures
            .iter()
            .filter_map(|figure| {
                Some((of(figure).line().filter(|line| line.group == heading)?.place, figure))
            })
            .collect();
        found.sort_by_key(|(place, _)| *place);
        (heading, found.into_iter().map(|(_, figure)| figure).collect::<Vec<&'a T>>())
    };
    Heading::ALL.into_iter().map(in_heading).filter(|(_, figures)| !figures.is_empty()).collect()
}

/// The groups that hold at least one measured figure, except the rim's offsets.
pub fn groups(document: &ResultDocument) -> Vec<Group> {
    let measured: Vec<(Figure, Measurement)> = document
        .measured
        .table
        .measured()
        .map(|(figure, measured)| (figure.clone(), measured))
        .collect();
    in_groups(&measured, |(figure, _)| figure)
        .into_iter()
        .filter(|(heading, _)| *heading != Heading::Rim)
        .map(|(heading, figures)| Group {
            heading,
            about: about(document, heading),
            figures: figures.into_iter().cloned().collect(),
        })
        .collect()
}

fn about(document: &ResultDocument, heading: Heading) -> String {
    match heading {
        Heading::RearWheel => wheel_about(document),
        Heading::Chain => chain_about(document),
        Heading::Spindle => "each end's height and distance from the cord".to_owned(),
        Heading::Frame => "against the datum cord".to_owned(),
        Heading::Rim | Heading::BenchAndPrint => {
            "how good the references are that all this is measured from".to_owned()
        }
    }
}

fn wheel_about(document: &ResultDocument) -> String {
    match document.figure(&Figure::WheelInFrameOffset) {
        Some(_) => "in the frame, and against the datum cord".to_owned(),
        None => "against the datum cord".to_owned(),
    }
}

fn chain_about(document: &ResultDocument) -> String {
    let between = match document.measured.facts.chain_reference {
        Some(ChainReference::ToothCentres) => "between the teeth's middles",
        _ => "between the sprockets' outside faces",
    };
    match document.measured.facts.chain_side {
        Some(side) => format!("chain on the {}, {between}", side.word()),
        None => between.to_owned(),
    }
}

/// The rim in one set-up at one place.
#[derive(Clone, Debug, PartialEq)]
pub struct RimRow {
    pub setup: String,
    pub wheel: Wheel,
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
    for rim in document.measured.rims() {
        let at = &rim.at;
        let same =
            |row: &RimRow| row.setup == at.setup && row.wheel == at.wheel && row.place == at.place;
        let number = rows.iter().position(same).unwrap_or_else(|| {
            let width = Figure::RimWidth(at.setup.clone());
            rows.push(RimRow {
                setup: at.setup.clone(),
                wheel: at.wheel,
                place: at.place,
                station: "",
                left: None,
                right: None,
                width: document.measured.table.stored(&width).filter(|_| at.is_rear_mark()),
            });
            rows.len() - 1
        });
        let row = &mut rows[number];
        if let Some(station) = rim.facts.station {
            row.station = Station::word(station);
        }
        match at.side {
            Side::Left => row.left = rim.offset,
            Side::Right => row.right = rim.offset,
        }
    }
    rows.retain(|row| row.left.is_some() || row.right.is_some());
    rows
}
