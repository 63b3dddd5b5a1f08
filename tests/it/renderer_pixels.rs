//! The renderer's pixels are where the geometry says, and its knobs do what their names say.

use crate::common;

use crate::common::geometry::{Eye, V3};
use crate::common::render::imaging::{Picture, linear_from_srgb};
use crate::common::render::trace::Light;
use crate::common::{
    PlacedPattern, Random, RenderKnobs, RollingShutter, Shows, SightingKnobs, TruthScene,
};
use sightcord::cards::Pattern;

/// Nothing stands about, no cord throws a shadow: a pixel's light is the print's alone.
fn bare() -> RenderKnobs {
    RenderKnobs { clutter: false, ..RenderKnobs::ideal() }
}

/// A scene of cards alone, seen by the camera photos; a bow and an odd print scale on every card.
fn cards_alone() -> TruthScene {
    let mut scene = TruthScene::default().with_camera_photos();
    scene.setups.truncate(1);
    scene.print.scale_error = [0.004, -0.003];
    scene.bench.cards.iter_mut().for_each(|card| card.bow_mm = [0.9, -0.6]);
    scene
}

fn green(light: &Light, u: usize, v: usize) -> f64 {
    f64::from(light.data[v * light.width + u][1])
}

/// Lattice coordinates (row, column) of a pixel on a flat pattern.
fn lattice_of(eye: &Eye, placed: &PlacedPattern, u: f64, v: f64) -> [f64; 2] {
    let rotation = placed.pose.rotation.transpose();
    let (origin, ray) = (rotation * (eye.centre - placed.pose.origin), rotation * eye.ray(u, v));
    let depth = -origin.z / ray.z;
    let (x, y) = (origin.x + depth * ray.x, origin.y + depth * ray.y);
    let (rows, cols) = (placed.pattern.rows() as f64, placed.pattern.cols() as f64);
    [rows / 2.0 - y / placed.pitch_mm[1], x / placed.pitch_mm[0] + cols / 2.0]
}

/// Where the boundary at column `c` crosses a picture row near row `r` of the pattern, by bisection
/// on its projection.
fn boundary_crossing(eye: &Eye, placed: &PlacedPattern, r: usize, c: usize, v: f64) -> Option<f64> {
    let at = |row: f64| eye.project(placed.world(row, c as f64));
    let (mut low, mut high) = (r as f64, r as f64 + 1.0);
    let rising = at(high)?[1] > at(low)?[1];
    for _ in 0..50 {
        let middle = (low + high) / 2.0;
        if (at(middle)?[1] > v) == rising { high = middle } else { low = middle }
    }
    let crossing = at((low + high) / 2.0)?;
    ((crossing[1] - v).abs() < 1e-6).then_some(crossing[0])
}

/// Errors of edge positions as a row of pixels shows them: from the outermost pixel of the one
/// tone, how much of the way to the other tone is covered.
fn edge_errors(scene: &TruthScene, photo_idx: usize) -> Vec<f64> {
    let eye = scene.eye(0, photo_idx);
    let light = scene.light(0, photo_idx, &bare());
    let mut errors = Vec::new();
    for placed in scene.patterns(0, photo_idx) {
        for r in (0..18).filter(|&r| !placed.pattern.is_lane(r)) {
            for c in 1..26 {
                let Some([_, v]) = eye.project(placed.world(r as f64 + 0.5, c as f64)) else {
                    continue;
                };
                let v = v.round();
                let Some(u) = boundary_crossing(&eye, &placed, r, c, v) else { continue };
                // As many pixels to each side as stay inside both cells and clear of their dots.
                let clear = |u: f64| {
                    [-0.5, 0.5].iter().all(|dv| {
                        let [row, col] = lattice_of(&eye, &placed, u, v + dv);
                        (row - r as f64 - 0.5).abs() < 0.47 && (col - c as f64).abs() < 0.26
                    })
                };
                let (first, last) = ((u - 4.0).round(), (u + 4.0).round());
                if !clear(first - 0.5) || !clear(last + 0.5) || first < 0.0 || v < 0.0 {
                    continue;
                }
                if last as usize >= light.width || v as usize >= light.height {
                    continue;
                }
                let row: Vec<f64> = (first as usize..=last as usize)
                    .map(|u| green(&light, u, v as usize))
                    .collect();
                let (a, b) = (row[0], row[row.len() - 1]);
                // An edge so aslant that it has not left the window's ends shows nothing here.
                if row[1] != a || row[row.len() - 2] != b {
                    continue;
                }
                let seen = first - 0.5 + row.iter().map(|x| (x - b) / (a - b)).sum::<f64>();
                errors.push(seen - u);
            }
        }
    }
    errors
}

