//! Before against after: what is shared counts once, what is not counts twice, and what became of
//! each step of the plan.

use std::collections::BTreeSet;

use crate::plan::bike::{Bike, change};
use approx::assert_abs_diff_eq;
use sightcord::bench::Figures;
use sightcord::figure::facts::ChainReference;
use sightcord::figure::table::BudgetEntry;
use sightcord::figure::{Figure, Side};
use sightcord::job::SpacerKind;
use sightcord::measurement::{Measurement, Quality};
use sightcord::plan::difference::Seen;
use sightcord::plan::evening::Evening;
use sightcord::plan::outcome::Decision;
use sightcord::plan::progress::Progress;
use sightcord::plan::since::{SinceError, since};
use sightcord::plan::{PlanSettings, plan};
use sightcord::report::text;
use sightcord::text::units::Show;

fn settings() -> PlanSettings {
    PlanSettings {
        spacing_mm: Some(210.0),
        pack: Some(SpacerKind::Hub),
        print_measured: true,
        ..PlanSettings::default()
    }
}

fn crooked(chain_side: Side) -> Bike {
    let mut bike = Bike::straight(chain_side);
    bike.skew_wheel(0.8);
    bike.hub_along += 4.0;
    bike.rim_along += 5.0;
    bike.frame_offset = 3.0;
    bike
}

/// A result as far as a comparison reads it.
fn result(input: &Figures, settings: &PlanSettings) -> Evening {
    let outcome = plan(input, settings);
    let mut figures = input.clone();
    figures.measured.facts.pattern_version = "1".to_owned();
    figures.set(
        Figure::ScaleAlong,
        Some(Measurement { value: 1.0, u: 0.003, quality: Quality::Good }),
    );
    Evening {
        schema: "sightcord-result/1".to_owned(),
        job_id: "a1".to_owned(),
        bike: Some("Grass-track twin".to_owned()),
        cards: BTreeSet::from([1, 2, 3]),
        tabs: BTreeSet::from([1, 2, 5, 6, 7, 8, 9, 10]),
        job_chain_side: input.measured.facts.chain_side,
        figures,
        plan: outcome.plan,
        verdicts: outcome.verdicts,
        ..Evening::default()
    }
}

/// The U of every rim offset made up of 0.06 mm of photos, 0.09 mm of print scale and 0.12 mm of
/// how the tabs sit.
fn with_budget(mut input: Figures, scale: f64) -> Figures {
    let parts = [("photos", 0.06), ("print scale", scale), ("tabs not lying flat", 0.12)];
    for rim in input.measured.rims() {
        let field = Figure::RimOffset(rim.at);
        change(&mut input, field.clone(), |rim| {
            rim.u = parts.iter().map(|(_, u)| u * u).sum::<f64>().sqrt()
        });
        input.budget.extend(parts.map(|(from, u)| BudgetEntry {
            field: field.clone(),
            from: from.to_owned(),
            u,
        }));
    }
    input
}

#[test]
fn shared_terms_are_counted_once() {
    let bike = crooked(Side::Left);
    let before = result(&with_budget(bike.measured(0.1, 0.01), 0.09), &settings());
    let mut moved = bike.clone();
    moved.rim_along -= 1.0;
    let after = result(&with_budget(moved.measured(0.1, 0.01), 0.08), &settings());
    let compared = since(&before, &after).unwrap();
    assert!(compared.kept.print && compared.kept.tabs);
    let rim = compared
        .differences
        .iter()
        .find(|difference| difference.field == "/rim/1-mark-forward/left/offset")
        .unwrap();
    let change = rim.change.unwrap();
    // Photos twice; of the print's scale only by how much it differs; of the tabs nothing.
    assert_abs_diff_eq!(
        change.u,
        (2.0 * 0.06f64.powi(2) + 0.01f64.powi(2)).sqrt(),
        epsilon = 1e-12
    );
    let alone = |scale: f64| 0.06f64.powi(2) + scale * scale + 0.12f64.powi(2);
    assert_abs_diff_eq!(
        rim.u_if_nothing_shared.unwrap(),
        (alone(0.09) + alone(0.08)).sqrt(),
        epsilon = 1e-12
    );
    assert_abs_diff_eq!(change.value, -0.9999, epsilon = 2e-4);
    assert_eq!(rim.changed, Some(true));
    // What the budget does not explain counts in full.
    let width =
        compared.differences.iter().find(|difference| difference.field == "/wheel/offset").unwrap();
    assert_abs_diff_eq!(width.change.unwrap().u, 0.1 * 2f64.sqrt(), epsilon = 1e-12);
}

