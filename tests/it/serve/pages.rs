//! The page as a phone shows it, driven by a real browser at 390 x 844. Pictures are left in
//! target/bench-page for a person to look at.

use std::path::{Path, PathBuf};
use std::process::Command;

use image::{ImageReader, Luma};
use serde_json::json;
use sightcord::cards::Pattern;

use super::browser::Browser;
use super::client::{Page, files, job, photos};

const SETUPS: [&str; 2] = ["1-mark-forward", "2-mark-rearward"];

/// Sends one photo through the page's own file input and gives the word that is said of it.
pub fn take(browser: &mut Browser, photo: &Path, n: usize) -> String {
    // The answer to the photo before must not pass for this one's.
    browser.value("window.before = document.querySelector('#shot').innerHTML");
    browser.choose("#shoot", &[photo.to_owned()]);
    browser.wait_for("document.querySelector('#shot').innerHTML !== window.before");
    browser.wait_for(&format!("document.querySelector('#head').textContent.includes('{n} photo')"));
    browser.wait_for("document.querySelector('#sending').textContent === ''");
    browser.wait_for("document.querySelector('#shot img').complete && document.querySelector('#shot img').naturalWidth > 600");
    format!("{}: {}", browser.text("#shot .word"), browser.text("#shot .todo, #shot .filed"))
}

#[test]
#[ignore = "needs chromium and the shared photo sets"]
fn a_whole_evening_on_the_phone() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let page = Page::open(&job);
    let mut browser = Browser::open(&page.address());
    browser.wait_for("document.querySelector('#walk h2') !== null");
    browser.check_layout("empty");
    browser.shoot("1-empty", false);
    let mut n = 0;
    for (idx, setup) in SETUPS.iter().enumerate() {
        for photo in photos("grass-track", setup) {
            n += 1;
            let said = take(&mut browser, &photo, n);
            println!("{setup}/{}: {said}", photo.file_name().unwrap().to_string_lossy());
            assert!(!said.contains("Take this one again"), "{said}");
            if n == 3 {
                browser.check_layout("taking");
                browser.shoot("2-taking", false);
                browser.shoot("2-taking-whole", true);
                browser.dark(true);
                browser.shoot("2-taking-dark", false);
                browser.dark(false);
            }
        }
        let told = browser.text("#walk h2");
        assert!(
            told.contains(["Position 1 is complete", "All photos are there"][idx]),
            "{told}: {}",
            browser.text("#walk")
        );
        browser.shoot(["3-complete", "4-all"][idx], true);
        browser.check_layout("complete");
        if idx == 0 {
            // The first figures come while the other position is still to be photographed.
            browser.wait_for("document.querySelector('#figures').textContent.includes('From ')");
            browser.click("#walk button.big");
            browser
                .wait_for("document.querySelector('#walk h2').textContent.includes('Position 2')");
        }
    }
    // Every photo lies where it lies in the shared set.
    for setup in SETUPS {
        let mut sent: Vec<Vec<u8>> = photos("grass-track", setup)
            .iter()
            .map(|photo| std::fs::read(photo).unwrap())
            .collect();
        let kept = std::fs::read_dir(job.join(setup)).unwrap();
        let mut kept: Vec<Vec<u8>> =
            kept.map(|entry| std::fs::read(entry.unwrap().path()).unwrap()).collect();
        sent.sort();
        kept.sort();
        assert!(sent == kept, "{setup} holds other photos than were sent");
    }
    browser.wait_for("document.querySelector('#figures').textContent.includes('From 18 photos')");
    browser.wait_for("!document.querySelector('#figures').textContent.includes('newer')");
    // What was read at the top stays there until somebody asks for the work to be done.
    let first = "document.querySelector('#main > section').id";
    browser.wait_for("!document.querySelector('#resort').hidden");
    assert_ne!(browser.value(first), json!("steps"));
    browser.check_layout("figures, below the answer");
    browser.shoot("5-before", false);
    browser.click("#resort");
    assert_eq!(browser.value(first), json!("steps"));
    browser.check_layout("figures");
    check_figures(&mut browser);
    check_words(&mut browser);
    browser.shoot("5-figures", false);
    browser.shoot("5-figures-whole", true);
    browser.dark(true);
    browser.shoot("5-figures-dark", false);
    browser.dark(false);
    let measured = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .args(["measure", "--json"])
        .arg(&job)
        .output()
        .unwrap();
    assert!(
        page.get("result.json").body == measured.stdout,
        "the page's figures are those of measure, byte for byte"
    );

    browser.click("#steps input");
    browser.wait_for("document.querySelector('#steps li').classList.contains('ticked')");
    browser.click("#finish button.big");
    browser.wait_for("location.pathname.endsWith('/report/index.html')");
    browser.wait_for("document.readyState === 'complete' && document.querySelector('h1') !== null");
    browser.shoot("6-report", false);
    check_report(&mut browser);
    assert!(job.join("report/index.html").is_file());
    browser.go_to(&page.address());
    browser.wait_for("document.querySelector('#steps li.ticked') !== null");
    assert_eq!(browser.complaints, Vec::<String>::new());
}

