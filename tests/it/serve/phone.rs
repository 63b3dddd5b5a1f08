//! What a stranger stumbled on who used the page with one hand at the bench: a computer that sleeps,
//! a page that is loaded again, photos of another evening, smeared ones, the same one twice.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::json;

use super::browser::Browser;
use super::client::{Page, files, job, photos};
use super::pages::take;

/// Photos that every checkout has.
fn sample(n: usize) -> PathBuf {
    Path::new("samples/grass-track/1-mark-forward")
        .join(format!("{n:02}.jpg"))
        .canonicalize()
        .unwrap()
}

/// A copy of the sample, smeared by so many px.
fn smeared(to: &Path, sigma: f32) -> PathBuf {
    let picture = image::open(sample(2)).unwrap().to_luma8();
    let at = to.join(format!("smeared-{sigma}.jpg"));
    image::imageops::blur(&picture, sigma).save(&at).unwrap();
    at
}

/// Lets the program sleep, or wakes it.
fn signal(page: &Page, signal: &str) {
    let sent = Command::new("kill").args([signal, &page.process().to_string()]).status().unwrap();
    assert!(sent.success());
}

#[test]
fn a_restart_reads_all_photos_before_anything_is_said_of_them() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    for n in [2, 3, 4] {
        std::fs::copy(sample(n), job.join(format!("1-mark-forward/{n:02}.jpg"))).unwrap();
    }
    let page = Page::open(&job);
    let mut n_reading = 0;
    let begun = Instant::now();
    loop {
        let state = page.get("state/0/").json();
        let (next, sections) = (state["next"].as_str().unwrap(), &state["sections"]);
        assert!(begun.elapsed() < Duration::from_secs(120), "{state}");
        if !next.starts_with("Reading") {
            assert!(sections["shot"].as_str().unwrap().contains("lay here already"), "{state}");
            break;
        }
        for empty in ["shot", "figures", "steps", "evenings", "finish", "photos"] {
            assert_eq!(sections[empty], "", "{state}");
        }
        if next.contains("Reading the 3 photos that are here: ") {
            n_reading += 1;
            assert!(sections["head"].as_str().unwrap().contains("3 photos"), "{state}");
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    assert!(n_reading > 0, "it never said that it reads");
}

#[test]
#[ignore = "needs chromium"]
fn a_computer_that_sleeps_is_told_and_the_photo_goes_when_it_wakes() {
    let folder = tempfile::tempdir().unwrap();
    let page = Page::open(&job(folder.path()));
    let mut browser = Browser::open(&page.address());
    browser.wait_for("document.querySelector('#walk h2') !== null");
    signal(&page, "-STOP");
    let begun = Instant::now();
    browser.wait_for("!document.querySelector('#offline').hidden");
    assert!(begun.elapsed() < Duration::from_secs(12), "{:?}", begun.elapsed());
    browser.choose("#shoot", &[sample(2)]);
    browser
        .wait_for("document.querySelector('#sending').textContent.includes('Kept on the phone')");
    browser.check_layout("asleep");
    browser.shoot("11-asleep", false);
    signal(&page, "-CONT");
    browser.wait_for("document.querySelector('#head').textContent.includes('1 photo')");
    browser.wait_for("document.querySelector('#offline').hidden");
    browser.wait_for("document.querySelector('#sending').textContent === ''");
    assert_eq!(browser.text("#refused"), "");
}

#[test]
fn a_phone_that_falls_silent_amid_a_photo_is_told_to_send_it_again() {
    let folder = tempfile::tempdir().unwrap();
    let page = Page::open(&job(folder.path()));
    let photo = std::fs::read(sample(2)).unwrap();
    let mut stream = page.connect();
    let head = format!(
        "POST /{}/photo HTTP/1.1\r\nHost: {}\r\nx-bench: 1\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
        page.token,
        page.host,
        photo.len()
    );
    stream.write_all(head.as_bytes()).unwrap();
    stream.write_all(&photo[..photo.len() / 2]).unwrap();
    let mut told = String::new();
    stream.read_to_string(&mut told).unwrap();
    assert!(told.starts_with("HTTP/1.1 408") && told.contains("It is sent again"), "{told}");
}

/// In the page: the next photos are answered by `answers`, one after the other, and then by the
/// computer.
const ANSWERED_BY_HAND: &str = r#"(() => {
  const Real = XMLHttpRequest;
  window.XMLHttpRequest = class {
    constructor() {
      if (window.answers.length === 0) return new Real();
      this.upload = {};
      this.answer = window.answers.shift();
    }
    open() {}
    setRequestHeader() {}
    abort() {}
    send() {
      if (!this.answer) return;
      [this.status, this.responseText] = [this.answer, '{"what": "By hand.", "do": "Nothing."}'];
      setTimeout(() => this.onload(), 10);
    }
  };
})()"#;

