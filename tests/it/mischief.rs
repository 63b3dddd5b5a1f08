//! Bad, degenerate and deceptive input: each is either measured right within U, or refused or
//! flagged with a reason. From synthetic sightings, without pixels.

use crate::common::compare::assert_honest;
use crate::common::geometry::V3;
use crate::common::random::Random;
use crate::common::scene::TabError;
use crate::common::solving::{by_pointer, scene_photos, solved};
use crate::common::{Budget, SightingKnobs, TruthScene, Viewpoint};
use sightcord::bench::Figures;
use sightcord::bench::from_job::{bench_settings, scene_settings};
use sightcord::cards::Pattern;
use sightcord::figure::Figure;
use sightcord::figure::part::Letter;
use sightcord::job::{Job, TabRole};
use sightcord::scene::{self, ScenePhoto};
use sightcord::sightings::StringKind;
use sightcord::text::units::Show;

fn knobs() -> SightingKnobs {
    SightingKnobs::default()
}

/// Figures after `spoil` had its way with the sightings.
fn spoiled(truth: &TruthScene, spoil: impl Fn(&mut ScenePhoto)) -> Option<Figures> {
    let (mut photos, setups, lens_only) = scene_photos(truth, &knobs());
    photos.iter_mut().for_each(spoil);
    figures_of_photos(&photos, &setups, &lens_only)
}

/// Figures where no photo shows these tabs.
fn figures_without(truth: &TruthScene, hidden: &[u8]) -> Figures {
    let is_hidden =
        |pattern: Pattern| matches!(pattern, Pattern::Tab(number) if hidden.contains(&number));
    spoiled(truth, |photo| photo.sightings.patterns.retain(|seen| !is_hidden(seen.pattern)))
        .expect("a scene")
}

/// Figures with the findings of scene and bench.
fn figures_of_photos(
    photos: &[ScenePhoto],
    setups: &[String],
    lens_only: &[bool],
) -> Option<Figures> {
    let job = Job::default();
    let solution = scene::solve(photos, &scene_settings(&job, setups))?;
    let mut figures =
        sightcord::bench::measure(&solution, &bench_settings(&job, setups, lens_only));
    figures.findings.extend(solution.findings);
    Some(figures)
}

fn figures_of(truth: &TruthScene) -> Figures {
    let (solution, mut figures) = solved(truth, &knobs(), &Job::default()).expect("a scene");
    figures.findings.extend(solution.findings);
    figures
}

fn has(figures: &Figures, id: &str) -> bool {
    figures.findings.iter().any(|finding| finding.id == id)
}

fn ids(figures: &Figures) -> Vec<&str> {
    figures.findings.iter().map(|finding| finding.id.as_str()).collect()
}

#[test]
fn one_setup_gives_offsets_but_no_lean_and_says_why() {
    let mut truth = TruthScene::full();
    truth.setups.truncate(1);
    let figures = figures_of(&truth);
    assert!(figures.measured.rims().iter().any(|rim| rim.offset.is_some()));
    assert!(figures.get(&Figure::WheelLean).is_none());
    assert!(has(&figures, "one-setup") && has(&figures, "no-wheel-axis"), "{:?}", ids(&figures));
    assert_honest(&figures, &truth, 1.5);
}

#[test]
fn a_rim_tab_on_one_side_only_leaves_the_other_side_null_with_its_name() {
    let mut truth = TruthScene::full();
    truth.missing_tabs.insert(2);
    let figures = figures_of(&truth);
    let missing = figures.findings.iter().find(|f| f.id == "rim-tab-not-seen").expect("a finding");
    assert!(missing.field.as_deref().is_some_and(|field| field.contains("right")), "{missing:?}");
    assert!(
        figures
            .measured
            .rims()
            .iter()
            .all(|rim| rim.offset.is_some() == (rim.at.side == sightcord::job::Side::Left))
    );
    assert_honest(&figures, &truth, 1.5);
}

#[test]
fn without_a_cord_nothing_is_measured_from_it() {
    let truth = TruthScene::full();
    let figures =
        spoiled(&truth, |photo| photo.sightings.lines.retain(|line| line.kind != StringKind::Cord))
            .expect("a scene");
    assert!(has(&figures, "cord-not-seen"), "{:?}", ids(&figures));
    assert!(
        figures.measured.rims().iter().all(|rim| rim.offset.is_none())
            && figures.get(&Figure::WheelOffset).is_none()
    );
    // Up comes from plumb lines and cards all the same, and with it how level the bench is.
    assert!(figures.get(&Figure::LevelAcross).is_some());
    assert_honest(&figures, &truth, 1.0);
}

