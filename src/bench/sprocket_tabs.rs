//! What is said where the tabs on the sprockets do not show how these stand.

use crate::figure::Figure;
use crate::finding::Finding;
use crate::text::listed;

use super::evaluate::{Choices, Evaluation};
use super::figures::Figures;
use super::settings::{BenchSettings, Part};
use super::unseen::SPROCKET_TABS;

/// Why the chain's figures are missing.
pub fn chain(
    figures: &Figures,
    settings: &BenchSettings,
    choices: &Choices,
    seen: &dyn Fn(&dyn Fn(&Part) -> bool) -> usize,
    findings: &mut Vec<Finding>,
) {
    if figures.get(&Figure::ChainAtGearbox).is_some() {
        return;
    }
    let loose = loose_on(settings, choices, &|part| {
        matches!(part, Part::RearSprocket | Part::GearboxSprocket)
    });
    let rear = seen(&|part| matches!(part, Part::RearSprocket));
    let gearbox = seen(&|part| matches!(part, Part::GearboxSprocket));
    let again = "Take photos from the chain side with both sprockets and two cards in them, from two places a pace apart.";
    let (what, remedy) = if gearbox == 0 || rear == 0 {
        let what = format!(
            "The chain line needs tabs on both sprockets: {gearbox} of the gearbox's (5 to 7) and {rear} of the rear one's (8 to 10) were found."
        );
        (what, again.to_owned())
    } else if loose.is_empty() {
        let what = "The tabs on the sprockets were read, but too small or in too few photos to show how the sprockets stand.";
        (what.to_owned(), again.to_owned())
    } else {
        let numbers = listed(&loose);
        (
            format!(
                "Of the tabs on the sprockets not all lie flat ({numbers}): what is left does not show how the sprockets stand."
            ),
            format!(
                "Press {} {numbers} down or stick new ones on clean, flat places. {again}",
                tabs(&loose)
            ),
        )
    };
    findings
        .push(Finding::refused("chain-not-measured", what, remedy).about(Figure::ChainAtGearbox));
}

/// The warning about chain figures that rest on fewer tabs than tell the gearbox sprocket's plane.
pub fn few_gearbox_tabs(
    figures: &Figures,
    settings: &BenchSettings,
    choices: &Choices,
    evaluation: &Evaluation,
) -> Option<Finding> {
    let n = evaluation.gearbox_tabs().len();
    if figures.get(&Figure::ChainYaw).is_none() || choices.gearbox_axis || n >= SPROCKET_TABS {
        return None;
    }
    let loose = loose_on(settings, choices, &|part| *part == Part::GearboxSprocket);
    let (seen, first) = match (n, &loose[..]) {
        (1, []) => ("One tab alone was found on".to_owned(), String::new()),
        (_, []) => ("Only two tabs were found on".to_owned(), String::new()),
        _ => {
            let (tabs, numbers) = (tabs(&loose), listed(&loose));
            (
                format!(
                    "With {tabs} {numbers} not flat, {} left on",
                    if n == 1 { "one tab is" } else { "two tabs are" }
                ),
                format!("Press {tabs} {numbers} down or stick new ones on clean, flat places. "),
            )
        }
    };
    Some(
        Finding::warning(
            "few-gearbox-tabs",
            format!(
                "{seen} the gearbox sprocket; three show its plane and its centre. The chain's figures are less sure for it."
            ),
            format!(
                "{first}Take two photos from the chain side, close to the gearbox, with tabs 5, 6 and 7 in them."
            ),
        )
        .about(Figure::ChainAtGearbox),
    )
}

/// The word before such numbers.
fn tabs(numbers: &[String]) -> &'static str {
    if numbers.len() == 1 { "tab" } else { "tabs" }
}

/// The numbers of tabs that do not lie flat on this part, as people list them.
fn loose_on(
    settings: &BenchSettings,
    choices: &Choices,
    wanted: &dyn Fn(&Part) -> bool,
) -> Vec<String> {
    let of_part = settings.marks.iter().filter(|mark| wanted(&mark.part));
    let loose = of_part.filter(|mark| choices.loose.contains(&mark.number));
    loose.map(|mark| mark.number.to_string()).collect()
}
