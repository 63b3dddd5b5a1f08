//! Photographs of other things: a motorcycle, a facade that chessboard finders take for a board, a
//! circuit board, textures, landscapes (Debian package opencv-doc 4.6.0, PyPI wheel scikit-image
//! 0.26.0, repository recurser/exif-orientation-examples), and chessboards that are none of our
//! patterns.

use std::path::PathBuf;

use rayon::prelude::*;
use sightcord::photo::read_photo;
use sightcord::sightings::look;

use crate::outside::DATA;

/// All photos of a folder of the shared data, by name.
fn photos(folder: &str) -> Vec<PathBuf> {
    let entries =
        std::fs::read_dir(format!("{DATA}/{folder}")).expect("the folder of reference photos");
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("an entry").path()).collect();
    paths.retain(|path| path.extension().is_some_and(|e| e == "jpg" || e == "png"));
    paths.sort();
    paths
}

/// Chessboards show lattices of corners, and the circuit board has rows of pads that make one:
/// these may be noticed as such, yet must not be taken for a pattern.
fn shows_a_lattice(path: &std::path::Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    ["left", "right", "chessboard", "board"].iter().any(|start| name.starts_with(start))
}

#[test]
#[ignore = "needs ../shared"]
fn no_card_no_tab_and_no_line_is_seen_where_there_is_none() {
    let paths: Vec<PathBuf> =
        ["skimage", "opencv-doc", "exif/orientation"].into_iter().flat_map(photos).collect();
    for needed in [
        "motorcycle_left.png",
        "building.jpg",
        "board.jpg",
        "brick.png",
        "grass.png",
        "left01.jpg",
        "Landscape_0.jpg",
    ] {
        assert!(paths.iter().any(|path| path.ends_with(needed)), "{needed} is missing");
    }
    let looks: Vec<_> =
        paths.par_iter().map(|path| look(&read_photo(path).expect("a photo").luma)).collect();
    for (path, seen) in paths.iter().zip(&looks) {
        assert!(seen.patterns.is_empty(), "{path:?}: {:?}", seen.patterns);
        assert!(seen.mirrored.is_empty(), "{path:?}: {:?}", seen.mirrored);
        assert!(seen.lines.is_empty() && seen.lanes.is_empty(), "{path:?}");
        assert!(
            seen.unread_patches == 0 || shows_a_lattice(path),
            "{path:?}: {} lattices",
            seen.unread_patches
        );
    }
}
