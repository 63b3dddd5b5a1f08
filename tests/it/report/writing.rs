//! How a report comes to lie in its folder: checked first, whole or not at all, never over anything
//! else.

use std::fs;
use std::path::{Path, PathBuf};

use sightcord::report::html::PhotoPicture;
use sightcord::report::result::ResultDocument;
use sightcord::report::write::{Identity, JobPlaces, LIST_NAME, ReportFile, WriteError, prepare};

use crate::report::samples;

fn identity(document: &ResultDocument) -> Identity {
    Identity::new(document.job.id.clone(), &document.photos)
}

fn files(document: &ResultDocument, page: &str) -> Vec<ReportFile> {
    vec![
        ReportFile::new("result.json", document.to_json()),
        ReportFile::new("index.html", page),
        ReportFile::new("views/plan.svg", "<svg/>"),
        ReportFile::new("photos/1-mark-forward-01.jpg", *b"jpeg"),
    ]
}

fn write(folder: &Path, document: &ResultDocument, page: &str) -> Result<(), WriteError> {
    let left =
        prepare(folder, identity(document), JobPlaces::default())?.write(&files(document, page))?;
    assert_eq!(left, None, "the earlier report is cleared away");
    Ok(())
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn page(folder: &Path) -> String {
    fs::read_to_string(folder.join("index.html")).unwrap()
}

fn place() -> (tempfile::TempDir, PathBuf) {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("report");
    (parent, folder)
}

#[test]
fn a_report_is_written_into_a_folder_that_did_not_exist() {
    let (parent, _) = place();
    let folder = parent.path().join("deep/down/report");
    write(&folder, &samples::grass_track(), "one").unwrap();
    assert_eq!(names(&folder), ["index.html", "photos", LIST_NAME, "result.json", "views"]);
    assert_eq!(names(folder.parent().unwrap()), ["report"], "nothing is left beside it");
}

#[test]
fn checking_the_place_leaves_nothing_behind() {
    let (parent, folder) = place();
    prepare(&folder, identity(&samples::grass_track()), JobPlaces::default()).unwrap();
    assert_eq!(names(parent.path()), Vec::<String>::new());
}

#[test]
fn an_empty_folder_is_free() {
    let (_parent, folder) = place();
    fs::create_dir(&folder).unwrap();
    write(&folder, &samples::grass_track(), "one").unwrap();
    assert_eq!(page(&folder), "one");
}

#[test]
fn an_earlier_report_of_the_same_job_is_replaced_whole() {
    let (parent, folder) = place();
    let document = samples::grass_track();
    let mut first = files(&document, "one");
    first.push(ReportFile::new("views/old.svg", "old"));
    prepare(&folder, identity(&document), JobPlaces::default()).unwrap().write(&first).unwrap();
    fs::write(folder.join(".DS_Store"), "left by a file browser").unwrap();
    write(&folder, &document, "two").unwrap();
    assert_eq!(page(&folder), "two");
    assert!(!folder.join("views/old.svg").exists() && folder.join(".DS_Store").exists());
    assert_eq!(names(parent.path()), ["report"]);
}

#[test]
fn photos_may_come_and_go_between_two_runs() {
    let (_parent, folder) = place();
    write(&folder, &samples::grass_track(), "one").unwrap();
    let mut parts = samples::grass_track_parts();
    parts.job.id = "11".repeat(32);
    parts.photos.truncate(5);
    write(&folder, &ResultDocument::new(parts), "two").unwrap();
    assert_eq!(page(&folder), "two");
}

#[test]
fn the_report_of_other_photos_is_kept() {
    let (_parent, folder) = place();
    write(&folder, &samples::grass_track(), "before").unwrap();
    let mut parts = samples::grass_track_parts();
    parts.job.id = "11".repeat(32);
    for (i, photo) in parts.photos.iter_mut().enumerate() {
        // The photos for the lens alone stay the same; they are no sign of the same measurement.
        if photo.setup != "0-camera" {
            photo.sha256 = format!("{i:064}");
        }
    }
    let error = write(&folder, &ResultDocument::new(parts), "after").unwrap_err();
    assert!(matches!(error, WriteError::OtherJob(_)), "{error}");
    assert_eq!(page(&folder), "before");
}

#[test]
fn a_foreign_file_is_never_overwritten() {
    for foreign in [
        "notes.txt",
        "views/mine.png",
        "views/mine.svg",
        "photos/mine.jpg",
        "photos/deep/x.jpg",
        "1-mark-forward/01.jpg",
    ] {
        let (_parent, folder) = place();
        write(&folder, &samples::grass_track(), "one").unwrap();
        let at = folder.join(foreign);
        fs::create_dir_all(at.parent().unwrap()).unwrap();
        fs::write(&at, "mine").unwrap();
        let error = write(&folder, &samples::grass_track(), "two").unwrap_err();
        assert!(matches!(error, WriteError::Foreign { .. }), "{foreign}: {error}");
        assert!(
            error
                .to_string()
                .contains(foreign.split("/x").next().unwrap().split("/01").next().unwrap()),
            "{error}"
        );
        assert_eq!(fs::read_to_string(&at).unwrap(), "mine");
        assert_eq!(page(&folder), "one");
    }
}

#[test]
fn a_page_that_is_not_ours_is_never_overwritten() {
    let (_parent, folder) = place();
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join("index.html"), "my homepage").unwrap();
    let error = write(&folder, &samples::grass_track(), "two").unwrap_err();
    assert!(
        matches!(error, WriteError::NoList { .. }) && error.to_string().contains("index.html"),
        "{error}"
    );
    assert_eq!(page(&folder), "my homepage");
}