#[test]
#[ignore = "needs chromium"]
fn half_a_photo_is_sent_again_without_a_word_and_one_that_is_there_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let page = Page::open(&job(folder.path()));
    let mut browser = Browser::open(&page.address());
    browser.wait_for("document.querySelector('#walk h2') !== null");
    browser.value("window.answers = [408, 503]");
    browser.value(ANSWERED_BY_HAND);
    take(&mut browser, &sample(2), 1);
    assert_eq!(browser.text("#refused"), "");
    browser.choose("#shoot", &[sample(2)]);
    browser.wait_for("document.querySelector('#refused').textContent.includes('Already here')");
    assert!(browser.text("#head").contains("1 photo"));
    // A refused photo does not stand over the answer to the one before, and says what is wrong.
    browser.choose("#shoot", &[smeared(folder.path(), 14.0)]);
    browser.wait_for("document.querySelector('#refused').textContent.includes('it is smeared')");
    browser.wait_for("document.querySelector('#shot').textContent === ''");
    browser.check_layout("refused");
    browser.shoot("12-refused", false);
    assert!(browser.text("#photos").contains("02.jpg"), "{}", browser.text("#photos"));
}

#[test]
#[ignore = "needs chromium"]
fn photos_that_a_reload_lost_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let page = Page::open(&job(folder.path()));
    let mut browser = Browser::open(&page.address());
    browser.wait_for("document.querySelector('#walk h2') !== null");
    let leaves = "(() => { const e = new Event('beforeunload', { cancelable: true }); window.dispatchEvent(e); return e.defaultPrevented; })()";
    assert_eq!(browser.value(leaves), json!(false));
    // The first one never comes to an end.
    browser.value("window.answers = [0]");
    browser.value(ANSWERED_BY_HAND);
    browser.choose("#pick", &[sample(2), sample(3), sample(4)]);
    browser.wait_for("document.querySelector('#sending').textContent.includes('1 of 3')");
    assert_eq!(browser.value(leaves), json!(true), "the browser asks before it leaves the page");
    browser.go_to(&page.address());
    browser.wait_for("!document.querySelector('#lost').hidden");
    let lost = browser.text("#lost");
    assert_eq!(lost, "3 photos were not sent: choose again (02.jpg, 03.jpg, 04.jpg).");
    browser.check_layout("lost");
    browser.shoot("13-lost", false);
    take(&mut browser, &sample(2), 1);
    browser.go_to(&page.address());
    browser.wait_for("document.querySelector('#walk h2') !== null");
    assert_eq!(browser.text("#lost"), "", "all was sent");
}

#[test]
fn a_smeared_photo_is_kept_and_does_not_fill_the_tally() {
    let folder = tempfile::tempdir().unwrap();
    let page = Page::open(&job(folder.path()));
    let photo = std::fs::read(smeared(folder.path(), 2.5)).unwrap();
    let answer = page.send("a.jpg", &photo);
    assert_eq!(answer.status, 200, "{}", answer.text());
    let sections = page.sections();
    let (shot, walk) = (sections["shot"].as_str().unwrap(), sections["walk"].as_str().unwrap());
    assert!(shot.contains("Take this one again") && shot.contains("not counted"), "{shot}");
    assert!(walk.contains("Photos: <b>0</b> of 6"), "{walk}");
    assert!(walk.contains("Smeared, not counted: 1"), "{walk}");
    assert!(sections["photos"].as_str().unwrap().contains("Take this one again"));
    let mine = page.get(&format!("state/0/{}", answer.json()["key"].as_str().unwrap())).json();
    assert_eq!(mine["next"], "Once more from here.");
}