#[test]
fn a_figure_that_changed_sides_shares_scale_with_the_other_sign() {
    let mut bike = Bike::straight(Side::Left);
    bike.gearbox[1] += 6.0;
    let with_scale = |bike: &Bike| {
        let mut input = bike.measured(0.1, 0.01);
        let field = Figure::ChainAtGearbox;
        input.budget.push(BudgetEntry { field, from: "print scale".to_owned(), u: 0.018 });
        result(&input, &settings())
    };
    let before = with_scale(&bike);
    bike.gearbox[1] -= 12.0;
    let compared = since(&before, &with_scale(&bike)).unwrap();
    let line = compared
        .differences
        .iter()
        .find(|difference| difference.field == "/chain/offset_at_gearbox")
        .unwrap();
    let rest: f64 = 0.01 - 0.018f64.powi(2);
    assert_abs_diff_eq!(
        line.change.unwrap().u,
        (0.036f64.powi(2) + 2.0 * rest).sqrt(),
        epsilon = 1e-12
    );
}

#[test]
fn other_cards_other_tabs_or_another_bike_share_nothing() {
    let input = with_budget(crooked(Side::Left).measured(0.1, 0.01), 0.09);
    let before = result(&input, &settings());
    let kept_with = |change: &dyn Fn(&mut Evening)| {
        let mut after = before.clone();
        after.job_id = "b2".to_owned();
        change(&mut after);
        let compared = since(&before, &after).unwrap();
        let rim = compared
            .differences
            .into_iter()
            .find(|difference| matches!(&difference.field, Figure::RimOffset(at) if at.side == Side::Left))
            .unwrap();
        (
            compared.kept.print,
            compared.kept.tabs,
            rim.change.unwrap().u < 0.99 * rim.u_if_nothing_shared.unwrap(),
        )
    };
    assert_eq!(kept_with(&|_| {}), (true, true, true));
    assert_eq!(kept_with(&|after| after.cards = BTreeSet::from([1, 2, 4])), (false, false, false));
    assert_eq!(kept_with(&|after| after.tabs = BTreeSet::from([1])), (true, false, true));
    assert_eq!(
        kept_with(&|after| after.bike = Some("Hill-climber".to_owned())),
        (false, false, false)
    );
    assert_eq!(kept_with(&|after| change_scale(after)), (false, false, false));
    assert_eq!(
        kept_with(&|after| (after.cards, after.tabs) = Default::default()),
        (false, false, false)
    );
}

#[test]
fn a_rim_that_grew_wider_gives_moved_tabs_away() {
    let width = |value: f64| {
        let mut input = with_budget(crooked(Side::Left).measured(0.1, 0.01), 0.09);
        let field = Figure::RimWidth("1-mark-forward".to_owned());
        input.set(field.clone(), Some(Measurement { value, u: 0.2, quality: Quality::Good }));
        input.budget.push(BudgetEntry { field, from: "tabs not lying flat".to_owned(), u: 0.19 });
        result(&input, &settings())
    };
    assert!(since(&width(60.0), &width(60.05)).unwrap().kept.tabs);
    // 0.15 mm is inside the U of two measurements on their own, and outside that of kept tabs.
    let moved = since(&width(60.0), &width(60.15)).unwrap();
    assert!(!moved.kept.tabs && moved.kept.print);
    assert!(moved.findings.iter().any(|finding| finding.id == "since-tabs-moved"));
}

