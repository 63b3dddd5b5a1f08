//! Photos sorted by the wheel's position in them, and folders checked by it: from synthetic
//! sightings, without pixels.

use std::fs;
use std::path::Path;

use sightcord::bench::from_job::{bench_settings, scene_settings};
use sightcord::bench::{self, Figures};
use sightcord::cards::Pattern;
use sightcord::figure::{Figure, Side};
use sightcord::grouping::{
    self, GroupedBy, Grouping, Listed, Mark, PhotoSetup, Shows, Sorted, causes, group,
    several_jobs, sort, wheel_shown,
};
use sightcord::job::Job;
use sightcord::scene::{self, ScenePhoto};

use crate::common::compare::assert_honest;
use crate::common::solving::scene_photos;
use crate::common::{Budget, Random, SightingKnobs, TruthScene};

/// A job's photos as the program sees them before it knows what belongs together.
struct Photos {
    scene: Vec<ScenePhoto>,
    listed: Vec<Listed>,
    /// The set-up that is really in the picture.
    truth: Vec<String>,
}

impl Photos {
    /// In folders, as the truth has them.
    fn in_folders(truth: &TruthScene) -> Self {
        let (scene, setups, _) = scene_photos(truth, &SightingKnobs::default());
        let listed = scene.iter().map(|photo| Listed {
            id: photo.file.clone(),
            setup: Some(setups[photo.setup].clone()),
            by_job: false,
            ..Listed::default()
        });
        let really = truth
            .photo_indices()
            .into_iter()
            .map(|(s, p)| truth.setup_in_picture(s, p).name.clone());
        Self { listed: listed.collect(), truth: really.collect(), scene }
    }

    /// In one folder, in an order and with names that say nothing.
    fn flat(truth: &TruthScene) -> Self {
        let folders = Self::in_folders(truth);
        let mut order: Vec<usize> = (0..folders.scene.len()).collect();
        let mut random = Random::stream(truth.seed, &[77]);
        order.sort_by_cached_key(|_| random.word());
        let scene = order.iter().enumerate().map(|(n, &idx)| ScenePhoto {
            file: format!("IMG_{:04}.jpg", n + 1),
            setup: 0,
            lens_only: false,
            ..folders.scene[idx].clone()
        });
        let scene: Vec<ScenePhoto> = scene.collect();
        let truth: Vec<String> = order.iter().map(|&idx| folders.truth[idx].clone()).collect();
        // A photo that shows no wheel is placed by nothing but the clock.
        let listed = |(photo, truth): (&ScenePhoto, &String)| Listed {
            id: photo.file.clone(),
            taken: Some(format!("2026:05:16 1{}:00:00", &truth[..1])),
            ..Listed::default()
        };
        Self { listed: scene.iter().zip(&truth).map(listed).collect(), truth, scene }
    }

    /// How many photos of a set-up show a card: the others are of no use, and don't count.
    fn usable(&self, setup: &str) -> usize {
        let shows_card = |photo: &ScenePhoto| {
            photo.sightings.patterns.iter().any(|seen| matches!(seen.pattern, Pattern::Card(_)))
        };
        self.scene
            .iter()
            .zip(&self.truth)
            .filter(|(p, truth)| *truth == setup && shows_card(p))
            .count()
    }

    fn grouped(&self) -> (Sorted, Grouping) {
        let job = Job::default();
        let runs = vec![(0..self.scene.len()).collect()];
        let sorted = sort(&self.scene, &scene_settings(&job, &[]), &job, &runs);
        let grouping = group(&self.listed, &sorted);
        (sorted, grouping)
    }
}

