//! Which photos of a job folder are used, and what is said about the rest.

use std::fs;
use std::path::Path;

use sightcord::photo::{JobPhotos, ListError, PhotoError, list_job};
use tempfile::TempDir;

/// A folder with these files in it. Each gets content of its own unless the same `tag` is given
/// twice: a small JPEG with the tag behind its end.
fn folder_with(files: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, tag) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let mut bytes = fs::read("tests/data/photo/grey.jpg").unwrap();
        bytes.extend(tag.as_bytes());
        fs::write(path, bytes).unwrap();
    }
    folder
}

fn ids(job: &JobPhotos) -> Vec<(&str, Vec<&str>)> {
    job.setups
        .iter()
        .map(|setup| {
            (setup.name.as_str(), setup.photos.iter().map(|photo| photo.id.as_str()).collect())
        })
        .collect()
}

fn finding_ids(job: &JobPhotos) -> Vec<&str> {
    job.findings.iter().map(|finding| finding.id.as_str()).collect()
}

#[test]
fn setups_and_photos_come_in_the_order_a_person_would_put_them() {
    let folder = folder_with(&[
        ("10-again/a.jpg", "1"),
        ("2-mark-rearward/IMG_10.jpg", "2"),
        ("2-mark-rearward/IMG_9.JPG", "3"),
        ("2-mark-rearward/IMG_009b.jpeg", "4"),
        ("1-mark-forward/x.jpg", "5"),
        ("after/y.jpg", "6"),
        ("0-camera/c.jpg", "7"),
        ("report/photos/overlay.jpg", "8"),
        ("report/picture.jpg", "9"),
    ]);
    let job = list_job(folder.path()).unwrap();
    assert_eq!(
        ids(&job),
        [
            ("1-mark-forward", vec!["1-mark-forward/x.jpg"]),
            (
                "2-mark-rearward",
                vec![
                    "2-mark-rearward/IMG_9.JPG",
                    "2-mark-rearward/IMG_009b.jpeg",
                    "2-mark-rearward/IMG_10.jpg"
                ]
            ),
            ("10-again", vec!["10-again/a.jpg"]),
            ("after", vec!["after/y.jpg"]),
        ]
    );
    assert_eq!(
        job.camera.iter().map(|photo| photo.id.as_str()).collect::<Vec<_>>(),
        ["0-camera/c.jpg"]
    );
    assert!(job.findings.is_empty(), "{:?}", job.findings);
    assert_eq!(job.all().count(), 7);
    assert!(job.all().all(|photo| photo.sha256.len() == 64 && photo.read().is_ok()));
}

#[test]
fn hidden_files_and_other_files_are_passed_over() {
    let folder = folder_with(&[
        ("1-a/x.jpg", "1"),
        ("1-a/.x.jpg", "2"),
        (".trash/y.jpg", "3"),
        ("notes/text.txt", ""),
    ]);
    fs::write(folder.path().join("notes/text.txt"), b"gap 31 mm").unwrap();
    fs::write(folder.path().join("job.toml"), b"schema = \"sightcord-job/1\"").unwrap();
    fs::create_dir(folder.path().join("2-empty")).unwrap();
    let job = list_job(folder.path()).unwrap();
    assert_eq!(ids(&job), [("1-a", vec!["1-a/x.jpg"])]);
    assert_eq!(finding_ids(&job), [] as [&str; 0]);
}

#[test]
fn pictures_that_are_not_read_are_reported() {
    let folder = folder_with(&[
        ("1-a/x.jpg", "1"),
        ("1-a/w.dng", "2"),
        ("1-a/y.jpg.part", "3"),
        ("1-a/deeper/z.jpg", "4"),
        ("2-b/set/z.jpg", "5"),
    ]);
    let job = list_job(folder.path()).unwrap();
    assert_eq!(ids(&job), [("1-a", vec!["1-a/x.jpg"])]);
    assert_eq!(finding_ids(&job), ["job-inside", "photo-kind-not-read", "photo-misnamed"]);
    assert_eq!(job.findings[1].photo.as_deref(), Some("1-a/w.dng"));
}

#[test]
fn photos_in_no_folder_are_loose_and_left_to_be_sorted() {
    let folder =
        folder_with(&[("b.jpg", "1"), ("a.jpg", "2"), ("0-camera/c.jpg", "3"), ("1-a/d.jpg", "4")]);
    let job = list_job(folder.path()).unwrap();
    assert_eq!(ids(&job), [("1-a", vec!["1-a/d.jpg"])]);
    assert_eq!(
        job.loose.iter().map(|photo| photo.id.as_str()).collect::<Vec<_>>(),
        ["a.jpg", "b.jpg"]
    );
    assert_eq!(job.camera.len(), 1);
    let setups: Vec<Option<&str>> = job.with_setups().map(|(_, setup)| setup).collect();
    assert_eq!(setups, [Some("0-camera"), Some("1-a"), None, None]);
    assert_eq!(finding_ids(&job), [] as [&str; 0]);
}

#[test]
fn the_same_photo_twice_is_used_once() {
    let folder = folder_with(&[
        ("1-a/x.jpg", "same"),
        ("1-a/x copy.jpg", "same"),
        ("2-b/y.jpg", "same"),
        ("2-b/z.jpg", "other"),
    ]);
    let job = list_job(folder.path()).unwrap();
    assert_eq!(ids(&job), [("1-a", vec!["1-a/x.jpg"]), ("2-b", vec!["2-b/z.jpg"])]);
    assert_eq!(finding_ids(&job), ["photo-twice", "photo-twice"]);
    assert!(job.findings[0].what.contains("1-a/x copy.jpg"), "{}", job.findings[0].what);
}

