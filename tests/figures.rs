//! From exact and noisy sightings, without pixels, to figures: the scene and bench stages against known truth.

mod common;

use common::{Budget, SightingKnobs, TruthScene};
use sightcord::bench::from_job::{bench_settings, scene_settings};
use sightcord::bench::{self, Figures};
use sightcord::job::Job;
use sightcord::scene::{self, ScenePhoto, Solution};

fn photos(scene: &TruthScene, knobs: &SightingKnobs) -> (Vec<ScenePhoto>, Vec<String>, Vec<bool>) {
    let setups: Vec<String> = scene.setups.iter().map(|s| s.name.clone()).collect();
    let lens_only: Vec<bool> = setups.iter().map(|name| name == "0-camera").collect();
    let photos = scene
        .sightings(knobs)
        .into_iter()
        .map(|seen| ScenePhoto {
            file: format!("{}/{}", seen.setup, seen.file),
            setup: seen.setup_idx,
            lens_only: lens_only[seen.setup_idx],
            width: seen.eye.lens.width,
            height: seen.eye.lens.height,
            camera: "one".to_owned(),
            start_focal: Some(seen.eye.lens.fx * 1.03),
            sightings: seen.sightings,
        })
        .collect();
    (photos, setups, lens_only)
}

fn measured(scene: &TruthScene, knobs: &SightingKnobs, job: &Job) -> (Solution, Figures) {
    let (photos, setups, lens_only) = photos(scene, knobs);
    let solution = scene::solve(&photos, &scene_settings(job, &setups)).expect("a scene");
    let figures = bench::measure(&solution, &bench_settings(job, &setups, &lens_only));
    (solution, figures)
}

#[test]
fn exact_sightings_give_the_true_figures() {
    let scene = TruthScene::full();
    let started = std::time::Instant::now();
    let (solution, figures) = measured(&scene, &SightingKnobs::exact(), &Job::default());
    println!("{:?} {} unknowns", started.elapsed(), solution.slots.n);
    for f in &figures.findings {
        println!("{} {:?} {}", f.id, f.field, f.what);
    }
    let told: std::collections::BTreeMap<_, _> = figures.correlation.fields.iter().cloned().zip(0..).collect();
    let json = figures_json(&figures);
    for (pointer, truth) in scene.expected() {
        let value = told.get(&pointer).map(|_| json.get(&pointer).copied()).flatten();
        println!("{pointer:45} {truth:10.4} {:?}", value);
    }
    let _ = Budget::none();
}

fn figures_json(figures: &Figures) -> std::collections::BTreeMap<String, (f64, f64)> {
    let mut out = std::collections::BTreeMap::new();
    for rim in &figures.rim {
        if let Some(m) = rim.offset {
            out.insert(format!("/rim/{}/offset", rim.id), (m.value, m.u));
        }
    }
    let mut put = |p: &str, m: Option<sightcord::measurement::Measurement>| {
        if let Some(m) = m {
            out.insert(p.to_owned(), (m.value, m.u));
        }
    };
    put("/wheel/offset", figures.wheel.offset);
    put("/wheel/offset_at_mark", figures.wheel.offset_at_mark);
    put("/wheel/yaw", figures.wheel.yaw);
    put("/wheel/lean", figures.wheel.lean);
    put("/wheel/yaw_from_offsets", figures.wheel.yaw_from_offsets);
    put("/chain/centres", figures.chain.centres);
    put("/chain/offset_at_gearbox", figures.chain.offset_at_gearbox);
    put("/chain/offset_at_rear", figures.chain.offset_at_rear);
    put("/chain/yaw", figures.chain.yaw);
    put("/chain/lean", figures.chain.lean);
    put("/chain/rear_lean", figures.chain.rear_lean);
    put("/chain/gearbox_lean", figures.chain.gearbox_lean);
    put("/spindle/height_difference", figures.spindle.height_difference);
    put("/spindle/left", figures.spindle.left);
    put("/spindle/right", figures.spindle.right);
    put("/runout/lateral", figures.runout.lateral);
    put("/hub/rim_from_face", figures.hub.rim_from_face);
    put("/frame/offset", figures.frame.offset);
    put("/frame/yaw", figures.frame.yaw);
    put("/backbone/front", figures.backbone.front);
    put("/backbone/rear", figures.backbone.rear);
    put("/backbone/yaw", figures.backbone.yaw);
    put("/bench/level_along", figures.bench.level_along);
    put("/bench/level_across", figures.bench.level_across);
    put("/bench/flatness", figures.bench.flatness);
    put("/bench/cord_moved", figures.bench.cord_moved);
    put("/bench/cord_straightness", figures.bench.cord_straightness);
    for p in &figures.plumb {
        put(&format!("/plumb/{}/offset", p.line), p.offset);
    }
    for s in &figures.stations {
        put(&format!("/stations/{}/offset", s.station), s.offset);
        put(&format!("/stations/{}/height_difference", s.station), s.height_difference);
    }
    for f in &figures.faces {
        put(&format!("/faces/{}/offset", f.name), f.offset);
        put(&format!("/faces/{}/yaw", f.name), f.yaw);
        put(&format!("/faces/{}/lean", f.name), f.lean);
    }
    for (k, m) in &figures.rim_width {
        put(&format!("/rim_width/{k}"), *m);
    }
    out
}
