//! A plumb line's images against projected truth, photo by photo: what is found, and how far off it
//! lies.

use std::path::Path;

use sightcord::scene::model::observe::Shown;
use sightcord::sightings::{PhotoSightings, StringKind};

use crate::common::measured::measured;
use crate::shared_truth::{TruthPhoto, TruthSet, robust};

/// Where a photo shows the line, from 60 to 700 mm above the bench: pixels at every 2 mm that lie
/// inside.
fn in_photo(photo: &TruthPhoto, x: f64, y: f64) -> Vec<[f64; 2]> {
    (30..350).filter_map(|i| photo.project([x, y, 2.0 * f64::from(i)])).collect()
}

/// Signed distances of a photo's points of a line from truth, px.
fn errors(seen: &PhotoSightings, kind: StringKind, truth: &[[f64; 2]]) -> Vec<f64> {
    let points = seen.lines.iter().filter(|line| line.kind == kind).flat_map(|line| &line.points);
    let error = |at: &[f64; 2], normal: &[f64; 2]| {
        let pairs = truth.windows(2);
        let near = pairs.min_by(|a, b| distance(&a[0], at).total_cmp(&distance(&b[0], at)))?;
        // The normal of the true line there, on the side of the point's own.
        let d = [near[1][0] - near[0][0], near[1][1] - near[0][1]];
        let n = [-d[1] / d[0].hypot(d[1]), d[0] / d[0].hypot(d[1])];
        let side = (n[0] * normal[0] + n[1] * normal[1]).signum();
        Some(side * ((at[0] - near[0][0]) * n[0] + (at[1] - near[0][1]) * n[1]))
    };
    points.filter_map(|point| error(&point.at, &point.normal)).collect()
}

fn distance(a: &[f64; 2], b: &[f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// A table for the eye: SETS=set,set names others than the first, a path too.
#[test]
#[ignore = "needs ../shared"]
fn images_of_plumb_lines_against_truth() {
    let names = std::env::var("SETS").unwrap_or_else(|_| "grass-track".to_owned());
    for name in names.split(',') {
        let set = TruthSet::load(name);
        let folder = Path::new("../shared/photos").join(name);
        let measured = measured(&folder);
        let solution = measured.solution.as_ref();
        println!("== {name}");
        for (idx, photo) in measured.photos.iter().enumerate() {
            let Some(truth) = set.photos.iter().find(|t| t.file == photo.file.id) else { continue };
            for &(letter, x, y) in &set.plumb {
                let line = in_photo(truth, x, y);
                let errors = errors(&photo.sightings, StringKind::Plumb(letter), &line);
                let (off, scatter) = robust(&errors);
                let flags: Vec<u8> = photo
                    .sightings
                    .patterns
                    .iter()
                    .map(|p| p.pattern.number())
                    .filter(|n| (21 + 2 * letter..23 + 2 * letter).contains(n))
                    .collect();
                let points = photo
                    .sightings
                    .lines
                    .iter()
                    .filter(|l| l.kind == StringKind::Plumb(letter))
                    .flat_map(|l| &l.points);
                let (sigma, width) = points.fold((0.0, 0.0), |_, p| (p.sigma, p.width));
                let block = solution.and_then(|s| {
                    s.view_of[idx].and_then(|v| {
                        s.blocks.iter().find(|b| {
                            b.view == v && matches!(b.shown, Shown::Line(l) if s.state.lines[l].kind == StringKind::Plumb(letter))
                        })
                    })
                });
                let used = block.map_or(0, |b| b.points.iter().filter(|p| p.used).count());
                println!(
                    "{:26} line {letter} in photo {:5.0} px, side {:>5}, flags {flags:?}: {} points, {used} used, off {off:6.3} scatter {scatter:5.3} sigma {sigma:.3} width {width:.2} (true {:.2}) noise {:.2}",
                    truth.file,
                    line.first().zip(line.last()).map_or(0.0, |(a, b)| distance(a, b)),
                    if truth.centre[1] > 0.0 { "left" } else { "right" },
                    errors.len(),
                    1.2 * truth.focal_px() / truth.distance([x, y, 300.0]),
                    block.map_or(f64::NAN, |b| b.noise),
                );
            }
        }
    }
}