impl Photos {
    /// The figures that the photos give in these set-ups.
    fn figures(&self, grouping: &Grouping) -> Figures {
        let job = Job::default();
        let setups: Vec<String> = grouping.setups.iter().map(|setup| setup.name.clone()).collect();
        let lens_only: Vec<bool> = grouping.setups.iter().map(|setup| setup.lens_only).collect();
        let placed = self.scene.iter().zip(&grouping.of_photo);
        let photos: Vec<ScenePhoto> = placed
            .map(|(photo, &setup)| ScenePhoto {
                setup,
                lens_only: lens_only[setup],
                ..photo.clone()
            })
            .collect();
        let solution = scene::solve(&photos, &scene_settings(&job, &setups)).expect("a scene");
        bench::measure(&solution, &bench_settings(&job, &setups, &lens_only))
    }
}

fn name(grouping: &Grouping, photo: usize) -> &str {
    &grouping.setups[grouping.of_photo[photo]].name
}

/// Every photo must be in a set-up of its own truth, whatever that is called, and in no other's:
/// every one that shows the wheel, or whose clock shows it.
fn assert_sorted(photos: &Photos, context: &str) -> Grouping {
    let (sorted, grouping) = photos.grouped();
    let tells = |photo: &usize| match sorted.shows[*photo] {
        Shows::Wheel(_) => true,
        // Cards alone serve the lens, wherever the photo was taken.
        Shows::CardsOnly | Shows::CardsElsewhere => photos.truth[*photo] == "0-camera",
        Shows::BenchOnly | Shows::Nothing => photos.listed[*photo].taken.is_some(),
    };
    for a in (0..photos.scene.len()).filter(tells) {
        for b in (0..a).filter(tells) {
            let together = grouping.of_photo[a] == grouping.of_photo[b];
            assert_eq!(
                together,
                photos.truth[a] == photos.truth[b],
                "{context}: {} ({}) and {} ({}): {:?} {:?} {:?}",
                photos.scene[a].file,
                photos.truth[a],
                photos.scene[b].file,
                photos.truth[b],
                sorted.shows,
                sorted.positions,
                grouping.setups
            );
        }
    }
    grouping
}

fn said<'a>(grouping: &'a Grouping, id: &str) -> &'a str {
    let finding = grouping.findings.iter().find(|finding| finding.id == id);
    finding
        .map(|finding| &*finding.what)
        .unwrap_or_else(|| panic!("no {id} in {:?}", grouping.findings))
}

#[test]
fn a_flat_folder_is_sorted_and_named_by_where_the_mark_is() {
    for (truth, what) in [(TruthScene::default(), "small"), (TruthScene::full(), "full")] {
        let photos = Photos::flat(&truth);
        let grouping = assert_sorted(&photos, what);
        let names: Vec<&str> = grouping.setups.iter().map(|setup| setup.name.as_str()).collect();
        assert_eq!(names, ["1-mark-forward", "2-mark-rearward"]);
        assert!((0..photos.scene.len()).all(|photo| name(&grouping, photo) == photos.truth[photo]));
        let figures = photos.figures(&grouping);
        assert!(
            figures.get(&Figure::WheelOffset).is_some()
                && figures.get(&Figure::WheelLean).is_some()
        );
        assert_honest(&figures, &truth, 1.5);
        assert!(grouping.by.iter().all(|by| *by == GroupedBy::Found));
        let [forward, rearward] = ["1-mark-forward", "2-mark-rearward"].map(|s| photos.usable(s));
        let told = format!(
            "The photos were sorted by the wheel's position in them: mark forward: {forward} photos, mark rearward: {rearward}"
        );
        let said = said(&grouping, "photos-sorted");
        assert!(said.starts_with(&told), "{said}");
        let unread = photos.scene.len() - forward - rearward;
        assert_eq!(said.contains("no card or can't be read"), unread > 0, "{said}");
    }
}

#[test]
fn a_chain_on_the_right_is_sorted_as_well() {
    let truth = TruthScene::default().with_chain_on(Side::Right, 1.0);
    let photos = Photos::flat(&truth);
    let grouping = assert_sorted(&photos, "right");
    assert!((0..photos.scene.len()).all(|photo| name(&grouping, photo) == photos.truth[photo]));
}