#[test]
fn edges_of_the_print_are_right_to_three_thousandths_of_a_pixel() {
    let scene = cards_alone().at_scale(0.5);
    for photo_idx in [1, 2, 3] {
        let errors = edge_errors(&scene, photo_idx);
        let worst = errors.iter().fold(0.0f64, |worst, e| worst.max(e.abs()));
        let mean = errors.iter().sum::<f64>() / errors.len() as f64;
        println!(
            "photo {photo_idx}: {} edges, mean {mean:.5} px, worst {worst:.5} px",
            errors.len()
        );
        assert!(errors.len() > 50, "photo {photo_idx} shows too few edges that can be judged");
        assert!(worst < 0.003, "photo {photo_idx}: worst {worst} px");
        assert!(mean.abs() < 0.0003, "photo {photo_idx}: mean {mean} px");
    }
}

/// A camera squarely over a card, its rows along the print: sampling on a square grid would round
/// the edges here.
#[test]
fn edges_along_the_pixels_are_not_rounded_to_samples() {
    let mut scene = cards_alone().at_scale(0.5);
    scene.bench.cards.truncate(1);
    scene.bench.cards[0] = common::Card::lying(1, 0.3, 0.2, 0.0);
    let above = V3::new(0.0, 0.0, 400.0);
    // Looking straight down, the picture's top is forward: rows of pixels run across the card.
    // Turned by a quarter, along.
    let photo = |roll| common::Viewpoint::looking("down.jpg", above, V3::zeros(), roll);
    scene.setups[0].photos = vec![photo(90.0)];
    scene.lens.dist = [0.0; 5];
    let errors = edge_errors(&scene, 0);
    let worst = errors.iter().fold(0.0f64, |worst, e| worst.max(e.abs()));
    assert!(errors.len() > 100 && worst < 0.003, "{} edges, worst {worst} px", errors.len());
}

/// A pixel of a photo is the mean of the pixels of the same photo taken eight times finer: whatever
/// crosses it, corners, dots, strings before papers, shadows.
#[test]
fn a_pixel_is_the_mean_of_finer_pixels() {
    const FINER: usize = 8;
    let mut scene = TruthScene::full();
    let (setup_idx, photo_idx) = (0, 0);
    let knobs = RenderKnobs { clutter: false, ..RenderKnobs::ideal() };
    let whole = scene.lens.scaled(0.5);
    let eye = Eye::new(whole, scene.eye(0, photo_idx).rotation, scene.eye(0, photo_idx).centre);
    let places = scene.patterns(setup_idx, photo_idx);
    let on =
        |number: u8| places.iter().find(|p| p.pattern == Pattern::Tab(number)).unwrap().pose.origin;
    for (what, point) in [
        ("a card's field", places[1].world(4.0, 13.0)),
        ("a lane with cord and shadow", V3::new(330.0, 0.0, 2.6)),
        ("a rim tab", on(1)),
        ("a flag and its line", on(22)),
    ] {
        let [u, v] = eye.project(point).expect("in the picture");
        let (from, size) = ([u as usize - 24, v as usize - 20], [48, 40]);
        scene.lens = whole.cropped(from, size);
        let coarse = scene.light(setup_idx, photo_idx, &knobs);
        scene.lens = whole.cropped(from, size).scaled(FINER as f64);
        let fine = scene.light(setup_idx, photo_idx, &knobs);
        let (mut sum2, mut worst, mut n_mixed) = (0.0f64, 0.0f64, 0);
        for v in 0..coarse.height {
            for u in 0..coarse.width {
                let part = |i: usize| green(&fine, u * FINER + i % FINER, v * FINER + i / FINER);
                let parts: Vec<f64> = (0..FINER * FINER).map(part).collect();
                let mean = parts.iter().sum::<f64>() / parts.len() as f64;
                let range = parts.iter().fold(0.0f64, |m, p| m.max((p - mean).abs()));
                // As part of the step from ink to paper.
                let error = (green(&coarse, u, v) - mean) / 0.7;
                worst = worst.max(error.abs());
                if range > 0.05 {
                    sum2 += error * error;
                    n_mixed += 1;
                }
            }
        }
        let rms = (sum2 / f64::from(n_mixed)).sqrt();
        println!("{what}: {n_mixed} mixed pixels, rms {rms:.5}, worst {worst:.5}");
        assert!(n_mixed > 30, "{what}: nothing to compare");
        // Dots and ticks are sampled by 233 points, strings and corners by 610, edges not at all.
        assert!(rms < 0.003 && worst < 0.02, "{what}: rms {rms}, worst {worst}");
    }
}

