//! Before against after: by how much each figure changed, how sure that is, and what became of the
//! plan.

use std::cmp::Ordering;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::difference::Difference;
use super::evening::Evening;
use super::outcome::{Decision, Unit};
use super::progress::{StepProgress, follow_steps};
use crate::bench::nuisance::Nuisance;
use crate::figure::facts::{ChainReference, WheelSource};
use crate::figure::member::Section;
use crate::figure::table::BudgetEntry;
use crate::figure::{Figure, Side};
use crate::finding::Finding;
use crate::measurement::{Measurement, Quality};

/// What stayed in place from one measurement to the other, so that its error is in both alike.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Kept {
    /// The same printed sheets: their scale.
    pub print: bool,
    /// The same tabs in the same places: how they sit.
    pub tabs: bool,
}

/// Two results compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Since {
    pub differences: Vec<Difference>,
    pub steps: Vec<StepProgress>,
    pub kept: Kept,
    /// The two results are of different bikes, by their names or by what was measured: nothing is
    /// taken as shared, and no step followed.
    #[serde(default)]
    pub other_bike: bool,
    pub findings: Vec<Finding>,
}

impl Since {
    /// The answer in one sentence: "Better: 2 of 3 are right now."
    pub fn headline(&self) -> String {
        if self.other_bike {
            return "Two different bikes: the one says nothing about what changed on the other."
                .to_owned();
        }
        better_or_worse(self)
    }
}

/// How many figures are right now, and whether that is better, by the figures that were judged both
/// times: one that could not be judged before has not become better.
fn better_or_worse(compared: &Since) -> String {
    if compared.differences.iter().all(|difference| difference.after.is_none()) {
        return "Nothing was measured in the later photos, so there is nothing to compare."
            .to_owned();
    }
    let after = |wanted: Decision| {
        compared.differences.iter().filter(|d| d.verdict_after == Some(wanted)).count()
    };
    let all = compared.differences.iter().filter(|d| d.verdict_after.is_some()).count();
    let both: Vec<(Decision, Decision)> = compared
        .differences
        .iter()
        .filter_map(|d| Some((d.verdict_before?, d.verdict_after?)))
        .collect();
    let count = |pick: fn(&(Decision, Decision)) -> Decision, wanted: Decision| {
        both.iter().filter(|pair| pick(pair) == wanted).count()
    };
    let (was, is) = (count(|pair| pair.0, Decision::In), count(|pair| pair.1, Decision::In));
    let (was_out, is_out) =
        (count(|pair| pair.0, Decision::Out), count(|pair| pair.1, Decision::Out));
    let changed = compared.differences.iter().any(|d| {
        d.changed == Some(true) && d.verdict_before.is_some() && d.verdict_after.is_some()
    });
    let word = match (is.cmp(&was), is_out.cmp(&was_out)) {
        // Surer photos decide what was open: that makes no bike better.
        (Ordering::Greater, _) if !changed => "No change that can be seen, but more is decided",
        (Ordering::Less, _) if !changed => "No change that can be seen, but less is decided",
        (Ordering::Greater, Ordering::Less | Ordering::Equal) => "Better",
        (Ordering::Greater, Ordering::Greater) => "Partly better, partly worse",
        (Ordering::Less, _) | (_, Ordering::Greater) => "Worse",
        _ => nearer_or_farther(compared),
    };
    let now = match (all, after(Decision::In)) {
        (0, _) => return format!("{word}: no figure was judged."),
        (all, right) if right == all => format!("all {all} are right now"),
        (all, 0) => format!("none of {all} is right yet"),
        (all, 1) => format!("1 of {all} is right now"),
        (all, right) => format!("{right} of {all} are right now"),
    };
    let before = match (both.len() == all, was.cmp(&is)) {
        _ if after(Decision::In) == all => String::new(),
        // Figures that were judged on one evening only can't be counted against each other.
        (false, _) if both.is_empty() => String::new(),
        (false, _) => {
            format!("; of {} judged both times {is} now, {was} before", both.len())
        }
        (true, Ordering::Equal) => ", as before".to_owned(),
        (true, _) => format!(", {was} before"),
    };
    format!("{word}: {now}{before}.")
}