#[test]
fn photos_of_cards_alone_are_kept_apart() {
    let photos = Photos::flat(&TruthScene::default().with_camera_photos());
    let grouping = assert_sorted(&photos, "cards only");
    assert_eq!(grouping.setups[0], PhotoSetup { name: "0-camera".to_owned(), lens_only: true });
    assert!((0..photos.scene.len()).all(|photo| name(&grouping, photo) == photos.truth[photo]));
    let [forward, rearward] = ["1-mark-forward", "2-mark-rearward"].map(|s| photos.usable(s));
    let told = format!("mark forward: {forward} photos, mark rearward: {rearward}, cards only: ");
    let said = said(&grouping, "photos-sorted");
    assert!(said.contains(&told), "{said}");
}

#[test]
fn the_wheel_turned_by_a_quarter_or_a_twelfth_is_recognised() {
    for (turn, second) in [
        (90.0, "2-mark-up"),
        (-90.0, "2-mark-down"),
        (135.1, "2-mark-rearward"),
        (30.0, "2-mark-forward"),
    ] {
        let mut truth = TruthScene::default();
        truth.setups[1].wheel_turn_deg = turn;
        let grouping = assert_sorted(&Photos::flat(&truth), &format!("{turn}"));
        let names: Vec<&str> = grouping.setups.iter().map(|setup| setup.name.as_str()).collect();
        assert!(
            names.contains(&"1-mark-forward") || names.contains(&"2-mark-forward"),
            "{names:?}"
        );
        assert!(names.iter().any(|name| name[2..] == second[2..]), "{turn}: {names:?}");
    }
}

#[test]
fn a_job_of_many_kinds_is_sorted_whatever_goes_wrong_a_little() {
    for seed in 1..=12 {
        let mut truth = if seed % 2 == 0 { TruthScene::full() } else { TruthScene::default() };
        truth.seed = seed;
        truth.bike.wheel.yaw_deg = seed as f64 / 6.0 - 1.0;
        truth.take_photos();
        let truth = truth.with_errors(&Budget::standard(), seed);
        let grouping = assert_sorted(&Photos::flat(&truth), &format!("seed {seed}"));
        assert_eq!(grouping.setups.iter().filter(|setup| !setup.lens_only).count(), 2);
        // Nothing is found amiss where folders are right.
        let (_, believed) = Photos::in_folders(&truth).grouped();
        assert!(
            believed.findings.is_empty() && believed.by.iter().all(|by| *by == GroupedBy::Folder),
            "{:?}",
            believed.findings
        );
    }
}

#[test]
fn left_and_right_are_joined_without_a_photo_that_shows_both() {
    let mut truth = TruthScene::default();
    // Only what looks to one side: no photo may show tabs of both.
    truth.missing_tabs.extend(11..=20);
    let mut photos = Photos::flat(&truth);
    for photo in &mut photos.scene {
        let has_left = photo.sightings.patterns.iter().any(|seen| seen.pattern == Pattern::Tab(1));
        photo.sightings.patterns.retain(|seen| !(has_left && seen.pattern == Pattern::Tab(2)));
    }
    assert_sorted(&photos, "apart");
}

#[test]
fn a_photo_in_the_wrong_folder_is_named_with_the_folder_it_fits() {
    let mut truth = TruthScene::default();
    truth.setups[0].photos[1].really_in_setup = Some(1);
    let photos = Photos::in_folders(&truth);
    let grouping = assert_sorted(&photos, "misfiled");
    let file = &photos.scene[1].file;
    assert_eq!(
        said(&grouping, "photo-in-wrong-setup"),
        format!(
            "{file} lies in 1-mark-forward, but shows the wheel in the position of 2-mark-rearward; it is counted there."
        )
    );
    assert_eq!(grouping.findings.len(), 1);
    assert_eq!(
        grouping.findings[0].advice,
        "Move it to 2-mark-rearward, or put all photos into one folder: the program sorts them."
    );
    assert!(grouping.by[1] == GroupedBy::Found && grouping.by[0] == GroupedBy::Folder);
}

