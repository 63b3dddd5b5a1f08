//! The job stage: `job.toml` becomes settings, or a list of what is wrong in it, and every tab gets
//! its meaning.

use std::collections::BTreeSet;

use proptest::prelude::*;
use sightcord::cards::Pattern;
use sightcord::job::keys::{KEYS, Kind};
use sightcord::job::{
    Face, JobError, JobSetup, Letter, MovesWith, Role, SpacerKind, TEMPLATE, TabRole, Unit,
    field_unit,
};
use sightcord::job::{Job, Side};

fn job(text: &str) -> Job {
    Job::parse(text).unwrap_or_else(|problems| panic!("{problems:#?}"))
}

/// The problems as a person reads them.
fn problems(text: &str) -> Vec<String> {
    Job::parse(text).expect_err("this should be refused").iter().map(ToString::to_string).collect()
}

/// The only problem of this text.
fn problem(text: &str) -> String {
    let problems = problems(text);
    assert_eq!(problems.len(), 1, "{problems:#?}");
    problems.into_iter().next().unwrap()
}

/// The template with every `#` directly before a setting or a section taken away.
fn template_in_use() -> String {
    let line_in_use = |line: &str| match line.strip_prefix('#') {
        Some(setting) if !setting.is_empty() && !setting.starts_with(' ') => setting.to_owned(),
        _ => line.to_owned(),
    };
    TEMPLATE.lines().map(|line| line_in_use(line) + "\n").collect()
}

#[test]
fn a_missing_or_empty_file_is_the_default_job() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(Job::of_folder(folder.path()).unwrap(), Job::default());
    assert_eq!(job(""), Job::default());
    assert_eq!(job("schema = \"sightcord-job/1\"\n"), Job::default());
    // The template changes nothing until a line is put to use.
    assert_eq!(job(TEMPLATE), Job::default());
}

#[test]
fn the_template_shows_every_key_and_can_be_put_to_use() {
    let text = template_in_use();
    let job = job(&text);
    for key in KEYS {
        let setting = |line: &str| line.starts_with(&format!("{} = ", key.name));
        let is_list = key.name == "card" && text.contains("[[print.card]]");
        assert!(
            is_list || text.lines().any(setting),
            "{} of [{}] is not in the template",
            key.name,
            key.section
        );
    }
    assert_eq!(job.bike.name.as_deref(), Some("Dry build of the grass-track frame"));
    assert_eq!(job.bike.chain_side, Some(Side::Left));
    assert_eq!(job.print.measured_along_mm, Some(249.6));
    assert_eq!(job.cards[&13].measured_across_mm, Some(240.2));
    assert_eq!(
        (job.bench.level_along_deg, job.bench.level_across_deg, job.bench.sigma_deg()),
        (Some(0.05), Some(-0.10), 0.025)
    );
    assert_eq!(
        (job.adjusters.thread_pitch_mm, job.adjusters.spacing_mm, job.adjusters.draw),
        (Some(1.25), Some(220.0), Some(Side::Right))
    );
    assert_eq!(job.spacers.kind, Some(SpacerKind::Hub));
    assert_eq!(
        (job.sprockets.rear_teeth, job.sprockets.gearbox_teeth, job.sprockets.chain_pitch_mm),
        (Some(46), Some(17), Some(15.875))
    );
    assert_eq!(
        (job.sprockets.rear_face_to_tooth_centre_mm, job.sprockets.gearbox_face_to_tooth_centre_mm),
        (Some(3.6), Some(4.1))
    );
    assert_eq!(
        (job.hub.face_side, job.hub.face_turns, job.hub.target_mm),
        (Some(Side::Right), Some(true), Some(-28.0))
    );
    assert_eq!((job.rim.width_mm, job.rim.lateral_tir_mm), (Some(60.0), Some(0.8)));
    assert_eq!(job.tab(49).role, Role::RearRim { side: Side::Left });
    assert_eq!(
        (job.tab(49).moves_with, job.tab(49).backing_mm, job.tab(49).side_mm),
        (MovesWith::Wheel, 2.0, 15.0)
    );
    assert_eq!(job.faces, [Face { name: "engine plate".to_owned(), tabs: vec![45, 46, 47] }]);
    assert_eq!(job.tab(46).words(), "engine plate");
    assert_eq!((job.tolerances[0].unit, job.tolerances[0].limit), (Unit::Mm, 1.5));
    assert_eq!((job.tolerances[1].unit, job.tolerances[1].limit), (Unit::Deg, 0.15));
    assert_eq!((job.hands[0].value, job.hands[0].u, job.hands[1].unit), (2.0, 0.5, Unit::Deg));
    assert!(job.findings().is_empty(), "{:?}", job.findings());
}

