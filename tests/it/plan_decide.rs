//! What an undecided verdict says would decide it: where its uncertainty comes from, which photo
//! helps, or a looser tolerance.

use crate::common::solving::solved;
use crate::common::{SightingKnobs, TruthScene};
use sightcord::bench::advice::advise;
use sightcord::bench::from_job::bench_settings;
use sightcord::figure::Figure;
use sightcord::job::Job;
use sightcord::measurement::Quality;
use sightcord::plan::outcome::{Decision, Outcome, Verdict};
use sightcord::plan::{PlanSettings, name_photos, plan};

/// Few photos of a straight bike, the wheel's offset on the edge of what the job allows: verdicts
/// stay open.
fn open() -> (Outcome, Vec<sightcord::finding::Finding>) {
    let mut truth = TruthScene::default();
    for setup in &mut truth.setups {
        setup.photos = [0, 3, 5, 8].map(|photo| setup.photos[photo].clone()).into();
    }
    let text = "schema = \"sightcord-job/1\"\n[print]\nmeasured_along_mm = 250.0\nmeasured_across_mm = 160.0\n\
                [[tolerance]]\nfield = \"/wheel/yaw\"\ndeg = 0.305\nsource = \"test\"\n\
                [[tolerance]]\nfield = \"/chain/offset_at_gearbox\"\nmm = 1.05\nsource = \"test\"\n";
    let job = Job::parse(text).expect("a job");
    // Blurred photos: what they show is then the largest part of most uncertainties.
    let blurred = SightingKnobs { corner_sigma_px: 0.2, ..SightingKnobs::default() };
    let (solution, figures) = solved(&truth, &blurred, &job).expect("a scene");
    let mut outcome = plan(&figures, &PlanSettings::from(&job));
    let setups: Vec<String> = truth.setups.iter().map(|setup| setup.name.clone()).collect();
    let asked: Vec<(Figure, f64)> = outcome
        .verdicts
        .iter()
        .filter_map(|verdict| Some((verdict.field.clone(), verdict.value?.u)))
        .collect();
    let fields: Vec<Figure> = asked.iter().map(|(field, _)| field.clone()).collect();
    let u_of = |field: &Figure| asked.iter().find(|(known, _)| known == field).map(|(_, u)| *u);
    let raised = sightcord::bench::measure::noise_raised(figures.crosscheck_ratio);
    let advice =
        advise(&solution, &bench_settings(&job, &setups, &[false, false]), &fields, &u_of, raised);
    let findings = name_photos(&mut outcome, &advice);
    (outcome, findings)
}

#[test]
fn an_undecided_verdict_names_its_source_and_the_photo_that_helps() {
    let (outcome, findings) = open();
    // A figure seen once only needs another photo of the same place, and says so in words of its
    // own.
    let judged =
        |verdict: &&Verdict| verdict.value.is_some_and(|figure| figure.quality == Quality::Good);
    let undecided: Vec<_> = outcome
        .verdicts
        .iter()
        .filter(|v| v.verdict == Decision::Undecided)
        .filter(judged)
        .collect();
    let told: Vec<String> = undecided
        .iter()
        .map(|v| format!("{}: {}", v.field, v.decide.as_deref().unwrap_or("nothing")))
        .collect();
    assert!(undecided.len() >= 2, "{:#?}", outcome.verdicts);
    for words in &told {
        assert!(
            words.contains("A limit of ") && words.contains("Most of the ± comes from"),
            "{words}"
        );
        assert!(
            words.contains("stand on the") || words.contains("One more photo would hardly help"),
            "{words}"
        );
    }
    assert!(
        told.iter().any(|words| words.contains("stand on the") && words.contains("brings it to")),
        "{told:#?}"
    );
    // What a verdict says is not said again.
    for finding in &findings {
        assert_eq!(finding.id, "photo-would-help");
        assert!(
            undecided.iter().all(|verdict| Some(verdict.field.pointer()) != finding.field),
            "{finding:?}"
        );
    }
}

#[test]
fn a_verdict_that_is_clear_is_left_as_it_is() {
    let (outcome, _) = open();
    let decided = outcome.verdicts.iter().filter(|verdict| verdict.verdict != Decision::Undecided);
    assert!(decided.into_iter().all(|verdict| verdict.decide.is_none()));
}