#[test]
fn both_positions_in_one_folder_are_reported_and_sorted() {
    let truth = TruthScene::default();
    let mut photos = Photos::in_folders(&truth);
    photos.listed.iter_mut().for_each(|photo| photo.setup = Some("1-mark-forward".to_owned()));
    let grouping = assert_sorted(&photos, "one folder");
    let told = said(&grouping, "two-positions-in-one-folder");
    assert!(
        told.starts_with(
            "1-mark-forward holds photos of two wheel positions: 9 of them show the wheel with the mark forward, 8 with the mark rearward."
        ) && told.ends_with("count as 2-mark-rearward."),
        "{told}"
    );
    assert!(
        grouping.findings[0].advice.contains("Give each wheel position a folder of its own"),
        "{:?}",
        grouping.findings
    );
}

#[test]
fn folders_that_each_hold_a_whole_job_are_told_from_positions_sides_and_a_turned_wheel() {
    let several = |photos: &Photos| {
        let mut folders: Vec<&String> =
            photos.listed.iter().filter_map(|photo| photo.setup.as_ref()).collect();
        folders.sort();
        folders.dedup();
        let job = Job::default();
        let alone = |name: &&String| {
            let own: Vec<ScenePhoto> = photos
                .scene
                .iter()
                .zip(&photos.listed)
                .filter(|(_, listed)| listed.setup.as_ref() == Some(*name))
                .map(|(scene, _)| scene.clone())
                .collect();
            let order = vec![(0..own.len()).collect()];
            ((*name).clone(), sort(&own, &scene_settings(&job, &[]), &job, &order))
        };
        several_jobs(&folders.iter().map(alone).collect::<Vec<_>>())
    };
    // As it should be; three positions of the wheel; photos of one side in each folder; the wheel
    // turned between the sides.
    let truth = TruthScene::default();
    assert_eq!(several(&Photos::in_folders(&truth)), None);
    let mut three = truth.clone();
    let mut third = three.setups[1].clone();
    (third.name, third.wheel_turn_deg) = ("3-mark-up".to_owned(), 90.0);
    three.setups.push(third);
    assert_eq!(several(&Photos::in_folders(&three)), None);
    let mut sides = Photos::in_folders(&truth);
    let (sorted, _) = sides.grouped();
    for (photo, from) in sides.listed.iter_mut().zip(&sorted.from) {
        photo.setup = from.map(|side| side.word().to_owned());
    }
    assert_eq!(several(&sides), None);
    let mut turned = truth.clone();
    for setup in 0..2 {
        for photo in turned.setups[setup].photos.iter_mut().filter(|photo| photo.centre.y < 0.0) {
            photo.really_in_setup = Some(1 - setup);
        }
    }
    assert_eq!(several(&Photos::in_folders(&turned)), None);
    // Two bikes, whatever they show together.
    let mut both = Photos::in_folders(&truth);
    let other = Photos::in_folders(&TruthScene::full());
    both.listed.iter_mut().for_each(|photo| photo.setup = Some("twin".to_owned()));
    both.scene.extend(other.scene);
    both.listed.extend(
        other.listed.into_iter().map(|photo| Listed { setup: Some("single".to_owned()), ..photo }),
    );
    let told = several(&both).expect("two jobs");
    assert!(told.what.starts_with("single and twin are jobs of their own"), "{}", told.what);
    assert!(told.advice.contains("such as single"), "{}", told.advice);
}

