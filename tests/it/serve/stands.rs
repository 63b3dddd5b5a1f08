//! Standpoints and the wheel's position as single photos tell them, against the sets' truth.

use rayon::prelude::*;
use serde_json::Value;
use sightcord::figure::Side;
use sightcord::glance::stand::{Whence, whence};
use sightcord::job::Job;

use super::client::photos;

/// Each photo of a set-up: its name, what it tells, and where the camera truly stood over the
/// bench, mm.
fn told(set: &str, setup: &str, job: &Job) -> Vec<(String, Whence, [f64; 3])> {
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
        let told = whence(&seen, &read.facts, job, job.bike.chain_side);
        let camera = place(&name);
        (name, told, camera)
    };
    photos(set, setup).par_iter().map(one).collect()
}

#[test]
#[ignore = "needs the shared photo sets"]
fn each_photo_tells_its_side_its_bearing_and_the_wheels_position_or_nothing() {
    let (mut placed, mut marked, mut all) = (0, 0, 0);
    for set in ["grass-track", "swing-arm", "right-hand", "cord-02", "riders-sun"] {
        for (setup, ahead) in [("1-mark-forward", true), ("2-mark-rearward", false)] {
            for (name, told, [x, y, z]) in told(set, setup, &Job::default()) {
                all += 1;
                if let Some(stand) = told.stand {
                    placed += 1;
                    let side = if y > 0.0 { Side::Left } else { Side::Right };
                    let bearing = y.atan2(x).to_degrees();
                    let off = (stand.bearing_deg - bearing + 540.0).rem_euclid(360.0) - 180.0;
                    let elevation = z.atan2(x.hypot(y)).to_degrees();
                    println!(
                        "{set}/{name}: {bearing:.0} told {:.0}, up {elevation:.0} told {:.0}, mark {:?}",
                        stand.bearing_deg, stand.elevation_deg, told.mark_ahead
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
                if let Some(told) = told.mark_ahead {
                    marked += 1;
                    assert_eq!(told, ahead, "{set}/{name}");
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
