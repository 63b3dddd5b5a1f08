//! The noun that leaves this stage: what the person said, with the defaults where nothing was said.
//!
//! All `u` of a job are expanded uncertainties (k = 2): 95 of 100 readings lie within.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::finding::Finding;

use super::assumed::Assumed;
use super::roles::{FIRST_RIDER, LAST_RIDER, MovesWith, Role};
use super::{Side, TabRole};
use crate::figure::{Figure, Unit};

/// Standard uncertainty of the printed scale in a direction whose check line was measured where the
/// job doesn't say how well: an eighth of a millimetre on 250 (common practice, no source).
const MEASURED_SCALE_SIGMA: f64 = 0.0005;
/// Paper and glue, mm (common practice, no source).
const PAPER_MM: f64 = 0.10;
/// Expanded uncertainty of a level reading that doesn't say its own: a digital angle gauge (common
/// practice, no source).
const LEVEL_U_DEG: f64 = 0.2;
/// Lengths of the check lines along and across, mm: on A4 and Letter, on A3.
const CHECK_LINES_MM: [(f64, f64); 2] = [(250.0, 160.0), (375.0, 240.0)];
/// Length of the check line on each page of tabs, mm.
pub const TAB_CHECK_LINE_MM: f64 = 100.0;
/// The last card printed at the smaller pitch, on A4 or Letter.
const LAST_A4_CARD: u8 = 12;

/// Everything that `job.toml` says. A job without the file is `Job::default()`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Job {
    pub bike: Bike,
    /// All sheets but those in `cards`, tabs included.
    pub print: Sheet,
    /// Single cards that differ, by number.
    pub cards: BTreeMap<u8, Sheet>,
    pub bench: BenchLevel,
    pub adjusters: Adjusters,
    pub spacers: Spacers,
    pub sprockets: Sprockets,
    pub hub: Hub,
    pub rim: Rim,
    #[serde(default)]
    pub assumed: Assumed,
    /// Tabs of which the job says something, by number. Ask [`Job::tab`] instead: it knows the
    /// others too.
    pub tabs: BTreeMap<u8, TabRole>,
    pub faces: Vec<Face>,
    pub tolerances: Vec<Tolerance>,
    pub hands: Vec<Hand>,
    /// Photos that the job puts into set-ups by name, whatever folder they lie in.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub setups: Vec<JobSetup>,
}

/// A set-up and the photos that belong to it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct JobSetup {
    pub name: String,
    /// As they lie in the job folder, with forward slashes.
    pub photos: Vec<String>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Bike {
    pub name: Option<String>,
    /// Checked against the tabs.
    pub chain_side: Option<Side>,
}

/// What a steel rule and the eye say of a printed sheet.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sheet {
    pub measured_along_mm: Option<f64>,
    pub measured_across_mm: Option<f64>,
    pub measured_u_mm: Option<f64>,
    pub paper_mm: Option<f64>,
    /// The check line on the tabs' pages; of a single card there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured_tabs_mm: Option<f64>,
}

/// What the person knows of the printed scale in one direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScalePrior {
    /// Printed over designed size.
    pub ratio: f64,
    /// Standard uncertainty of `ratio`.
    pub sigma: f64,
    /// Whether a check line was measured; if not, a print fitted to the page (97 %) can't be
    /// excluded.
    pub measured: bool,
}

/// What the person knows of a sheet before any photo is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PrintPrior {
    pub along: ScalePrior,
    pub across: ScalePrior,
    /// From the face that the sheet is stuck on to its print, mm.
    pub paper_mm: f64,
}

/// What was done to level the bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Levelled {
    #[serde(rename = "no")]
    No,
    /// A spirit level was laid along and across, and the bench packed until it showed nothing.
    #[serde(rename = "spirit level")]
    SpiritLevel,
}

/// A level laid on the bench.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BenchLevel {
    #[serde(default)]
    pub levelled: Option<Levelled>,
    /// + = front high.
    pub level_along_deg: Option<f64>,
    /// + = left high.
    pub level_across_deg: Option<f64>,
    pub level_u_deg: Option<f64>,
}

impl BenchLevel {
    /// Standard uncertainty of the readings, degrees.
    pub fn sigma_deg(&self) -> f64 {
        self.level_u_deg.unwrap_or(LEVEL_U_DEG) / 2.0
    }
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Adjusters {
    /// Travel in one turn.
    pub thread_pitch_mm: Option<f64>,
    /// Distance between the two, across the bike.
    pub spacing_mm: Option<f64>,
    /// The spindle's end to move; by default the one away from the chain.
    pub draw: Option<Side>,
}

/// Where spacers can be changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum SpacerKind {
    /// Beside the hub: carries the rim along.
    Hub,
    /// Behind the rear sprocket: does not.
    Sprocket,
    /// At the gearbox: does not.
    Gearbox,
}