#[test]
fn folders_whose_names_are_swapped_are_reported_once_and_change_no_figure() {
    let truth = TruthScene::default();
    let right = Photos::in_folders(&truth);
    let mut swapped = Photos::in_folders(&truth);
    for photo in &mut swapped.listed {
        let name = match photo.setup.as_deref() {
            Some("1-mark-forward") => "2-mark-rearward",
            _ => "1-mark-forward",
        };
        photo.setup = Some(name.to_owned());
    }
    let (_, grouping) = swapped.grouped();
    assert_eq!(grouping.findings.len(), 1, "{:?}", grouping.findings);
    let told = said(&grouping, "setup-names-swapped");
    assert!(
        told.contains("1-mark-forward shows it with the mark rearward")
            && told.contains("2-mark-rearward shows it with the mark forward")
            && told.contains("The figures hold"),
        "{told}"
    );
    let (_, as_named) = right.grouped();
    assert!(as_named.findings.is_empty(), "{:?}", as_named.findings);
    let (before, after) = (right.figures(&as_named), swapped.figures(&grouping));
    for figure in [Figure::WheelOffset, Figure::WheelYaw, Figure::ChainAtGearbox] {
        let (a, b) = (before.get(&figure).unwrap(), after.get(&figure).unwrap());
        assert!((a.value - b.value).abs() < 0.01 * a.u, "{figure:?}: {a:?} {b:?}");
    }
}

#[test]
fn a_wheel_turned_between_the_sides_of_one_folder_is_recognised() {
    let mut truth = TruthScene::default();
    // From the left with the mark forward, from the right with it rearward; then the other way
    // round.
    for setup in 0..2 {
        for photo in truth.setups[setup].photos.iter_mut().filter(|photo| photo.centre.y < 0.0) {
            photo.really_in_setup = Some(1 - setup);
        }
    }
    let photos = Photos::in_folders(&truth);
    let (_, grouping) = photos.grouped();
    let told: Vec<&str> = grouping
        .findings
        .iter()
        .filter(|finding| finding.id == "wheel-turned-between-sides")
        .map(|finding| &*finding.what)
        .collect();
    assert_eq!(told.len(), 2, "{:?}", grouping.findings);
    assert!(
        told[0].starts_with("In 1-mark-forward the wheel was turned between the photos from the "),
        "{told:?}"
    );
    // No figure is measured from both sides together, and none that is given is wrong.
    let figures = photos.figures(&grouping);
    let widths = figures
        .measured
        .table
        .measured()
        .filter(|(figure, _)| matches!(figure, Figure::RimWidth(_)))
        .count();
    assert_eq!(widths, 0);
    assert_honest(&figures, &truth, 1.5);
    // No set-up has photos of two positions, and none is thrown together from two folders.
    for a in 0..photos.scene.len() {
        for b in (0..a).filter(|b| grouping.of_photo[*b] == grouping.of_photo[a]) {
            assert!(
                photos.truth[a] == photos.truth[b]
                    && photos.listed[a].setup == photos.listed[b].setup
            );
        }
    }
}

#[test]
fn sides_that_changed_folders_are_told_from_a_wheel_that_was_turned_by_the_clock() {
    let mut truth = TruthScene::default();
    for setup in 0..2 {
        for photo in truth.setups[setup].photos.iter_mut().filter(|photo| photo.centre.y < 0.0) {
            photo.really_in_setup = Some(1 - setup);
        }
    }
    let mut photos = Photos::in_folders(&truth);
    for (listed, truth) in photos.listed.iter_mut().zip(&photos.truth) {
        // Taken position by position, and put into the wrong folders afterwards.
        listed.taken = Some(format!(
            "2026:05:16 10:{}:00",
            if truth == "1-mark-forward" { "05" } else { "25" }
        ));
    }
    let (_, grouping) = photos.grouped();
    assert_eq!(grouping.setups.len(), 2);
    assert!((0..photos.scene.len()).all(|photo| name(&grouping, photo) == photos.truth[photo]));
    assert!(
        grouping.findings.iter().all(|finding| finding.id == "photo-in-wrong-setup"),
        "{:?}",
        grouping.findings
    );
}

