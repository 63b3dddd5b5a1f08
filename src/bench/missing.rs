//! Why a figure is missing, for each by its JSON pointer, and what photo or mark would help.

use crate::figure::member::Section;
use crate::figure::{Figure, Kind};
use crate::finding::{Finding, Severity};
use crate::measurement::Quality;
use crate::say;
use crate::scene::Solution;
use crate::scene::model::state::TurningPart;
use crate::text::Amount;

use super::datum_findings::DISAGREE;
use super::evaluate::Choices;
use super::figures::{Figures, Side};
use super::settings::{BenchSettings, Part};
use super::sprocket_tabs;
use super::views::Views;

/// Adds a finding for each figure that could not be measured.
pub fn findings(
    figures: &Figures,
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    views: &Views,
    findings: &mut Vec<Finding>,
) {
    let state = &solution.state;
    let seen = |wanted: &dyn Fn(&Part) -> bool| {
        settings
            .marks
            .iter()
            .filter(|m| wanted(&m.part))
            .filter(|m| state.tabs.iter().any(|t| t.number == m.number))
            .count()
    };
    let has_cord = choices.datum.is_some();
    // Where riders and edges contradict each other, or riders alone do not suffice, that is
    // reported already.
    let is_reported =
        findings.iter().any(|finding| [DISAGREE, "riders-too-few"].contains(&finding.id.as_str()))
            || solution.cord_findings.iter().any(|finding| finding.severity == Severity::Refused);
    if !has_cord && !is_reported {
        findings.push(cord_not_seen());
    }
    // Where riders show the datum well, nothing suffers from what the cord's edges lack.
    let riders_do = choices.datum.as_ref().is_some_and(|datum| datum.quality == Quality::Good);
    let counts = |finding: &&Finding| !riders_do || finding.severity == Severity::Refused;
    findings.extend(solution.cord_findings.iter().filter(counts).cloned());
    let setups: Vec<usize> =
        (0..settings.setups.len()).filter(|&s| !settings.lens_only[s]).collect();
    if setups.len() == 1 {
        findings.push(one_setup());
    }
    if choices.left.is_some() && has_cord {
        rims(figures, settings, findings);
        wheel(figures, settings, choices, solution, views, findings);
        sprocket_tabs::chain(figures, settings, choices, &seen, findings);
        track(choices, &seen, findings);
    }
    let rims = figures.measured.rims();
    for rim in rims.iter().filter(|rim| rim.facts.station.is_some() && rim.offset.is_none()) {
        findings.push(
            Finding::refused(
                "rim-not-measured",
                "This rim offset could not be measured.",
                "Take more photos of this tab.",
            )
            .about(Figure::RimOffset(rim.at.clone())),
        );
    }
    if solution.cord_moved {
        findings.push(cord_moved(figures));
    }
    super::rim_width::findings(figures, settings, findings);
    if settings.print_measured != [true, true] && !rims.is_empty() {
        findings.push(print_warning(
            figures,
            settings.print_measured,
            super::rim_width::print_within_percent(figures, settings),
        ));
    }
}

fn cord_not_seen() -> Finding {
    Finding::refused(
        "cord-not-seen",
        "The datum cord was not found in any photo, so nothing can be measured from it.",
        "Stretch a cord that is clearly brighter or darker than the paper through the cards' lanes, 2 to 5 mm above the paper, \
         and take photos from above the cards and from both sides. Where light and shadow hide it, put two riders on it, 600 mm \
         or more apart (sightcord sheets print --cards none --tabs 39-42): they show where it runs in any light.",
    )
    .about(Figure::WheelOffset)
}

fn one_setup() -> Finding {
    Finding::warning(
        "one-setup",
        "Only one position of the wheel was photographed. Without turning it, its axis can't be found, and run-out looks like a wheel that is \
         not square.",
        "Turn the wheel half round, so that the mark lies at the other end, and take six photos more: three from the left, three from \
         the right. Move nothing else.",
    )
    .about(Figure::WheelYaw)
}

fn cord_moved(figures: &Figures) -> Finding {
    Finding::warning(
        "cord-moved",
        say![
            "The cord moved ",
            match figures.get(&Figure::CordMoved) {
                Some(moved) => say![Amount::measured(&moved, Kind::Length)],
                None => say!["somewhat"],
            },
            " between set-ups; all was measured from its place in the first.",
        ],
        "Fasten the cord so that nobody can knock it, and take all photos again if the frame's figures matter.",
    )
    .about(Figure::CordMoved)
}

/// The warning about an unmeasured print. `within_percent` is what a caliper's rim width
/// that agrees leaves open.
fn print_warning(figures: &Figures, measured: [bool; 2], within_percent: Option<f64>) -> Finding {
    let most = figures
        .measured
        .rims()
        .into_iter()
        .filter_map(|rim| figures.scale_sensitivity.get(&Figure::RimOffset(rim.at)))
        .map(|change| change.abs())
        .fold(0.0, f64::max);
    let caliper = within_percent.map_or_else(String::new, |percent| {
        format!(
            " The caliper's rim width agrees with the photographed one, so that the print is not out by more than {percent:.1} %."
        )
    });
    Finding::warning(
        "print-not-measured",
        say![
            match measured {
                [true, _] => "Only the check line along the card was measured, not the one across.",
                [_, true] => "Only the check line across the card was measured, not the one along.",
                _ => "Nobody has measured the print.",
            },
            " A print fitted to the page (97 %) can't be seen in photos",
            if most < 0.05 {
                say!["."]
            } else {
                say![
                    "; each 1 % would put ",
                    Amount::tenths(most),
                    " on a rim offset. Wheel offset and angles hardly change."
                ]
            },
            caliper,
        ],
        say![
            "Lay a steel rule on the check lines of a card (",
            Amount::mm(250.0),
            " along, ",
            Amount::mm(160.0),
            " across) and write what it shows into job.toml under [print].",
        ],
    )
}

