//! The jobs that `tests/slow/growth.sh` measures for a table: many photos, and large ones.

use std::path::Path;

use crate::common::TruthScene;
use crate::common::render::knobs::RenderKnobs;
use crate::common::walk::Walk;
use sightcord::bench::figures::Side;

/// Megapixels of the scene's lens at its own size.
const OWN_MEGAPIXELS: f64 = 3.264 * 2.448;

/// A job of `n_photos`, half of them of each set-up, from as many different places.
fn job_of(n_photos: usize, megapixels: f64) -> TruthScene {
    let mut truth = TruthScene::default();
    let n_setups = truth.setups.len();
    for (number, setup) in truth.setups.iter_mut().enumerate() {
        let n_here = n_photos / n_setups;
        let walks =
            (0..n_here.div_ceil(9)).flat_map(|walk| Walk::Round.photos((10 + walk * n_setups + number) as u64, Side::Left));
        setup.photos = walks.take(n_here).collect();
        for (i, photo) in setup.photos.iter_mut().enumerate() {
            photo.file = format!("{:03}.jpg", i + 1);
        }
    }
    truth.at_scale((megapixels / OWN_MEGAPIXELS).sqrt())
}

/// `GROWTH_JOBS` holds "photos megapixels folder" for each job to be made, with semicolons between; usually there is none.
#[test]
fn a_job_for_the_table_of_growth_has_the_photos_and_pixels_that_were_asked_for() {
    let truth = job_of(40, 2.0);
    let (width, height) = (truth.lens.width as f64, truth.lens.height as f64);
    assert!((width * height / 2e6 - 1.0).abs() < 0.01, "{width} x {height}");
    assert_eq!(truth.photo_indices().len(), 40);
    for order in std::env::var("GROWTH_JOBS").unwrap_or_default().split(';').filter(|order| !order.is_empty()) {
        let parts: Vec<&str> = order.split(' ').collect();
        let [n_photos, megapixels, folder] = parts[..] else { panic!("not three words: {order}") };
        let truth = job_of(n_photos.parse().unwrap(), megapixels.parse().unwrap());
        truth.write_job(Path::new(folder), &RenderKnobs::default()).unwrap();
    }
}