/// Where as many are right as before: whether what is judged came nearer to its limit's middle.
fn nearer_or_farther(compared: &Since) -> &'static str {
    if !compared.differences.iter().any(|d| d.changed == Some(true)) {
        return "No change that can be seen";
    }
    let moved = compared
        .differences
        .iter()
        .filter(|d| d.changed == Some(true) && d.verdict_after.is_some())
        .filter_map(|d| {
            let (before, after) = (d.before.as_ref()?, d.after.as_ref()?);
            Some(after.value.abs() < before.value.abs())
        });
    let (mut nearer, mut farther) = (0, 0);
    moved.for_each(|is_nearer| if is_nearer { nearer += 1 } else { farther += 1 });
    match (nearer, farther) {
        (1.., 0) => "Nearer, but no more are right",
        (0, 1..) => "Farther off",
        (0, 0) => "What is judged has not changed",
        _ => "Partly nearer, partly farther",
    }
}

/// Why two results can't be compared.
#[derive(Debug, thiserror::Error)]
pub enum SinceError {
    #[error(
        "the two results don't measure the same thing: {what} is {before} before and {after} after. Compare results that were \
         measured alike, or measure one of the jobs again"
    )]
    DefinitionsDiffer { what: &'static str, before: String, after: String },
}

/// The finding that the two results are of different bikes.
const OTHER_BIKE: &str = "since-other-bike";
/// Between two measurements of one bike no rim grows wider by this, mm, and no chain's centres go
/// farther apart: adjusters don't reach so far.
const OTHER_RIM: f64 = 4.0;
const OTHER_CENTRES: f64 = 60.0;

/// What shows that two results are of two bikes though the jobs do not say so: the same mark
/// measured far apart.
fn other_by_measure(before: &Evening, after: &Evening) -> Option<String> {
    let far = |field: &Figure, least: f64| {
        let (was, is) = (before.figures.get(field)?, after.figures.get(field)?);
        let differs = (was.value - is.value).abs() > least + was.u + is.u;
        differs.then(|| {
            format!("{}: {:.0} mm before, {:.0} mm after", field.name(), was.value, is.value)
        })
    };
    let figures = before.figures.measured.table.figures();
    figures
        .filter(|field| matches!(field, Figure::RimWidth(_)))
        .find_map(|field| far(field, OTHER_RIM))
        .or_else(|| far(&Figure::ChainCentres, OTHER_CENTRES))
}

/// Compares two results.
pub fn since(before: &Evening, after: &Evening) -> Result<Since, SinceError> {
    refuse_other_definitions(before, after)?;
    let mut findings = Vec::new();
    let kept = what_was_kept(before, after, &mut findings);
    if !before.job_id.is_empty() && before.job_id == after.job_id {
        let advice = "Give the folders, results or archives of two different evenings.";
        findings.push(Finding::note(
            "since-same-inputs",
            "Both results come from the same photos and settings.",
            advice,
        ));
    }
    let differences = differences(before, after, kept);
    // What was planned for one bike has no meaning for another.
    let other_bike = findings.iter().any(|finding| finding.id == OTHER_BIKE);
    let steps = if other_bike { Vec::new() } else { follow_steps(before, after, &differences) };
    Ok(Since { differences, steps, kept, other_bike, findings })
}

