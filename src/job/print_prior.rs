//! What the person knows of the printed size before any photo is seen: check lines laid under a
//! steel rule, or what printers do.

use super::settings::Job;
use crate::finding::Finding;
use crate::say;
use crate::text::Amount;
use crate::text::units::Kind;

/// Standard uncertainty of the printed scale in a direction whose check line was measured where the
/// job doesn't say how well: an eighth of a millimetre on 250 (common practice, no source).
const MEASURED_SCALE_SIGMA: f64 = 0.0005;
/// Paper and glue, mm (common practice, no source).
const PAPER_MM: f64 = 0.10;

/// Lengths of the check lines along and across, mm: on A4 and Letter, on A3.
const CHECK_LINES_MM: [(f64, f64); 2] = [(250.0, 160.0), (375.0, 240.0)];
/// Length of the check line on each page of tabs, mm.
pub const TAB_CHECK_LINE_MM: f64 = 100.0;
/// A check line that is out by this, mm, is one of a sheet that was not printed at 100 %: printers
/// alone are out by half of it at the most (common practice, no source).
const MOST_OFF_MM: f64 = 2.0;
/// The same for the tabs' shorter line.
const MOST_OFF_TABS_MM: f64 = 1.0;
const TABS: &str = "measured_tabs_mm";
/// The last card printed at the smaller pitch, on A4 or Letter.
const LAST_A4_CARD: u8 = 12;

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

impl Job {
    /// What the person knows of a card's print.
    pub fn card_print(&self, number: u8) -> PrintPrior {
        let lines = CHECK_LINES_MM[usize::from(number > LAST_A4_CARD)];
        let general = self.tab_print();
        let Some(own) = self.cards.get(&number) else { return general };
        let prior = |measured: Option<f64>, designed: f64, fallback: ScalePrior| match measured {
            Some(length) => {
                measured_scale(length, designed, own.measured_u_mm.or(self.print.measured_u_mm))
            }
            None => fallback,
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

    /// Check lines that are out by so much that the sheet was not printed at 100 %.
    pub(super) fn off_check_lines(&self) -> Vec<Finding> {
        let [a4, a3] = CHECK_LINES_MM;
        let mut off = Vec::new();
        let mut look = |key: String, measured: Option<f64>, designed: f64, most: f64| {
            let Some(measured) = measured.filter(|length| (length - designed).abs() >= most) else {
                return;
            };
            off.push(Finding::warning(
                "check-line-off",
                say![
                    format!("{key} in job.toml is "),
                    Amount::stated(measured, Kind::Length),
                    ", but that line is made to be ",
                    Amount::stated(designed, Kind::Length),
                    format!(": {} was not printed at 100 %, or another line was measured.", if key == TABS { "it" } else { "the sheet" }),
                ],
                "Measure it once more. If it stays so, print again at 100 % (\"actual size\", no fitting to the page).",
            ));
        };
        let sheet = &self.print;
        for (key, length, lines) in [
            ("measured_along_mm", sheet.measured_along_mm, [a4.0, a3.0]),
            ("measured_across_mm", sheet.measured_across_mm, [a4.1, a3.1]),
        ] {
            let designed = length.map_or(lines[0], |length| nearest_length(length, lines));
            look(key.to_owned(), length, designed, MOST_OFF_MM);
        }
        look(TABS.to_owned(), sheet.measured_tabs_mm, TAB_CHECK_LINE_MM, MOST_OFF_TABS_MM);
        for (number, own) in &self.cards {
            let lines = CHECK_LINES_MM[usize::from(*number > LAST_A4_CARD)];
            let of = format!(" of card {number}");
            look(format!("measured_along_mm{of}"), own.measured_along_mm, lines.0, MOST_OFF_MM);
            look(format!("measured_across_mm{of}"), own.measured_across_mm, lines.1, MOST_OFF_MM);
        }
        off
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
/// named; `across` says which of the two lines it is.
pub(super) fn is_check_line(length_mm: f64, card: Option<u8>, across: bool) -> bool {
    let designed =
        |paper: usize| if across { CHECK_LINES_MM[paper].1 } else { CHECK_LINES_MM[paper].0 };
    let designed = match card {
        Some(number) => designed(usize::from(number > LAST_A4_CARD)),
        None => nearest_length(length_mm, [designed(0), designed(1)]),
    };
    SCALE_RANGE.contains(&(length_mm / designed))
}