fn rims(figures: &Figures, settings: &BenchSettings, findings: &mut Vec<Finding>) {
    for rim in
        figures.measured.rims().iter().filter(|rim| rim.offset.is_none() && rim.at.is_rear_mark())
    {
        let number = settings
            .marks
            .iter()
            .find(|m| m.part == Part::Rim { front_wheel: false, side: rim.at.side, place: 0 })
            .map_or(if rim.at.side == Side::Left { 1 } else { 2 }, |m| m.number);
        findings.push(
            Finding::refused(
                "rim-tab-not-seen",
                format!("Tab {number} on the rim's {} face was not found in set-up {}.", rim.at.side.word(), rim.at.setup),
                format!(
                    "Take two photos of that set-up from the {}, a pace apart, with tab {number} and two cards in them.",
                    rim.at.side.word()
                ),
            )
            .about(Figure::RimOffset(rim.at.clone())),
        );
    }
    for (figure, width) in figures.measured.table.iter() {
        let (Figure::RimWidth(setup), None) = (figure, width) else { continue };
        findings.push(
            Finding::note(
                "rim-width-not-measured",
                format!("The rim's width in set-up {setup} needs both rim tabs."),
                "See the missing rim tab.",
            )
            .about(figure),
        );
    }
}

fn wheel(
    figures: &Figures,
    settings: &BenchSettings,
    choices: &Choices,
    solution: &Solution,
    views: &Views,
    findings: &mut Vec<Finding>,
) {
    if !choices.wheel_axis {
        let joined = views.joining_tabs(solution, TurningPart::Wheel);
        findings.push(
            Finding::refused(
                "no-wheel-axis",
                format!(
                    "The wheel's axis needs three of its tabs, not in one line, in each of two set-ups with the wheel turned by 60 to 300 \
                     degrees between them; {joined} were found so. So there is no lean, and squareness only from the rim offsets."
                ),
                "Turn the wheel half round between the set-ups and see that tabs 1, 2 and 8 to 10 are in two photos or more of each.",
            )
            .about(Figure::WheelLean),
        );
    }
    let from_marks = Figure::all_of(Section::Wheel).filter(|figure| *figure != Figure::WheelLean);
    for figure in from_marks {
        if figures.get(&figure).is_none() {
            findings.push(
                Finding::refused(
                    "wheel-not-measured",
                    "This needs both rim tabs at the marked place in two set-ups, once turned forward and once turned rearward.",
                    "See the missing rim tabs and set-ups.",
                )
                .about(figure),
            );
        }
    }
    if choices.wheel_axis
        && figures.get(&Figure::WheelOffset).is_some()
        && figures.get(&Figure::RunoutLateral).is_none()
        && settings.lateral_tir.is_none()
    {
        let is_mark = |part: &Part| matches!(part, Part::Rim { front_wheel: false, place: 0, .. });
        let torn = settings.marks.iter().filter(|mark| is_mark(&mark.part)).find(|mark| {
            let mut copies = solution.state.tabs.iter().filter(|tab| tab.number == mark.number);
            copies.any(|tab| tab.only_setup.is_some())
        });
        let unknown = "The wheel offset holds at the marked place and includes the run-out.";
        let (what, remedy) = match torn {
            Some(mark) => (
                format!(
                    "The rim's run-out is not known, since tab {} stood elsewhere on it in another set-up. {unknown}",
                    mark.number
                ),
                "Stick the tab on again where it came off, see that the wheel is tight, and take the photos of both set-ups again.",
            ),
            None => (
                format!("The rim's run-out is not known. {unknown}"),
                "Stick tabs 33 to 38 round the rim's left face (sightcord sheets print --cards none --tabs 33-38), or write lateral_tir_mm under [rim] in job.toml.",
            ),
        };
        findings.push(Finding::note("run-out-unknown", what, remedy).about(Figure::RunoutLateral));
    }
}

/// The front wheel's track needs its axle, which only turning shows: a steered front wheel would
/// else pass for one out of line.
fn track(
    choices: &Choices,
    seen: &dyn Fn(&dyn Fn(&Part) -> bool) -> usize,
    findings: &mut Vec<Finding>,
) {
    if choices.front_axis || seen(&|part| matches!(part, Part::Rim { front_wheel: true, .. })) == 0
    {
        return;
    }
    findings.push(
        Finding::refused(
            "track-not-measured",
            "The front wheel's track needs tabs 3 and 4 on its rim, both seen in two set-ups with that wheel turned, too, between them.",
            "Turn the front wheel half round whenever the rear wheel is turned, and take photos of it from both sides in each set-up.",
        )
        .about(Figure::TrackOffset),
    );
}