impl SpacerKind {
    /// "hub", "sprocket" or "gearbox".
    pub fn word(self) -> &'static str {
        match self {
            Self::Hub => "hub",
            Self::Sprocket => "sprocket",
            Self::Gearbox => "gearbox",
        }
    }
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Spacers {
    pub kind: Option<SpacerKind>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sprockets {
    /// From the outside face inward.
    pub rear_face_to_tooth_centre_mm: Option<f64>,
    pub gearbox_face_to_tooth_centre_mm: Option<f64>,
    pub rear_teeth: Option<u16>,
    pub gearbox_teeth: Option<u16>,
    pub chain_pitch_mm: Option<f64>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Hub {
    pub face_side: Option<Side>,
    /// Decides for tabs 31 and 32 where no `[[tab]]` does.
    pub face_turns: Option<bool>,
    /// Rim from hub face to aim for, + = rim further outboard.
    pub target_mm: Option<f64>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Rim {
    /// Over the outside faces, by caliper.
    pub width_mm: Option<f64>,
    /// Peak to peak, by dial gauge.
    pub lateral_tir_mm: Option<f64>,
}

/// Three tabs or more on one flat face.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Face {
    pub name: String,
    /// Sorted numbers.
    pub tabs: Vec<u8>,
}

/// How far a figure may be off, to either side.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tolerance {
    /// JSON pointer of the figure.
    pub field: Figure,
    pub limit: f64,
    pub unit: Unit,
    pub source: String,
}

/// A value measured by hand, to stand beside the photographed one; never merged with it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Hand {
    /// JSON pointer of the figure.
    pub field: Figure,
    pub value: f64,
    /// Expanded uncertainty.
    pub u: f64,
    pub unit: Unit,
    pub tool: String,
}

impl Job {
    /// What the tab with this number stands for, after what the job says.
    pub fn tab(&self, number: u8) -> TabRole {
        let mut tab = self.tabs.get(&number).cloned().unwrap_or_else(|| {
            let mut tab = TabRole::of_number(number);
            if let (Role::HubFace, Some(turns)) = (tab.role, self.hub.face_turns) {
                tab.moves_with = if turns { MovesWith::Wheel } else { MovesWith::Frame };
            }
            tab
        });
        tab.face = self
            .faces
            .iter()
            .find(|face| face.tabs.contains(&number))
            .map(|face| face.name.clone());
        if tab.face.is_some() && is_rider(&tab) && !self.tabs.contains_key(&number) {
            // A job from before numbers 39 to 44 became riders names them as tabs of a face.
            let face = tab.face.take();
            tab = TabRole { role: Role::Free, moves_with: MovesWith::Frame, face, ..tab };
        }
        tab
    }

    /// Tabs whose numbers stand for riders on the cord unless a job says otherwise, and which this
    /// one has for free tabs.
    fn riders_kept_free(&self) -> Vec<u8> {
        let kept = |number: &u8| {
            is_rider(&TabRole::of_number(*number)) && self.tab(*number).role == Role::Free
        };
        (FIRST_RIDER..=LAST_RIDER).filter(kept).collect()
    }

    /// Tabs that by their numbers stand for a place which job.toml gives to another tab, each with
    /// that one.
    pub fn displaced_tabs(&self) -> Vec<(u8, u8)> {
        let named = |role: Role| {
            self.tabs.iter().find(|(_, tab)| tab.role == role).map(|(number, _)| *number)
        };
        // Higher numbers stand for no place unless the job says so.
        (1..=LAST_RIDER)
            .filter(|number| !self.tabs.contains_key(number))
            .filter_map(|number| {
                let role = self.tab(number).role;
                Some((number, role.is_of_one_tab().then(|| named(role)).flatten()?))
            })
            .collect()
    }

    /// What the person knows of a card's print.
    pub fn card_print(&self, number: u8) -> PrintPrior {
        let lines = CHECK_LINES_MM[usize::from(number > LAST_A4_CARD)];
        let general = self.tab_print();
        let Some(own) = self.cards.get(&number) else { return general };
        let prior = |measured: Option<f64>, designed: f64, otherwise: ScalePrior| match measured {
            Some(length) => {
                measured_scale(length, designed, own.measured_u_mm.or(self.print.measured_u_mm))
            }
            None => otherwise,
        };
        PrintPrior {
            along: prior(own.measured_along_mm, lines.0, general.along),
            across: prior(own.measured_across_mm, lines.1, general.across),
            paper_mm: own.paper_mm.unwrap_or(general.paper_mm),
        }
    }

    /// What the person knows of the tabs' print: the same printer as the cards in general.
    pub fn tab_print(&self) -> PrintPrior {
        let prior = |measured: Option<f64>, designed: [f64; 2]| match measured {
            Some(length) => {
                measured_scale(length, nearest_length(length, designed), self.print.measured_u_mm)
            }
            // Printers are out by 0.1 to 0.5 % (common practice, no source).
            None => ScalePrior {
                ratio: 1.0,
                sigma: self.assumed.print_u_percent / 200.0,
                measured: false,
            },
        };
        let [a4, a3] = CHECK_LINES_MM;
        PrintPrior {
            along: prior(self.print.measured_along_mm, [a4.0, a3.0]),
            across: prior(self.print.measured_across_mm, [a4.1, a3.1]),
            paper_mm: self.print.paper_mm.unwrap_or(PAPER_MM),
        }
    }

