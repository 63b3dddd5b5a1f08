//! Whether two halves of the photos give the same figures, within what their own uncertainties
//! allow.

use std::collections::BTreeMap;

use nalgebra::DMatrix;

use crate::figure::Figure;
use crate::finding::Finding;
use crate::scene::assess::cross_validation::{HalfEstimate, Split, estimate_halves};
use crate::scene::model::unknowns::line_axes;
use crate::scene::{Solution, State};

use super::evaluate::{Choices, Evaluation};
use super::nuisance::Shift;
use super::propagate::Propagated;
use super::settings::BenchSettings;

/// Figures that the check looks at: those that the photos decide and that differ from each other.
fn is_checked(figure: &Figure) -> bool {
    use Figure::{
        ChainAtGearbox, ChainLean, ChainYaw, RimFromFace, RimOffset, WheelLean, WheelYaw,
        WheelYawFromOffsets,
    };
    let of_wheel =
        matches!(figure, RimOffset(_) | WheelYaw | WheelYawFromOffsets | WheelLean | RimFromFace);
    of_wheel || matches!(figure, ChainAtGearbox | ChainYaw | ChainLean)
}

/// A half that knows a figure this many times worse than the whole has not seen what the figure
/// rests on: it is left out.
const KNOWS_TOO_LITTLE: f64 = 10.0;
/// Where along its half length a cord is compared.
const NEAR_END: f64 = 0.7;
/// From here on left and right are reported as different: their ratio scatters about 1 by some 0.4,
/// since they share few figures.
const FAR_APART: f64 = 2.5;
/// Fewest figures that both halves tell, for a ratio (our choice).
const LEAST_FIGURES: usize = 3;

/// What came of the check.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Checked {
    /// Rms over the checked figures, the cord's place and the lines' hang of the odd and even
    /// photos' difference, each half with a cord and an up of its own, over the difference's
    /// standard uncertainty: about 1 for honest photos. None where nothing could be compared.
    pub ratio: Option<f64>,
    /// The same of the photos from the left and from the right: either side sees differently what
    /// light and shadow do to a cord, and where both together take the middle of it this ratio
    /// exceeds the figures' error.
    pub left_right: Option<f64>,
    /// What odd and even photos show of the error of a figure that all of them give: for honest
    /// photos a draw with the photos' own standard uncertainty.
    pub apart: BTreeMap<Figure, f64>,
    pub findings: Vec<Finding>,
}

/// Odd against even photos, and those from the left against those from the right. Each half has a
/// cord, lines and an up of its own.
pub fn check(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    fields: &[Figure],
    propagated: &Propagated,
) -> Checked {
    let mut checked = Checked::default();
    for split in [Split::OddEven, Split::LeftRight] {
        let compared = compare(solution, settings, choices, fields, propagated, split);
        let has_halves = compared.is_some();
        let (ratio, apart) = compared.unwrap_or_default();
        match split {
            Split::OddEven => (checked.ratio, checked.apart) = (ratio, apart),
            Split::LeftRight => checked.left_right = ratio,
        }
        match ratio {
            None => checked.findings.push(cannot_compare(split, has_halves)),
            Some(ratio) if ratio > FAR_APART => {
                checked.findings.push(halves_differ(split, ratio, !solution.state.lines.is_empty()))
            }
            Some(_) => {}
        }
    }
    checked
}

/// `has_lines` says whether any line but the cord was seen.
fn halves_differ(split: Split, ratio: f64, has_lines: bool) -> Finding {
    let lines = if has_lines { "the cord and the plumb lines" } else { "the cord" };
    let (what, advice) = match split {
        Split::OddEven => (
            "Every other photo and the rest",
            format!("Look at {lines} in the report's photos: in some of them another edge was taken."),
        ),
        Split::LeftRight => (
            "The photos from the left and those from the right",
            "Take as many photos from the left as from the right, and see that no lamp or sun throws the cord's shadow along it."
                .to_owned(),
        ),
    };
    Finding::warning(
        "sides-differ",
        format!(
            "{what}, each solved with {lines} of their own, differ {ratio:.1} times as much as their noise explains; \
             solved together they share the difference."
        ),
        advice,
    )
}

/// `has_halves` says whether either half had photos enough: then they show too little in common.
fn cannot_compare(split: Split, has_halves: bool) -> Finding {
    let what = match split {
        Split::OddEven => "every other photo with the rest",
        Split::LeftRight => "the photos from the left with those from the right",
    };
    let (why, advice) = match (has_halves, split) {
        (true, _) => (
            "the two halves show too little in common",
            "It is a check and changes no figure. A plumb line that photos from both sides show makes it possible.",
        ),
        (false, Split::OddEven) => (
            "it takes eight photos with a tab in them",
            "Take four photos or more of each set-up, from both sides.",
        ),
        (false, Split::LeftRight) => (
            "it takes four photos from either side with a tab in them",
            "Take two photos or more from either side in each set-up.",
        ),
    };
    Finding::note(
        "not-cross-checked",
        format!("The figures could not be checked by comparing {what}: {why}."),
        advice,
    )
}

