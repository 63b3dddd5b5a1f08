//! The page in a real browser: nothing overflows, all images load, nothing is complained of, and it
//! prints.
//!
//! Needs the program chromium. Screenshots are left in target/report-page for a person to look at.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use scraper::Html;
use sightcord::report::brief::brief;
use sightcord::report::html::{PhotoPicture, page};
use sightcord::report::result::ResultDocument;
use sightcord::text::units::Show;

use crate::report::page::{pictures, select};
use crate::report::samples;

fn chromium(arguments: &[&str], of: &Path) -> Output {
    let profile = tempfile::tempdir().unwrap();
    let plain = [
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--hide-scrollbars",
        "--enable-logging=stderr",
    ];
    Command::new("chromium")
        .args(plain)
        .arg(format!("--user-data-dir={}", profile.path().display()))
        .args(arguments)
        .arg(format!("file://{}", of.display()))
        .output()
        .expect("chromium is installed")
}

fn shots() -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/report-page");
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// Says of the page how wide it is, how long, what reaches beyond it and which images did not load.
const PROBE: &str = r#"<script>
addEventListener("load", () => {
  const wide = document.documentElement.clientWidth;
  const right = e => Math.round(e.getBoundingClientRect().right * 10) / 10;
  const beyond = [...document.querySelectorAll("body *")]
    .filter(e => !e.closest("svg *") && right(e) > wide + 0.5)
    .map(e => `${e.tagName}.${e.getAttribute("class") || ""} ${right(e)}`);
  const images = [...document.images];
  const broken = images.filter(i => !i.complete || i.naturalWidth === 0).length;
  const { scrollWidth, scrollHeight } = document.documentElement;
  // Letters in drawings, as high as they are on the screen.
  const letters = [...document.querySelectorAll("svg.drawing text")].filter(t => t.checkVisibility())
    .map(t => parseFloat(t.getAttribute("font-size")) * t.getScreenCTM().a);
  const smallest = letters.length ? Math.min(...letters) : 99;
  // Where the first step ends, or what takes its place.
  const first = document.querySelector("li.step label, .nothing");
  const work = Math.max(...[document.querySelector("h1"), first].filter(e => e).map(e => e.getBoundingClientRect().bottom));
  // Words that are cut in two because their column is too narrow.
  const cut = [];
  for (const e of document.querySelectorAll("h1, h2, h3, th, .what, .name, .value")) {
    const walk = document.createTreeWalker(e, NodeFilter.SHOW_TEXT);
    for (let node = walk.nextNode(); node; node = walk.nextNode()) {
      for (const word of node.data.matchAll(/\S+/g)) {
        const range = document.createRange();
        range.setStart(node, word.index);
        range.setEnd(node, word.index + word[0].length);
        if (new Set([...range.getClientRects()].map(r => Math.round(r.top))).size > 1) cut.push(word[0]);
      }
    }
  }
  parent.postMessage(JSON.stringify({ smallest, work, cut, wide, scrollWidth, scrollHeight, beyond, broken, images: images.length }), "*");
});
</script>"#;

/// A window can't be made as narrow as a phone, but a frame in it can; the frame's page gives the
/// outer one what it found.
fn framed(page: &str, width: u32, height: u64) -> String {
    format!(
        r#"<!DOCTYPE html><style>body {{ margin: 0 }} iframe {{ border: 0; display: block; width: {width}px; height: {height}px }}</style>
        <script>addEventListener("message", e => document.getElementById("said").textContent = e.data);</script>
        <iframe src="{page}"></iframe><output id="said" hidden></output>"#
    )
}