/// A string before an even background: the centroid of its light lies midway between the two edges
/// that the eye's rays graze. Looked at sixteen times finer, since whole pixels round the centroid
/// of a line one pixel wide by up to 0.03 px.
#[test]
fn a_string_is_seen_midway_between_its_edges() {
    const FINER: usize = 16;
    let mut scene = TruthScene::full();
    let eye = scene.eye(0, 0);
    let plumb = scene.bike.frame.plumb_lines[0].clone();
    let whole = scene.lens;
    let mut errors = Vec::new();
    for step in 0..12 {
        let p = V3::new(plumb.x_mm, plumb.y_mm, plumb.flags_mm[1] + 40.0 + 20.3 * f64::from(step));
        let edges = common::sightings::strand_edges(&eye, p, V3::z(), plumb.radius_mm)
            .map(|edge| eye.project(edge).unwrap());
        let (u, v) = ((edges[0][0] + edges[1][0]) / 2.0, (edges[0][1] + edges[1][1]) / 2.0);
        // The line is nearly upright in the picture: carry its place over to the middle of the
        // pixel row.
        let (above, below) = (eye.project(p + V3::z()).unwrap(), eye.project(p - V3::z()).unwrap());
        let u = u + (v.round() - v) * (above[0] - below[0]) / (above[1] - below[1]);
        let from = [u.round() as usize - 8, v.round() as usize];
        scene.lens = whole.cropped(from, [17, 1]).scaled(FINER as f64);
        let light = scene.light(0, 0, &bare());
        let background = green(&light, 0, 0);
        let (mut mass, mut moment) = (0.0, 0.0);
        for (i, at) in (0..light.width * light.height).map(|i| (i, i % light.width)) {
            let value = green(&light, at, i / light.width) - background;
            mass += value;
            moment += value * ((at as f64 + 0.5) / FINER as f64 - 0.5 + from[0] as f64);
        }
        errors.push(moment / mass - u);
    }
    let worst = errors.iter().fold(0.0f64, |worst, e| worst.max(e.abs()));
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    println!("{} places, mean {mean:.5} px, worst {worst:.5} px", errors.len());
    assert!(worst < 0.003 && mean.abs() < 0.001, "worst {worst}, mean {mean}");
}

#[test]
fn sightings_and_pictures_share_one_geometry() {
    let scene = TruthScene::full().with_errors(&common::Budget::standard(), 3);
    for photo in scene.sightings(&SightingKnobs::exact()) {
        let placed = scene.patterns(photo.setup_idx, photo.photo_idx);
        for sighting in &photo.sightings.patterns {
            let pattern = placed
                .iter()
                .find(|p| p.pattern == sighting.pattern)
                .expect("a pattern of the scene");
            for corner in &sighting.corners {
                let p = pattern.world(f64::from(corner.row), f64::from(corner.col));
                let [u, v] = photo.eye.project(p).expect("in the picture");
                let apart = (u - corner.at[0]).hypot(v - corner.at[1]);
                assert!(apart < 1e-6, "{:?} {}: {apart} px", sighting.pattern, photo.file);
            }
        }
    }
}

#[test]
fn pictures_are_the_same_for_any_number_of_threads() {
    let scene = TruthScene::default().at_scale(0.15);
    let knobs = RenderKnobs { motion_px: [1.5, 0.5], ..RenderKnobs::default() };
    let with = |threads: usize| -> Picture {
        let pool =
            rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a thread pool");
        pool.install(|| scene.photograph(0, 1, &knobs))
    };
    assert!(with(1) == with(3));
}

/// An even sheet of paper that fills the picture: what noise and vignetting make of it.
fn of_even_paper(knobs: &RenderKnobs) -> Picture {
    let (width, height) = (160, 120);
    let light = Light { width, height, data: vec![[0.82; 3]; width * height] };
    common::render::imaging::develop(light, knobs, 5)
}

#[test]
fn noise_has_the_size_of_its_electrons() {
    let knobs = RenderKnobs {
        sharpen: 0.0,
        vignetting: 0.0,
        full_well: 2000.0,
        read_noise: 10.0,
        ..RenderKnobs::default()
    };
    let picture = of_even_paper(&knobs);
    let values: Vec<f64> =
        picture.data.iter().map(|c| f64::from(linear_from_srgb(f32::from(c[1]) / 255.0))).collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let sigma =
        (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64).sqrt();
    let expected =
        (knobs.exposure / knobs.full_well + (knobs.read_noise / knobs.full_well).powi(2)).sqrt();
    assert!((mean - knobs.exposure).abs() < 0.002, "{mean}");
    assert!((sigma / expected - 1.0).abs() < 0.03, "{sigma}, expected {expected}");
}

