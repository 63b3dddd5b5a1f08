//! How long a phone waits for its answer.

use std::process::Command;
use std::time::{Duration, Instant};

use super::client::{Page, job, photos};

#[test]
#[ignore = "slow: tests/slow/proofs.sh; needs ../shared; compares times"]
fn slow_the_answer_comes_soon_after_the_photo() {
    let folder = tempfile::tempdir().unwrap();
    let page = Page::open(&job(folder.path()));
    let shared =
        ["1-mark-forward", "2-mark-rearward"].map(|setup| photos("swing-arm", setup)).concat();
    let (mut answers, mut glances) = (Vec::new(), Vec::new());
    for photo in &shared {
        let bytes = std::fs::read(photo).unwrap();
        // On the loopback address the sending itself takes a few milliseconds.
        let begun = Instant::now();
        assert_eq!(page.send("a.jpg", &bytes).status, 200);
        answers.push(begun.elapsed());
    }
    drop(page);
    // Afterwards, so that no measurement in the background takes part.
    for photo in &shared {
        let begun = Instant::now();
        Command::new(env!("CARGO_BIN_EXE_sightcord"))
            .args(["glance", "--quiet"])
            .arg(photo)
            .status()
            .unwrap();
        glances.push(begun.elapsed());
    }
    let told = |times: &mut Vec<Duration>| {
        times.sort();
        format!(
            "median {:.2} s, worst {:.2} s",
            times[times.len() / 2].as_secs_f64(),
            times[times.len() - 1].as_secs_f64()
        )
    };
    println!(
        "answers to {} photos: {}; glance alone: {}",
        shared.len(),
        told(&mut answers),
        told(&mut glances)
    );
    // A machine that does other things as well is slow at both.
    let most = 2 * glances[glances.len() / 2] + Duration::from_millis(800);
    assert!(answers[answers.len() / 2] < most, "{answers:?} beside {glances:?}");
}