/// Figures of the same name mean the same only where what defines them is the same. What one result
/// does not have is no difference: its figures are null there.
fn refuse_other_definitions(before: &Evening, after: &Evening) -> Result<(), SinceError> {
    let side = |side: Option<Side>| side.map(|side| side.word().to_owned());
    let always = |text: &str| Some(text.to_owned());
    let reference =
        |between: Option<ChainReference>| between.map(|between| between.word().to_owned());
    let (was, is) = (&before.figures.measured.facts, &after.figures.measured.facts);
    let pairs: [(&'static str, Option<String>, Option<String>); 6] = [
        ("the form of the result", always(&before.schema), always(&after.schema)),
        ("the pattern's version", always(&was.pattern_version), always(&is.pattern_version)),
        ("the chain's side", side(before.chain_side()), side(after.chain_side())),
        (
            "what the chain line is measured between",
            reference(was.chain_reference),
            reference(is.chain_reference),
        ),
        (
            "the distance from face to tooth centre",
            before.tooth_centres.clone(),
            after.tooth_centres.clone(),
        ),
        ("the side of the hub face", side(was.hub_side), side(is.hub_side)),
    ];
    for (what, before, after) in pairs {
        if let (Some(before), Some(after)) = (before, after)
            && before != after
        {
            return Err(SinceError::DefinitionsDiffer { what, before, after });
        }
    }
    Ok(())
}

/// Decides what both measurements share. Sheets and tabs are taken as kept where both results are
/// of the same bike and saw the same cards and tabs, and nothing measured speaks against it: the
/// print's scale and the rim's width at the mark, which no adjustment changes, must agree as
/// closely as kept sheets and tabs allow.
fn what_was_kept(before: &Evening, after: &Evening, findings: &mut Vec<Finding>) -> Kept {
    if let (Some(was), Some(is)) = (&before.bike, &after.bike)
        && was != is
    {
        findings.push(Finding::warning(
            OTHER_BIKE,
            format!("These are two bikes, {was} and {is}: nothing is taken as shared, and no step is followed."),
            "If it is one bike, give it the same name under [bike] in both jobs.",
        ));
        return Kept::default();
    }
    if let Some(how) = other_by_measure(before, after) {
        findings.push(Finding::warning(
            OTHER_BIKE,
            format!("These are two bikes, by what was measured ({how}): nothing is taken as shared, and no step is followed."),
            "Compare two measurements of one bike. If they are, a tab was read that was stuck in another place: look at the photos in both reports.",
        ));
        return Kept::default();
    }
    if before.bike != after.bike {
        findings.push(Finding::note(
            "since-bike-unnamed",
            "Only one of the two results names its bike: nothing is taken as shared.",
            "Give the bike the same name under [bike] in both jobs: differences are then more certain.",
        ));
        return Kept::default();
    }
    let scales_agree = [Figure::ScaleAlong, Figure::ScaleAcross].iter().all(|scale| {
        match (before.figures.get(scale), after.figures.get(scale)) {
            (Some(before), Some(after)) => {
                (before.value - after.value).abs() <= before.u.hypot(after.u)
            }
            _ => true,
        }
    });
    let print = !before.cards.is_empty()
        && before.cards == after.cards
        && before.print == after.print
        && scales_agree;
    let same_tabs = print && !before.tabs.is_empty() && before.tabs == after.tabs;
    let if_kept = Kept { print, tabs: true };
    let changed_width = same_tabs
        && before
            .figures
            .measured
            .table
            .figures()
            .filter(|field| matches!(field, Figure::RimWidth(_)))
            .any(|field| {
                let change = change_of(before, after, field, if_kept);
                change.is_some_and(|(change, _)| change.value.abs() > change.u)
            });
    if changed_width {
        let what = "The rim's width at the mark differs by more than unmoved tabs allow: the tabs are taken to have been stuck on again.";
        let advice = "Leave the tabs where they are until the last measurement of the evening: differences are then more certain.";
        findings.push(Finding::warning("since-tabs-moved", what, advice));
    }
    Kept { print, tabs: same_tabs && !changed_width }
}

/// Every figure that either result has, by its pointer.
fn differences(before: &Evening, after: &Evening, kept: Kept) -> Vec<Difference> {
    let (was, is) = (&before.figures.measured.table, &after.figures.measured.table);
    let mut fields: Vec<&Figure> = was.figures().chain(is.figures()).collect();
    fields.retain(|field| field.section() != Some(Section::Pattern));
    fields.sort_by_key(|field| field.pointer());
    fields.dedup();
    let compared = fields.into_iter().map(|field| {
        let change = change_of(before, after, field, kept);
        Difference {
            field: field.clone(),
            unit: field.unit(),
            before: before.figures.get(field),
            after: after.figures.get(field),
            change: change.map(|(change, _)| change),
            u_if_nothing_shared: change.map(|(_, unshared)| unshared),
            changed: change
                .filter(|(change, _)| change.quality == Quality::Good)
                .map(|(change, _)| change.value.abs() > change.u),
            verdict_before: before.verdict(field),
            verdict_after: after.verdict(field),
        }
    });
    compared
        .filter(|difference| difference.before.is_some() || difference.after.is_some())
        .collect()
}

/// The change of one figure, and the U it would have if nothing were shared.
///
/// Let the budgets give a contribution that both results share the (signed) sizes b and a in the
/// figure before and after. It is one error, so it enters the change as a - b; what is not shared
/// enters with the squares of both:   U^2 = sum (a - b)^2 + (U_before^2 - sum b^2) + (U_after^2 -
/// sum a^2),   sums over shared contributions. Assumed: a shared contribution is one error and not
/// the sum of several that weigh differently before and after; it keeps its sign, but for print
/// scale, whose sign is that of the figure's answer to scale, or of the value where that is not
/// known. [`shared_by`] names only contributions for which this holds. What a budget does not name
/// counts as not shared.
fn change_of(
    before: &Evening,
    after: &Evening,
    field: &Figure,
    kept: Kept,
) -> Option<(Measurement, f64)> {
    let (was, is) = (before.figures.get(field)?, after.figures.get(field)?);
    let unshared = was.u.hypot(is.u);
    let (mut shared, mut rest_before, mut rest_after) = (0.0, was.u * was.u, is.u * is.u);
    for entry in before.figures.budget.iter().filter(|entry| entry.field == *field) {
        let same = |other: &&BudgetEntry| other.field == *field && other.from == entry.from;
        let Some(other) = after.figures.budget.iter().find(same) else { continue };
        let Some(source) = shared_by(&entry.from, field, before, after) else { continue };
        let (is_kept, one_sign) = match source {
            SharedSource::Print => (kept.print, before.scale_sign(field) * after.scale_sign(field)),
            SharedSource::Tabs => (kept.tabs, 1.0),
        };
        if is_kept && entry.u.is_finite() && other.u.is_finite() {
            shared += (other.u - one_sign * entry.u).powi(2);
            rest_before -= entry.u * entry.u;
            rest_after -= other.u * other.u;
        }
    }
    let u = (shared + rest_before.max(0.0) + rest_after.max(0.0)).sqrt();
    let quality = if was.quality == Quality::Good && is.quality == Quality::Good {
        Quality::Good
    } else {
        Quality::Single
    };
    Some((Measurement { value: is.value - was.value, u, quality }, unshared))
}

/// What an error comes from that is the same in two measurements of one job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum SharedSource {
    Print,
    Tabs,
}