#[test]
fn vignetting_darkens_the_corners_and_not_the_middle() {
    let knobs = RenderKnobs { vignetting: 0.4, ..RenderKnobs::ideal() };
    let picture = of_even_paper(&knobs);
    let at = |u: usize, v: usize| {
        f64::from(linear_from_srgb(f32::from(picture.data[v * 160 + u][0]) / 255.0))
            / knobs.exposure
    };
    assert!((at(80, 60) - 1.0).abs() < 0.01, "middle {}", at(80, 60));
    assert!((at(0, 0) - 0.6).abs() < 0.02, "corner {}", at(0, 0));
}

/// Blur and smear move nothing: the centroid of a bright point stays, its spread is what the knob
/// says.
#[test]
fn blur_and_smear_leave_things_where_they_are() {
    let (width, height) = (41, 41);
    let mut light = Light { width, height, data: vec![[0.0; 3]; width * height] };
    light.data[20 * width + 20] = [0.5; 3];
    let knobs =
        RenderKnobs { blur_px: 1.3, motion_px: [6.0, 0.0], exposure: 0.82, ..RenderKnobs::ideal() };
    let picture = common::render::imaging::develop(light, &knobs, 1);
    let (mut mass, mut mean, mut spread) = (0.0, [0.0; 2], [0.0; 2]);
    for (i, colour) in picture.data.iter().enumerate() {
        let value = f64::from(linear_from_srgb(f32::from(colour[0]) / 255.0));
        let at = [(i % width) as f64 - 20.0, (i / width) as f64 - 20.0];
        mass += value;
        for axis in 0..2 {
            mean[axis] += value * at[axis];
            spread[axis] += value * at[axis] * at[axis];
        }
    }
    let sigma = spread.map(|s| (s / mass).sqrt());
    assert!(mean.iter().all(|m| (m / mass).abs() < 0.01), "{mean:?}");
    // A box of 6 px has a variance of 36 / 12.
    assert!(
        (sigma[0] - (1.69f64 + 3.0).sqrt()).abs() < 0.1 && (sigma[1] - 1.3).abs() < 0.06,
        "{sigma:?}"
    );
}

/// The camera moves to the right while the rows are read: what is read later stands further left.
#[test]
fn a_rolling_shutter_shears_the_picture() {
    let mut scene = cards_alone().at_scale(0.25);
    scene.lens.dist = [0.0; 5];
    let shutter = RollingShutter { shift_mm: [6.0, 0.0, 0.0], turn_deg: [0.0; 3] };
    let eye = scene.eye(0, 3);
    for (v, sign) in [(0.0, 1.0), (eye.lens.height as f64, -1.0)] {
        let moved = common::render::trace::eye_at_row(&eye, &shutter, v);
        let p = scene.bench.cards[2].pose.origin;
        let (still, moving) = (eye.project(p).unwrap(), moved.project(p).unwrap());
        assert!((moving[0] - still[0]) * sign > 1.0, "row {v}: {still:?} {moving:?}");
    }
    let still = scene.light(0, 3, &bare());
    let sheared = scene.light(0, 3, &RenderKnobs { rolling_shutter: Some(shutter), ..bare() });
    assert!(still.data != sheared.data);
}

#[test]
fn a_mirrored_tab_is_the_tab_seen_in_a_mirror() {
    let mut scene = TruthScene::default();
    scene.take_photos();
    let knobs = RenderKnobs { mirrored_tabs: vec![1], ..bare() };
    let placed = scene.patterns(0, 1).into_iter().find(|p| p.pattern == Pattern::Tab(1)).unwrap();
    let (eye, light) = (scene.eye(0, 1), scene.light(0, 1, &knobs));
    let side = placed.pitch_mm[0] * 5.0;
    let mut n_dots = 0;
    for row in 0..5 {
        for col in 0..5 {
            // The centre of a cell shows its dot: the opposite of its ground.
            let local = placed.local(row as f64 + 0.5, col as f64 + 0.5);
            let tone = |x: f64| {
                let [u, v] = eye.project(placed.pose.world(V3::new(x, local.y, 0.0))).unwrap();
                green(&light, u.round() as usize, v.round() as usize) > 0.25
            };
            let bright = placed.pattern.is_dark(row, col) == placed.pattern.has_dot(row, col);
            assert_eq!(tone(local.x), bright, "cell {row} {col}");
            assert_eq!(tone(1.7 * side - local.x), bright, "mirrored cell {row} {col}");
            n_dots += usize::from(placed.pattern.has_dot(row, col));
        }
    }
    assert!(n_dots > 3);
}