#[test]
fn tabs_1_and_2_swapped_are_noticed_by_the_gearbox_behind_the_wheel() {
    let mut truth = TruthScene::full();
    truth.swapped_tabs.insert(1, 2);
    truth.swapped_tabs.insert(2, 1);
    // Tabs 33 to 38 would give the swap away as well.
    truth.missing_tabs.extend(33..=38);
    let figures = figures_of(&truth);
    assert!(has(&figures, "sides-swapped"), "{:?}", ids(&figures));
    assert!(figures.measured.rims().iter().all(|rim| rim.offset.is_none()));
}

#[test]
fn swapped_rim_tabs_contradict_the_tabs_round_the_rim() {
    let mut truth = TruthScene::full();
    truth.swapped_tabs.insert(1, 2);
    truth.swapped_tabs.insert(2, 1);
    let figures = figures_of(&truth);
    assert!(
        has(&figures, "sides-contradict") || has(&figures, "sides-swapped"),
        "{:?}",
        ids(&figures)
    );
    assert!(figures.get(&Figure::WheelOffset).is_none());
}

#[test]
fn a_card_that_lies_there_twice_is_left_out_and_the_rest_measured() {
    let truth = TruthScene::full();
    let figures = spoiled(&truth, |photo| {
        let twin = photo.sightings.patterns.iter().find(|p| p.pattern == Pattern::Card(2)).cloned();
        if let Some(mut twin) = twin {
            twin.corners.iter_mut().for_each(|corner| corner.at[1] += 400.0);
            photo.sightings.patterns.push(twin);
        }
    })
    .expect("a scene");
    assert!(figures.get(&Figure::WheelOffset).is_some());
    assert_honest(&figures, &truth, 1.5);
}

#[test]
fn a_card_moved_between_setups_is_recognised() {
    let mut truth = TruthScene::full();
    truth.setups[1].moved_cards.insert(3, [6.0, -4.0, 2.0]);
    let figures = figures_of(&truth);
    assert!(has(&figures, "card-moved"), "{:?}", ids(&figures));
    assert_honest(&figures, &truth, 1.5);
}

#[test]
fn a_cord_knocked_between_setups_is_noticed() {
    let mut truth = TruthScene::full();
    truth.setups[1].cord_moved_mm = [1.8, 1.2];
    let figures = figures_of(&truth);
    assert!(has(&figures, "cord-moved"), "{:?}", ids(&figures));
    assert_honest(&figures, &truth, 1.5);
}

#[test]
fn two_photos_of_the_other_setup_are_found_out() {
    let mut truth = TruthScene::full();
    truth.setups[0].photos[1].really_in_setup = Some(1);
    truth.setups[0].photos[6].really_in_setup = Some(1);
    let figures = figures_of(&truth);
    assert!(
        has(&figures, "photo-of-other-setup") || has(&figures, "sighting-left-out"),
        "{:?}",
        ids(&figures)
    );
    assert_honest(&figures, &truth, 1.5);
}

/// Two of three tabs tell neither the sprocket's centre nor its tilt well: no figure may come out
/// surer than with three.
#[test]
fn a_missing_gearbox_tab_makes_the_chain_less_sure() {
    let mut truth = TruthScene::full();
    let complete = figures_of(&truth);
    truth.missing_tabs.insert(6);
    let figures = figures_of(&truth);
    assert!(
        has(&figures, "few-gearbox-tabs") && !has(&complete, "few-gearbox-tabs"),
        "{:?}",
        ids(&figures)
    );
    let u = |figures: &Figures| {
        [Figure::ChainYaw, Figure::ChainLean, Figure::ChainCentres, Figure::ChainAtGearbox]
            .map(|figure| figures.get(&figure).expect("a figure").u)
    };
    let (fewer, all) = (u(&figures), u(&complete));
    assert!(fewer.iter().zip(&all).all(|(fewer, all)| fewer > all), "{fewer:?} {all:?}");
    assert_honest(&figures, &truth, 1.0);
}

