//! Where the bench page is found, and where its evenings and its photos go: networks, the secret in
//! its address, folders, names of files.

use std::fs;
use std::path::Path;

use sightcord::grouping::Mark;
use sightcord::job::JOB_FILE;
use sightcord::photo::job_photos::USUAL_SETUPS;
use sightcord::serve::folders::{Position, begin_next, evenings, give_up, positions};
use sightcord::serve::kept::{KEPT_NAME, Kept};
use sightcord::serve::name::{safe_stem, unescaped};
use sightcord::serve::network::{Network, likeliest_first};
use sightcord::serve::position::{Place, Stands, place_for};
use sightcord::serve::token::{self, is_same, is_well_formed};

#[test]
fn the_wireless_network_comes_first_and_public_addresses_do_not_come() {
    let network = |name: &str, address: [u8; 4]| Network {
        name: name.to_owned(),
        address: address.into(),
        netmask: [255, 255, 255, 0].into(),
    };
    let found = vec![
        network("lo", [127, 0, 0, 1]),
        network("br-lan", [172, 17, 0, 1]),
        network("eth0", [192, 168, 1, 7]),
        network("eth1", [203, 0, 113, 9]),
        network("wlan0", [192, 168, 43, 17]),
        network("usb0", [169, 254, 3, 4]),
    ];
    let names: Vec<String> =
        likeliest_first(found.clone(), None).iter().map(|network| network.name.clone()).collect();
    assert_eq!(names, ["wlan0", "eth0", "usb0", "br-lan"]);
    // The one that leads out comes before all.
    let out = likeliest_first(found, Some([192, 168, 1, 7].into()));
    assert_eq!(out[0].name, "eth0");
    assert_eq!(network("wlan0", [192, 168, 43, 17]).words(), "192.168.43.0/24, by wlan0");
}

#[test]
fn tokens_are_long_and_never_the_same() {
    let (one, other) = (token::new().unwrap(), token::new().unwrap());
    assert!(is_well_formed(&one) && is_well_formed(&other) && one != other);
}

#[test]
fn only_the_whole_token_is_the_token() {
    assert!(is_same(b"abcd", b"abcd"));
    for wrong in [&b""[..], b"abc", b"abce", b"bbcd", b"abcdd", b"abcd\0"] {
        assert!(!is_same(wrong, b"abcd"), "{wrong:?}");
    }
}

#[test]
fn the_address_stays_until_a_new_one_is_asked_for_and_rubbish_is_no_address() {
    let folder = tempfile::tempdir().unwrap();
    let mut first = Kept::of(folder.path(), false).unwrap();
    first.port = Some(4711);
    first.ticks.insert("square".to_owned());
    first.store(folder.path()).unwrap();
    assert_eq!(Kept::of(folder.path(), false).unwrap(), first);
    let fresh = Kept::of(folder.path(), true).unwrap();
    assert!(fresh.token != first.token && fresh.ticks == first.ticks);
    fs::write(folder.path().join(KEPT_NAME), "{\"token\": \"x\"}").unwrap();
    assert!(is_well_formed(&Kept::of(folder.path(), false).unwrap().token));
}

#[test]
fn a_job_without_folders_has_the_usual_positions_and_its_own_ones_otherwise() {
    let home = tempfile::tempdir().unwrap();
    let names = |of: &Path| {
        positions(of, &["2-down".to_owned()])
            .into_iter()
            .map(|position| position.folder)
            .collect::<Vec<_>>()
    };
    assert_eq!(positions(home.path(), &[]).len(), USUAL_SETUPS.len());
    for name in
        ["0-camera", "report", "evening-2", ".put-aside", "1-up", "2-down", "3-third", "pictures"]
    {
        fs::create_dir(home.path().join(name)).unwrap();
    }
    assert_eq!(names(home.path()), ["1-up", "2-down", "3-third"]);
    assert_eq!(Position { folder: USUAL_SETUPS[1].to_owned() }.title(), "mark rearward");
}

#[test]
fn a_position_with_photos_is_counted_once_beside_the_usual_one() {
    let home = tempfile::tempdir().unwrap();
    fs::create_dir(home.path().join(USUAL_SETUPS[0])).unwrap();
    let found = positions(home.path(), &[USUAL_SETUPS[0].to_owned()]);
    let names: Vec<&str> = found.iter().map(|position| position.folder.as_str()).collect();
    assert_eq!(names, USUAL_SETUPS);
}

#[test]
fn an_evening_is_a_folder_of_its_own_with_the_same_settings() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join(JOB_FILE), "schema = \"sightcord-job/1\"\n").unwrap();
    let first = evenings(home.path());
    assert_eq!(first.len(), 1);
    let second = begin_next(home.path(), &first[0]).unwrap();
    assert_eq!(second.folder, home.path().join("evening-2"));
    assert_eq!(
        fs::read(second.folder.join(JOB_FILE)).unwrap(),
        fs::read(home.path().join(JOB_FILE)).unwrap()
    );
    assert!(begin_next(home.path(), &first[0]).is_err(), "it is there already");
    assert_eq!(evenings(home.path()), [first[0].clone(), second]);
}