#[test]
fn settings_survive_being_written_into_a_result() {
    let job = job(&template_in_use());
    let json = serde_json::to_string(&job).unwrap();
    assert_eq!(serde_json::from_str::<Job>(&json).unwrap(), job);
}

#[test]
fn a_mistyped_key_is_named_with_its_line_and_the_nearest_known_one() {
    let message =
        problem("schema = \"sightcord-job/1\"\n\n[bike]\nname = \"x\"\nchain_sid = \"left\"\n");
    assert_eq!(
        message,
        "line 5: [bike] there is no key chain_sid. The nearest known name is chain_side. Known here: name, chain_side."
    );
    for (text, nearest) in [
        ("[adjusters]\nthread_pitch = 1.25", "thread_pitch_mm"),
        ("[adjusters]\nspacing = 200", "spacing_mm"),
        ("[bench]\nlevel_accross_deg = 0.1", "level_across_deg"),
        ("[[tab]]\nnumber = 3\nmoveswith = \"frame\"", "moves_with"),
        ("[[print.card]]\nnumber = 3\nmeasured_allong_mm = 250", "measured_along_mm"),
        ("[sprocket]\nrear_teeth = 46", "sprockets"),
        ("[[tolerences]]\nmm = 1", "tolerance"),
    ] {
        let message = problem(text);
        assert!(message.contains(&format!("nearest known name is {nearest}.")), "{message}");
    }
}

#[test]
fn a_key_in_the_wrong_section_is_sent_home() {
    assert_eq!(
        problem("chain_side = \"left\"\n"),
        "line 1: there is no key chain_side. It belongs below [bike]: move it there."
    );
    assert!(problem("[bike]\nwidth_mm = 60\n").contains("It belongs below [rim]"));
    assert!(problem("[bike]\nbacking_mm = 2\n").contains("It belongs below [[tab]]"));
}

#[test]
fn everything_wrong_is_reported_at_once_in_the_order_of_the_lines() {
    let text = "[bike]\nchain_side = \"port\"\n\n[adjusters]\nthread_pitch_mm = 125\nspacing_mm = \"220\"\n\n[hub]\nface_turns = \"yes\"\n";
    assert_eq!(
        problems(text),
        [
            "line 2: [bike] chain_side must be \"left\" or \"right\". It is the side of the chain as the rider sits.",
            "line 5: [adjusters] thread_pitch_mm = 125 is out of range: 0.4 to 3 mm. It is how far the adjuster moves in one turn.",
            "line 6: [adjusters] spacing_mm must be a number without quotes, with a point for decimals: 60 to 500 mm. It is the distance \
             between the two adjusters, across the bike.",
            "line 9: [hub] face_turns must be true or false, without quotes. It is whether that face turns with the wheel (a drum does, a \
             brake plate does not).",
        ]
    );
}