/// Without a wheel axis the rear sprocket's centre is the middle of its tabs, which for one or two
/// of them lies far off it: that is in the uncertainty.
#[test]
fn without_an_axis_few_tabs_on_the_rear_sprocket_make_the_chain_less_sure() {
    let mut truth = TruthScene::full();
    let first = truth.setups[0].name.clone();
    truth.setups.retain(|setup| setup.name == first);
    for hidden in [&[][..], &[9], &[9, 10], &[8, 9]] {
        let figures = figures_without(&truth, hidden);
        assert!(has(&figures, "no-wheel-axis"), "{hidden:?}: {:?}", ids(&figures));
        assert!(figures.get(&Figure::ChainCentres).is_some(), "{hidden:?}");
        assert!(truth.expected().contains_key("/chain/centres"), "its truth is known");
        assert_honest(&figures, &truth, 1.0);
    }
}

/// Figures where each flag is read in one photo alone, in which it seems a third of a percent
/// nearer than it is, and some of the photos that show the plumb line show a tube in its place.
fn with_a_tube_followed(truth: &TruthScene, in_these: impl Fn(usize) -> bool) -> Figures {
    let (photos, ..) = scene_photos(truth, &knobs());
    let first_with = |flag: Pattern| {
        photos
            .iter()
            .find(|p| p.sightings.patterns.iter().any(|s| s.pattern == flag))
            .expect("a photo of the flag")
            .file
            .clone()
    };
    let (with_21, with_22) = (first_with(Pattern::Tab(21)), first_with(Pattern::Tab(22)));
    let of_line: Vec<&str> =
        photos.iter().filter(|p| shows_plumb_line(p)).map(|p| p.file.as_str()).collect();
    let figures = spoiled(truth, |photo| {
        photo.sightings.patterns.retain(|sighting| match sighting.pattern {
            Pattern::Tab(21) => photo.file == with_21,
            Pattern::Tab(22) => photo.file == with_22,
            _ => true,
        });
        for flag in photo
            .sightings
            .patterns
            .iter_mut()
            .filter(|s| matches!(s.pattern, Pattern::Tab(21..23)))
        {
            let n = flag.corners.len() as f64;
            let middle = [0, 1].map(|i| flag.corners.iter().map(|c| c.at[i]).sum::<f64>() / n);
            for corner in &mut flag.corners {
                corner.at = [0, 1].map(|i| middle[i] + 1.003 * (corner.at[i] - middle[i]));
            }
        }
        if of_line.iter().position(|file| *file == photo.file).is_some_and(&in_these) {
            let lines =
                photo.sightings.lines.iter_mut().filter(|line| line.kind != StringKind::Cord);
            let points = lines.flat_map(|line| &mut line.points);
            points.for_each(|point| point.at = [0, 1].map(|i| point.at[i] + 6.0 * point.normal[i]));
        }
    });
    figures.expect("a scene")
}

fn shows_plumb_line(photo: &ScenePhoto) -> bool {
    photo.sightings.lines.iter().any(|line| line.kind != StringKind::Cord)
}

/// The default walk, and photos of the plumb line from seven places before it.
fn with_photos_of_the_line() -> TruthScene {
    let mut truth = TruthScene::default();
    for setup in &mut truth.setups {
        for i in 0..7 {
            let angle = f64::from(i - 3) * 0.25;
            let eye = V3::new(-400.0 + 750.0 * angle.cos(), 750.0 * angle.sin(), 480.0);
            setup.photos.push(Viewpoint::looking(
                &format!("line-{i}.jpg"),
                eye,
                V3::new(-330.0, 0.0, 240.0),
                0.0,
            ));
        }
    }
    truth
}

#[test]
fn a_tube_followed_in_a_third_of_the_photos_does_not_move_the_plumb_line() {
    let truth = with_photos_of_the_line();
    let figures = with_a_tube_followed(&truth, |idx| idx % 3 == 1);
    let plumb = figures.get(&Figure::PlumbOffset(Letter::of(0))).expect("the plumb line's offset");
    assert!(plumb.u < 0.2, "{plumb:?}");
    assert_honest(&figures, &truth, 1.0);
}