/// A print that came out 2 % larger.
fn change_scale(evening: &mut Evening) {
    change(&mut evening.figures, Figure::ScaleAlong, |scale| scale.value = 1.02);
}

#[test]
fn results_that_measure_different_things_are_refused() {
    let before = result(&crooked(Side::Left).measured(0.1, 0.01), &settings());
    let others: [(&str, fn(&mut Evening)); 5] = [
        ("the form of the result", |other| other.schema = "sightcord-result/2".to_owned()),
        ("the pattern's version", |other| {
            other.figures.measured.facts.pattern_version = "2".to_owned()
        }),
        ("the chain's side", |other| other.figures.measured.facts.chain_side = Some(Side::Right)),
        ("what the chain line is measured between", |other| {
            other.figures.measured.facts.chain_reference = Some(ChainReference::ToothCentres);
        }),
        ("the side of the hub face", |other| {
            other.figures.measured.facts.hub_side = Some(Side::Left)
        }),
    ];
    for (named, other) in others {
        let mut after = before.clone();
        other(&mut after);
        let refusal = since(&before, &after).unwrap_err();
        assert!(
            matches!(refusal, SinceError::DefinitionsDiffer { what, .. } if what == named),
            "{named}: {refusal}"
        );
        assert!(refusal.to_string().contains("before and"), "{refusal}");
    }
    let between_teeth = |distances: &str| {
        let mut evening = before.clone();
        evening.figures.measured.facts.chain_reference = Some(ChainReference::ToothCentres);
        evening.tooth_centres = Some(distances.to_owned());
        evening
    };
    assert!(since(&between_teeth("3.5 mm"), &between_teeth("3.5 mm")).is_ok());
    let refusal = since(&between_teeth("3.5 mm"), &between_teeth("4.5 mm")).unwrap_err();
    assert!(refusal.to_string().contains("3.5 mm"), "{refusal}");
}

#[test]
fn each_step_is_reported_as_done_partly_done_or_gone_the_wrong_way() {
    for chain_side in [Side::Left, Side::Right] {
        for pack in [SpacerKind::Hub, SpacerKind::Sprocket, SpacerKind::Gearbox] {
            for face_seen in [true, false] {
                for (share, progress) in [
                    (1.0, Progress::Done),
                    (0.5, Progress::Partly),
                    (0.0, Progress::NotDone),
                    (-1.0, Progress::WrongWay),
                    (1.6, Progress::TooFar),
                ] {
                    let mut bike = crooked(chain_side);
                    bike.face_seen = face_seen;
                    let settings = PlanSettings { pack: Some(pack), ..settings() };
                    let input = bike.measured(0.06, 0.006);
                    let before = result(&input, &settings);
                    let steps = plan(&input, &settings).plan;
                    assert_eq!(steps.len(), 4);
                    for step in &steps[1..] {
                        let mut carried = step.clone();
                        carried.distance.as_mut().unwrap().value *= share;
                        bike.carry_out(&carried, &settings);
                    }
                    let compared =
                        since(&before, &result(&bike.measured(0.06, 0.006), &settings)).unwrap();
                    let found: Vec<Progress> =
                        compared.steps.iter().map(|step| step.progress).collect();
                    let context = format!("{chain_side:?} {pack:?} {share} {:?}", compared.steps);
                    assert_eq!(
                        found,
                        [Progress::NotDone, progress, progress, progress],
                        "{context}"
                    );
                }
            }
        }
    }
}

