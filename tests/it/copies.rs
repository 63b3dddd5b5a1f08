//! The same picture twice counts once, whatever became of its file; two photos from one place are
//! two.

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::Command;

use image::codecs::jpeg::JpegEncoder;
use image::imageops::FilterType;
use image::{DynamicImage, GrayImage, Luma};
use sightcord::job::Job;
use sightcord::photo::copies::{grain_tells, may_be_copy};
use sightcord::photo::{Grain, Impression, LinearImage, Photo, decode_photo, list_job};

use crate::common::random::Random;

fn coded(picture: &DynamicImage, quality: u8) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    JpegEncoder::new_with_quality(&mut out, quality).encode_image(picture).unwrap();
    out.into_inner()
}

fn opened(photo: &[u8]) -> DynamicImage {
    image::load_from_memory(photo).unwrap()
}

/// What messengers, tidy people and this program make of a photo.
fn copies_of(photo: &[u8]) -> Vec<(&'static str, Vec<u8>)> {
    let picture = opened(photo);
    let (width, height) = (picture.width(), picture.height());
    let half = picture.resize_exact(width / 2, height / 2, FilterType::Lanczos3);
    let odd = picture.resize_exact(width * 2 / 5 + 1, height * 2 / 5, FilterType::Triangle);
    let mut png = Cursor::new(Vec::new());
    picture.write_to(&mut png, image::ImageFormat::Png).unwrap();
    vec![
        ("other data", [photo, b"more"].concat()),
        ("PNG", png.into_inner()),
        ("quality 90", coded(&picture, 90)),
        ("quality 60", coded(&picture, 60)),
        ("quality 40", coded(&picture, 40)),
        ("half the size", coded(&half, 75)),
        ("two fifths of the size", coded(&odd, 60)),
        ("turned right", coded(&picture.rotate90(), 80)),
        ("turned over", coded(&picture.rotate180(), 80)),
        ("turned left and smaller", coded(&half.rotate270(), 80)),
        ("brighter", coded(&picture.brighten(12), 85)),
    ]
}

fn are_one(first: &Photo, second: &Photo) -> bool {
    let impressions = (Impression::of(&first.luma), Impression::of(&second.luma));
    may_be_copy(&impressions.0, &impressions.1).is_some_and(|turn| {
        !grain_tells(&impressions.0, &impressions.1, turn)
            || Grain::of(&first.luma).is_one_with(&Grain::of(&second.luma))
    })
}

fn photos_of(folder: &Path) -> Vec<PathBuf> {
    list_job(folder).unwrap().all().map(|photo| photo.path.clone()).collect()
}

fn assert_copies_are_known(at: &Path) {
    let photo = fs::read(at).unwrap();
    let original = decode_photo(&photo).unwrap();
    for (what, copy) in copies_of(&photo) {
        let copy = decode_photo(&copy).unwrap();
        assert!(are_one(&original, &copy) && are_one(&copy, &original), "{}: {what}", at.display());
    }
}

fn assert_no_two_are_one(folder: &Path) {
    let photos = photos_of(folder);
    let impressions: Vec<Impression> = photos
        .iter()
        .map(|at| Impression::of(&decode_photo(&fs::read(at).unwrap()).unwrap().luma))
        .collect();
    for (second, impression) in impressions.iter().enumerate() {
        for first in 0..second {
            let turn = may_be_copy(&impressions[first], impression);
            assert_eq!(turn, None, "{} and {}", photos[first].display(), photos[second].display());
        }
    }
}

#[test]
fn a_copy_is_known_in_every_form_and_two_photos_of_one_bench_are_two() {
    for sample in ["samples/grass-track", "samples/swing-arm"] {
        let photos = photos_of(Path::new(sample));
        assert_copies_are_known(&photos[photos.len() / 2]);
        assert_no_two_are_one(Path::new(sample));
    }
}

#[test]
#[ignore = "needs ../shared"]
fn copies_of_the_shared_sets_photos_are_known_and_no_two_photos_are_one() {
    let sets: Vec<PathBuf> = match std::env::var_os("PHOTO_SETS") {
        Some(named) => std::env::split_paths(&named).collect(),
        // A lamp, the sun, dusk and much grain.
        None => ["grass-track", "riders-sun", "cord-02"]
            .map(|set| Path::new("../shared/photos").join(set))
            .to_vec(),
    };
    for set in sets {
        let photos = photos_of(&set);
        assert_copies_are_known(&photos[photos.len() - 1]);
        assert_no_two_are_one(&set);
    }
}