/// Two true standpoints against two false ones: nothing shows which.
#[test]
fn a_plumb_line_whose_images_contradict_each_other_is_unsure_or_refused() {
    let truth = TruthScene::default();
    let figures = with_a_tube_followed(&truth, |idx| idx % 3 == 1);
    let plumb = figures.get(&Figure::PlumbOffset(Letter::of(0)));
    assert!(plumb.is_none_or(|offset| offset.u > 0.3), "{plumb:?}");
    assert_honest(&figures, &truth, 1.5);
}

#[test]
fn a_half_peeled_rim_tab_is_flagged() {
    let mut truth = TruthScene::full();
    truth.tab_errors.insert(1, TabError::peeled(5.0, 25.0));
    let figures = figures_of(&truth);
    assert!(has(&figures, "tab-not-flat"), "{:?}", ids(&figures));
}

#[test]
fn a_half_peeled_sprocket_tab_is_flagged() {
    let mut truth = TruthScene::full();
    truth.tab_errors.insert(9, TabError::peeled(5.0, 20.0));
    let figures = figures_of(&truth);
    assert!(has(&figures, "tab-not-flat"), "{:?}", ids(&figures));
}

/// What `tab-not-flat` says, each time.
fn not_flat(figures: &Figures) -> Vec<String> {
    let told = figures.findings.iter().filter(|finding| finding.id == "tab-not-flat");
    told.map(|finding| finding.what.shown(Show::Mm).into_owned()).collect()
}

#[test]
fn a_tab_that_came_off_a_sprocket_is_the_one_that_is_named_and_spoils_no_figure() {
    for seed in 0..6 {
        let mut random = Random::stream(seed, &[77]);
        let mut truth = TruthScene { seed, ..TruthScene::default() };
        let number = 5 + seed as u8;
        let error = TabError {
            normal_mm: random.between(1.0, 4.0),
            tilt_deg: [random.between(-18.0, 18.0), random.between(-18.0, 18.0)],
            ..TabError::default()
        };
        truth.tab_errors.insert(number, error);
        for setup in &mut truth.setups {
            setup.photos.retain(|_| random.chance(0.8));
        }
        let figures = figures_of(&truth);
        let told = not_flat(&figures);
        let named = format!("Tab {number} does not lie flat");
        assert!(told.len() == 1 && told[0].starts_with(&named), "tab {number}: {told:?}");
        assert!(figures.get(&Figure::ChainAtGearbox).is_some(), "tab {number}");
        assert_honest(&figures, &truth, 1.5);
    }
}

#[test]
fn a_tab_that_stands_off_a_sprocket_without_a_tilt_is_named_as_well() {
    for number in [6, 9] {
        let mut truth = TruthScene::default();
        truth.tab_errors.insert(number, TabError { normal_mm: 1.5, ..TabError::default() });
        let figures = figures_of(&truth);
        let told = not_flat(&figures);
        assert!(told.iter().any(|told| told.contains(&number.to_string())), "{told:?}");
        assert_honest(&figures, &truth, 1.5);
    }
}

#[test]
fn a_tab_on_a_stated_backing_is_not_taken_for_one_that_came_off() {
    for number in [6, 9] {
        let mut truth = TruthScene::default();
        truth.print.backing_mm.insert(number, 3.0);
        let mut job = Job::default();
        let tab = TabRole { backing_mm: 3.0, ..job.tab(number) };
        job.tabs.insert(number, tab);
        let (_, figures) = solved(&truth, &knobs(), &job).expect("a scene");
        assert_eq!(not_flat(&figures), Vec::<String>::new());
        assert!(figures.get(&Figure::ChainAtGearbox).is_some_and(|chain| chain.u < 0.4));
        assert_honest(&figures, &truth, 1.5);
    }
}

#[test]
fn of_two_tabs_on_a_sprocket_neither_is_accused_and_neither_is_believed() {
    let mut truth = TruthScene::default();
    truth
        .tab_errors
        .insert(5, TabError { normal_mm: 2.5, tilt_deg: [12.0, 4.0], ..TabError::default() });
    let figures = figures_without(&truth, &[7]);
    let told = not_flat(&figures);
    assert!(told.len() == 1 && told[0].starts_with("One of tabs 5 and 6 "), "{told:?}");
    assert_honest(&figures, &truth, 1.5);
}