#[test]
fn every_range_is_kept_at_both_ends() {
    let other_keys = |section: &str| match section {
        "tab" => "number = 40\nrole = \"rim\"\nside = \"left\"\n",
        "print.card" => "number = 1\n",
        _ => "",
    };
    let mut n_checked = 0;
    for key in KEYS {
        // Tolerances and hand values need their figure; lengths of check lines have a narrower rule
        // of their own.
        if matches!(key.section, "tolerance" | "hand")
            || key.name.starts_with("measured_a")
            || key.name == "number"
        {
            continue;
        }
        let header = match key.section {
            "tab" => "[[tab]]".to_owned(),
            "print.card" => "[[print.card]]".to_owned(),
            section => format!("[{section}]"),
        };
        let text = |value: String| {
            format!("{header}\n{}{} = {value}\n", other_keys(key.section), key.name)
        };
        let (inside, outside) = match key.kind {
            Kind::Number { min, max, .. } => (
                vec![format!("{min:?}"), format!("{max:?}")],
                vec![
                    format!("{:?}", min - 0.001),
                    format!("{:?}", max + 0.001),
                    "nan".to_owned(),
                    "inf".to_owned(),
                ],
            ),
            Kind::Whole { min, max } => (
                vec![min.to_string(), max.to_string()],
                vec![(min - 1).to_string(), (max + 1).to_string(), format!("{min}.5")],
            ),
            _ => continue,
        };
        for value in inside {
            job(&text(value));
        }
        for value in outside {
            let message = problem(&text(value.clone()));
            assert!(
                message.contains(key.name) && message.contains(key.meaning),
                "{} = {value}: {message}",
                key.name
            );
            n_checked += 1;
        }
    }
    assert!(n_checked > 60, "only {n_checked} refusals were tried");
}

#[test]
fn what_is_no_toml_is_reported_with_its_line() {
    let message = problem("[bike]\nname = \"x\"\n[rim]\nwidth_mm = 60;5\n");
    assert!(message.starts_with("line 4: this line can't be read"), "{message}");
    assert!(message.contains("decimals with a point"), "{message}");
    assert!(problem("[bike\n").starts_with("line 1: "));
    assert!(problem("[bike]\nname = \"a\"\nname = \"b\"\n").starts_with("line 3: "));
    // A byte order mark and the line ends of another system are no mistakes.
    assert_eq!(job("\u{FEFF}[bike]\r\nname = \"x\"\r\n").bike.name.as_deref(), Some("x"));
}

#[test]
fn sections_written_in_the_other_form_are_explained() {
    assert!(problem("[tab]\nnumber = 3\n").contains("Write [[tab]], in double brackets"));
    assert!(problem("[[bike]]\nname = \"x\"\n").contains("Write [bike]"));
    assert!(problem("tab = [1, 2]\n").contains("Write [[tab]]"));
    assert!(problem("bike = \"mine\"\n").contains("Write [bike]"));
}

#[test]
fn another_version_of_the_layout_is_refused() {
    assert!(problem("schema = \"sightcord-job/2\"\n").contains("must be \"sightcord-job/1\""));
}

#[test]
fn files_that_cannot_be_read_say_why() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("job.toml");
    std::fs::write(&path, b"[bike]\nname = \"caf\xE9\"\n").unwrap();
    let error = Job::of_folder(folder.path()).unwrap_err();
    assert!(matches!(error, JobError::NotText { line: 2, .. }), "{error}");
    std::fs::write(&path, vec![b'#'; 1_000_001]).unwrap();
    assert!(matches!(Job::of_folder(folder.path()), Err(JobError::TooLarge(_))));
    std::fs::remove_file(&path).unwrap();
    std::fs::create_dir(&path).unwrap();
    assert!(Job::of_folder(folder.path()).is_err());
    let error = Job::read(&folder.path().join("absent.toml")).unwrap_err();
    assert!(matches!(error, JobError::Unreadable(_, std::io::ErrorKind::NotFound)), "{error}");

    std::fs::write(folder.path().join("bad.toml"), "[bike]\nnam = \"x\"\n").unwrap();
    let error = Job::read(&folder.path().join("bad.toml")).unwrap_err().to_string();
    assert!(
        error.contains("bad.toml, line 2: ") && error.contains("nearest known name is name"),
        "{error}"
    );
}