/// A photo's picture without its grain, with grain of its own: what a camera on a stand makes again
/// and again.
fn taken(picture: &GrayImage, seed: u64, sigma_codes: f64) -> GrayImage {
    let mut random = Random::new(seed);
    GrayImage::from_fn(picture.width(), picture.height(), |x, y| {
        let code = f64::from(picture.get_pixel(x, y).0[0]) + sigma_codes * random.normal();
        Luma([code.round().clamp(0.0, 255.0) as u8])
    })
}

/// Two photos of a burst are honest: the hand moves, and on a stand each has its own grain.
#[test]
fn two_photos_of_a_burst_are_two() {
    let at = photos_of(Path::new("samples/swing-arm")).swap_remove(3);
    let scene = image::imageops::blur(&opened(&fs::read(at).unwrap()).into_luma8(), 1.2);
    let (width, height) = scene.dimensions();
    let photo =
        |picture: GrayImage, quality| decode_photo(&coded(&picture.into(), quality)).unwrap();
    for sigma_codes in [1.0, 2.5, 6.0] {
        let first = photo(taken(&scene, 1, sigma_codes), 93);
        let again = photo(taken(&scene, 2, sigma_codes), 93);
        assert!(!are_one(&first, &again), "on a stand, grain {sigma_codes}");
        let part =
            |dx, dy| image::imageops::crop_imm(&scene, dx, dy, width - 2, height - 2).to_image();
        let (here, beside) = (
            photo(taken(&part(0, 0), 3, sigma_codes), 93),
            photo(taken(&part(1, 0), 3, sigma_codes), 93),
        );
        assert!(!are_one(&here, &beside), "a pixel aside, grain {sigma_codes}");
        // And of either a copy is known.
        let copy = photo(taken(&scene, 1, sigma_codes), 60);
        assert!(are_one(&first, &copy), "quality 60, grain {sigma_codes}");
    }
}