#[test]
fn a_card_at_another_print_scale_is_noticed() {
    let mut truth = TruthScene::full();
    truth.print.card_scale_error.insert(3, [0.01, 0.01]);
    let figures = figures_of(&truth);
    assert!(has(&figures, "card-scale-differs"), "{:?}", ids(&figures));
    assert_honest(&figures, &truth, 1.5);
}

#[test]
fn a_lens_that_refocuses_from_photo_to_photo_is_followed() {
    let mut truth = TruthScene::full();
    let n = truth.setups.iter().map(|s| s.photos.len()).sum::<usize>();
    let mut i = 0;
    for setup in &mut truth.setups {
        for photo in &mut setup.photos {
            // From -0.6 to +0.6 % and a principal point that wanders by pixels.
            let part = i as f64 / n as f64 - 0.5;
            photo.drift.focal = 0.012 * part;
            photo.drift.centre_px = [9.0 * part, -6.0 * part];
            i += 1;
        }
    }
    let figures = figures_of(&truth);
    assert_honest(&figures, &truth, 1.5);
    let offset = figures.get(&Figure::WheelOffset).expect("an offset");
    assert!(offset.u < 0.4, "U grew to {}", offset.u);
}

/// A phone reads its rows one after another while the hand turns and drifts, differently in each
/// photo.
#[test]
fn an_unsteady_hand_is_found_as_large_as_it_is_and_harms_no_figure() {
    for (seed, hand) in [(1, [1.0, 0.05]), (2, [0.2, 0.02]), (3, [0.0, 0.0])] {
        let mut truth = TruthScene { seed, ..TruthScene::default() };
        truth.take_photos();
        let knobs = SightingKnobs { hand: Some(hand), ..knobs() };
        let (solution, figures) = solved(&truth, &knobs, &Job::default()).expect("a scene");
        assert!(by_pointer(&figures).len() >= 24, "{hand:?}: {:?}", figures.findings);
        assert_honest(&figures, &truth, 1.5);
        assert!(
            !solution.findings.iter().any(|finding| finding.id == "moved-within-setup"),
            "{:?}",
            solution.findings
        );
        // Allowed for is half as much again as was found.
        let [_, turn_deg] = hand;
        let [turn, _] = solution.priors.sweep_sigma.map(|sigma| sigma / 1.5);
        assert!(
            (turn.to_degrees() - turn_deg).abs() < 0.25 * turn_deg + 0.002,
            "{turn_deg}: {:.4}",
            turn.to_degrees()
        );
    }
}

#[test]
fn photos_from_one_side_only_give_no_confident_nonsense() {
    let mut truth = TruthScene::full();
    for setup in &mut truth.setups {
        setup.photos.retain(|photo| photo.centre.y > 0.0);
    }
    assert_honest(&figures_of(&truth), &truth, 1.5);
}

#[test]
fn photos_from_one_height_give_no_confident_nonsense() {
    let truth = TruthScene::full();
    let mut level = truth.clone();
    for setup in &mut level.setups {
        for photo in &mut setup.photos {
            photo.centre.z = 430.0;
        }
    }
    assert_honest(&figures_of(&level), &level, 1.5);
}

#[test]
fn cards_at_one_end_only_give_no_confident_nonsense() {
    let mut truth = TruthScene::full();
    truth.bench.cards.retain(|card| card.pose.origin.x > 200.0);
    assert_honest(&figures_of(&truth), &truth, 1.5);
}

#[test]
fn a_reflected_tab_is_outvoted() {
    let truth = TruthScene::full();
    let spooky = SightingKnobs { ghost_tabs: vec![8], ..knobs() };
    let (_, figures) = solved(&truth, &spooky, &Job::default()).expect("a scene");
    assert_honest(&figures, &truth, 1.5);
}

#[test]
fn one_photo_alone_gives_no_figure_that_may_be_used_for_a_verdict() {
    let mut truth = TruthScene::full();
    truth.setups.truncate(1);
    truth.setups[0].photos.truncate(1);
    if let Some((_, figures)) = solved(&truth, &knobs(), &Job::default()) {
        for rim in figures.measured.rims().iter().filter_map(|rim| rim.offset) {
            assert_eq!(rim.quality, sightcord::measurement::Quality::Single);
        }
        assert!(figures.get(&Figure::WheelLean).is_none());
    }
}

