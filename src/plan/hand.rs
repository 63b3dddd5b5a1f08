//! Values taken by hand, next to the photographed ones.

use super::outcome::{HandComparison, Unit};
use crate::figure::FigureTable;
use crate::finding::Finding;
use crate::job::Hand;
use crate::measurement::{Measurement, Quality};

/// Each hand value with its photographed figure.
///
/// They agree if they differ by no more than sqrt(U_hand^2 + U_photo^2). Assumed: the rule or gauge
/// and the photos share no error, which holds as long as the hand value did not set the print's
/// scale.
pub fn compare_by_hand(
    figures: &FigureTable,
    hands: &[Hand],
) -> (Vec<HandComparison>, Vec<Finding>) {
    let mut compared = Vec::new();
    let mut findings = Vec::new();
    for hand in hands {
        let name = &hand.field;
        if !figures.knows(name) {
            let nearest = figures.nearest(&name.pointer());
            let what = format!(
                "The job gives a hand value for {name}, and there is no figure of that name."
            );
            findings.push(
                Finding::warning("hand-unknown-field", what, format!("Did you mean {nearest}?"))
                    .about(name),
            );
            continue;
        }
        let usable = hand.value.is_finite() && hand.u.is_finite() && hand.u >= 0.0;
        if hand.unit != name.unit() || !usable {
            let key =
                if name.unit() == Unit::Deg { "value_deg and u_deg" } else { "value_mm and u_mm" };
            let what = format!(
                "The job's hand value for {name} is not in the figure's own unit, or has no uncertainty."
            );
            findings.push(
                Finding::warning("hand-unusable", what, format!("Give it with {key}.")).about(name),
            );
            continue;
        }
        let comparison = compare(hand, figures.get(name));
        if comparison.agree == Some(false) {
            let what = format!(
                "The value taken by hand for {name} and the photographed one differ by more than their uncertainties allow."
            );
            let advice = "Take it by hand once more, and look at the tabs it comes from; neither value is changed by the other.";
            findings.push(Finding::warning("hand-disagrees", what, advice).about(name));
        }
        compared.push(comparison);
    }
    (compared, findings)
}

fn compare(hand: &Hand, photo: Option<Measurement>) -> HandComparison {
    HandComparison {
        field: hand.field.clone(),
        unit: hand.unit,
        tool: hand.tool.clone(),
        hand: Measurement { value: hand.value, u: hand.u, quality: Quality::Good },
        photo,
        agree: photo.map(|photo| (hand.value - photo.value).abs() <= hand.u.hypot(photo.u)),
    }
}
