//! The shared photos with their truth: projections of corners and lines, and the photos as linear
//! luminance.
//!
//! The truth's camera is x_cam = R (X - C) with the lens model of the conventions page; the bench
//! frame is x forward, y left, z up, mm.
#![allow(dead_code)]

pub mod eye;

use std::path::{Path, PathBuf};

use serde_json::Value;
use sightcord::cards::Pattern;
use sightcord::photo::LinearImage;

pub type Vec3 = [f64; 3];

/// The three sets and the folder that holds them.
pub const SETS: [&str; 3] = ["grass-track", "no-plumb", "swing-arm"];

pub struct TruthSet {
    pub name: String,
    pub photos: Vec<TruthPhoto>,
    pub cards: Vec<TruthPose>,
    pub cord_radius: f64,
    pub cord_height: f64,
    /// The bench's roll and pitch, degrees, with which the cord's ends rise and fall, and where
    /// the cord lies in each set-up's plan.
    tilt: [f64; 2],
    /// Height of the cards' middles over their ends, mm.
    pub bow: f64,
    /// (line 0 to 3, x, y).
    pub plumb: Vec<(u8, f64, f64)>,
    tabs: Value,
}

#[derive(Clone)]
pub struct TruthPose {
    pub pattern: Pattern,
    pub pitch: f64,
    pub r: [Vec3; 3],
    pub t: Vec3,
}

pub struct TruthPhoto {
    pub file: String,
    pub path: PathBuf,
    pub width: f64,
    pub height: f64,
    pub f: [f64; 2],
    pub c: [f64; 2],
    pub dist: [f64; 5],
    pub r: [Vec3; 3],
    pub centre: Vec3,
}

fn numbers<const N: usize>(value: &Value) -> [f64; N] {
    std::array::from_fn(|i| value[i].as_f64().unwrap_or(0.0))
}

fn matrix(value: &Value) -> [Vec3; 3] {
    std::array::from_fn(|i| numbers(&value[i]))
}