/// One quantity by either half of the photos.
struct Compared {
    values: [f64; 2],
    variances: [f64; 2],
    /// Variance by all photos.
    all: f64,
}

impl Compared {
    /// Whether both halves know enough of it.
    fn is_known(&self) -> bool {
        self.variances.iter().all(|v| *v > 0.0 && *v < KNOWS_TOO_LITTLE.powi(2) * self.all)
    }

    /// The square of the difference over its variance.
    fn squared(&self) -> f64 {
        let ([a, b], [va, vb]) = (self.values, self.variances);
        (a - b).powi(2) / (va + vb)
    }
}

/// What both halves show whichever side they look from: where the cord runs near its ends, and how
/// plumb lines hang, in the world that one card holds still.
fn datum_and_up(solution: &Solution, one: &HalfEstimate, other: &HalfEstimate) -> Vec<Compared> {
    let (state, slots) = (&solution.state, &solution.slots);
    // Each quantity as the unknowns that it is linear in: slot and factor; and how it is computed.
    let mut quantities: Vec<(Vec<(usize, f64)>, Box<dyn Fn(&State) -> f64>)> = Vec::new();
    for (idx, &slot) in slots.cords.iter().enumerate() {
        for s in [-NEAR_END, NEAR_END] {
            let at = move |state: &State| {
                state.cords[idx].at(state.cords[idx].middle + s * state.cords[idx].half).y
            };
            quantities.push((
                vec![(slot, 1.0), (slot + 1, s), (slot + 2, s * s - 1.0 / 3.0)],
                Box::new(at),
            ));
        }
    }
    for (idx, &slot) in slots.lines.iter().enumerate() {
        let [a, b] = line_axes(&state.lines[idx].direction);
        for way in 0..2 {
            let at = move |state: &State| state.lines[idx].direction[way];
            quantities.push((vec![(slot + 2, a[way]), (slot + 3, b[way])], Box::new(at)));
        }
    }
    let variance = |by: &[(usize, f64)], covariance: &DMatrix<f64>| -> f64 {
        by.iter()
            .flat_map(|&(i, di)| by.iter().map(move |&(j, dj)| di * dj * covariance[(i, j)]))
            .sum()
    };
    let Some(all) = solution.covariance.as_ref() else { return Vec::new() };
    let compared = quantities.iter().map(|(by, value_of)| {
        let [one_variance, other_variance, all] =
            [&one.covariance, &other.covariance, all].map(|covariance| variance(by, covariance));
        let values = [value_of(&one.state), value_of(&other.state)];
        Compared { values, variances: [one_variance, other_variance], all }
    });
    compared.collect()
}

fn compare(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    fields: &[Figure],
    propagated: &Propagated,
    split: Split,
) -> Option<(Option<f64>, BTreeMap<Figure, f64>)> {
    let [one, other] = estimate_halves(solution, split)?.map(|half| {
        let value_of = Evaluation::new(settings, choices, &half.state, Shift(None)).run().recorded;
        let values = value_of.into_iter().collect::<BTreeMap<Figure, f64>>();
        let spread = &half.covariance * propagated.jacobian.transpose();
        (values, spread, half)
    });
    let whole = solution.covariance.as_ref()? * propagated.jacobian.transpose();
    let variance = |i: usize, spread: &nalgebra::DMatrix<f64>| {
        propagated.jacobian.row(i).transpose().dot(&spread.column(i))
    };
    let (mut sum, mut n, mut apart) = (0.0, 0, BTreeMap::new());
    for compared in datum_and_up(solution, &one.2, &other.2) {
        if compared.is_known() {
            sum += compared.squared();
            n += 1;
        }
    }
    for (i, field) in fields.iter().enumerate().filter(|(_, field)| is_checked(field)) {
        let (Some(a), Some(b)) = (one.0.get(field), other.0.get(field)) else { continue };
        let compared = Compared {
            values: [*a, *b],
            variances: [variance(i, &one.1), variance(i, &other.1)],
            all: variance(i, &whole),
        };
        if compared.is_known() {
            sum += compared.squared();
            n += 1;
            let [va, vb] = compared.variances;
            // Of a mean weighted by what either half knows: its standard uncertainty over that of
            // the difference.
            apart.insert(field.clone(), (a - b).abs() * (va * vb).sqrt() / (va + vb));
        }
    }
    Some(((n >= LEAST_FIGURES).then(|| (sum / n as f64).sqrt()), apart))
}