/// Two phones of one make: their EXIF can't tell them apart, their photos can.
#[test]
fn two_phones_under_one_name_are_recognised_and_harm_no_figure() {
    let truth = TruthScene::full();
    let mut other = truth.clone();
    other.lens.fx *= 1.08;
    other.lens.fy *= 1.08;
    other.lens.cx += 25.0;
    other.lens.dist[0] -= 0.06;
    let (mut photos, setups, lens_only) = scene_photos(&truth, &SightingKnobs::ordinary());
    let (others, ..) = scene_photos(&other, &SightingKnobs::ordinary());
    for i in (1..photos.len()).step_by(2) {
        photos[i] = others[i].clone();
    }
    let figures = figures_of_photos(&photos, &setups, &lens_only).expect("a scene");
    assert!(has(&figures, "lenses-differ"), "{:?}", ids(&figures));
    assert!(by_pointer(&figures).len() >= 20, "{} figures", by_pointer(&figures).len());
    assert_honest(&figures, &truth, 2.0);
}

/// A3 cards that a printer shrank onto A4: one of four, half of them, or most, where the tabs decide.
#[test]
fn cards_shrunk_by_the_printer_are_reported_and_harm_no_figure() {
    for n in [1, 2, 3] {
        let mut truth = TruthScene::full();
        for card in truth.bench.cards.iter().take(n) {
            truth.print.card_scale_error.insert(card.number, [-1.0 / 3.0; 2]);
        }
        let (photos, setups, lens_only) = scene_photos(&truth, &SightingKnobs::ordinary());
        let figures = figures_of_photos(&photos, &setups, &lens_only).expect("a scene");
        assert!(has(&figures, "card-size-wrong"), "{n} cards: {:?}", ids(&figures));
        assert!(
            by_pointer(&figures).len() >= 20,
            "{n} cards: {} figures",
            by_pointer(&figures).len()
        );
        assert_honest(&figures, &truth, 2.0);
    }
}

/// The marks' middle lies at the axle only where the wheel was turned: else the rim's yaw goes into
/// the offset.
#[test]
fn a_wheel_that_was_hardly_turned_has_no_offset() {
    for hidden in [&[][..], &[11, 12]] {
        let mut truth = TruthScene::full();
        truth.bike.wheel.yaw_deg = 0.6;
        for (idx, setup) in truth.setups.iter_mut().enumerate() {
            setup.wheel_turn_deg = 4.0 * idx as f64;
        }
        let figures = figures_without(&truth, hidden);
        assert!(figures.get(&Figure::WheelOffsetAtMark).is_some(), "{hidden:?}");
        assert!(figures.get(&Figure::WheelOffset).is_none(), "{hidden:?}");
    }
}

/// Nobody can say which of two plumb lines hangs true: what depends on up is as unsure as they
/// differ.
#[test]
fn two_plumb_lines_that_are_not_parallel_make_up_unsure() {
    let mut truth = TruthScene::full();
    let steady = by_pointer(&figures_of(&truth))["/wheel/lean"].u;
    truth.bike.frame.plumb_lines[1].out_of_plumb_deg = [0.0, 0.3];
    let figures = figures_of(&truth);
    assert!(has(&figures, "plumb-lines-disagree"), "{:?}", ids(&figures));
    let u = by_pointer(&figures)["/wheel/lean"].u;
    assert!(u > 0.15 && u > 2.0 * steady, "{u} beside {steady}");
    assert_honest(&figures, &truth, 1.0);
}

#[test]
fn tabs_printed_larger_or_smaller_than_the_job_says_are_named_and_put_where_they_are() {
    let mut truth = TruthScene::full();
    // Rim tabs are 25 mm wide as designed, flags and all others 20.
    for (number, side) in [(1, 20.0), (8, 25.0), (28, 20.0), (29, 25.0), (30, 25.0)] {
        truth.print.tab_side_mm.insert(number, side);
    }
    let figures = figures_of(&truth);
    let told: Vec<String> = figures
        .findings
        .iter()
        .filter(|finding| finding.id == "tab-size-wrong")
        .filter_map(|finding| finding.what.shown(Show::Mm).split(' ').nth(1).map(str::to_owned))
        .collect();
    assert_eq!(told, ["1", "8", "29", "30"]);
    for figure in [Figure::BackboneFront, Figure::BackboneRear, Figure::ChainAtGearbox] {
        assert!(figures.get(&figure).is_some(), "{figure:?}");
    }
    assert_honest(&figures, &truth, 1.0);
}

