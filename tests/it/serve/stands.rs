//! Standpoints and the wheel's mark as single photos tell them, against the sets' truth.

use rayon::prelude::*;
use serde_json::Value;
use sightcord::figure::Side;
use sightcord::glance::stand::{Stand, stand};
use sightcord::grouping::{Mark, wheel_shown};
use sightcord::job::Job;
use sightcord::pipeline::scene_photo;

use super::client::photos;

/// A photo of a set-up.
struct Told {
    name: String,
    stand: Option<Stand>,
    mark: Option<Mark>,
    /// Where the camera truly stood over the bench, mm.
    camera: [f64; 3],
}

/// What each photo of a set-up shows on its own.
fn told(set: &str, setup: &str, job: &Job) -> Vec<Told> {
    let truth: Value = serde_json::from_str(
        &std::fs::read_to_string(format!("../shared/photos/{set}/truth.json")).unwrap(),
    )
    .unwrap();
    let place = |name: &str| {
        let entry = truth["photos"]
            .as_array()
            .unwrap()
            .iter()
            .find(|photo| photo["file"] == name)
            .expect("a photo of the truth");
        [0, 1, 2].map(|axis| entry["C"][axis].as_f64().unwrap())
    };
    let one = |photo: &std::path::PathBuf| {
        let name = format!("{setup}/{}", photo.file_name().unwrap().to_string_lossy());
        let read = sightcord::photo::read_photo(photo).unwrap();
        let seen = sightcord::sightings::look(&read.luma);
        let stand = stand(&seen, &read.facts, job, job.bike.chain_side);
        let mark = wheel_shown(&scene_photo(&name, Some(&read.facts), &seen), job).mark;
        let camera = place(&name);
        Told { name, stand, mark, camera }
    };
    photos(set, setup).par_iter().map(one).collect()
}

#[test]
#[ignore = "needs the shared photo sets"]
fn each_photo_tells_its_side_its_bearing_and_the_wheels_position_or_nothing() {
    let (mut placed, mut marked, mut all) = (0, 0, 0);
    for set in ["grass-track", "swing-arm", "right-hand", "cord-02", "riders-sun"] {
        let wrong = [("1-mark-forward", Mark::Rearward), ("2-mark-rearward", Mark::Forward)];
        for (setup, wrong) in wrong {
            for Told { name, stand, mark, camera: [x, y, z] } in told(set, setup, &Job::default()) {
                all += 1;
                if let Some(stand) = stand {
                    placed += 1;
                    let side = if y > 0.0 { Side::Left } else { Side::Right };
                    let bearing = y.atan2(x).to_degrees();
                    let off = (stand.bearing_deg - bearing + 540.0).rem_euclid(360.0) - 180.0;
                    let elevation = z.atan2(x.hypot(y)).to_degrees();
                    println!(
                        "{set}/{name}: {bearing:.0} told {:.0}, up {elevation:.0} told {:.0}, mark {:?}",
                        stand.bearing_deg, stand.elevation_deg, mark
                    );
                    assert_eq!(stand.side, side, "{set}/{name}");
                    assert!(
                        off.abs() < 35.0,
                        "{set}/{name}: {bearing:.0} told as {:.0}",
                        stand.bearing_deg
                    );
                    assert!(
                        (stand.elevation_deg - elevation).abs() < 15.0,
                        "{set}/{name}: {elevation} told as {}",
                        stand.elevation_deg
                    );
                } else {
                    println!("{set}/{name}: nothing told");
                }
                if let Some(mark) = mark {
                    marked += 1;
                    assert_ne!(mark, wrong, "{set}/{name}");
                }
            }
        }
    }
    println!("{placed} of {all} placed, {marked} tell the wheel's position");
    assert!(
        placed * 10 >= all * 8 && marked * 2 >= all,
        "{placed} of {all} placed, {marked} marked"
    );
}