#[test]
fn photos_from_one_side_only_and_a_wheel_not_turned_are_named() {
    let mut truth = TruthScene::default();
    for setup in &mut truth.setups {
        setup.photos.retain(|photo| photo.centre.y > 0.0);
    }
    let (sorted, grouping) = Photos::in_folders(&truth).grouped();
    let named = causes(&sorted, &grouping);
    assert_eq!(named.len(), 1, "{named:?}");
    assert_eq!(
        named[0].what,
        "All photos were taken from the left: the rim's right side, tab 2 on it and the cord's other edge are in none."
    );
    let mut truth = TruthScene::default();
    truth.setups[1].wheel_turn_deg = 0.0;
    let (sorted, grouping) = Photos::in_folders(&truth).grouped();
    let named = causes(&sorted, &grouping);
    assert_eq!(named.len(), 1, "{named:?}");
    assert_eq!(
        named[0].what,
        "The wheel is in the same position in the photos of 1-mark-forward and 2-mark-rearward: it was not turned between them."
    );
    assert!(named[0].advice.starts_with("Turn the wheel half round"), "{named:?}");
}

#[test]
fn a_wheel_turned_away_and_back_stops_at_two_places() {
    let mut photos = Photos::flat(&TruthScene::default());
    let (mut forward, mut rearward) = (0, 0);
    for (listed, truth) in photos.listed.iter_mut().zip(&photos.truth) {
        // Half of the photos with the mark forward before the others, half after them.
        let minute = if truth == "1-mark-forward" {
            forward += 1;
            if forward <= 4 { forward } else { 40 + forward }
        } else {
            rearward += 1;
            20 + rearward
        };
        listed.taken = Some(format!("2026:05:16 10:{minute:02}:00"));
    }
    let (_, grouping) = photos.grouped();
    let mut names: Vec<&str> = grouping.setups.iter().map(|setup| setup.name.as_str()).collect();
    names.sort_unstable();
    assert_eq!(names, ["1-mark-forward", "1-mark-forward-again", "2-mark-rearward"]);
    let of = |wanted: &str| {
        (0..photos.scene.len()).filter(|photo| name(&grouping, *photo) == wanted).count()
    };
    assert_eq!(
        [of("1-mark-forward"), of("1-mark-forward-again"), of("2-mark-rearward")],
        [4, 5, 9]
    );
    assert!(
        said(&grouping, "wheel-turned-back")
            .contains("turned away and back again with the mark forward")
    );
    // Two clocks say nothing of it.
    photos.listed[0].camera = Some("another phone".to_owned());
    let (_, grouping) = photos.grouped();
    assert_eq!(grouping.setups.len(), 2);
}

#[test]
fn loose_photos_beside_folders_go_where_they_fit() {
    let mut photos = Photos::in_folders(&TruthScene::default());
    for idx in [0, 3, 12] {
        photos.listed[idx].setup = None;
    }
    let grouping = assert_sorted(&photos, "loose");
    assert_eq!(grouping.setups.len(), 2);
    assert!(said(&grouping, "photos-sorted").contains("lie in no set-up's folder"));
}

#[test]
fn one_photo_tells_the_side_and_the_mark_where_it_shows_enough() {
    let photos = Photos::in_folders(&TruthScene::default());
    let (sorted, _) = photos.grouped();
    let (mut told, mut all) = (0, 0);
    for (idx, photo) in photos.scene.iter().enumerate() {
        let shown = wheel_shown(photo, &Job::default());
        if let Some(from) = shown.from {
            assert_eq!(Some(from), sorted.from[idx]);
        }
        let wanted =
            if photos.truth[idx] == "1-mark-forward" { Mark::Forward } else { Mark::Rearward };
        all += 1;
        if let Some(mark) = shown.mark {
            assert_eq!(mark, wanted, "{}", photo.file);
            told += 1;
        }
    }
    assert!(told * 3 > all, "{told} of {all}");
}