/// The table of the tabs, as it is printed with them.
#[test]
fn tabs_stand_for_what_is_printed_on_them() {
    let expected = [
        (1, "rear rim, left", MovesWith::Wheel),
        (2, "rear rim, right", MovesWith::Wheel),
        (3, "front rim, left", MovesWith::FrontWheel),
        (4, "front rim, right", MovesWith::FrontWheel),
        (5, "gearbox sprocket", MovesWith::Gearbox),
        (7, "gearbox sprocket", MovesWith::Gearbox),
        (8, "rear sprocket", MovesWith::Wheel),
        (10, "rear sprocket", MovesWith::Wheel),
        (11, "spindle end, left", MovesWith::Frame),
        (12, "spindle end, right", MovesWith::Frame),
        (13, "frame station A, left", MovesWith::Frame),
        (14, "frame station A, right", MovesWith::Frame),
        (19, "frame station D, left", MovesWith::Frame),
        (20, "frame station D, right", MovesWith::Frame),
        (21, "plumb line A, upper flag", MovesWith::Line),
        (22, "plumb line A, lower flag", MovesWith::Line),
        (27, "plumb line D, upper flag", MovesWith::Line),
        (28, "plumb line D, lower flag", MovesWith::Line),
        (29, "backbone cord, front flag", MovesWith::Line),
        (30, "backbone cord, rear flag", MovesWith::Line),
        (31, "brake drum or hub face", MovesWith::Wheel),
        (32, "brake drum or hub face", MovesWith::Frame),
        (33, "rear rim, left, place 1", MovesWith::Wheel),
        (38, "rear rim, left, place 6", MovesWith::Wheel),
        (39, "rider 1 on the cord, left", MovesWith::Line),
        (42, "rider 2 on the cord, right", MovesWith::Line),
        (44, "rider 3 on the cord, right", MovesWith::Line),
        (45, "free", MovesWith::Frame),
        (64, "free", MovesWith::Frame),
    ];
    let job = Job::default();
    for (number, words, moves_with) in expected {
        let tab = job.tab(number);
        assert_eq!((tab.words().as_str(), tab.moves_with), (words, moves_with), "tab {number}");
        assert_eq!(tab.backing_mm, 0.0);
    }
    for number in 1..=64 {
        assert_eq!(job.tab(number).side_mm, Pattern::Tab(number).tab_side_mm(), "tab {number}");
    }
    assert_eq!(
        (job.tab(0).role, job.tab(65).role, job.tab(255).role),
        (Role::Free, Role::Free, Role::Free)
    );
    assert_eq!(Letter::ALL.map(Letter::index), [0, 1, 2, 3]);
}

#[test]
fn a_job_can_give_tabs_other_meanings() {
    let tab = |text: &str| -> TabRole {
        let number = text
            .split_once("number = ")
            .unwrap()
            .1
            .split_whitespace()
            .next()
            .unwrap()
            .parse()
            .unwrap();
        job(&format!("[[tab]]\n{text}\n")).tab(number)
    };
    assert_eq!(tab("number = 1\nside = \"right\"").role, Role::RearRim { side: Side::Right });
    assert_eq!(
        tab("number = 34\nside = \"right\"").role,
        Role::RimPlace { side: Side::Right, place: 2 }
    );
    assert_eq!(tab("number = 34\nplace = 0").role, Role::RearRim { side: Side::Left });
    assert_eq!(
        tab("number = 50\nrole = \"rim\"\nside = \"right\"\nplace = 7").role,
        Role::RimPlace { side: Side::Right, place: 7 }
    );
    let sprocket = tab("number = 51\nrole = \"rear-sprocket\"\nbacking_mm = 3.5");
    assert_eq!(
        (sprocket.role, sprocket.moves_with, sprocket.side_mm, sprocket.backing_mm),
        (Role::RearSprocket, MovesWith::Wheel, 12.0, 3.5)
    );
    assert_eq!(
        tab("number = 52\nrole = \"station\"\nside = \"left\"\nplace = \"C\"").role,
        Role::Station { letter: Letter::C, side: Side::Left }
    );
    let flag = tab("number = 53\nrole = \"plumb-flag\"\nplace = \"B lower\"");
    assert_eq!(
        (flag.role, flag.moves_with),
        (Role::PlumbFlag { line: Letter::B, upper: false }, MovesWith::Line)
    );
    assert!(flag.role.is_flag() && !sprocket.role.is_flag());
    assert_eq!(
        tab("number = 54\nrole = \"backbone-flag\"\nplace = \"front\"").role,
        Role::BackboneFlag { front: true }
    );
    assert_eq!(
        tab("number = 55\nrole = \"front-rim\"\nside = \"left\"").moves_with,
        MovesWith::FrontWheel
    );
    assert_eq!(tab("number = 56\nmoves_with = \"wheel\"").moves_with, MovesWith::Wheel);
    assert_eq!(tab("number = 5\nmoves_with = \"frame\"").moves_with, MovesWith::Frame);
    assert_eq!(tab("number = 12\nrole = \"free\"").words(), "free");
    assert_eq!(tab("number = 29\nside_mm = 25.0").side_mm, 25.0);
}

