//! How well the cord is found from the lanes of the shared photos, cameras and cards being known:
//! for each set-up, card and side the mean error of the mid-line, and what a straight line through
//! all of them is off by.
//!
//! `CORD_SETS=folder:folder` names other sets; `CORD_DETAILS=1` prints every group.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use nalgebra::{DMatrix, DVector, Matrix3, Vector2, Vector3};
use sightcord::camera::Lens;
use sightcord::math::Rigid;
use sightcord::scene::model::state::{Card, Ground, Sheet, State};
use sightcord::scene::model::view::View;
use sightcord::scene::strings::cord_choice::{LaneView, MidPoint, choose, mid_points, slope_along};
use sightcord::sightings::cord::find_lane_edges;
use sightcord::sightings::{CornerSighting, LaneEdges, PatternSighting};

use crate::shared_truth::TruthSet;

/// All sets that are looked at.
fn folders() -> Vec<PathBuf> {
    if let Ok(named) = std::env::var("CORD_SETS") {
        return named.split(':').map(PathBuf::from).collect();
    }
    let mut sets: Vec<PathBuf> = std::fs::read_dir("../shared/photos")
        .expect("the shared sets")
        .flatten()
        .map(|e| e.path())
        .collect();
    sets.sort();
    sets
}

struct Bench {
    state: State,
    lanes: Vec<LaneView>,
    /// World of the state from the truth's.
    world: Rigid,
    setups: Vec<String>,
}

/// Cameras and cards as they are, in a world that is turned and levelled a little wrongly, as a row
/// of cards does it.
fn bench(truth: &TruthSet) -> Bench {
    let matrix = |r: &[[f64; 3]; 3]| Matrix3::from_fn(|i, j| r[i][j]);
    // The world as the scene levels it: up is the mean of the cards' normals, x follows their row.
    let n = truth.cards.len() as f64;
    let up = truth
        .cards
        .iter()
        .map(|c| matrix(&c.r).column(2).into_owned())
        .sum::<Vector3<f64>>()
        .normalize();
    let middle = truth.cards.iter().map(|c| Vector3::from(c.t)).sum::<Vector3<f64>>() / n;
    let row = Vector3::from(truth.cards[truth.cards.len() - 1].t) - Vector3::from(truth.cards[0].t);
    let across = up.cross(&row).normalize();
    let r =
        Matrix3::from_rows(&[across.cross(&up).transpose(), across.transpose(), up.transpose()]);
    let world = Rigid::new(r, -(r * middle));
    let mut state = State { print: [1.0; 2], ..State::default() };
    for (i, card) in truth.cards.iter().enumerate() {
        // A bowed sheet touches the bench at its paper's ends, its pattern's ends lie higher.
        let part = (130.0f64 / 148.5).powi(2);
        state.sheets.push(Sheet {
            number: card.pattern.number(),
            scale: [0.0; 2],
            bow: [truth.bow * part, 0.0],
        });
        let lift =
            Vector3::new(card.r[0][2], card.r[1][2], card.r[2][2]) * (truth.bow * (1.0 - part));
        let pose = Rigid::new(matrix(&card.r), Vector3::from(card.t) + lift);
        state.cards.push(Card {
            sheet: i,
            world_from_card: world.then(&pose),
            ground: Ground::Bench,
            fixed: i == 0,
        });
    }
    let mut setups: Vec<String> =
        truth.photos.iter().map(|p| p.file.split('/').next().unwrap().to_owned()).collect();
    setups.retain(|s| s != "0-camera");
    setups.sort();
    setups.dedup();
    let mut bench = Bench { state, lanes: Vec::new(), world, setups };
    let mut shown = Vec::new();
    for photo in &truth.photos {
        let Some(setup) = bench.setups.iter().position(|s| photo.file.starts_with(s.as_str()))
        else {
            continue;
        };
        let [k1, k2, p1, p2, k3] = photo.dist;
        let lens = Lens {
            fx: photo.f[0],
            fy: photo.f[1],
            cx: photo.c[0],
            cy: photo.c[1],
            k1,
            k2,
            p1,
            p2,
            k3,
        };
        bench.state.lenses.push(lens);
        let r = matrix(&photo.r);
        let from_truth = Rigid::new(r, -(r * Vector3::from(photo.centre)));
        let camera_from_world = from_truth.then(&bench.world.inverse());
        let lens = bench.state.lenses.len() - 1;
        bench.state.views.push(View::still(
            lens,
            setup,
            camera_from_world,
            [photo.width, photo.height].map(|side| side as usize),
        ));
        let mut patterns = Vec::new();
        for card in truth.cards.iter().filter(|card| photo.faces(card)) {
            let corner = |(row, col): (usize, usize)| {
                let lift = truth.bow
                    * (1.0
                        - (card.pattern.node(row as f64, col as f64)[0] * card.pitch / 148.5)
                            .powi(2));
                let node = card.node(row as f64, col as f64);
                let at = photo.project(std::array::from_fn(|i| node[i] + card.r[i][2] * lift))?;
                Some(CornerSighting {
                    row: row as u8,
                    col: col as u8,
                    at,
                    cov: [1e-4, 0.0, 1e-4],
                    cell_px: 10.0,
                })
            };
            let corners: Vec<CornerSighting> = card.pattern.corners().filter_map(corner).collect();
            patterns.push(PatternSighting {
                pattern: card.pattern,
                corners,
                wrong_dots: 0,
                read_cells: 300,
                margin: 50,
            });
        }
        let image = photo.image();
        shown.push(find_lane_edges(&image, &patterns));
    }
    let all: Vec<(usize, &LaneEdges)> =
        shown.iter().enumerate().flat_map(|(v, l)| l.iter().map(move |e| (v, e))).collect();
    let slope = slope_along(&bench.state, &all);
    let blur: f64 = std::env::var("CORD_BLUR").map_or(0.5, |b| b.parse().unwrap());
    for (view, lanes) in shown.iter().enumerate() {
        let lanes: Vec<LaneView> = lanes
            .iter()
            .filter_map(|edges| LaneView::new(&bench.state, view, edges, slope, blur))
            .collect();
        bench.lanes.extend(lanes);
    }
    bench
}

