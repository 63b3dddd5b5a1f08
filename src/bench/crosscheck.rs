//! Whether two halves of the photos tell the same figures, within what their own uncertainties allow.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::scene::Solution;
use crate::scene::halves::{Split, halves};

use super::evaluate::{Choices, Evaluation};
use super::nuisance::Shift;
use super::propagate::Propagated;
use super::settings::BenchSettings;

/// Figures that the check looks at: those that the photos decide and that differ from each other.
fn is_checked(field: &str) -> bool {
    let wanted = ["/rim/", "/wheel/yaw", "/wheel/lean", "/chain/offset_at_gearbox", "/chain/yaw", "/chain/lean", "/hub/"];
    wanted.iter().any(|start| field.starts_with(start)) && !field.ends_with("/height")
}

/// A half that knows a figure this many times worse than the whole has not seen what the figure rests on: it is left out.
const KNOWS_TOO_LITTLE: f64 = 10.0;
/// Fewest figures that both halves tell, for a ratio.
const LEAST_FIGURES: usize = 3;

/// What came of the check.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Checked {
    /// Rms over the checked figures of the halves' difference over its own standard uncertainty, the worse of the two ways of halving:
    /// about 1 for honest photos. None where nothing could be compared.
    pub ratio: Option<f64>,
    pub findings: Vec<Finding>,
}

/// Odd against even photos, and those from the left against those from the right. Each half has its cord, its lines and its up for
/// itself.
pub fn check(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    fields: &[String],
    propagated: &Propagated,
) -> Checked {
    let mut checked = Checked::default();
    for split in [Split::OddEven, Split::LeftRight] {
        match compare(solution, settings, choices, fields, propagated, split) {
            Some(ratio) => checked.ratio = Some(checked.ratio.map_or(ratio, |known: f64| known.max(ratio))),
            None => checked.findings.push(cannot_compare(split)),
        }
    }
    checked
}

fn cannot_compare(split: Split) -> Finding {
    let (what, advice) = match split {
        Split::OddEven => ("every other photo with the rest", "Take four photos or more of each set-up, from both sides."),
        Split::LeftRight => {
            ("the photos from the left with those from the right", "Take two photos or more from either side in each set-up.")
        }
    };
    Finding::note(
        "not-cross-checked",
        format!("The figures could not be checked by comparing {what}: there are too few, or they show too different things."),
        advice,
    )
}

fn compare(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    fields: &[String],
    propagated: &Propagated,
    split: Split,
) -> Option<f64> {
    let [one, other] = halves(solution, split)?.map(|half| {
        let told = Evaluation::new(settings, choices, &half.state, Shift(None)).run().told;
        let values = told.into_iter().collect::<BTreeMap<String, f64>>();
        let spread = &half.covariance * propagated.jacobian.transpose();
        (values, spread)
    });
    let whole = solution.covariance.as_ref()? * propagated.jacobian.transpose();
    let variance = |i: usize, spread: &nalgebra::DMatrix<f64>| propagated.jacobian.row(i).transpose().dot(&spread.column(i));
    let (mut sum, mut n) = (0.0, 0);
    for (i, field) in fields.iter().enumerate().filter(|(_, field)| is_checked(field)) {
        let (Some(a), Some(b)) = (one.0.get(field), other.0.get(field)) else { continue };
        let (va, vb, all) = (variance(i, &one.1), variance(i, &other.1), variance(i, &whole));
        let known = |v: f64| v > 0.0 && v < KNOWS_TOO_LITTLE.powi(2) * all;
        if known(va) && known(vb) {
            sum += (a - b).powi(2) / (va + vb);
            n += 1;
        }
    }
    (n >= LEAST_FIGURES).then(|| (sum / n as f64).sqrt())
}