/// Numbers 39 to 44 were free once: a job that has them on something, or on a face, keeps its
/// meaning, with a note on the new one.
#[test]
fn a_job_from_before_there_were_riders_keeps_its_meaning() {
    let kept =
        |job: &Job| job.findings().into_iter().find(|finding| finding.id == "rider-number-free");
    assert_eq!(kept(&Job::default()), None);
    for text in [
        "[[face]]\nname = \"plate\"\ntabs = [39, 40, 41]\n",
        "[[tab]]\nnumber = 39\nmoves_with = \"wheel\"\n",
        "[[tab]]\nnumber = 39\nbacking_mm = 2.0\n",
        "[[tab]]\nnumber = 39\nrole = \"free\"\n",
    ] {
        let job = job(text);
        assert_eq!(job.tab(39).role, Role::Free, "{text}");
        assert_eq!(job.tab(43).role, Role::CordRider { rider: 3, side: Side::Left }, "{text}");
        assert!(kept(&job).expect("a note").what.contains("39"), "{text}");
    }
    let turned = job("[[tab]]\nnumber = 39\nside = \"right\"\n");
    assert_eq!(
        (turned.tab(39).role, kept(&turned)),
        (Role::CordRider { rider: 1, side: Side::Right }, None)
    );
    let further = job("[[tab]]\nnumber = 47\nrole = \"cord-rider\"\nside = \"left\"\nplace = 4\n");
    assert_eq!(further.tab(47).role, Role::CordRider { rider: 4, side: Side::Left });
    assert_eq!(further.tab(47).moves_with, MovesWith::Line);
}

#[test]
fn the_hubs_face_turns_or_not_as_the_job_says() {
    assert_eq!(job("[hub]\nface_turns = false\n").tab(31).moves_with, MovesWith::Frame);
    assert_eq!(job("[hub]\nface_turns = true\n").tab(32).moves_with, MovesWith::Wheel);
    // What is said of the one tab beats what is said of the hub.
    let text = "[hub]\nface_turns = true\n[[tab]]\nnumber = 32\nmoves_with = \"frame\"\n[[tab]]\nnumber = 31\nbacking_mm = 1.0\n";
    assert_eq!(
        (job(text).tab(32).moves_with, job(text).tab(31).moves_with),
        (MovesWith::Frame, MovesWith::Wheel)
    );
    assert_eq!(
        job("[hub]\nface_turns = false\n[[tab]]\nnumber = 60\nrole = \"hub-face\"\n")
            .tab(60)
            .moves_with,
        MovesWith::Frame
    );
}

#[test]
fn meanings_that_make_no_sense_are_refused() {
    for (text, part) in [
        ("number = 50\nrole = \"rim\"", "needs a side"),
        ("number = 1\nmoves_with = \"frame\"", "can't move with that"),
        ("number = 21\nmoves_with = \"frame\"", "can't move with that"),
        ("number = 8\nside = \"left\"", "has no side"),
        ("number = 31\nside = \"left\"", "face_side under [hub]"),
        ("number = 3\nplace = 2", "has no place"),
        ("number = 50\nrole = \"rim\"\nside = \"left\"\nplace = 25", "number the further places"),
        (
            "number = 50\nrole = \"rim\"\nside = \"left\"\nplace = \"top\"",
            "number the further places",
        ),
        ("number = 13\nplace = \"E\"", "place = \"A\""),
        ("number = 50\nrole = \"plumb-flag\"", "A upper"),
        ("number = 50\nrole = \"plumb-flag\"\nplace = \"A middle\"", "A upper"),
        ("number = 29\nplace = \"left\"", "place = \"front\""),
        ("number = 50\nrole = \"rear-sproket\"", "the nearest is \"rear-sprocket\""),
        ("role = \"free\"", "number is missing"),
        ("number = 65", "whole number from 1 to 64"),
        ("number = 3.5", "whole number from 1 to 64"),
        ("number = 7\nplace = true", "whole number or text"),
    ] {
        let message = problem(&format!("[[tab]]\n{text}\n"));
        assert!(message.contains(part), "{text}: {message}");
    }
    assert!(
        problem("[[tab]]\nnumber = 40\n[[tab]]\nnumber = 40\n")
            .contains("line 4: tab 40 is listed twice")
    );
}