pub fn check(name: &str, document: &ResultDocument, pictures: &[PhotoPicture]) {
    let text = page(document, pictures, Show::Mm);
    let at = shots().join(format!("{name}.html"));
    fs::write(&at, &text).unwrap();
    let folder = tempfile::tempdir().unwrap();
    // The page itself forbids scripts; the copy that is probed allows the probe's.
    let probed =
        text.replace("default-src 'none'", "default-src 'none'; script-src 'unsafe-inline'");
    fs::write(
        folder.path().join("probed.html"),
        probed.replace("</body>", &format!("{PROBE}</body>")),
    )
    .unwrap();
    for width in [390, 768, 1280] {
        let outer = folder.path().join("outer.html");
        fs::write(&outer, framed("probed.html", width, 900)).unwrap();
        let output = chromium(
            &["--window-size=1400,1000", "--dump-dom", "--virtual-time-budget=6000"],
            &outer,
        );
        let dom = String::from_utf8_lossy(&output.stdout).into_owned();
        let said = Html::parse_document(&dom)
            .select(&select("#said"))
            .next()
            .expect("the outer page")
            .text()
            .collect::<String>();
        let said: serde_json::Value = serde_json::from_str(&said)
            .unwrap_or_else(|e| panic!("{name} at {width}: {e} in {said:?}"));
        assert_eq!(said["wide"], width, "{name}: the frame is as wide as asked for");
        assert_eq!(said["beyond"], serde_json::json!([]), "{name} at {width}: {said}");
        assert_eq!(said["scrollWidth"], width, "{name} at {width}: {said}");
        assert_eq!(said["broken"], 0, "{name} at {width}");
        let number = |key: &str| said[key].as_f64().expect("a number");
        assert!(
            number("smallest") >= 12.0,
            "{name} at {width}: letters of {} px in a drawing",
            said["smallest"]
        );
        assert!(
            width > 390 || number("work") <= 844.0,
            "{name}: the first step ends at {} px",
            said["work"]
        );
        let hyphened = |word: &serde_json::Value| {
            word.as_str().is_some_and(|word| word.contains('-') || word.contains('/'))
        };
        let cut: Vec<_> =
            said["cut"].as_array().expect("a list").iter().filter(|word| !hyphened(word)).collect();
        assert!(cut.is_empty(), "{name} at {width}: {cut:?} is cut");
        assert_eq!(said["images"], pictures.len(), "{name} at {width}");
        let complaints: Vec<String> = String::from_utf8_lossy(&output.stderr)
            .lines()
            .filter(|line| line.contains("CONSOLE"))
            .map(str::to_owned)
            .collect();
        assert!(complaints.is_empty(), "{name} at {width}: {complaints:?}");
        if width == 768 {
            continue;
        }
        // The whole page in one picture, as far as a picture goes.
        let height = said["scrollHeight"].as_u64().unwrap().min(16_000);
        fs::write(&outer, framed(at.to_str().unwrap(), width, height)).unwrap();
        let shot = shots().join(format!("{name}-{width}.png"));
        chromium(
            &[
                &format!("--window-size={},{height}", width.max(500)),
                &format!("--screenshot={}", shot.display()),
            ],
            &outer,
        );
        assert!(fs::metadata(&shot).unwrap().len() > 20_000, "{name} at {width}");
    }
    printed(name, document, &text, "a4");
    if !document.plan.is_empty() {
        printed(name, document, &text, "letter");
    }
}

/// Letters of 7 points with what reaches above and below them, in the fonts that browsers take.
const LEAST_BOX_PT: f64 = 8.0;

/// The height of the smallest words on the first sheet, points.
fn smallest_words(pdf: &Path) -> f64 {
    let arguments = ["-bbox", "-f", "1", "-l", "1", pdf.to_str().unwrap(), "-"];
    let output =
        Command::new("pdftotext").args(arguments).output().expect("pdftotext is installed");
    let text = String::from_utf8(output.stdout).unwrap();
    let edge = |line: &str, name: &str| {
        let (_, rest) = line.split_once(&format!("{name}=\"")).expect("an edge");
        rest.split('"').next().unwrap().parse::<f64>().unwrap()
    };
    text.lines()
        .filter(|line| line.contains("<word "))
        .map(|line| edge(line, "yMax") - edge(line, "yMin"))
        .fold(f64::INFINITY, f64::min)
}

/// The first sheet holds the verdict, the drawing and every step; there are few sheets.
fn printed(name: &str, document: &ResultDocument, text: &str, paper: &str) {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().join("printed.html");
    fs::write(
        &at,
        text.replace("</head>", &format!("<style>@page {{ size: {paper}; }}</style></head>")),
    )
    .unwrap();
    let pdf = shots().join(format!("{name}-{paper}.pdf"));
    chromium(&["--no-pdf-header-footer", &format!("--print-to-pdf={}", pdf.display())], &at);
    let read = |last: &str| {
        // In the order of the page, not across its columns: words of a drawing don't come between
        // those of a step.
        let arguments = ["-raw", "-f", "1", "-l", last, pdf.to_str().unwrap(), "-"];
        let output =
            Command::new("pdftotext").args(arguments).output().expect("pdftotext is installed");
        String::from_utf8(output.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let first = read("1");
    let headline = document.headline.as_str();
    assert!(first.contains(headline), "{name} on {paper}: {headline} in {first}");
    for step in &document.plan {
        let what = brief(step, None, Show::Mm).what;
        assert!(first.contains(&what), "{name} on {paper}: {what} in {first}");
    }
    let has_drawing = document.layout.axle.is_some();
    assert!(
        !has_drawing || first.contains("From above") && first.contains("From behind"),
        "{name} on {paper}: {first}"
    );
    let smallest = smallest_words(&pdf);
    assert!(
        !has_drawing || smallest >= LEAST_BOX_PT,
        "{name} on {paper}: words {smallest} pt high, ascent and descent taken together"
    );
    let sheets = read("99");
    for caution in document.plan.iter().flat_map(|step| &step.cautions) {
        let said = caution.shown(Show::Mm);
        assert!(sheets.contains(said.as_ref()), "{name} on {paper}: {said} is not on paper");
    }
    assert!(
        document.plan.is_empty() || sheets.contains("What to expect afterwards"),
        "{name} on {paper}"
    );
    assert!(
        !sheets.contains("Tap a photo"),
        "{name} on {paper}: photos are printed only when opened"
    );
}

#[test]
#[ignore = "needs chromium"]
fn the_page_holds_together_on_a_phone_on_a_desk_and_on_paper() {
    for (name, document) in samples::all() {
        let pictures = if document.photos.is_empty() { vec![] } else { pictures() };
        check(name, &document, &pictures);
    }
}
