//! Which folder a path lies in, however it is named.

use sightcord::disk::place::is_within;

#[test]
fn a_path_is_within_a_folder_also_where_it_is_not_there_yet() {
    let folder = tempfile::tempdir().unwrap();
    let inner = folder.path().join("inner");
    std::fs::create_dir(&inner).unwrap();
    assert!(is_within(&inner, folder.path()) && is_within(folder.path(), folder.path()));
    assert!(is_within(&inner.join("new/report"), &inner));
    assert!(!is_within(folder.path(), &inner) && !is_within(&folder.path().join("inner2"), &inner));
    assert!(!is_within(&inner, &folder.path().join("nowhere")));
}

#[cfg(unix)]
#[test]
fn links_lead_to_where_they_lead() {
    let folder = tempfile::tempdir().unwrap();
    let (real, link) = (folder.path().join("real"), folder.path().join("link"));
    std::fs::create_dir(&real).unwrap();
    std::os::unix::fs::symlink(&real, &link).unwrap();
    assert!(is_within(&link.join("new"), &real) && is_within(&real, &link));
}