#[test]
fn faces_are_three_tabs_that_move_together() {
    for (text, part) in [
        ("name = \"plate\"\ntabs = [39, 40]", "three or more"),
        ("name = \"plate\"\ntabs = [39, 40, 40]", "three or more"),
        ("name = \"plate\"\ntabs = [39, 40, 65]", "1 to 64"),
        ("name = \"plate\"\ntabs = \"39 40 41\"", "three or more"),
        ("name = \"plate\"", "tabs is missing"),
        ("tabs = [39, 40, 41]", "name is missing"),
        ("name = \"a/b\"\ntabs = [39, 40, 41]", "can't be the face's name"),
        ("name = \"plate\"\ntabs = [39, 40, 21]", "flag"),
        ("name = \"plate\"\ntabs = [39, 40, 1]", "do not move together"),
        (
            "name = \"plate\"\ntabs = [39, 45, 46]\n[[tab]]\nnumber = 39\nside = \"left\"",
            "a rider of the cord",
        ),
    ] {
        let message = problem(&format!("[[face]]\n{text}\n"));
        assert!(message.contains(part), "{text}: {message}");
    }
    let two = |second: &str| {
        format!("[[face]]\nname = \"plate\"\ntabs = [41, 40, 39]\n[[face]]\n{second}\n")
    };
    assert!(
        problem(&two("name = \"plate\"\ntabs = [42, 43, 44]")).contains("can't be the face's name")
    );
    assert!(
        problem(&two("name = \"other\"\ntabs = [41, 43, 44]")).contains("tab 41 is in two faces")
    );
    assert_eq!(job(&two("name = \"other\"\ntabs = [42, 43, 44]")).faces[0].tabs, [39, 40, 41]);
}

#[test]
fn tolerances_and_hand_values_belong_to_a_figure_and_its_unit() {
    assert_eq!(field_unit("/rim/1-mark-forward/left/offset"), Some(Unit::Mm));
    assert_eq!(field_unit("/rim/1-mark-forward/left/3/offset"), Some(Unit::Mm));
    assert_eq!(field_unit("/faces/engine plate/lean"), Some(Unit::Deg));
    assert_eq!(field_unit("/plumb//offset"), None);
    assert_eq!(field_unit("/wheel"), None);
    for (text, part) in [
        (
            "[[tolerance]]\nfield = \"/wheel/ofset\"\nmm = 1\nsource = \"me\"",
            "The nearest is /wheel/offset ",
        ),
        (
            "[[tolerance]]\nfield = \"wheel/yaw\"\ndeg = 1\nsource = \"me\"",
            "The nearest is /wheel/yaw ",
        ),
        ("[[tolerance]]\nfield = \"/wheel/yaw\"\nmm = 1\nsource = \"me\"", "Write deg instead"),
        (
            "[[tolerance]]\nfield = \"/wheel/offset\"\nmm = 1\ndeg = 1\nsource = \"me\"",
            "deg does not fit this figure",
        ),
        ("[[tolerance]]\nfield = \"/wheel/offset\"\nsource = \"me\"", "mm is missing"),
        ("[[tolerance]]\nfield = \"/wheel/offset\"\nmm = 1", "source is missing"),
        ("[[tolerance]]\nfield = \"/wheel/offset\"\nmm = 0\nsource = \"me\"", "out of range"),
        (
            "[[hand]]\nfield = \"/wheel/lean\"\nvalue_mm = 1\nu_deg = 0.2\ntool = \"gauge\"",
            "Write value_deg instead",
        ),
        ("[[hand]]\nfield = \"/wheel/lean\"\nvalue_deg = 1\ntool = \"gauge\"", "u_deg is missing"),
        ("[[hand]]\nfield = \"/wheel/lean\"\nvalue_deg = 1\nu_deg = 0.2", "tool is missing"),
    ] {
        let message = problem(text);
        assert!(message.contains(part), "{text}: {message}");
    }
    let tolerance = "[[tolerance]]\nfield = \"/wheel/offset\"\nmm = 1\nsource = \"me\"\n";
    assert!(problem(&tolerance.repeat(2)).contains("two tolerances"));
}

