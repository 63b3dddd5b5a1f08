//! Findings that are alike for many files.

use sightcord::finding::Finding;
use sightcord::pipeline::once::report_once;

#[test]
fn the_same_of_many_files_is_reported_once() {
    let heic = |file: &str| {
        let what =
            format!("{file} is not used: the file is HEIC, which this program was built without.");
        Finding::refused("photo-heic", what, "Set the phone to JPEG.").in_photo(file)
    };
    let other = Finding::note("photo-twice", "x", "y");
    let mut findings = vec![other.clone(), heic("a.heic"), heic("b.heic"), heic("c.heic")];
    report_once(&mut findings);
    assert_eq!(findings.len(), 2);
    assert_eq!(
        findings[1].what,
        "a.heic and 2 more are not used: they are HEIC, which this program was built without."
    );
    assert!(findings[1].photo.is_none() && findings[0] == other);
    let mut lone = vec![heic("a.heic")];
    report_once(&mut lone);
    assert_eq!(lone, [heic("a.heic")]);
}
