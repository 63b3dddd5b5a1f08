//! The jobs that `tests/slow/growth.sh` measures for a table: many photos, and large ones.

use std::fs;
use std::io::Cursor;
use std::path::Path;

use image::codecs::jpeg::{JpegDecoder, JpegEncoder};
use image::{DynamicImage, ImageDecoder, ImageEncoder};
use rayon::prelude::*;

use crate::common::TruthScene;
use crate::common::random::Random;
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
        let walks = (0..n_here.div_ceil(9)).flat_map(|walk| {
            Walk::Round.photos((10 + walk * n_setups + number) as u64, Side::Left)
        });
        setup.photos = walks.take(n_here).collect();
        for (i, photo) in setup.photos.iter_mut().enumerate() {
            photo.file = format!("{:03}.jpg", i + 1);
        }
    }
    truth.at_scale((megapixels / OWN_MEGAPIXELS).sqrt())
}

/// A table of grain, taken from a place of chance for each row: a number of chance for each pixel
/// would take longer than its coding.
struct Grain(Vec<f64>);

impl Grain {
    /// What a phone has in a lit shed: two photos from one place are told apart by grain of one
    /// code and more (`copies`).
    const SIGMA_CODES: f64 = 2.5;

    fn new() -> Self {
        let mut random = Random::new(1);
        Self((0..1 << 18).map(|_| Self::SIGMA_CODES * random.normal()).collect())
    }

    /// A photo of the same place with grain of its own, as a camera on a stand takes it.
    fn taken(&self, photo: &[u8], seed: u64) -> Vec<u8> {
        let mut decoder = JpegDecoder::new(Cursor::new(photo)).unwrap();
        let exif = decoder.exif_metadata().unwrap().expect("rendered photos name a lens");
        let (mut picture, mut random) =
            (DynamicImage::from_decoder(decoder).unwrap().into_rgb8(), Random::new(seed));
        for row in picture.rows_mut() {
            let begin = (random.uniform() * self.0.len() as f64) as usize;
            for (pixel, grain) in row.zip(self.0.iter().cycle().skip(begin)) {
                pixel.0.iter_mut().for_each(|code| {
                    *code = (f64::from(*code) + grain).round().clamp(0.0, 255.0) as u8
                });
            }
        }
        let mut coded = Vec::new();
        let mut encoder = JpegEncoder::new_with_quality(&mut coded, 92);
        encoder.set_exif_metadata(exif).unwrap();
        encoder.encode_image(&picture).unwrap();
        coded
    }
}

/// As many photos as are asked for, from fewer places, each with grain of its own: to render
/// hundreds of large ones takes hours.
fn write_retaken(n_photos: usize, n_places: usize, megapixels: f64, folder: &Path) {
    let truth = job_of(n_places, megapixels);
    let without_grain = RenderKnobs {
        full_well: f64::INFINITY,
        read_noise: 0.0,
        jpeg_quality: 97,
        ..RenderKnobs::quick()
    };
    truth.write_job(folder, &without_grain).unwrap();
    let grain = Grain::new();
    for setup in &truth.setups {
        let at = |idx: usize| folder.join(&setup.name).join(format!("{:03}.jpg", idx + 1));
        let places: Vec<Vec<u8>> =
            (0..setup.photos.len()).map(|idx| fs::read(at(idx)).unwrap()).collect();
        (0..n_photos / truth.setups.len()).into_par_iter().for_each(|idx| {
            fs::write(at(idx), grain.taken(&places[idx % places.len()], 1000 + idx as u64))
                .unwrap();
        });
    }
}

/// `GROWTH_JOBS` holds "photos megapixels folder", or "photos megapixels folder places", for each
/// job to be made, with semicolons between; usually there is none.
#[test]
fn a_job_for_the_table_of_growth_has_the_photos_and_pixels_that_were_asked_for() {
    let truth = job_of(40, 2.0);
    let (width, height) = (truth.lens.width as f64, truth.lens.height as f64);
    assert!((width * height / 2e6 - 1.0).abs() < 0.01, "{width} x {height}");
    assert_eq!(truth.photo_indices().len(), 40);
    for order in std::env::var("GROWTH_JOBS")
        .unwrap_or_default()
        .split(';')
        .filter(|order| !order.is_empty())
    {
        let parts: Vec<&str> = order.split(' ').collect();
        let [n_photos, megapixels, folder] = parts[..3] else { panic!("not three words: {order}") };
        let (n_photos, megapixels, folder) =
            (n_photos.parse().unwrap(), megapixels.parse().unwrap(), Path::new(folder));
        match parts.get(3) {
            Some(places) => write_retaken(n_photos, places.parse().unwrap(), megapixels, folder),
            // Edges from few points: what is measured here is memory and time.
            None => job_of(n_photos, megapixels).write_job(folder, &RenderKnobs::quick()).unwrap(),
        }
    }
}