#[test]
fn measured_check_lines_become_a_scale_and_its_uncertainty() {
    let unmeasured = Job::default().card_print(1);
    assert_eq!(
        (unmeasured.along.ratio, unmeasured.along.sigma, unmeasured.along.measured),
        (1.0, 0.003, false)
    );
    assert_eq!(unmeasured.paper_mm, 0.10);

    let text = "[print]\nmeasured_along_mm = 242.5\npaper_mm = 0.15\n[[print.card]]\nnumber = 13\nmeasured_along_mm = 375.3\nmeasured_across_mm = 239.4\nmeasured_u_mm = 0.15\n";
    let job = job(text);
    let (general, tabs, a3) = (job.card_print(2), job.tab_print(), job.card_print(13));
    assert!(
        (general.along.ratio - 0.97).abs() < 1e-12
            && general.along.measured
            && general.along.sigma == 0.0005
    );
    assert_eq!((general.across.measured, general.across.sigma), (false, 0.003));
    assert_eq!(tabs, general);
    assert!(
        (a3.along.ratio - 375.3 / 375.0).abs() < 1e-12
            && (a3.across.ratio - 239.4 / 240.0).abs() < 1e-12
    );
    // 0.15 mm expanded is 0.075 standard, on 375 mm.
    assert!((a3.along.sigma - 0.0002).abs() < 1e-12);
    assert_eq!(a3.paper_mm, 0.15);
    // All printed on A3: the same key, the longer line.
    assert!(
        (self::job("[print]\nmeasured_along_mm = 374\n").card_print(14).along.ratio
            - 374.0 / 375.0)
            .abs()
            < 1e-12
    );

    // The tabs' own line counts against the cards', and says nothing without them.
    let tabs = "[print]\nmeasured_tabs_mm = 99.5\n";
    assert!(
        (self::job(&format!("{tabs}measured_along_mm = 251\nmeasured_across_mm = 160\n"))
            .tabs_to_cards()
            - 0.995 / 1.002)
            .abs()
            < 1e-9
    );
    assert_eq!(self::job(tabs).tabs_to_cards(), 1.0);
    assert!(
        problem("[[print.card]]\nnumber = 1\nmeasured_tabs_mm = 100\n")
            .contains("belongs below [print]")
    );

    assert!(problem("[print]\nmeasured_along_mm = 300\n").contains("more than 10 % off"));
    assert!(
        problem("[[print.card]]\nnumber = 1\nmeasured_along_mm = 375\n")
            .contains("more than 10 % off")
    );
    assert!(
        problem("[print]\nmeasured_across_mm = 250\n[[print.card]]\nnumber = 13\nmeasured_across_mm = 160\n").contains("line 5")
    );
    assert!(
        problem("[[print.card]]\nnumber = 1\n[[print.card]]\nnumber = 1\n")
            .contains("card 1 is listed twice")
    );
}