/// The figures' uncertainties came down from what they were, and a step's card says what the table
/// says of the figure as it is now.
fn check_figures(browser: &mut Browser) {
    let shrunk = browser.text("#figures .u .was");
    assert!(shrunk.contains('→'), "no uncertainty came down: {}", browser.text("#figures"));
    let rows = browser.value(
        r##"[...document.querySelectorAll("#figures .figure")]
           .map(row => [row.querySelector(".name").textContent, row.querySelector(".value").textContent])"##,
    );
    let rows: Vec<(String, String)> = serde_json::from_value(rows).unwrap();
    let steps = browser.value(
        r##"[...document.querySelectorAll("#steps li > .then")].map(then => then.textContent)"##,
    );
    let steps: Vec<String> = serde_json::from_value(steps).unwrap();
    let mut n_now = 0;
    for (name, said) in steps.iter().filter_map(|step| step.split_once(": ")) {
        let Some((_, now)) = rows.iter().find(|(row, _)| row == name) else { continue };
        assert!(said.starts_with(&format!("{now} now, ")), "{name}: {said}, but {now} is measured");
        n_now += 1;
    }
    assert!(n_now > 1, "{steps:?} beside {rows:?}");
    assert!(steps.iter().any(|step| step.contains(" after step 1, ")), "{steps:?}");
}

/// What a stranger looked for in vain: why a figure is undecided, what to do in few words, the
/// ways to bring the sprockets into line, and the warning inside its own card.
fn check_words(browser: &mut Browser) {
    let count = |browser: &mut Browser, selector: &str| {
        browser.value(&format!("document.querySelectorAll({}).length", json!(selector)))
    };
    let undecided = count(browser, "#figures .badge.open");
    assert_eq!(count(browser, "#figures p.why"), undecided, "{}", browser.text("#figures"));
    assert!(browser.text("#figures").contains("Nobody has measured the print"));
    let headline = browser.text("#steps h2");
    assert!(headline.ends_with(" to do"), "{headline}");
    assert_eq!(count(browser, "#steps .ways li"), json!(3), "{}", browser.text("#steps"));
    assert!(browser.text("#steps .ways li").contains("(the plan's way: "));
    let first = "[...document.querySelectorAll('#steps ol > li')].every(li => li.firstElementChild.tagName === 'LABEL')";
    assert_eq!(browser.value(first), json!(true), "a step's number comes before its warnings");
    let done = browser.text("#walk .complete");
    assert!(done.contains("They are measured"), "{done}");
    for section in ["#steps", "#figures"] {
        assert!(!browser.text(section).contains("folder of their own"));
    }
    // The keyboard comes to the camera first.
    let reached =
        "[...document.querySelectorAll('input, button, summary, a')].find(e => !e.hidden).id";
    assert_eq!(browser.value(reached), json!("shoot"));
}

