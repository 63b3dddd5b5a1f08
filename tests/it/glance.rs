//! `sightcord glance` on the command line: words, JSON, pictures, and the watch over a folder.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command as Process, Stdio};

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use sightcord::cards::Pattern;

const PHOTO: &str = "samples/grass-track/1-mark-forward/02.jpg";

fn sightcord() -> Command {
    Command::new(env!("CARGO_BIN_EXE_sightcord"))
}

fn stdout_of(arguments: &[&str]) -> String {
    let out = sightcord().arg("glance").args(arguments).output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

#[test]
fn a_glance_tells_what_is_seen_in_plain_words_within_80_columns() {
    let text = stdout_of(&[PHOTO]);
    for words in [
        "rear rim, left",
        "plumb line A",
        "sharpness",
        "mm a pixel",
        "card 1:",
        "lane's middle",
        "clockwise",
        "straight line",
        "parallax",
        "Still missing",
    ] {
        assert!(
            text.replace('\n', " ")
                .split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
                .contains(words),
            "no \"{words}\" in\n{text}"
        );
    }
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

#[test]
fn json_carries_the_same() {
    let value: serde_json::Value = serde_json::from_str(&stdout_of(&[PHOTO, "--json"])).unwrap();
    let photo = &value["photos"][0];
    assert_eq!(value["schema"], "sightcord-glance/1");
    assert!(
        photo["tabs"]
            .as_array()
            .unwrap()
            .iter()
            .any(|tab| tab["role"] == "rear rim, left" && tab["mm_per_px"].as_f64() > Some(0.1))
    );
    let read: Vec<_> = photo["cord"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|cord| cord["offset"].is_object())
        .collect();
    assert!(
        !read.is_empty()
            && read
                .iter()
                .all(|cord| cord["offset"]["u"].as_f64() > Some(0.0) && cord["angle"].is_object()),
        "{photo}"
    );
    assert!(photo["blur_px"].as_f64() > Some(0.0) && photo["width"].as_u64() > Some(1000));
    assert!(!value["missing"].as_array().unwrap().is_empty());
    assert!(value["not_told"].as_str().unwrap().contains("parallax"));
}

#[test]
fn a_photo_that_cannot_be_read_is_reported_and_the_others_go_on() {
    let folder = tempfile::tempdir().unwrap();
    let nothing = folder.path().join("nothing.jpg");
    fs::write(&nothing, "no picture").unwrap();
    let both = sightcord()
        .args(["glance", "--all"])
        .arg(&nothing)
        .arg(PHOTO)
        .arg("no/such.jpg")
        .arg(folder.path())
        .assert()
        .success();
    both.stdout(
        contains("not readable")
            .and(contains("not a picture"))
            .and(contains("rear rim, left"))
            .and(contains("no/such.jpg")),
    );
    sightcord().arg("glance").arg(&nothing).assert().code(2).stdout(contains("not readable"));
    sightcord()
        .args(["glance", "--quiet"])
        .arg(&nothing)
        .assert()
        .code(2)
        .stdout("")
        .stderr(contains("nothing.jpg"));
}

#[test]
fn a_folder_without_photos_is_reported_with_a_way_out() {
    let folder = tempfile::tempdir().unwrap();
    sightcord()
        .arg("glance")
        .arg(folder.path())
        .assert()
        .code(2)
        .stdout(contains("no photo").and(contains("sub-folder")));
    sightcord()
        .args(["glance", "no/such/folder", "--watch"])
        .assert()
        .code(2)
        .stderr(contains("no/such/folder"));
    sightcord()
        .args(["glance", "a", "b", "--watch"])
        .assert()
        .code(2)
        .stderr(contains("one folder"));
}

/// The same photo with another EXIF orientation.
fn turned(photo: &[u8], orientation: u8) -> Vec<u8> {
    let mut bytes = photo.to_vec();
    let (big, little) = ([1, 0x12, 0, 3, 0, 0, 0, 1, 0, 1], [0x12, 1, 3, 0, 1, 0, 0, 0, 1, 0]);
    let find = |tag: &[u8; 10]| photo.windows(10).position(|window| window == tag);
    let at = find(&big)
        .map(|at| at + 9)
        .or_else(|| find(&little).map(|at| at + 8))
        .expect("an upright photo with EXIF");
    bytes[at] = orientation;
    bytes
}

#[test]
fn pictures_are_upright_and_reduced_and_written_over_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("bike");
    fs::create_dir_all(job.join("1-a")).unwrap();
    fs::write(job.join("1-a/02.jpg"), turned(&fs::read(PHOTO).unwrap(), 6)).unwrap();
    fs::write(job.join("1-a/03.jpg"), "no picture").unwrap();
    let to = folder.path().join("deep/pictures");
    let glance = || {
        let mut command = sightcord();
        command.arg("glance").arg(&job).arg("--picture").arg(&to);
        command
    };
    glance().assert().success().stdout(contains("1 picture written"));
    let picture = to.join("1-a-02-drawn.jpg");
    let (width, height) = image::image_dimensions(&picture).unwrap();
    assert!(width < height && height <= 1600, "{width} x {height}");
    // The cord's colour is nowhere else in the photo, and shows that the finds were drawn in.
    let drawn = image::open(&picture).unwrap().into_rgb8();
    let pink = drawn
        .pixels()
        .filter(|p| p[0] > 190 && p[1] < 140 && p[2] > 110 && p[2] < 215 && p[0] - p[1] > 80)
        .count();
    assert!(pink > 200, "only {pink} pixels of the cord's colour");
    assert_eq!(fs::read_dir(&to).unwrap().count(), 1);
    // Again: the same bytes are left as they are. Something else in the way is never touched.
    glance().assert().success().stdout(contains("1 unchanged"));
    fs::write(&picture, "mine").unwrap();
    glance()
        .assert()
        .code(2)
        .stderr(contains("1-a-02-drawn.jpg").and(contains("nothing was written")));
    assert_eq!(fs::read_to_string(&picture).unwrap(), "mine");
    // A file where the folder should be.
    sightcord()
        .args(["glance", PHOTO, "--picture"])
        .arg(&picture)
        .assert()
        .code(2)
        .stderr(contains("not a file"));
}

/// Ground of a card's cells in its flat picture: dark ones darker than bright ones, each read
/// next to its dot. Things lie on some of them; in a picture that is turned, mirrored or shifted
/// half of them are wrong, or all.
fn assert_is_flat(picture: &image::GrayImage, card: Pattern) {
    let cell = f64::from(picture.width()) / (card.cols() as f64 + 2.0);
    let shape = f64::from(picture.height()) / cell - (card.rows() as f64 + 2.0);
    assert!(shape.abs() < 0.1, "{} x {}", picture.width(), picture.height());
    let ground = |row: usize, col: usize| {
        let at = |n: usize| (cell * (n as f64 + 1.0 + 0.85)) as u32;
        picture.get_pixel(at(col), at(row)).0[0]
    };
    let cells = (0..card.rows()).flat_map(|row| (0..card.cols()).map(move |col| (row, col)));
    let (dark, bright): (Vec<_>, Vec<_>) = cells
        .filter(|&(row, _)| !card.is_lane(row))
        .partition(|&(row, col)| card.is_dark(row, col));
    let mean = |cells: &[(usize, usize)]| {
        cells.iter().map(|&(row, col)| f64::from(ground(row, col))).sum::<f64>()
            / cells.len() as f64
    };
    let (low, high) = (mean(&dark), mean(&bright));
    let middle = (low + high) / 2.0;
    let right = dark.iter().filter(|&&(row, col)| f64::from(ground(row, col)) < middle).count()
        + bright.iter().filter(|&&(row, col)| f64::from(ground(row, col)) > middle).count();
    assert!(
        high - low > 40.0 && right * 10 > 7 * (dark.len() + bright.len()),
        "{card:?}: {low} {high}, {right} cells are right"
    );
}

#[test]
fn cards_are_shown_from_straight_above() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("pictures");
    let glance = || {
        let mut command = sightcord();
        command.args(["glance", "-q", "--flat", PHOTO, "--picture"]).arg(&to);
        command
    };
    glance().assert().success().stdout("");
    let names: Vec<String> =
        fs::read_dir(&to).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    let cards: Vec<(&String, u8)> = names
        .iter()
        .filter_map(|name| {
            Some((
                name,
                name.strip_prefix("1-mark-forward-02-card-")?
                    .strip_suffix("-drawn.jpg")?
                    .parse()
                    .ok()?,
            ))
        })
        .collect();
    assert!(cards.len() >= 2 && cards.len() + 1 == names.len(), "{names:?}");
    for (name, number) in cards {
        assert_is_flat(
            &image::open(to.join(name)).unwrap().into_luma8(),
            Pattern::card(number.into()).unwrap(),
        );
    }
    // Again: nothing is written over.
    glance().assert().success().stdout("");
    sightcord().args(["glance", "--flat", PHOTO]).assert().code(2).stderr(contains("--picture"));
}