fn figures_of(folder: &Path) -> serde_json::Value {
    let out = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .args(["measure", "--json"])
        .arg(folder)
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

fn copied(from: &Path, to: &Path) {
    for entry in walkdir::WalkDir::new(from).into_iter().map(Result::unwrap) {
        let target = to.join(entry.path().strip_prefix(from).unwrap());
        if entry.file_type().is_dir() {
            fs::create_dir_all(target).unwrap();
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

/// Figures within 1 % of their U: halves for the cross-check are dealt by a photo's place in the
/// list, in which copies stand as well.
fn assert_same_figures(at: &str, a: &serde_json::Value, b: &serde_json::Value) {
    use serde_json::Value;
    match (a, b) {
        (Value::Object(a), Value::Object(b)) if a.contains_key("u") && b.contains_key("u") => {
            let number =
                |figure: &serde_json::Map<String, Value>, key: &str| figure[key].as_f64().unwrap();
            let allowed = 0.01 * number(b, "u");
            for key in ["value", "u"] {
                assert!(
                    (number(a, key) - number(b, key)).abs() <= allowed,
                    "{at}: {a:?} and {b:?}"
                );
            }
        }
        (Value::Object(a), Value::Object(b)) => {
            assert_eq!(a.len(), b.len(), "{at}");
            a.iter().for_each(|(key, value)| {
                assert_same_figures(&format!("{at}/{key}"), value, &b[key])
            });
        }
        (Value::Array(a), Value::Array(b)) => {
            assert_eq!(a.len(), b.len(), "{at}");
            a.iter().zip(b).for_each(|(a, b)| assert_same_figures(at, a, b));
        }
        // Verdicts on what is no figure, and words.
        (Value::Number(_), Value::Number(_)) => {}
        _ => assert_eq!(a, b, "{at}"),
    }
}

/// A dozen copies in a job change no figure and no uncertainty, and each is named.
#[test]
fn copies_in_a_job_change_nothing_and_are_named() {
    let sample = Path::new("samples/grass-track");
    let job = tempfile::tempdir().unwrap();
    copied(sample, job.path());
    let honest = figures_of(job.path());
    let original = photos_of(sample)
        .into_iter()
        .rfind(|at| at.parent().unwrap().ends_with("1-mark-forward"))
        .unwrap();
    let name = original.file_name().unwrap().to_str().unwrap();
    let bytes = fs::read(&original).unwrap();
    let mut n_copies = 0;
    for (idx, (_, copy)) in copies_of(&bytes).into_iter().enumerate() {
        // In front of the original and behind it, in its set-up and in the other one.
        let setup = if idx % 3 == 0 { "2-mark-rearward" } else { "1-mark-forward" };
        fs::write(
            job.path()
                .join(setup)
                .join(format!("{}copy-{idx}.jpg", if idx % 2 == 0 { "0" } else { "z" })),
            copy,
        )
        .unwrap();
        n_copies += 1;
    }
    // As this program draws it.
    let pictures = tempfile::tempdir().unwrap();
    let glance = [
        "glance",
        original.to_str().unwrap(),
        "-q",
        "--picture",
        pictures.path().to_str().unwrap(),
    ];
    assert!(Command::new(env!("CARGO_BIN_EXE_sightcord")).args(glance).status().unwrap().success());
    let drawn = fs::read_dir(pictures.path()).unwrap().next().unwrap().unwrap().path();
    fs::copy(drawn, job.path().join("1-mark-forward/drawn.jpg")).unwrap();

    let with_copies = figures_of(job.path());
    let told: Vec<&str> = with_copies["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|finding| finding["id"] == "photo-copy")
        .map(|finding| finding["what"].as_str().unwrap())
        .collect();
    assert_eq!(told.len(), n_copies, "{told:#?}");
    let findings = with_copies["findings"].as_array().unwrap();
    assert!(findings.iter().any(|finding| finding["id"] == "picture-drawn-upon"
        && finding["what"].as_str().unwrap().contains("drawn.jpg")));
    assert!(told.iter().all(|what| what.contains(&format!("1-mark-forward/{name}"))), "{told:#?}");
    for part in ["wheel", "frame", "wheel_in_frame", "chain", "rim", "hub", "plumb", "bench"] {
        assert_same_figures(part, &with_copies[part], &honest[part]);
    }
    let words = |result: &serde_json::Value| -> Vec<serde_json::Value> {
        result["verdicts"]
            .as_array()
            .unwrap()
            .iter()
            .map(|verdict| verdict["verdict"].clone())
            .collect()
    };
    assert_eq!(words(&with_copies), words(&honest));
    let used = with_copies["photos"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|photo| photo["used"] == true)
        .count();
    assert_eq!(
        used,
        honest["photos"].as_array().unwrap().iter().filter(|photo| photo["used"] == true).count()
    );
}

/// Two tabs at one place are reported: at once where the job has them so, and where one of them is
/// seen that lost its place to the other.
#[test]
fn two_tabs_with_one_role_and_place_are_a_clash() {
    let twice = "[[tab]]\nnumber = 45\nrole = \"rim\"\nside = \"left\"\nplace = 0\n[[tab]]\nnumber = 46\nrole = \"rim\"\nside = \"left\"\n";
    let problems = Job::parse(twice).unwrap_err();
    assert!(
        problems[0].what.contains("tabs 45 and 46 both mark \"rear rim, left\""),
        "{problems:?}"
    );
    assert!(
        Job::parse("[[tab]]\nnumber = 45\nrole = \"gearbox-sprocket\"\n[[tab]]\nnumber = 46\nrole = \"gearbox-sprocket\"\n")
            .is_ok()
    );

    let job = tempfile::tempdir().unwrap();
    copied(Path::new("samples/grass-track"), job.path());
    let settings = job.path().join("job.toml");
    let text = fs::read_to_string(&settings).unwrap();
    fs::write(
        &settings,
        format!("{text}\n[[tab]]\nnumber = 45\nrole = \"rim\"\nside = \"left\"\n"),
    )
    .unwrap();
    let result = figures_of(job.path());
    let findings = result["findings"].as_array().unwrap();
    let clash =
        findings.iter().find(|finding| finding["id"] == "tab-clash").expect("the clash is told");
    assert!(
        clash["what"]
            .as_str()
            .unwrap()
            .starts_with("Tabs 1 and 45 mark one place (rear rim, left)"),
        "{clash}"
    );
    let left = result["rim"]
        .as_array()
        .unwrap()
        .iter()
        .find(|rim| rim["side"] == "left" && rim["place"] == 0);
    assert!(left.is_none_or(|rim| rim["offset"].is_null()), "{left:?}");
}

#[test]
fn the_cells_are_means_whatever_the_size() {
    for (width, height) in [(64, 70), (256, 192), (1001, 333)] {
        let data =
            (0..width * height).map(|idx| ((idx % width) as f32 / width as f32).powi(2)).collect();
        let seen = Impression::of(&LinearImage::new(width, height, data));
        let middle = seen.at(seen.columns / 2, seen.rows / 2);
        assert!((middle - 0.5).abs() < 1.0 / 64.0, "{width} x {height}: {middle}");
    }
}