#[test]
fn photos_of_another_evening_do_not_count_and_a_missing_side_is_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    std::fs::copy(sample(2), job.join("1-mark-forward/02.jpg")).unwrap();
    std::fs::create_dir(job.join("evening-2")).unwrap();
    let before = files(&job);
    let page = Page::open(&job);
    page.wait_until("head", "Evening 2, 0 photos");
    page.wait_until("walk", "Position 1");
    let refused = page.send("image.jpg", &std::fs::read(sample(2)).unwrap());
    assert_eq!(refused.status, 409, "{}", refused.text());
    let what = refused.json()["what"].as_str().unwrap().to_owned();
    assert_eq!(what, "This photo is from evening 1: not counted.");
    assert_eq!(files(&job), before);
    assert_eq!(page.send("image.jpg", &std::fs::read(sample(3)).unwrap()).status, 200);
    let walk = page.sections()["walk"].as_str().unwrap().to_owned();
    assert!(walk.contains("data-ask=\"Position 1 has no photo from the"), "{walk}");
}

#[test]
#[ignore = "needs the shared photo sets"]
fn six_photos_of_one_side_are_never_good_enough() {
    let folder = tempfile::tempdir().unwrap();
    let page = Page::open(&job(folder.path()));
    let mut n = 0;
    let of_sets = ["cord-00", "grass-track"].map(|set| photos(set, "1-mark-forward"));
    for photo in of_sets.iter().flatten() {
        let answer = page.send("a.jpg", &std::fs::read(photo).unwrap());
        assert_eq!(answer.status, 200, "{}", answer.text());
        let walk = page.sections()["walk"].as_str().unwrap().to_owned();
        if walk.contains("Right: <b>0</b>") {
            n += 1;
        } else {
            let key = answer.json()["key"].as_str().unwrap().to_owned();
            assert_eq!(page.order("move", &format!("{key} aside")).status, 200);
        }
        if n == 7 {
            break;
        }
    }
    let walk = page.sections()["walk"].as_str().unwrap().to_owned();
    assert!(walk.contains("Left: <b>7</b> (3 needed)"), "{walk}");
    assert!(!walk.contains("Good enough"), "{walk}");
    assert!(walk.contains("has no photo from the right"), "{walk}");
}

#[test]
fn the_terminal_names_the_page_closes_it_in_peace_and_opens_it_once() {
    let folder = tempfile::tempdir().unwrap();
    let made = folder.path().join("grey-mare");
    let program = || Command::new(env!("CARGO_BIN_EXE_sightcord"));
    let begun = program().arg("begin").arg(&made).output().unwrap();
    let told = String::from_utf8_lossy(&begun.stdout).into_owned();
    assert!(told.contains("sightcord bench ") && told.contains("--phone"), "{told}");
    let page = Page::open(&made);
    let head = page.sections()["head"].as_str().unwrap().to_owned();
    assert!(head.contains("<h1>grey-mare</h1>"), "{head}");
    #[cfg(unix)]
    {
        let second = program().args(["bench", "--quiet"]).arg(&made).output().unwrap();
        let told = String::from_utf8_lossy(&second.stderr).into_owned();
        assert_eq!(second.status.code(), Some(2), "{told}");
        assert!(told.contains("is open already"), "{told}");
    }
    assert_eq!(page.interrupt(), Some(130));
    let mut open = program()
        .arg("bench")
        .arg(&made)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut out = open.stdout.take().unwrap();
    let (mut told, mut some) = (String::new(), [0; 500]);
    while !told.contains("Ctrl-C ends it") {
        let n = out.read(&mut some).unwrap();
        assert!(n > 0, "{told}");
        told.push_str(&String::from_utf8_lossy(&some[..n]));
    }
    std::thread::sleep(Duration::from_millis(500));
    let ended = Command::new("kill").args(["-INT", &open.id().to_string()]).status().unwrap();
    assert!(ended.success());
    let mut last = String::new();
    open.stderr.take().unwrap().read_to_string(&mut last).unwrap();
    assert_eq!(open.wait().unwrap().code(), Some(130));
    assert!(last.contains("is closed. No photo was taken yet."), "{last}");
}