#[test]
fn two_photos_of_one_name_get_two_pictures() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("pictures");
    sightcord()
        .args(["glance", "-q", PHOTO, PHOTO, "--picture"])
        .arg(&to)
        .assert()
        .success()
        .stdout("");
    let mut names: Vec<String> =
        fs::read_dir(&to).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert_eq!(names, ["1-mark-forward-02-drawn-2.jpg", "1-mark-forward-02-drawn.jpg"]);
}

/// Pictures that someone copies into the job's folder by hand must replace no photo.
#[test]
fn no_picture_has_the_name_of_its_photo() {
    let folder = tempfile::tempdir().unwrap();
    let (job, to) = (folder.path().join("bike"), folder.path().join("pictures"));
    fs::create_dir(&job).unwrap();
    fs::copy(PHOTO, job.join("IMG_0001.jpg")).unwrap();
    sightcord().args(["glance", "-q"]).arg(&job).arg("--picture").arg(&to).assert().success();
    let names: Vec<_> = fs::read_dir(&to).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(names, ["IMG_0001-drawn.jpg"]);
}

/// Lines of the watch up to the first that holds these words.
#[cfg(unix)]
fn read_until(lines: &mut impl Iterator<Item = std::io::Result<String>>, words: &str) -> String {
    let mut text = String::new();
    for line in lines.by_ref() {
        let line = line.unwrap();
        text.push_str(&line);
        text.push('\n');
        if line.contains(words) {
            return text;
        }
    }
    panic!("the watch ended without \"{words}\":\n{text}");
}