pub fn dot(a: Vec3, b: Vec3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

impl TruthSet {
    pub fn load(name: &str) -> Self {
        Self::of_folder(&Path::new("../shared/photos").join(name))
    }

    /// A set with its truth, wherever it lies.
    pub fn of_folder(folder: &Path) -> Self {
        let text = std::fs::read_to_string(folder.join("truth.json"))
            .expect("truth.json of the shared set");
        let truth: Value = serde_json::from_str(&text).expect("valid JSON");
        let photos = truth["photos"]
            .as_array()
            .unwrap()
            .iter()
            .map(|photo| TruthPhoto::new(folder, photo))
            .collect();
        let cards =
            truth["cards"].as_array().unwrap().iter().map(|card| pose(card, false)).collect();
        let params = &truth["truth"]["params"];
        let mut plumb = Vec::new();
        if params["plumb"] == Value::Bool(true) {
            plumb.push((
                0,
                params["plumb_x"].as_f64().unwrap(),
                params["plumb_y"].as_f64().unwrap(),
            ));
        }
        if let (Some(x), Some(y)) = (params["plumb_b_x"].as_f64(), params["plumb_b_y"].as_f64()) {
            plumb.push((1, x, y));
        }
        Self {
            name: folder.file_name().unwrap_or_default().to_string_lossy().into_owned(),
            photos,
            cards,
            cord_radius: params["cord_r"].as_f64().unwrap(),
            cord_height: params["cord_z"].as_f64().unwrap(),
            tilt: ["bench_roll", "bench_pitch"]
                .map(|key| params[key].as_f64().unwrap_or(0.0).to_radians()),
            bow: params["card_bow"].as_f64().unwrap_or(0.0),
            plumb,
            tabs: truth["tabs"].clone(),
        }
    }

    /// The cord's axis over x: it runs along x, and rises with the bench.
    pub fn cord_at(&self, x: f64) -> Vec3 {
        let [roll, pitch] = self.tilt;
        [x, 0.0, roll.cos() * (self.cord_height * pitch.cos() - x * pitch.sin())]
    }

    /// The tabs of the set-up to which a photo belongs.
    pub fn tabs(&self, photo: &TruthPhoto) -> Vec<TruthPose> {
        let setup = photo.file.split('/').next().unwrap();
        self.tabs[setup]
            .as_array()
            .map(|tabs| tabs.iter().map(|tab| pose(tab, true)).collect())
            .unwrap_or_default()
    }
}

fn pose(value: &Value, is_tab: bool) -> TruthPose {
    let number = value["id"].as_u64().unwrap() as usize;
    let pattern = if is_tab { Pattern::tab(number) } else { Pattern::card(number) }.unwrap();
    let pitch = value["size"].as_f64().map_or(pattern.pitch_mm(), |size| size / 5.0);
    TruthPose { pattern, pitch, r: matrix(&value["R"]), t: numbers(&value["t"]) }
}

impl TruthPose {
    /// World position of lattice node (r, c), which may be fractions.
    pub fn node(&self, r: f64, c: f64) -> Vec3 {
        let [x, y] = self.pattern.node(r, c);
        let at = [x * self.pitch, y * self.pitch, 0.0];
        std::array::from_fn(|i| dot(self.r[i], at) + self.t[i])
    }
}

impl TruthPhoto {
    fn new(folder: &Path, photo: &Value) -> Self {
        let file = photo["file"].as_str().unwrap().to_owned();
        let camera = &photo["camera"];
        let number = |key: &str| camera[key].as_f64().unwrap();
        Self {
            path: folder.join(&file),
            file,
            width: number("W"),
            height: number("H"),
            f: [number("fx"), number("fy")],
            c: [number("cx"), number("cy")],
            dist: numbers(&camera["dist"]),
            r: matrix(&photo["R"]),
            centre: numbers(&photo["C"]),
        }
    }

    /// Pixel of a world point; None behind the camera or outside the photo.
    pub fn project(&self, at: Vec3) -> Option<[f64; 2]> {
        let from = [at[0] - self.centre[0], at[1] - self.centre[1], at[2] - self.centre[2]];
        let [x, y, z] = [dot(self.r[0], from), dot(self.r[1], from), dot(self.r[2], from)];
        if z <= 1.0 {
            return None;
        }
        let (x, y) = (x / z, y / z);
        let [k1, k2, p1, p2, k3] = self.dist;
        let r2 = x * x + y * y;
        // Far outside the field of view the lens polynomial turns back on itself.
        if r2 > 1.0 {
            return None;
        }
        let g = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        let u = self.f[0] * (x * g + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x)) + self.c[0];
        let v = self.f[1] * (y * g + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y) + self.c[1];
        let inside = u >= 0.0 && v >= 0.0 && u <= self.width - 1.0 && v <= self.height - 1.0;
        inside.then_some([u, v])
    }

    /// Whether a pattern shows its printed side.
    pub fn faces(&self, pose: &TruthPose) -> bool {
        let normal = [pose.r[0][2], pose.r[1][2], pose.r[2][2]];
        let to_camera =
            [self.centre[0] - pose.t[0], self.centre[1] - pose.t[1], self.centre[2] - pose.t[2]];
        dot(normal, to_camera) > 0.0
    }

    /// Distance of the camera from a world point, mm.
    pub fn distance(&self, at: Vec3) -> f64 {
        (at[0] - self.centre[0]).hypot(at[1] - self.centre[1]).hypot(at[2] - self.centre[2])
    }

    pub fn focal_px(&self) -> f64 {
        self.f[0]
    }

    /// The photo as linear luminance: the JPEG's own luma through the sRGB curve.
    pub fn image(&self) -> LinearImage {
        let bytes = std::fs::read(&self.path).expect("a shared photo");
        let options = zune_core::options::DecoderOptions::default()
            .jpeg_set_out_colorspace(zune_core::colorspace::ColorSpace::Luma);
        let mut decoder = zune_jpeg::JpegDecoder::new_with_options(
            zune_core::bytestream::ZCursor::new(bytes),
            options,
        );
        let luma = decoder.decode().expect("a JPEG file");
        let info = decoder.info().unwrap();
        let linear = |code: u8| {
            let c = f32::from(code) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        let table: Vec<f32> = (0..=255).map(linear).collect();
        LinearImage::new(
            info.width as usize,
            info.height as usize,
            luma.iter().map(|&code| table[code as usize]).collect(),
        )
    }
}

/// Small, reproducible random numbers for tests: uniform in [0, 1) and standard normal.
pub struct Dice(pub u64);

impl Dice {
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        let (a, b) = (self.uniform(), self.uniform());
        (-2.0 * (1.0 - a).ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}

pub fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Median and robust standard deviation (1.4826 times the median absolute deviation).
pub fn robust(values: &[f64]) -> (f64, f64) {
    let centre = median(&mut values.to_vec());
    let mut off: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    (centre, 1.4826 * median(&mut off))
}