/// The report on the phone: the tick is in it, a way leads back, thumbs hit its boxes.
fn check_report(browser: &mut Browser) {
    let told = browser.value(
        r#"(() => {
          const boxes = [...document.querySelectorAll(".step input")];
          const seen = e => e.getBoundingClientRect().height > 1 && !e.closest("svg");
          const letters = [...document.querySelectorAll("body *")].filter(seen).filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()));
          return {
            ticked: boxes.map(box => box.checked).indexOf(true),
            low: boxes.filter(box => box.getBoundingClientRect().height < 48).length,
            thin: [...document.querySelectorAll("summary, .back a")].filter(seen).filter(e => e.getBoundingClientRect().height < 48).map(e => e.textContent),
            small: letters.filter(e => parseFloat(getComputedStyle(e).fontSize) < 15.95).map(e => e.outerHTML.slice(0, 60)),
            wide: document.documentElement.scrollWidth,
            back: document.querySelector(".back a").getAttribute("href"),
          };
        })()"#,
    );
    let wanted =
        json!({ "ticked": 0, "low": 0, "thin": [], "small": [], "wide": 390, "back": "../" });
    assert_eq!(told, wanted);
}

/// A copy of a photo in which a tab is painted over, without the camera's data.
fn without_tab(photo: &Path, number: u8, to: &Path) -> PathBuf {
    let light = sightcord::photo::read_photo(photo).unwrap().luma;
    let seen = sightcord::sightings::look(&light);
    let tab = seen
        .patterns
        .iter()
        .find(|seen| seen.pattern == Pattern::Tab(number))
        .expect("the photo shows the tab");
    let mut picture = ImageReader::open(photo).unwrap().decode().unwrap().into_luma8();
    let [mut left, mut top, mut right, mut bottom] = [u32::MAX, u32::MAX, 0, 0];
    for corner in &tab.corners {
        let [x, y] = corner.at.map(|x| x.max(0.0) as u32);
        (left, top, right, bottom) = (left.min(x), top.min(y), right.max(x), bottom.max(y));
    }
    for y in top.saturating_sub(30)..(bottom + 30).min(picture.height()) {
        for x in left.saturating_sub(30)..(right + 30).min(picture.width()) {
            picture.put_pixel(x, y, Luma([70]));
        }
    }
    let at = to.join(format!("hidden-{}", photo.file_name().unwrap().to_string_lossy()));
    picture.save(&at).unwrap();
    at
}

#[test]
#[ignore = "needs chromium and the shared photo sets"]
fn a_hidden_tab_a_stripped_photo_and_a_wrong_position_are_reported() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let page = Page::open(&job);
    let mut browser = Browser::open(&page.address());
    let shared = photos("grass-track", SETUPS[0]);
    let shows = |photo: &&PathBuf, number: u8| {
        let seen = sightcord::sightings::look(&sightcord::photo::read_photo(photo).unwrap().luma);
        [number, 11]
            .iter()
            .all(|n| seen.patterns.iter().any(|seen| seen.pattern == Pattern::Tab(*n)))
    };
    let photo = shared
        .iter()
        .find(|photo| shows(photo, 1))
        .expect("a photo with tab 1 and the left spindle end");
    let said = take(&mut browser, &without_tab(photo, 1, folder.path()), 1);
    assert!(said.contains("Tab 1 (rear rim, left) isn't seen"), "{said}");
    assert!(browser.text("#shot .kind").contains("EXIF"), "{}", browser.text("#shot .kind"));
    assert_eq!(browser.text("#next"), "Once more from here.", "nobody is sent elsewhere as well");
    browser.check_layout("hint");
    browser.shoot("7-hint", false);
    // The wheel was not turned, whatever the person says: the photo goes where its mark is.
    let first = take(&mut browser, photo, 2);
    assert!(first.starts_with("Good"), "{first}");
    // Position 1 lacks photos: it is asked back, and two presses in one go are one.
    browser.click("#walk .other button");
    browser.click("#walk .other button");
    let asked = browser.text("#walk .other button");
    assert!(asked.contains("Does the wheel stand in position 2? Press again."), "{asked}");
    assert!(browser.text("#walk h2").contains("Position 1"));
    std::thread::sleep(std::time::Duration::from_millis(500));
    browser.click("#walk .other button");
    browser.wait_for("document.querySelector('#walk h2').textContent.includes('Position 2')");
    let other = shared.iter().rev().find(|photo| shows(photo, 1)).unwrap();
    let said = take(&mut browser, other, 3);
    assert!(said.contains("the photo counts for position 1"), "{said}");
    assert_eq!(files(&job.join(SETUPS[0])).len(), 3);
    assert_eq!(browser.complaints, Vec::<String>::new());
}