/// What a set's cord is off by.
struct Off {
    y: f64,
    yaw_deg: f64,
    sigma_y: f64,
    sigma_yaw: f64,
    n: usize,
}

/// The straight line through the points against the truth: y and z with slopes, weighed by the
/// points' own sigmas.
fn line_off(truth: &TruthSet, bench: &Bench, points: &[MidPoint], setup: usize) -> Option<Off> {
    let to_truth = bench.world.inverse();
    let mut normal = DMatrix::<f64>::zeros(4, 4);
    let mut right = DVector::<f64>::zeros(4);
    normal[(3, 3)] += 1.0 / 0.3f64.powi(2);
    let mut n = 0;
    for point in points.iter().filter(|p| p.setup == setup) {
        let view = &bench.state.views[point.view];
        let lens = bench.state.lens_of(view);
        let miss = |y: f64, z: f64, x: f64| -> Option<f64> {
            let at =
                bench.world.apply(&(Vector3::from(truth.cord_at(x)) + Vector3::new(0.0, y, z)));
            Some(point.normal.dot(&(point.at - lens.project(&view.camera_from_world.apply(&at))?)))
        };
        let (eye, ray) = view.ray(&lens, &point.at)?;
        let (eye, ray) = (to_truth.apply(&eye), to_truth.r * ray);
        let x = eye.x + (truth.cord_height - eye.z) / ray.z * ray.x;
        let here = miss(0.0, 0.0, x)?;
        let (dy, dz) = (miss(0.01, 0.0, x)?, miss(0.0, 0.01, x)?);
        let (dy, dz) = ((dy - here) / 0.01, (dz - here) / 0.01);
        let row = DVector::from_vec(vec![dy, dy * x / 500.0, dz, dz * x / 500.0]) / point.sigma_px;
        normal += &row * row.transpose();
        right -= &row * (here / point.sigma_px);
        n += 1;
    }
    let inverse = normal.try_inverse()?;
    let off = &inverse * right;
    let deg = (1.0f64 / 500.0).to_degrees();
    let (sigma_y, sigma_yaw) = (inverse[(0, 0)].sqrt(), inverse[(1, 1)].sqrt() * deg);
    Some(Off { y: off[0], yaw_deg: off[1] * deg, sigma_y, sigma_yaw, n })
}