#[test]
fn a_report_of_another_program_is_never_overwritten() {
    let (_parent, folder) = place();
    let document = samples::grass_track();
    let other = [ReportFile::new("result.json", r#"{"schema": "other/1"}"#)];
    prepare(&folder, identity(&document), JobPlaces::default()).unwrap().write(&other).unwrap();
    let error = write(&folder, &document, "two").unwrap_err();
    assert!(error.to_string().contains("other/1"), "{error}");
}

#[test]
fn a_report_without_a_list_of_its_files_is_kept_even_of_the_same_job() {
    let (_parent, folder) = place();
    write(&folder, &samples::grass_track(), "one").unwrap();
    fs::remove_file(folder.join(LIST_NAME)).unwrap();
    let error = write(&folder, &samples::grass_track(), "two").unwrap_err().to_string();
    assert!(error.contains(LIST_NAME) && error.contains("Rename or remove"), "{error}");
    assert_eq!(page(&folder), "one");
}

#[test]
fn a_file_of_the_report_that_was_edited_is_kept_and_named() {
    for edited in
        ["index.html", "report-files.txt", "views/plan.svg", "photos/1-mark-forward-01.jpg"]
    {
        let (_parent, folder) = place();
        write(&folder, &samples::grass_track(), "one").unwrap();
        fs::write(folder.join(edited), "with my notes").unwrap();
        let error = write(&folder, &samples::grass_track(), "two").unwrap_err();
        assert!(error.to_string().contains(edited), "{edited}: {error}");
        assert_eq!(fs::read_to_string(folder.join(edited)).unwrap(), "with my notes");
    }
}

#[test]
fn what_was_taken_out_of_a_report_comes_again() {
    let (_parent, folder) = place();
    write(&folder, &samples::grass_track(), "one").unwrap();
    fs::remove_file(folder.join("index.html")).unwrap();
    fs::remove_dir_all(folder.join("photos")).unwrap();
    write(&folder, &samples::grass_track(), "two").unwrap();
    assert_eq!(page(&folder), "two");
}

#[test]
fn the_list_names_every_file_with_its_checksum_in_the_form_of_common_tools() {
    let (_parent, folder) = place();
    write(&folder, &samples::grass_track(), "one").unwrap();
    let list = fs::read_to_string(folder.join(LIST_NAME)).unwrap();
    let listed: Vec<&str> = list.lines().map(|line| line.split_once("  ").unwrap().1).collect();
    assert_eq!(
        listed,
        ["index.html", "photos/1-mark-forward-01.jpg", "result.json", "views/plan.svg"]
    );
    for line in list.lines() {
        let (sum, path) = line.split_once("  ").unwrap();
        assert_eq!(
            sum,
            sightcord::archive::checksum::sha256(&fs::read(folder.join(path)).unwrap())
        );
    }
}

#[test]
fn no_two_photos_share_a_picture_and_every_name_can_be_written() {
    let long = "x".repeat(130);
    let photos = [
        "1-a/Ä.jpg".to_owned(),
        "1-a/Ö.jpg".to_owned(),
        "1-a/A\u{308}.jpg".to_owned(),
        "1-a/x.jpg".to_owned(),
        "1-a/X.jpg".to_owned(),
        "1-a/x.png".to_owned(),
        "1-a-x.jpg".to_owned(),
        "1/a-x.jpg".to_owned(),
        format!("{long}/{long}.jpg"),
        format!("{long}/{long}y.jpg"),
        "1-a/.jpg.jpg".to_owned(),
        "con.jpg".to_owned(),
    ];
    let paths = photos.clone().map(|file| PhotoPicture { file, ..PhotoPicture::default() }.path());
    let folded: std::collections::BTreeSet<String> =
        paths.iter().map(|path| path.to_lowercase()).collect();
    assert_eq!(folded.len(), photos.len(), "{paths:?}");
    let name = |path: &str| path.strip_prefix("photos/").unwrap().to_owned();
    assert!(
        paths
            .iter()
            .all(|path| path.is_ascii() && name(path).len() <= 100 && !name(path).contains('/')),
        "{paths:?}"
    );
    // They get through the real writing as well.
    let (_parent, folder) = place();
    let document = samples::grass_track();
    let mut all = files(&document, "one");
    all.extend(paths.iter().map(|path| ReportFile::new(path, *b"jpeg")));
    prepare(&folder, identity(&document), JobPlaces::default()).unwrap().write(&all).unwrap();
    write(&folder, &document, "two").unwrap();
}

#[test]
fn a_file_in_the_place_of_the_folder_is_refused() {
    let (parent, folder) = place();
    fs::write(&folder, "a file").unwrap();
    let error = write(&folder, &samples::grass_track(), "one").unwrap_err();
    assert!(matches!(error, WriteError::NotAFolder(_)), "{error}");
    let error = write(&folder.join("below"), &samples::grass_track(), "one").unwrap_err();
    assert!(error.to_string().contains("--to"), "{error}");
    assert_eq!(names(parent.path()), ["report"]);
}

#[test]
fn what_came_while_the_photos_were_measured_is_not_overwritten() {
    let (_parent, folder) = place();
    let document = samples::grass_track();
    let destination = prepare(&folder, identity(&document), JobPlaces::default()).unwrap();
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join("notes.txt"), "mine").unwrap();
    assert!(matches!(destination.write(&files(&document, "one")), Err(WriteError::NoList { .. })));
    assert_eq!(names(&folder), ["notes.txt"]);
}

#[cfg(unix)]
#[test]
fn a_link_is_followed_once_and_stays_a_link() {
    let (parent, folder) = place();
    let real = parent.path().join("real");
    fs::create_dir(&real).unwrap();
    std::os::unix::fs::symlink(&real, &folder).unwrap();
    write(&folder, &samples::grass_track(), "one").unwrap();
    write(&folder, &samples::grass_track(), "two").unwrap();
    assert!(fs::symlink_metadata(&folder).unwrap().is_symlink());
    assert_eq!(page(&real), "two");
}

#[cfg(unix)]
#[test]
fn a_link_inside_is_foreign() {
    let (parent, folder) = place();
    write(&folder, &samples::grass_track(), "one").unwrap();
    fs::write(parent.path().join("precious"), "mine").unwrap();
    fs::remove_file(folder.join("index.html")).unwrap();
    std::os::unix::fs::symlink(parent.path().join("precious"), folder.join("index.html")).unwrap();
    assert!(matches!(
        write(&folder, &samples::grass_track(), "two"),
        Err(WriteError::Foreign { .. })
    ));
    assert_eq!(fs::read_to_string(parent.path().join("precious")).unwrap(), "mine");
}

#[cfg(unix)]
#[test]
fn the_report_is_as_open_to_others_as_any_new_folder() {
    use std::os::unix::fs::PermissionsExt;
    let (parent, folder) = place();
    write(&folder, &samples::grass_track(), "one").unwrap();
    let ordinary = parent.path().join("ordinary");
    fs::create_dir(&ordinary).unwrap();
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&folder), mode(&ordinary));
    assert_eq!(names(&folder), ["index.html", "photos", LIST_NAME, "result.json", "views"]);
}

#[cfg(unix)]
#[test]
fn no_permission_is_said_before_the_work() {
    use std::os::unix::fs::PermissionsExt;
    let (parent, folder) = place();
    fs::set_permissions(parent.path(), fs::Permissions::from_mode(0o555)).unwrap();
    // Who may write everywhere (root) can't be refused here, and the test has nothing to show.
    if fs::write(parent.path().join("probe"), "").is_err() {
        let error =
            prepare(&folder, identity(&samples::grass_track()), JobPlaces::default()).unwrap_err();
        assert!(error.to_string().contains("no permission"), "{error}");
    }
    fs::set_permissions(parent.path(), fs::Permissions::from_mode(0o755)).unwrap();
}
