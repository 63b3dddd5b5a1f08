//! Two phones at once, and the computer started again.

use std::process::Command;

use super::client::{Page, files, job, photos};

#[test]
#[ignore = "needs the shared photo sets"]
fn two_phones_send_at_once_and_both_see_all_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let page = Page::open(&job);
    let sets = ["1-mark-forward", "2-mark-rearward"].map(|setup| photos("cord-00", setup));
    std::thread::scope(|scope| {
        for photos in &sets {
            let page = &page;
            scope.spawn(move || {
                for photo in photos.iter().take(3) {
                    // Both phones call their photos alike.
                    let bytes = std::fs::read(photo).unwrap();
                    let answer = page.send("image.jpg", &bytes);
                    assert_eq!(answer.status, 200, "{}: {}", photo.display(), answer.text());
                }
            });
        }
    });
    assert!(page.sections()["head"].as_str().unwrap().contains("6 photos"));
    let photos: Vec<String> =
        files(&job).into_iter().filter(|file| file.ends_with(".jpg")).collect();
    assert_eq!(photos.len(), 6, "{photos:?}");
    for setup in ["1-mark-forward", "2-mark-rearward"] {
        assert_eq!(photos.iter().filter(|file| file.starts_with(setup)).count(), 3, "{photos:?}");
    }
}

#[test]
#[ignore = "needs the shared photo sets"]
fn started_again_it_goes_on_where_it_was_at_the_same_address() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let page = Page::open(&job);
    let address = page.address();
    let shared = photos("cord-00", "1-mark-forward");
    for photo in &shared[..5] {
        assert_eq!(page.send("image.jpg", &std::fs::read(photo).unwrap()).status, 200);
    }
    let key = page.send("image.jpg", &std::fs::read(&shared[0]).unwrap()).json()["key"]
        .as_str()
        .unwrap()
        .to_owned();
    let before = page.sections();
    assert_eq!(page.interrupt(), Some(130));

    let page = Page::open(&job);
    assert_eq!(page.address(), address);
    page.wait_until("head", "5 photos");
    page.wait_until("figures", "From 5 photos");
    // The tally is the same as before, and a phone's own last photo is still its own.
    assert_eq!(page.sections()["walk"], before["walk"]);
    assert_eq!(page.get(&format!("seen/{key}.jpg")).status, 200, "the picture is drawn again");
    let again = page.send("image.jpg", &std::fs::read(&shared[1]).unwrap());
    assert_eq!(again.json()["again"], true, "what did come through is not sent twice");
}

#[test]
#[ignore = "needs the shared photo sets"]
fn a_photo_can_be_moved_and_left_out_and_an_evening_ends() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    std::fs::write(
        job.join("job.toml"),
        "schema = \"sightcord-job/1\"\n[bike]\nname = \"Grass-track <350>\"\n",
    )
    .unwrap();
    let page = Page::open(&job);
    let mut keys = Vec::new();
    for photo in &photos("cord-00", "1-mark-forward") {
        keys.push(
            page.send("a.jpg", &std::fs::read(photo).unwrap()).json()["key"]
                .as_str()
                .unwrap()
                .to_owned(),
        );
    }
    assert_eq!(page.order("move", &format!("{} 1", keys[0])).status, 200);
    assert!(
        job.join("2-mark-rearward/a.jpg").is_file() && !job.join("1-mark-forward/a.jpg").exists()
    );
    assert_eq!(page.order("move", &format!("{} 0", keys[0])).status, 200);
    assert_eq!(page.order("move", &format!("{} aside", keys[1])).status, 200);
    assert!(job.join(".put-aside/a-2.jpg").is_file());
    // That is undone by one press.
    let listed = |page: &Page| page.sections()["photos"].as_str().unwrap().to_owned();
    assert!(listed(&page).contains("Left out: a-2.jpg"), "{}", listed(&page));
    assert_eq!(page.order("back", "").status, 200);
    assert!(job.join("1-mark-forward/a-2.jpg").is_file());
    assert!(
        listed(&page).contains("All 6 photos") && listed(&page).contains("a-2.jpg, position 1")
    );
    assert_eq!(page.order("back", "").status, 409);
    assert_eq!(page.order("move", &format!("{} aside", keys[1])).status, 200);
    assert!(job.join(".put-aside/a-2.jpg").is_file());
    assert_eq!(
        page.order("move", &format!("{} aside", keys[1])).status,
        404,
        "it is gone from the page"
    );
    assert_eq!(page.order("move", &format!("{} 7", keys[2])).status, 400);
    assert!(page.sections()["head"].as_str().unwrap().contains("Grass-track &lt;350&gt;"));
    // The figures are those of the photos as they are now.
    page.wait_until("finish", "Begin evening 2");
    let finish = page.sections()["finish"].as_str().unwrap().to_owned();
    assert!(finish.contains("data-ask=\"Evening 1 takes no more photos then."), "{finish}");
    // One position alone is no ground for work: no step is shown to be ticked.
    let steps = page.sections()["steps"].as_str().unwrap().to_owned();
    assert!(steps.contains("The steps come when") && !steps.contains("data-tick"), "{steps}");

    let ended = page.order("evening", "");
    assert_eq!(ended.status, 200, "{}", ended.text());
    assert!(job.join("report/index.html").is_file(), "the evening ended with its report");
    assert!(job.join("evening-2/job.toml").is_file());
    page.wait_until("head", "Evening 2, 0 photos");
    // Begun too early: that is taken back, and all photos are there as before.
    page.wait_until("finish", "Go on with the evening before");
    assert_eq!(page.order("evening-before", "").status, 200);
    page.wait_until("head", "Evening 1, 5 photos");
    assert!(!job.join("evening-2").exists());
    // Its photos are its own again: one that is left out may be sent once more.
    assert_eq!(page.order("move", &format!("{} aside", keys[2])).status, 200);
    let third = std::fs::read(&photos("cord-00", "1-mark-forward")[2]).unwrap();
    assert_eq!(page.send("a.jpg", &third).status, 200);
    assert_eq!(page.order("evening-before", "").status, 409, "it is the first one");
    page.wait_until("finish", "Begin evening 2");
    assert_eq!(page.order("evening", "").status, 200);
    page.wait_until("head", "Evening 2, 0 photos");
    assert_eq!(
        page.send("a.jpg", &std::fs::read(&photos("cord-01", "1-mark-forward")[0]).unwrap()).status,
        200
    );
    assert!(job.join("evening-2/1-mark-forward/a.jpg").is_file());
    assert_eq!(page.order("evening-before", "").status, 409, "it has a photo");
    // The first evening is measured by itself as before, without a word on the second.
    let out = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .args(["measure", "--json"])
        .arg(&job)
        .output()
        .unwrap();
    let result: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(result["photos"].as_array().unwrap().len(), 5);
    assert!(!result["findings"].to_string().contains("evening"), "{}", result["findings"]);
    assert_eq!(page.interrupt(), Some(130));
    Page::open(&job).wait_until("head", "Evening 2, 1 photo");
}