#[test]
fn a_job_folder_holds_what_a_person_would_bring() {
    let folder = tempfile::tempdir().unwrap();
    let mut scene = TruthScene::full().with_camera_photos().at_scale(0.1);
    scene.setups.iter_mut().for_each(|setup| setup.photos.truncate(1));
    scene.print.tab_side_mm.insert(29, 25.0);
    scene.write_job(folder.path(), &RenderKnobs::default()).unwrap();
    for setup in &scene.setups {
        let path = folder.path().join(&setup.name).join("01.jpg");
        let bytes = std::fs::read(&path).unwrap();
        let picture = image::load_from_memory(&bytes).unwrap();
        assert_eq!((picture.width(), picture.height()), (326, 245));
        let exif =
            exif::Reader::new().read_from_container(&mut std::io::Cursor::new(&bytes)).unwrap();
        let field = |tag| exif.get_field(tag, exif::In::PRIMARY).unwrap().value.get_uint(0);
        assert_eq!(field(exif::Tag::FocalLengthIn35mmFilm), Some(26));
        assert_eq!(field(exif::Tag::Orientation), Some(1));
        assert_eq!(field(exif::Tag::PixelXDimension), Some(326));
    }
    assert_eq!(scene.setups.iter().filter(|s| s.shows == Shows::CardsOnly).count(), 1);
    let job: toml::Table =
        std::fs::read_to_string(folder.path().join("job.toml")).unwrap().parse().unwrap();
    assert_eq!(job["bike"]["chain_side"].as_str(), Some("left"));
    assert_eq!(job["tab"][0]["side_mm"].as_float(), Some(25.0));
    let expected = std::fs::read_to_string(folder.path().join("expected.json")).unwrap();
    assert!(expected.contains("/wheel/yaw"));
}

#[test]
fn a_grey_job_without_exif_can_be_written() {
    let scene = TruthScene::default().at_scale(0.05);
    let knobs = RenderKnobs { colour: false, exif: false, ..RenderKnobs::default() };
    let bytes = scene.photograph(0, 0, &knobs).jpeg(&knobs, &scene.lens, 0);
    assert!(exif::Reader::new().read_from_container(&mut std::io::Cursor::new(&bytes)).is_err());
    let picture = image::load_from_memory(&bytes).unwrap();
    assert_eq!(picture.color(), image::ColorType::L8);
}

/// What the detector gets is what the JPEG's brightness says, to the rounding of 8 bits.
#[test]
fn linear_luminance_is_that_of_the_paper() {
    let knobs = RenderKnobs { vignetting: 0.0, ..RenderKnobs::ideal() };
    let image = of_even_paper(&knobs).linear();
    let mut random = Random::new(1);
    for _ in 0..20 {
        let (u, v) = ((random.uniform() * 160.0) as usize, (random.uniform() * 120.0) as usize);
        assert!((f64::from(image.at(u, v)) - knobs.exposure).abs() < 0.004, "{}", image.at(u, v));
    }
}

/// Not a check: full-size photos of the scenes for a person to look at, and the time each takes.
#[test]
#[ignore = "writes pictures to look at into target/tmp/rendered"]
fn pictures_to_look_at() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("rendered");
    let right = TruthScene::full().with_chain_on(sightcord::figure::Side::Right, 0.7);
    let shaken = RenderKnobs {
        motion_px: [5.0, 2.0],
        full_well: 800.0,
        mirrored_tabs: vec![1, 8],
        ..RenderKnobs::default()
    };
    for (name, scene, photos, knobs) in [
        ("left", TruthScene::full(), vec![0, 5, 8, 9, 10], RenderKnobs::default()),
        ("right", right, vec![1, 6, 11], RenderKnobs::default()),
        ("shaken", TruthScene::full(), vec![2], shaken),
        ("lens", TruthScene::default().with_camera_photos(), vec![1], RenderKnobs::default()),
    ] {
        for photo_idx in photos {
            let start = std::time::Instant::now();
            scene.write_photo(&folder.join(name), 0, photo_idx, &knobs).unwrap();
            println!("{name} {photo_idx}: {:.1} s", start.elapsed().as_secs_f64());
        }
    }
}
