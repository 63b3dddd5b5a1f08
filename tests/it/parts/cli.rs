//! What the commands say: `glance --watch` of each new photo, `bench` of the address it opens.

use clap::Parser;

use sightcord::cli::bench::{BenchArgs, after, code, last_words, words};
use sightcord::cli::glance::arrivals::{Arrivals, New};
use sightcord::glance::seen::{Glance, SeenPattern};
use sightcord::job::Job;
use sightcord::photo::{JobPhotos, PhotoError, PhotoFile, SetupFolder};
use sightcord::pipeline::Sortable;
use sightcord::serve::network::Network;

fn pattern(number: u8) -> SeenPattern {
    SeenPattern { number, role: None, corners: 100, cell_px: 12.0, mm_per_px: 0.8 }
}

fn glance(photo: &str, cards: &[u8], tabs: &[u8]) -> Glance {
    Glance {
        photo: photo.to_owned(),
        setup: photo.split_once('/').map(|(setup, _)| setup.to_owned()),
        cards: cards.iter().map(|n| pattern(*n)).collect(),
        tabs: tabs.iter().map(|n| pattern(*n)).collect(),
        ..Glance::default()
    }
}

fn file(id: &str, sha256: &str) -> PhotoFile {
    PhotoFile { id: id.to_owned(), path: id.into(), sha256: sha256.to_owned() }
}

fn listed(files: &[PhotoFile]) -> JobPhotos {
    let setup = SetupFolder { name: "1-a".to_owned(), photos: files.to_vec() };
    JobPhotos { setups: vec![setup], ..JobPhotos::default() }
}

fn take(arrivals: &mut Arrivals, file: &PhotoFile, glance: Glance) -> New {
    let job = Job::default();
    let photo = Sortable::new(&file.id, glance.setup.as_deref(), None, &job);
    arrivals.take(file, glance, photo, &job)
}

#[test]
fn a_new_photo_is_reported_by_what_it_adds_and_what_is_missing_after_it() {
    let (job, mut arrivals) = (Job::default(), Arrivals::default());
    let first =
        take(&mut arrivals, &file("1-a/1.jpg", "a"), glance("1-a/1.jpg", &[1, 2], &[1, 8, 9, 10]));
    assert_eq!(
        first.adds,
        [
            "cards 1, 2 for the first time",
            "tabs 1 (rear rim, left), 8 to 10 (rear sprocket) for the first time"
        ]
    );
    assert!(
        first.line.contains("1-a/1.jpg") && first.line.contains("new: cards 1, 2, tabs 1, 8 to 10"),
        "{}",
        first.line
    );
    let second =
        take(&mut arrivals, &file("1-a/2.jpg", "b"), glance("1-a/2.jpg", &[2, 3], &[1, 2]));
    assert_eq!(
        second.adds,
        [
            "card 3 for the first time",
            "tab 2 (rear rim, right) for the first time",
            "the second view of tab 1 (rear rim, left)"
        ]
    );
    let text = second.reported(&job);
    assert!(text.contains("tabs 5 to 7 (gearbox sprocket)."), "{text}");
    assert!(text.contains("More photos in 1-a (2 of 6 so far)"), "{text}");
    assert!(text.contains("One more set-up (1 of 2 so far)"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let third = take(&mut arrivals, &file("1-a/3.jpg", "c"), glance("1-a/3.jpg", &[2], &[1]));
    assert_eq!(third.adds, ["one more view of what was seen before"]);
    let tally = arrivals.tally(&job);
    assert!(tally.contains("3 of 6") && tally.contains("half round"), "{tally}");
}

#[test]
fn a_file_that_cannot_be_read_is_reported_only_once_it_has_stopped_changing() {
    let mut arrivals = Arrivals::default();
    let half = file("1-a/1.jpg", "half");
    assert_eq!(arrivals.new_among(&listed(std::slice::from_ref(&half))).len(), 1);
    assert!(!arrivals.is_ready(&half, &Err(PhotoError::CutOff)), "it may be on its way");
    let more = file("1-a/1.jpg", "more of it");
    assert!(!arrivals.is_ready(&more, &Err(PhotoError::CutOff)), "it has grown");
    assert!(!arrivals.is_ready(&more, &Err(PhotoError::Changed)), "it grows while it is read");
    assert!(!arrivals.is_ready(&more, &Err(PhotoError::CutOff)));
    assert!(arrivals.is_ready(&more, &Err(PhotoError::CutOff)), "it is the same as before");
    assert!(!arrivals.is_waiting());
}

#[test]
fn a_photo_is_reported_once_and_again_when_it_was_taken_away_or_replaced() {
    let mut arrivals = Arrivals::default();
    let first = file("1-a/1.jpg", "a");
    take(&mut arrivals, &first, glance("1-a/1.jpg", &[1], &[1]));
    assert!(arrivals.new_among(&listed(std::slice::from_ref(&first))).is_empty());
    let replaced = [file("1-a/1.jpg", "another")];
    assert_eq!(arrivals.new_among(&listed(&replaced)).len(), 1);
    assert!(arrivals.glances().is_empty(), "what is no longer there counts no more");
}

/// The arguments of `bench` as the command line reads them.
#[derive(Parser)]
struct Arguments {
    #[command(flatten)]
    bench: BenchArgs,
}

fn args(phone: bool) -> BenchArgs {
    let line = ["bench", "my-bike"].into_iter().chain(phone.then_some("--phone"));
    Arguments::parse_from(line).bench
}

#[test]
fn it_names_the_network_it_opens_the_page_to_and_how_to_open_it() {
    let network = |name: &str, last: u8| Network {
        name: name.to_owned(),
        address: [192, 168, 43, last].into(),
        netmask: [255, 255, 255, 0].into(),
    };
    let known = [network("wlan0", 17), network("eth0", 7)];
    let open = words(&args(true), "my-bike", 2) + &after(false, known.first(), &known);
    for said in [
        "Scan the code",
        "It continues evening 2",
        "open to this computer's network (192.168.43.0/24, by wlan0)",
        "--at 192.168.43.7",
        "nothing is encrypted",
        "Ctrl-C",
    ] {
        assert!(open.contains(said), "{said}: {open}");
    }
    let here = words(&args(false), "my-bike", 1) + &after(true, None, &[]);
    for said in ["Open this address in a browser on this computer", "Only this computer", "--phone"]
    {
        assert!(here.contains(said), "{said}: {here}");
    }
    assert!(!here.contains("network ("), "{here}");
}

#[test]
fn the_last_words_say_that_the_photos_are_safe() {
    assert!(last_words(22, "my-bike").contains("All 22 photos of this evening are safe."));
    assert!(last_words(0, "my-bike").contains("No photo was taken yet."));
}

#[test]
fn the_code_is_black_on_white_and_fits_a_terminal() {
    let text = code("http://192.168.143.117:8714/abcdefghijkmnpqrstuvwxyz23/");
    let plain = anstream::adapter::strip_str(&text).to_string();
    let widths: Vec<usize> = plain.lines().map(|line| line.chars().count()).collect();
    assert!(widths.iter().all(|width| *width <= 60), "{widths:?}");
    // The quiet zone round it is white: no blocks there.
    assert!(plain.lines().next().unwrap().trim().is_empty(), "{plain}");
    assert!(plain.contains('█') && text.contains("\u{1b}[30;107m"));
}