#[test]
fn a_step_whose_figures_are_too_vague_is_not_called_done() {
    let mut bike = crooked(Side::Left);
    let before = result(&bike.measured(0.1, 0.01), &settings());
    let steps = plan(&bike.measured(0.1, 0.01), &settings()).plan;
    for step in &steps {
        bike.carry_out(step, &settings());
    }
    let vague = since(&before, &result(&bike.measured(20.0, 5.0), &settings())).unwrap();
    assert!(
        vague.steps.iter().all(|step| step.progress == Progress::NotShown),
        "{:?}",
        vague.steps
    );
    let mut gone = result(&bike.measured(0.1, 0.01), &settings());
    for (figure, _) in before.figures.measured.table.measured() {
        gone.figures.set(figure.clone(), None);
    }
    let unmeasured = since(&before, &gone).unwrap();
    assert!(
        unmeasured
            .steps
            .iter()
            .all(|step| step.progress == Progress::NotShown && step.found.is_none())
    );
}

#[test]
fn the_same_result_twice_shows_no_change_and_says_so() {
    let before = result(&crooked(Side::Left).measured(0.1, 0.01), &settings());
    let compared = since(&before, &before).unwrap();
    assert!(compared.differences.iter().all(|difference| difference.changed != Some(true)));
    assert!(compared.findings.iter().any(|finding| finding.id == "since-same-inputs"));
}