#[test]
fn an_evening_is_given_up_only_while_nothing_is_in_it() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join(JOB_FILE), "schema = \"sightcord-job/1\"\n").unwrap();
    let first = evenings(home.path()).remove(0);
    let second = begin_next(home.path(), &first).unwrap();
    let photo = second.folder.join("a.jpg");
    fs::write(&photo, "a photo").unwrap();
    assert!(give_up(home.path(), &second, &first).is_err(), "it holds a photo");
    fs::remove_file(&photo).unwrap();
    fs::write(second.folder.join(JOB_FILE), "changed").unwrap();
    assert!(give_up(home.path(), &second, &first).is_err(), "its settings were changed");
    fs::copy(home.path().join(JOB_FILE), second.folder.join(JOB_FILE)).unwrap();
    give_up(home.path(), &second, &first).unwrap();
    assert_eq!(evenings(home.path()), [first]);
}

const FORWARD: Option<Mark> = Some(Mark::Forward);
const REARWARD: Option<Mark> = Some(Mark::Rearward);

/// `with` holds each position's photos and mark.
fn put(
    name: &str,
    mark: Option<Mark>,
    names: &[&str],
    with: &[(usize, Option<Mark>)],
    current: usize,
) -> String {
    let positions: Vec<Position> =
        names.iter().map(|name| Position { folder: (*name).to_owned() }).collect();
    let stands: Vec<Stands> =
        with.iter().map(|(photos, mark)| Stands { photos: *photos, mark: *mark }).collect();
    match place_for(name, mark, &positions, &stands, current) {
        Place::Folder(name) => name,
        Place::Loose => "loose".to_owned(),
    }
}

const USUAL: [&str; 2] = ["1-mark-forward", "2-mark-rearward"];
const NONE: (usize, Option<Mark>) = (0, None);

#[test]
fn names_tell_at_first_and_photos_afterwards() {
    assert_eq!(put("1-mark-forward", FORWARD, &USUAL, &[NONE, NONE], 1), USUAL[0]);
    assert_eq!(put("1-mark-rearward", REARWARD, &USUAL, &[NONE, NONE], 0), USUAL[1]);
    // Somebody began the other way round: then that is how it is.
    assert_eq!(put(USUAL[0], REARWARD, &USUAL, &[(3, REARWARD), NONE], 1), USUAL[0]);
    assert_eq!(put("2-mark-forward", FORWARD, &USUAL, &[(3, REARWARD), NONE], 0), USUAL[1]);
    assert_eq!(put("x", FORWARD, &USUAL, &[(3, REARWARD), (1, FORWARD)], 0), USUAL[1]);
}

#[test]
fn what_nobody_can_tell_goes_where_the_wheel_is_said_to_stand() {
    assert_eq!(put("2-position", None, &USUAL, &[(2, FORWARD), NONE], 0), USUAL[0]);
    assert_eq!(put("2-position", None, &USUAL, &[(2, FORWARD), NONE], 1), USUAL[1]);
    assert_eq!(put("2-mark-forward", FORWARD, &USUAL, &[(1, None), NONE], 0), USUAL[0]);
    let third = ["1-a", "2-b", "3-c"];
    assert_eq!(put("1-position", None, &third, &[NONE, NONE, NONE], 2), "3-c");
}

#[test]
fn what_fits_no_position_is_one_of_its_own() {
    let two = [(3, FORWARD), (3, REARWARD)];
    assert_eq!(put("3-mark-up", Some(Mark::Up), &USUAL, &two, 0), "3-mark-up");
    assert_eq!(put("2-mark-up", Some(Mark::Up), &USUAL, &[(3, FORWARD), NONE], 0), USUAL[1]);
}

#[test]
fn wicked_names_become_plain_ones() {
    for (name, plain) in [
        ("IMG_20260516_100448.jpg", "IMG_20260516_100448"),
        ("../../etc/passwd", "passwd"),
        ("..\\..\\job.toml", "job"),
        ("/absolute.jpg", "absolute"),
        ("<script>alert(1)</script>.jpg", "script"),
        ("a<b onload=x>.jpg", "a-b-onload-x"),
        ("..", "photo"),
        (".hidden", "photo"),
        ("", "photo"),
        ("Foto vom Bänkle.jpeg", "Foto-vom-B-nkle"),
        ("con.jpg", "photocon"),
        ("COM1.jpg", "photoCOM1"),
        ("a\0b\n.jpg", "a-b"),
        ("\u{202e}gpj.exe", "gpj"),
    ] {
        assert_eq!(safe_stem(name), plain, "{name:?}");
    }
    assert_eq!(safe_stem(&"x".repeat(300)).len(), 40);
}

#[test]
fn escapes_are_read_and_broken_ones_stay() {
    assert_eq!(unescaped("a%2Fb%20%c3%a4%"), "a/b ä%");
    assert_eq!(unescaped("%zz%2"), "%zz%2");
}