#[test]
fn nothing_to_sort_by_is_one_setup_and_no_panic() {
    let mut photos = Photos::flat(&TruthScene::default());
    for photo in &mut photos.scene {
        photo.sightings.patterns.retain(|seen| matches!(seen.pattern, Pattern::Card(_)));
    }
    let (sorted, grouping) = photos.grouped();
    assert!(
        sorted.positions.is_empty()
            && !sorted.shows.iter().any(|shows| matches!(shows, Shows::Wheel(_)))
    );
    assert_eq!(grouping.setups, [PhotoSetup { name: "photos".to_owned(), lens_only: false }]);
    for photo in &mut photos.scene {
        photo.sightings.patterns.clear();
    }
    let (sorted, grouping) = photos.grouped();
    assert!(sorted.shows.iter().all(|shows| *shows == Shows::Nothing));
    assert_eq!(grouping.of_photo, vec![0; photos.scene.len()]);
    assert_eq!(
        grouping::sort(&[], &scene_settings(&Job::default(), &[]), &Job::default(), &[]).shows,
        []
    );
}

/// Three photos straight from the phone, measured: what the program found is in the result and,
/// on request, in job.toml, and holds.
#[test]
fn the_grouping_is_in_the_result_and_on_request_in_the_job() {
    let folder = tempfile::tempdir().unwrap();
    let photos = [
        ("1-mark-forward/02.jpg", "IMG_2.jpg"),
        ("2-mark-rearward/03.jpg", "IMG_1.jpg"),
        ("1-mark-forward/07.jpg", "IMG_3.jpg"),
    ];
    for (from, to) in photos {
        fs::copy(Path::new("samples/grass-track").join(from), folder.path().join(to)).unwrap();
    }
    let settings = folder.path().join("job.toml");
    fs::write(&settings, "[bike]\nname = \"Twin\"\n\n").unwrap();
    let names = || {
        let mut names: Vec<String> = fs::read_dir(folder.path())
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    };
    let before: Vec<Vec<u8>> =
        photos.iter().map(|(_, name)| fs::read(folder.path().join(name)).unwrap()).collect();
    let measure = |arguments: &[&str]| {
        let mut command = assert_cmd::Command::new(env!("CARGO_BIN_EXE_sightcord"));
        command.arg("measure").arg(folder.path()).args(arguments).assert()
    };
    let said = measure(&["--keep-grouping"]).get_output().clone();
    let text =
        String::from_utf8(said.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.starts_with(
            "Photos sorted by the wheel's position: mark forward: 2 photos, mark rearward: 1."
        ),
        "{text}"
    );
    assert!(text.contains("job.toml now lists which set-up 3 photos belong to."), "{text}");
    let written = fs::read_to_string(&settings).unwrap();
    assert!(written.starts_with("[bike]\nname = \"Twin\"\n"), "{written}");
    let job = Job::of_folder(folder.path()).unwrap();
    assert_eq!(job.setups[0].photos, ["IMG_2.jpg", "IMG_3.jpg"]);
    assert_eq!(job.setups[1].photos, ["IMG_1.jpg"]);
    // Neither moved nor renamed nor changed.
    assert_eq!(names(), ["IMG_1.jpg", "IMG_2.jpg", "IMG_3.jpg", "job.toml", "report"]);
    assert!(
        photos
            .iter()
            .zip(&before)
            .all(|((_, name), bytes)| fs::read(folder.path().join(name)).unwrap() == *bytes)
    );
    // The next time the job says so; and it is never written twice.
    let again = measure(&["--json"]).get_output().clone();
    let result: serde_json::Value = serde_json::from_slice(&again.stdout).unwrap();
    let grouping: Vec<String> = result["grouping"]
        .as_array()
        .unwrap()
        .iter()
        .map(|entry| {
            format!("{} {} {}", entry["photo"], entry["setup"], entry["by"]).replace('"', "")
        })
        .collect();
    let wanted = [
        "IMG_2.jpg 1-mark-forward job",
        "IMG_3.jpg 1-mark-forward job",
        "IMG_1.jpg 2-mark-rearward job",
    ];
    assert_eq!(grouping, wanted);
    let said = measure(&["--keep-grouping"]).get_output().clone();
    assert!(String::from_utf8(said.stdout).unwrap().contains("Nothing had to be sorted"));
    assert_eq!(fs::read_to_string(&settings).unwrap(), written);
}