    /// Printed size of the tabs over that of the cards, where the check lines of both were
    /// measured; else 1. Tabs come off another page, fed the other way or from another printer.
    pub fn tabs_to_cards(&self) -> f64 {
        let print = self.tab_print();
        let cards: Vec<f64> = [print.along, print.across]
            .iter()
            .filter(|way| way.measured)
            .map(|way| way.ratio)
            .collect();
        match self.print.measured_tabs_mm {
            Some(length) if !cards.is_empty() => {
                // Where one direction was measured, the photos show the other by it.
                length / TAB_CHECK_LINE_MM * cards.len() as f64 / cards.iter().sum::<f64>()
            }
            _ => 1.0,
        }
    }

    /// Settings that have no effect as they stand.
    pub fn findings(&self) -> Vec<Finding> {
        let mut findings = Vec::new();
        let mut idle = |applies: bool, key: &str, missing: &str| {
            if applies {
                findings.push(Finding::note(
                    "job-setting-idle",
                    format!("{key} in job.toml has no effect, because {missing} is not given."),
                    format!("Add {missing}, or take {key} out."),
                ));
            }
        };
        let has_level =
            self.bench.level_along_deg.is_some() || self.bench.level_across_deg.is_some();
        idle(
            self.bench.level_u_deg.is_some() && !has_level,
            "level_u_deg",
            "level_along_deg or level_across_deg",
        );
        let is_measured =
            |sheet: &Sheet| sheet.measured_along_mm.is_some() || sheet.measured_across_mm.is_some();
        let any_measured = is_measured(&self.print) || self.cards.values().any(is_measured);
        idle(
            self.print.measured_u_mm.is_some() && !any_measured,
            "measured_u_mm",
            "measured_along_mm or measured_across_mm",
        );
        let cards_measured =
            self.print.measured_along_mm.is_some() || self.print.measured_across_mm.is_some();
        let tabs_alone = self.print.measured_tabs_mm.is_some() && !cards_measured;
        idle(tabs_alone, "measured_tabs_mm", "measured_along_mm or measured_across_mm");
        let (rear, gearbox) = (
            self.sprockets.rear_face_to_tooth_centre_mm,
            self.sprockets.gearbox_face_to_tooth_centre_mm,
        );
        idle(
            rear.is_some() && gearbox.is_none(),
            "rear_face_to_tooth_centre_mm",
            "gearbox_face_to_tooth_centre_mm",
        );
        idle(
            gearbox.is_some() && rear.is_none(),
            "gearbox_face_to_tooth_centre_mm",
            "rear_face_to_tooth_centre_mm",
        );
        idle(
            self.hub.target_mm.is_some() && self.hub.face_side.is_none(),
            "target_mm",
            "face_side",
        );
        let free = self.riders_kept_free();
        if !free.is_empty() {
            let listed: Vec<String> = free.iter().map(u8::to_string).collect();
            findings.push(Finding::note(
                "rider-number-free",
                format!(
                    "Tabs {FIRST_RIDER} to {LAST_RIDER} now stand for riders on the cord; job.toml has {} as free tabs, and that counts.",
                    listed.join(", ")
                ),
                "Nothing to do. For new jobs use 45 to 64 as free tabs; for a rider write role = \"cord-rider\", with side and place.",
            ));
        }
        findings
    }
}

fn is_rider(tab: &TabRole) -> bool {
    matches!(tab.role, Role::CordRider { .. })
}

fn measured_scale(length_mm: f64, designed_mm: f64, u_mm: Option<f64>) -> ScalePrior {
    let sigma = u_mm.map_or(MEASURED_SCALE_SIGMA, |u| u / 2.0 / designed_mm);
    ScalePrior { ratio: length_mm / designed_mm, sigma, measured: true }
}

/// Which of the two papers a measured check line belongs to: the lengths are too different to be
/// mixed up.
fn nearest_length(length_mm: f64, [a4, a3]: [f64; 2]) -> f64 {
    if (length_mm / a4).ln().abs() <= (length_mm / a3).ln().abs() { a4 } else { a3 }
}

/// Ratios of a measured check line to its design that are believed: "fit to page" gives 0.93 to
/// 1.03.
const SCALE_RANGE: std::ops::RangeInclusive<f64> = 0.9..=1.1;

/// Whether a check line of this length can belong to the card, or to any sheet where no card is
/// named; `across` tells which of the two lines it is.
pub(super) fn is_check_line(length_mm: f64, card: Option<u8>, across: bool) -> bool {
    let designed =
        |paper: usize| if across { CHECK_LINES_MM[paper].1 } else { CHECK_LINES_MM[paper].0 };
    let designed = match card {
        Some(number) => designed(usize::from(number > LAST_A4_CARD)),
        None => nearest_length(length_mm, [designed(0), designed(1)]),
    };
    SCALE_RANGE.contains(&(length_mm / designed))
}