#[test]
fn a_folder_that_is_none_is_an_error() {
    let folder = folder_with(&[("1-a/x.jpg", "1")]);
    assert!(matches!(list_job(&folder.path().join("absent")), Err(ListError::Missing(_))));
    assert!(matches!(list_job(&folder.path().join("1-a/x.jpg")), Err(ListError::NotAFolder(_))));
    let empty = tempfile::tempdir().unwrap();
    let error = list_job(empty.path()).unwrap_err();
    assert!(matches!(error, ListError::NoPhotos(_)));
    assert!(error.to_string().contains("1-mark-forward"), "{error}");
}

#[test]
fn a_photo_that_changed_since_it_was_listed_is_refused() {
    let folder = folder_with(&[("1-a/x.jpg", "1")]);
    let job = list_job(folder.path()).unwrap();
    fs::write(folder.path().join("1-a/x.jpg"), fs::read("tests/data/photo/baseline.jpg").unwrap())
        .unwrap();
    assert_eq!(job.setups[0].photos[0].read().unwrap_err(), PhotoError::Changed);
}

#[cfg(unix)]
#[test]
fn links_are_followed_and_loops_are_not() {
    use std::os::unix::fs::symlink;
    let folder = folder_with(&[("1-a/x.jpg", "1")]);
    let elsewhere = folder_with(&[("y.jpg", "2")]);
    let link = |target: &Path, name: &str| symlink(target, folder.path().join(name)).unwrap();
    link(elsewhere.path(), "2-b");
    link(Path::new("3-loop"), "3-loop");
    link(folder.path(), "4-itself");
    link(Path::new("nowhere.jpg"), "1-a/gone.jpg");
    let job = list_job(folder.path()).unwrap();
    assert_eq!(ids(&job), [("1-a", vec!["1-a/x.jpg"]), ("2-b", vec!["2-b/y.jpg"])]);
    assert_eq!(
        job.findings.iter().filter(|finding| finding.id == "photo-unreadable").count(),
        2,
        "{:?}",
        job.findings
    );
}

#[cfg(unix)]
#[test]
fn what_may_not_be_read_is_reported_and_does_not_stop_the_rest() {
    use std::os::unix::fs::PermissionsExt;
    let folder =
        folder_with(&[("1-a/x.jpg", "1"), ("1-a/locked.jpg", "2"), ("2-locked/y.jpg", "3")]);
    let lock = |name: &str, mode| {
        fs::set_permissions(folder.path().join(name), fs::Permissions::from_mode(mode)).unwrap()
    };
    lock("1-a/locked.jpg", 0o000);
    lock("2-locked", 0o000);
    // Permissions don't bind the superuser, and then there is nothing to test.
    let binds = fs::read(folder.path().join("1-a/locked.jpg")).is_err();
    let job = list_job(folder.path());
    lock("2-locked", 0o700);
    if binds {
        let job = job.unwrap();
        assert_eq!(ids(&job), [("1-a", vec!["1-a/x.jpg"])]);
        assert_eq!(finding_ids(&job), ["folder-unreadable", "photo-unreadable"]);
    }
}

/// The samples are what a newcomer measures first: small enough to clone, whole, and with the EXIF
/// data a phone writes.
#[test]
fn the_samples_are_small_and_whole() {
    for (sample, n_camera, n_per_setup, focal_35mm, max_bytes) in [
        ("samples/grass-track", 4, 9, 26.0, 15_000_000),
        ("samples/swing-arm", 0, 12, 24.0, 14_000_000),
    ] {
        let job = list_job(Path::new(sample)).unwrap();
        assert_eq!(job.camera.len(), n_camera, "{sample}");
        assert_eq!(
            job.setups.iter().map(|setup| setup.photos.len()).collect::<Vec<_>>(),
            [n_per_setup; 2],
            "{sample}"
        );
        assert!(job.findings.is_empty(), "{sample}: {:?}", job.findings);
        let mut bytes = 0;
        for file in job.all() {
            let facts = file.read().unwrap().facts;
            assert_eq!((facts.width, facts.height), (2448, 1836), "{}", file.id);
            assert_eq!(facts.exif.pixel_size, Some((2448, 1836)), "{}", file.id);
            assert_eq!(facts.exif.focal_length_35mm, Some(focal_35mm), "{}", file.id);
            assert!(
                facts.findings(&file.id).is_empty() && !facts.exif.damaged && !facts.exif.has_gps,
                "{}",
                file.id
            );
            bytes += facts.bytes;
        }
        assert!(bytes < max_bytes, "{sample} holds {bytes} bytes of photos");
        sightcord::job::Job::of_folder(Path::new(sample)).unwrap();
    }
}

#[test]
fn a_whole_camera_roll_is_refused_before_a_photo_is_read() {
    let job = tempfile::tempdir().unwrap();
    let setup = job.path().join("1-a");
    fs::create_dir(&setup).unwrap();
    for number in 0..=sightcord::photo::listing::MAX_PHOTOS {
        fs::write(setup.join(format!("{number}.jpg")), number.to_string()).unwrap();
    }
    let why = list_job(job.path()).unwrap_err().to_string();
    assert!(why.contains("holds 1001 photos, and 1000 at most"), "{why}");
    fs::remove_file(setup.join("0.jpg")).unwrap();
    assert_eq!(list_job(job.path()).unwrap().all().count(), 1000);
}