/// The comparison as it is printed, without styles.
fn printed(before: &Evening, after: &Evening) -> String {
    let text = text::since(&since(before, after).unwrap(), Show::Mm);
    anstream::adapter::strip_str(&text)
        .to_string()
        .replace('\n', " ")
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

#[test]
fn the_answer_comes_first_in_plain_words() {
    let settings = settings();
    for (share, first, step) in [
        (1.0, "Better: ", "is done: "),
        (0.5, "", " moved "),
        (0.0, "No change that can be seen: ", "is not done yet."),
        (-1.0, "", "went the wrong way, by "),
        (1.6, "", "went too far: "),
    ] {
        let mut bike = crooked(Side::Left);
        let input = bike.measured(0.06, 0.006);
        let before = result(&input, &settings);
        for step in &plan(&input, &settings).plan {
            let mut carried = step.clone();
            if step.n > 1 {
                carried.distance.as_mut().unwrap().value *= share;
            }
            // The first step hangs the frame anew: the whole of it, or not at all.
            if step.n > 1 || share == 1.0 {
                bike.carry_out(&carried, &settings);
            }
        }
        let told = printed(&before, &result(&bike.measured(0.06, 0.006), &settings));
        assert!(told.starts_with(first) && told.contains(step), "{share}: {told}");
        let answer = told.find("Step 2").unwrap_or_else(|| panic!("{told}"));
        assert!(answer < told.find("Before -> after").unwrap(), "{told}");
        assert_eq!(told.contains("Still out: "), share != 1.0, "{told}");
    }
}

#[test]
fn two_bikes_are_noticed_by_their_names_or_by_what_was_measured() {
    let before = result(&crooked(Side::Left).measured(0.1, 0.01), &settings());
    let mut named = before.clone();
    named.bike = Some("Another twin".to_owned());
    let mut measured = before.clone();
    let centres = before.figures.get(&Figure::ChainCentres).expect("centres");
    measured
        .figures
        .set(Figure::ChainCentres, Some(Measurement { value: centres.value + 90.0, ..centres }));
    for (after, words) in
        [(named, "Grass-track twin and Another twin"), (measured, "by what was measured")]
    {
        let compared = since(&before, &after).unwrap();
        assert!(
            compared.other_bike && compared.steps.is_empty() && compared.kept == Default::default()
        );
        let told = printed(&before, &after);
        assert!(told.starts_with("Two different bikes") && told.contains(words), "{told}");
    }
    // A bike whose name was given later is the same one.
    let mut unnamed = before.clone();
    unnamed.bike = None;
    assert!(!since(&unnamed, &before).unwrap().other_bike);
    // Adjusters move the wheel by some centimetres.
    let mut drawn = before.clone();
    drawn
        .figures
        .set(Figure::ChainCentres, Some(Measurement { value: centres.value + 30.0, ..centres }));
    assert!(!since(&before, &drawn).unwrap().other_bike);
}

/// Nothing may sound as if it had stayed where the photos show that it moved.
#[test]
fn a_change_without_a_trustworthy_uncertainty_is_reported_and_never_called_the_same() {
    let mut bike = crooked(Side::Left);
    let before = result(&bike.measured(0.1, 0.01), &settings());
    bike.frame_offset -= 2.5;
    let mut input = bike.measured(0.1, 0.01);
    change(&mut input, Figure::FrameOffset, |frame| frame.quality = Quality::Single);
    let after = result(&input, &settings());
    let compared = since(&before, &after).unwrap();
    let of = |field: Figure| compared.differences.iter().find(|d| d.field == field).unwrap();
    assert_eq!(of(Figure::FrameOffset).seen(), Some(Seen::CantSay));
    assert_eq!(of(Figure::ChainCentres).seen(), Some(Seen::Alike));
    let told = printed(&before, &after);
    assert!(told.contains("-2.50 ± 0.15 mm can't say"), "{told}");
    assert!(told.contains("can't say: before or after, it was seen in one photo"), "{told}");
    // The first step is to hang the frame: what moved of it is there, too.
    assert!(
        told.contains(
            "Step 1: 2.5 mm of it is seen, but can't be vouched for: the frame's offset was not seen well enough"
        ),
        "{told}"
    );
    assert!(!told.contains("show nothing"), "{told}");
    // One that is gone is named.
    let mut gone = after.clone();
    gone.figures.set(Figure::FrameOffset, None);
    let told = printed(&before, &gone);
    assert!(
        told.contains("Step 1: can't say, for the frame's offset was not measured both times."),
        "{told}"
    );
}

#[test]
fn better_is_said_only_where_more_is_right_than_before() {
    let before = result(&crooked(Side::Left).measured(0.1, 0.01), &settings());
    let first = |after: &Evening| {
        let told = printed(&before, after);
        told.split(". ").next().unwrap_or_default().to_owned()
    };
    let n_in = |evening: &Evening| {
        evening.verdicts.iter().filter(|verdict| verdict.verdict == Decision::In).count()
    };
    // What was out is now too poorly known to say so: no more is right than before.
    let mut vaguer = before.clone();
    for verdict in &mut vaguer.verdicts {
        if verdict.verdict == Decision::Out {
            verdict.verdict = Decision::Undecided;
        }
    }
    assert!(
        first(&vaguer).starts_with("No change that can be seen: ")
            && first(&vaguer).ends_with(", as before"),
        "{}",
        first(&vaguer)
    );
    // Surer photos decide more of the same bike.
    let mut surer = before.clone();
    for verdict in &mut surer.verdicts {
        verdict.verdict = Decision::In;
    }
    assert!(first(&surer).starts_with("No change that can be seen, but more is decided: all "));
    // A rim that came a little nearer is no better yet.
    let mut nearer = crooked(Side::Left);
    nearer.rim_along -= 1.0;
    let nearer = result(&nearer.measured(0.1, 0.01), &settings());
    assert_eq!(n_in(&nearer), n_in(&before));
    assert!(first(&nearer).starts_with("Nearer, but no more are right: "), "{}", first(&nearer));
    assert!(first(&nearer).ends_with(", as before"), "{}", first(&nearer));
    // The whole plan done is better, and the number before is given with it.
    let mut done = crooked(Side::Left);
    for step in &before.plan {
        done.carry_out(step, &settings());
    }
    let done = result(&done.measured(0.02, 0.002), &settings());
    assert!(
        first(&done).starts_with("Better: ")
            && (first(&done).ends_with(&format!("{} before", n_in(&before)))
                || first(&done).ends_with("are right now")),
        "{}",
        first(&done)
    );
    // A figure that was judged on one evening only has not become better.
    let mut fewer = before.clone();
    fewer.verdicts.retain(|verdict| verdict.verdict == Decision::Out);
    let told = printed(&fewer, &before);
    assert!(!told.starts_with("Better") && told.contains("judged both times"), "{told}");
}