#[cfg(unix)]
#[test]
fn a_watched_folder_tells_of_each_new_photo_and_ends_on_ctrl_c_with_exit_code_0() {
    let folder = tempfile::tempdir().unwrap();
    let setup = folder.path().join("1-mark-forward");
    let mut watch = Process::new(env!("CARGO_BIN_EXE_sightcord"))
        .arg("glance")
        .arg(folder.path())
        .arg("--watch")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(watch.stdout.take().unwrap()).lines();
    read_until(&mut lines, "Watching");
    // A folder that comes later, and a photo that is there only in part at first.
    fs::create_dir(&setup).unwrap();
    let photo = fs::read(Path::new(PHOTO)).unwrap();
    fs::write(setup.join("02.jpg"), &photo[..photo.len() / 2]).unwrap();
    fs::write(setup.join("02.jpg"), &photo).unwrap();
    let told = read_until(&mut lines, "half round");
    assert!(
        told.contains("1-mark-forward/02.jpg")
            && told.contains("new: ")
            && !told.contains("not readable"),
        "{told}"
    );
    assert!(told.contains("mark forward  1 of 6: "), "{told}");
    // What is dropped into the job's own folder is seen as well.
    fs::copy("samples/grass-track/1-mark-forward/03.jpg", folder.path().join("IMG_0003.jpg"))
        .unwrap();
    let told = read_until(&mut lines, "half round");
    assert!(told.contains("IMG_0003.jpg") && told.contains("mark forward  2 of 6: "), "{told}");
    let stopped = Process::new("kill").arg("-INT").arg(watch.id().to_string()).status().unwrap();
    assert!(stopped.success());
    assert_eq!(watch.wait().unwrap().code(), Some(0));
}

#[test]
fn a_folder_gets_a_line_a_photo_and_a_line_a_position() {
    let folder = tempfile::tempdir().unwrap();
    for (n, name) in ["1-mark-forward/02.jpg", "1-mark-forward/07.jpg", "2-mark-rearward/03.jpg"]
        .iter()
        .enumerate()
    {
        fs::copy(
            Path::new("samples/grass-track").join(name),
            folder.path().join(format!("IMG_{n}.jpg")),
        )
        .unwrap();
    }
    let text = stdout_of(&[folder.path().to_str().unwrap()]);
    let line = |begin: &str| {
        text.lines()
            .find(|line| line.starts_with(begin))
            .unwrap_or_else(|| panic!("no {begin} in\n{text}"))
    };
    assert!(line("IMG_0.jpg").contains("mark forward, from the "), "{text}");
    assert!(line("IMG_2.jpg").contains("mark rearward, from the "), "{text}");
    assert!(
        line("mark forward").contains("2 of 6: ") && line("mark rearward").contains("1 of 6: "),
        "{text}"
    );
    assert!(text.contains("good") && text.contains("new: card"), "{text}");
    assert!(
        text.lines().all(|line| line.chars().count() <= 80) && text.lines().count() < 30,
        "{text}"
    );
}

#[test]
fn one_flag_in_three_photos_is_a_plumb_line_for_a_glance_as_for_a_measurement() {
    use sightcord::glance::missing::missing;
    use sightcord::glance::seen::{Glance, SeenPattern};
    let pattern =
        |number: u8| SeenPattern { number, role: None, corners: 16, cell_px: 12.0, mm_per_px: 0.5 };
    // Photos of one set-up, each with the flags that it shows.
    let told = |flags: &[&[u8]]| {
        let photos = flags.iter().enumerate().map(|(n, flags)| Glance {
            photo: format!("{n}.jpg"),
            setup: Some("1-mark-forward".to_owned()),
            cards: vec![pattern(1)],
            tabs: flags.iter().map(|flag| pattern(*flag)).collect(),
            ..Glance::default()
        });
        let missing = missing(&photos.collect::<Vec<_>>(), &sightcord::job::Job::default());
        missing.into_iter().find(|sentence| sentence.contains("lumb line"))
    };
    assert_eq!(told(&[&[22], &[22], &[22]]), None);
    assert_eq!(told(&[&[21, 22], &[21, 22]]), None);
    assert_eq!(told(&[&[21], &[22], &[21]]), None);
    let few = told(&[&[22], &[22], &[]]).unwrap();
    assert!(few.starts_with("Plumb line A shows in 2 of 3 photos that it takes"), "{few}");
    let none = told(&[&[], &[], &[]]).unwrap();
    assert!(none.contains("hang one with a flag on it (21 or 22)"), "{none}");
}