#[test]
fn settings_without_effect_are_reported() {
    let ids = |text: &str| {
        job(text).findings().into_iter().map(|finding| finding.what).collect::<Vec<_>>()
    };
    assert!(ids("[bench]\nlevel_u_deg = 0.1\n")[0].contains("level_u_deg"));
    assert!(ids("[print]\nmeasured_u_mm = 0.1\n")[0].contains("measured_u_mm"));
    assert!(ids("[print]\nmeasured_tabs_mm = 99.8\n")[0].contains("measured_tabs_mm"));
    assert!(
        ids("[sprockets]\nrear_face_to_tooth_centre_mm = 3\n")[0]
            .contains("gearbox_face_to_tooth_centre_mm is not given")
    );
    assert!(ids("[hub]\ntarget_mm = 30\n")[0].contains("face_side"));
    assert!(ids("[bench]\nlevel_u_deg = 0.1\nlevel_across_deg = 0\n").is_empty());
}

#[test]
fn keys_are_told_apart_within_their_sections() {
    let names: BTreeSet<(&str, &str)> = KEYS.iter().map(|key| (key.section, key.name)).collect();
    assert_eq!(names.len(), KEYS.len());
}

#[test]
#[ignore = "needs ../shared"]
fn the_shared_job_is_read() {
    let job = Job::read(std::path::Path::new("../shared/photos/swing-arm/job.toml")).unwrap();
    assert_eq!(
        (job.bike.chain_side, job.hub.face_side, job.hub.face_turns),
        (Some(Side::Left), Some(Side::Right), Some(true))
    );
    assert_eq!((job.tab(29).side_mm, job.tab(30).side_mm, job.tab(28).side_mm), (25.0, 25.0, 20.0));
    assert_eq!(job.tab(29).role, Role::BackboneFlag { front: true });
}

proptest! {
    #[test]
    fn no_text_makes_it_panic(text in "(\\PC|\n|\\[|\\]|\"|=|#){0,80}") {
        let _ = Job::parse(&text);
    }

    #[test]
    fn no_change_of_one_line_makes_it_panic(line in 0_usize..140, value in "(\"[a-zA-Z ]{0,9}\"|-?[0-9]{1,20}|-?[0-9]{1,3}\\.[0-9]|true|\\[1, 2\\]|\\{a = 1\\}|1979-05-27)") {
        let text: String = template_in_use().lines().enumerate().map(|(number, text)| match text.split_once(" = ") {
            Some((key, _)) if number == line => format!("{key} = {value}\n"),
            _ => format!("{text}\n"),
        }).collect();
        if let Err(problems) = Job::parse(&text) {
            prop_assert!(!problems.is_empty() && problems.iter().all(|problem| problem.line >= 1 && !problem.advice.is_empty()));
        }
    }
}

#[test]
fn setups_are_read_and_written_alike() {
    let setups = vec![
        JobSetup {
            name: "1-mark-forward".to_owned(),
            photos: vec!["IMG_1.jpg".to_owned(), "a \"b\"\\ü.jpg".to_owned()],
        },
        JobSetup { name: "0-camera".to_owned(), photos: vec!["c/d.jpg".to_owned()] },
    ];
    let text =
        format!("schema = \"sightcord-job/1\"\n{}", sightcord::job::setups::written(&setups));
    assert_eq!(job(&text).setups, setups);
}

#[test]
fn a_photo_in_two_setups_and_a_setup_without_a_name_are_refused() {
    let one = "[[setup]]\nname = \"1-a\"\nphotos = [\"x.jpg\"]\n";
    for (more, words) in [
        ("[[setup]]\nname = \"2-b\"\nphotos = [\"x.jpg\"]\n", "x.jpg is in two set-ups"),
        ("[[setup]]\nname = \"1-a\"\nphotos = [\"y.jpg\"]\n", "can't be the set-up's name"),
        ("[[setup]]\nname = \"a/b\"\nphotos = [\"y.jpg\"]\n", "can't be the set-up's name"),
        ("[[setup]]\nphotos = [\"y.jpg\"]\n", "has no name"),
        ("[[setup]]\nname = \"2-b\"\nphotos = [1]\n", "must be a list of file names"),
        ("[[setup]]\nname = \"2-b\"\n", "must be a list of file names"),
    ] {
        let problems = Job::parse(&format!("{one}{more}")).unwrap_err();
        assert!(
            problems.iter().any(|problem| problem.to_string().contains(words)),
            "{words}: {problems:?}"
        );
    }
}