#[test]
#[ignore = "needs chromium"]
fn what_is_refused_is_said_on_the_page_and_the_keyboard_reaches_everything() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let text = folder.path().join("no.jpg");
    std::fs::write(&text, "no picture").unwrap();
    let page = Page::open(&job);
    let mut browser = Browser::open(&page.address());
    browser.choose("#pick", &[text]);
    browser.wait_for("document.querySelector('#refused').textContent.includes('not a picture')");
    browser.check_layout("refused");
    browser.shoot("8-refused", false);
    let reached = browser.value(
        r#"[...document.querySelectorAll("input, button, summary, a")].filter(e => e.tabIndex >= 0)
           .every(e => e.labels?.length || e.textContent.trim() || e.getAttribute("aria-label"))"#,
    );
    assert_eq!(reached, json!(true), "everything that the keyboard reaches has words");
    drop(page);
    browser.wait_for("!document.querySelector('#offline').hidden");
    browser.shoot("9-offline", false);
}

#[test]
#[ignore = "needs chromium and the shared photo sets"]
fn a_second_evening_says_what_became_of_each_step() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let second = job.join("evening-2");
    for (home, set) in [(&job, "cord-00"), (&second, "cord-01")] {
        for setup in SETUPS {
            std::fs::create_dir_all(home.join(setup)).unwrap();
            for photo in photos(set, setup) {
                std::fs::copy(&photo, home.join(setup).join(photo.file_name().unwrap())).unwrap();
            }
        }
    }
    let measured = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .args(["measure", "--quiet"])
        .arg(&job)
        .status()
        .unwrap();
    assert!(measured.success());
    let page = Page::open(&job);
    let mut browser = Browser::open(&page.address());
    browser.wait_for("document.querySelector('#evenings').innerText.includes('moved ')");
    let told = browser.text("#evenings");
    assert!(told.contains("Since evening 1") && told.contains("moved "), "{told}");
    // The first evening's steps and report are still to be had.
    assert!(browser.text("#finish").contains("Back to evening 1"), "{}", browser.text("#finish"));
    let report = page.get("evening/1/index.html");
    assert!(report.status == 200 && report.text().contains("<a href=\"../../\">Back to the bench"));
    for nothing in ["evening/2/index.html", "evening/1/../1/index.html", "evening/1/result.json"] {
        assert_eq!(page.get(nothing).status, 404, "{nothing}");
    }
    let lines = browser.value("document.querySelectorAll('#evenings svg.trend').length");
    assert!(lines.as_u64() > Some(1), "{told}");
    browser.check_layout("evenings");
    browser.shoot("10-evenings", true);
    // One archive holds both evenings.
    let zip = folder.path().join("both.zip");
    for arguments in [
        vec!["keep".as_ref(), job.as_os_str(), "--to".as_ref(), zip.as_os_str()],
        vec!["prove".as_ref(), "--quick".as_ref(), zip.as_os_str()],
    ] {
        let out = Command::new(env!("CARGO_BIN_EXE_sightcord")).args(&arguments).output().unwrap();
        let said = String::from_utf8_lossy(&out.stdout).into_owned();
        assert!(out.status.success() && said.contains("2 evenings"), "{arguments:?}: {said}");
    }
    browser.dark(true);
    browser.shoot("10-evenings-dark", true);
    assert_eq!(browser.complaints, Vec::<String>::new());
}