/// What the budget calls the error of a whole print's scale.
const PRINT_SCALE: &str = "print scale";

/// Whether a contribution of the budget is one error in both results, by its name.
///
/// The print's scale is, in lengths and in angles. How a tab sits on its face (its paper, its glue,
/// not lying flat, set sideways) moves a length along the axle by the same before and after; it
/// turns with the wheel or the sprocket in angles and in what is measured at the far end of an
/// angle, so that there it is counted in full. All else is made again for every measurement, or may
/// be: noise, the upright, the cord, lines and flags, how single sheets lie, the rim's run-out.
fn shared_by(
    from: &str,
    field: &Figure,
    before: &Evening,
    after: &Evening,
) -> Option<SharedSource> {
    if from == PRINT_SCALE {
        return Some(SharedSource::Print);
    }
    let of_tabs =
        [Nuisance::Paper(0), Nuisance::Flat(0), Nuisance::Sideways(0, 0)].map(Nuisance::source);
    if !of_tabs.contains(&from) || field.unit() == Unit::Deg {
        return None;
    }
    let from_axis = [before, after]
        .iter()
        .all(|result| result.figures.measured.facts.wheel_source == Some(WheelSource::Axis));
    match field {
        Figure::ChainAtRear | Figure::ChainCentres => None,
        // Without an axis the rear plane is that of three tabs, carried half a metre further on.
        Figure::ChainAtGearbox if !from_axis => None,
        _ => Some(SharedSource::Tabs),
    }
}