/// Two photos from one place and one that shows a larger tab of the same number, farther away, make
/// two pairs that agree.
#[test]
fn one_photo_that_shows_something_else_does_not_decide_a_tabs_size() {
    let truth = TruthScene::full();
    let tab = Pattern::Tab(1);
    let (photos, setups, lens_only) = scene_photos(&truth, &knobs());
    let sighting = |photo: &ScenePhoto| {
        photo.sightings.patterns.iter().find(|seen| seen.pattern == tab).cloned()
    };
    let in_first = |idx: &usize| photos[*idx].setup == 0 && sighting(&photos[*idx]).is_some();
    let showing: Vec<usize> = (0..photos.len()).filter(in_first).collect();
    let near = showing[0];
    let placed = truth.patterns(0, near).into_iter().find(|p| p.pattern == tab).expect("the tab");
    let from = |idx: usize| placed.pose.origin - truth.setups[0].photos[idx].centre;
    let angle = |idx: &&usize| from(near).angle(&from(**idx));
    let far = *showing.iter().max_by(|a, b| angle(a).total_cmp(&angle(b))).expect("a photo");
    // Farther away along the ray of the one photo: no ray passes another.
    let away = from(near) * 0.2;
    let off = placed.pose.rotation.transpose() * away;
    let mut elsewhere = truth.clone();
    elsewhere.tab_errors.insert(
        1,
        TabError { normal_mm: off.z, sideways_mm: [off.x, off.y], ..TabError::default() },
    );
    elsewhere.print.tab_side_mm.insert(1, 1.2 * tab.tab_side_mm());
    let false_sighting = sighting(&scene_photos(&elsewhere, &knobs()).0[far]).expect("the tab");
    let mut few = photos.clone();
    for (idx, photo) in few.iter_mut().enumerate() {
        photo.sightings.patterns.retain(|seen| seen.pattern != tab || idx == near);
        if idx == far {
            photo.sightings.patterns.push(false_sighting.clone());
        }
    }
    let again = ScenePhoto { file: format!("{}-again", few[near].file), ..few[near].clone() };
    few.insert(near + 1, again);
    let figures = figures_of_photos(&few, &setups, &lens_only).expect("a scene");
    assert!(!has(&figures, "tab-size-wrong"), "{:?}", ids(&figures));
    assert_honest(&figures, &truth, 1.5);
}

/// A wheel that stands elsewhere while the photos of the last set-up are taken from the right: tabs on
/// that side have no one place, and what rests on them is unsure by as much.
#[test]
fn a_wheel_knocked_between_the_sides_gives_no_wrong_figure() {
    for seed in [4, 8, 12, 19] {
        let truth = TruthScene::full().with_errors(&Budget::standard(), seed);
        let mut random = Random::stream(seed, &[78]);
        let mut knocked = truth.clone();
        let sign = if random.chance(0.5) { 1.0 } else { -1.0 };
        knocked.bike.wheel.yaw_deg += sign * random.between(0.15, 0.4);
        knocked.bike.wheel.centre.y += sign * random.between(0.5, 1.5);
        let (mut photos, setups, lens_only) = scene_photos(&truth, &knobs());
        let (others, ..) = scene_photos(&knocked, &knobs());
        let last = setups.len() - 1;
        let of_last: Vec<usize> = (0..photos.len()).filter(|&i| photos[i].setup == last).collect();
        for (idx, viewpoint) in of_last.into_iter().zip(&truth.setups[last].photos) {
            if viewpoint.centre.y < 0.0 {
                photos[idx] = others[idx].clone();
            }
        }
        let job = Job::default();
        let settings = scene_settings(&job, &setups);
        let solution = scene::solve(&photos, &settings).expect("a scene");
        let solution = scene::solve_again(&solution, &photos, &settings).expect("a scene");
        let mut figures =
            sightcord::bench::measure(&solution, &bench_settings(&job, &setups, &lens_only));
        figures.findings.extend(solution.findings);
        assert!(has(&figures, "part-moved"), "{:?}", ids(&figures));
        assert_honest(&figures, &truth, 2.0);
    }
}
