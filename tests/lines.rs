//! Cords and lines in photos: against drawn pictures, and against the shared photos' truth.

mod shared_truth;

use shared_truth::TruthSet;
use sightcord::sightings::{lane, look};

#[test]
#[ignore = "needs ../shared"]
fn dump_profiles() {
    let set = TruthSet::load(&std::env::var("SET").unwrap());
    for photo in &set.photos {
        if !photo.file.contains(&std::env::var("PHOTO").unwrap()) {
            continue;
        }
        let image = photo.image();
        for p in look(&image).patterns {
            let Some(lane) = lane::Lane::new(&p) else { continue };
            let clock = std::time::Instant::now();
            let Some(profile) = lane::profile(&image, &lane) else {
                println!("{} {:?} none", photo.file, p.pattern);
                continue;
            };
            let card = set.cards.iter().find(|c| c.pattern == p.pattern).unwrap();
            // where is the truth axis
            println!(
                "{} {:?} slope {:.4} row {:.3} px/mm {:.2} paper {:.3} noise {:.4} time {:?}",
                photo.file,
                p.pattern,
                profile.line.slope,
                profile.line.row,
                profile.px_per_mm,
                profile.paper,
                profile.noise,
                clock.elapsed()
            );
            let at = card.node(9.0, profile.middle_col);
            let axis = photo.project([at[0], 0.0, set.cord_height]);
            let w = set.cord_radius * 2.0 * profile.px_per_mm;
            if let (Some(axis), Some((o, t, n))) = (axis, lane.frame(&profile.line, profile.middle_col)) {
                let d = [axis[0] - o[0], axis[1] - o[1]];
                println!(
                    "   truth edges at {:.2} {:.2}  ({:.1} px along)",
                    d[0] * n[0] + d[1] * n[1] - w / 2.0,
                    d[0] * n[0] + d[1] * n[1] + w / 2.0,
                    d[0] * t[0] + d[1] * t[1]
                );
            }
            println!(
                "   {}",
                (0..profile.values.len())
                    .step_by(2)
                    .map(|i| format!("{:.1}:{:.0}", profile.offset(i), profile.values[i] * 100.0))
                    .collect::<Vec<_>>()
                    .join(" ")
            );
        }
    }
}