#[test]
#[ignore = "needs ../shared"]
fn the_cord_of_every_shared_set_lies_where_it_is() {
    let details = std::env::var("CORD_DETAILS").is_ok();
    let mut all: Vec<Off> = Vec::new();
    for folder in folders() {
        let truth = TruthSet::of_folder(Path::new(&folder));
        let bench = bench(&truth);
        let ground = 0.0;
        let start = std::time::Instant::now();
        let Some(chosen) = choose(&bench.lanes, ground) else {
            println!("{:14} REFUSED ({} lanes)", truth.name, bench.lanes.len());
            continue;
        };
        let points = mid_points(&bench.lanes, &chosen);
        let took = start.elapsed().as_secs_f64();
        let mut groups: BTreeMap<(usize, u8, bool), Vec<(f64, f64, f64)>> = BTreeMap::new();
        for point in &points {
            let view = &bench.state.views[point.view];
            let lens = bench.state.lens_of(view);
            let Some((eye, ray)) = view.ray(&lens, &point.at) else { continue };
            let to_truth = bench.world.inverse();
            let (eye, ray) = (to_truth.apply(&eye), to_truth.r * ray);
            let x = eye.x + (truth.cord_height - eye.z) / ray.z * ray.x;
            let at = bench.world.apply(&Vector3::from(truth.cord_at(x)));
            let one = bench.world.apply(&(Vector3::from(truth.cord_at(x)) + Vector3::y()));
            let pixel = |p: &Vector3<f64>| {
                lens.project(&view.camera_from_world.apply(p)).unwrap_or(Vector2::zeros())
            };
            let off = point.normal.dot(&(point.at - pixel(&at)));
            let per_mm = point.normal.dot(&(pixel(&one) - pixel(&at)));
            let nearest = truth
                .cards
                .iter()
                .min_by(|a, b| (a.t[0] - x).abs().total_cmp(&(b.t[0] - x).abs()))
                .unwrap();
            groups.entry((point.setup, nearest.pattern.number(), eye.y > 0.0)).or_default().push((
                off,
                off / per_mm,
                point.sigma_px,
            ));
        }
        for setup in 0..bench.setups.len() {
            let Some(off) = line_off(&truth, &bench, &points, setup) else { continue };
            println!(
                "{:14} {setup} y {:+.3} ({:.3}) mm, yaw {:+.4} ({:.4}) deg, n {:3} of {:3}, r {:.2} for {:.2}, z {:.2} for {:.2}, {took:.2} s",
                truth.name,
                off.y,
                2.0 * off.sigma_y,
                off.yaw_deg,
                2.0 * off.sigma_yaw,
                off.n,
                bench.lanes.iter().filter(|l| l.setup == setup).count(),
                chosen.radius,
                truth.cord_radius,
                chosen.height(),
                truth.cord_height - 0.4
            );
            all.push(off);
        }
        for ((setup, card, left), offs) in groups.iter().filter(|_| details) {
            let n = offs.len() as f64;
            let mean = |of: &dyn Fn(&(f64, f64, f64)) -> f64| offs.iter().map(of).sum::<f64>() / n;
            println!(
                "    setup {setup} card {card:2} {}: n {n} mean {:+.2} px {:+.3} mm, sigma {:.2} px, each {:?}",
                if *left { "left " } else { "right" },
                mean(&|o| o.0),
                mean(&|o| o.1),
                mean(&|o| o.2),
                offs.iter().map(|o| (o.0 * 100.0).round() / 100.0).collect::<Vec<f64>>()
            );
        }
    }
    // Nearer than this the shared sets' cords are found without any bundle adjustment; named sets
    // are only looked at.
    if std::env::var("CORD_SETS").is_err() {
        assert!(
            all.iter().all(|off| off.y.abs() < 0.12 && off.yaw_deg.abs() < 0.02),
            "a cord lies elsewhere"
        );
    }
    let rms = |of: &dyn Fn(&Off) -> f64| {
        (all.iter().map(|o| of(o).powi(2)).sum::<f64>() / all.len().max(1) as f64).sqrt()
    };
    let within = |bound: f64| all.iter().filter(|o| o.y.abs() < bound).count();
    println!(
        "{} cords: rms y {:.3} mm, yaw {:.4} deg; |y| < 0.05: {}, < 0.1: {}, < 0.2: {}; rms ratio to U: {:.2}, {:.2}",
        all.len(),
        rms(&|o| o.y),
        rms(&|o| o.yaw_deg),
        within(0.05),
        within(0.1),
        within(0.2),
        rms(&|o| o.y / (2.0 * o.sigma_y)),
        rms(&|o| o.yaw_deg / (2.0 * o.sigma_yaw))
    );
}
