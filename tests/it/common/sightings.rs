//! What a perfect detector would hand over for a scene, with stated noise: sightings without
//! pixels, in microseconds.

use std::f64::consts::FRAC_PI_2;

use sightcord::cards::Pattern;
use sightcord::sightings::{
    CornerSighting, LineSighting, PatternSighting, PhotoSightings, StrandPoint, StringKind,
};

use super::geometry::{Eye, Lens, V3};
use super::layout::PlacedPattern;
use super::random::Random;
use super::render::knobs::RollingShutter;
use super::render::trace::eye_at_row;
use super::scene::{Shows, TruthScene};

/// Noise and mischief of the detector.
#[derive(Clone, Debug, PartialEq)]
pub struct SightingKnobs {
    /// Standard deviation per axis of a corner whose cell is 16 px on its shorter side, px. It
    /// falls with the square root of the cell, as the window's radius does.
    pub corner_sigma_px: f64,
    /// What the sighting states as its standard deviation, over the true one.
    pub declared_ratio: f64,
    /// Standard deviation across the line of one strand point, px.
    pub strand_sigma_px: f64,
    /// Distance of strand points along cord and lines, mm.
    pub strand_step_mm: f64,
    /// Chance that a corner is grossly wrong, and by how much at most, px.
    pub outlier_rate: f64,
    pub outlier_px: f64,
    /// Chance that a single corner, a whole pattern, a single strand point is hidden.
    pub corner_drop_rate: f64,
    pub pattern_drop_rate: f64,
    pub strand_drop_rate: f64,
    /// Cells smaller than this are not read, px.
    pub min_cell_px: f64,
    /// Patterns tilted more than this are not read, degrees between normal and ray.
    pub max_tilt_deg: f64,
    /// How unsteady the hand is while rows are read out: standard deviation of its shift, mm, and
    /// turn, degrees, about each axis.
    pub hand: Option<[f64; 2]>,
    /// Tabs whose reflection the detector refuses in every photo that shows them.
    pub mirrored_tabs: Vec<u8>,
    /// Tabs with a second, false sighting in every photo that shows them (a reflection
    /// taken for the tab).
    pub ghost_tabs: Vec<u8>,
}

impl Default for SightingKnobs {
    /// The noise of a good corner fit on an 8-megapixel photo, nothing hidden, nothing false.
    fn default() -> Self {
        Self {
            corner_sigma_px: 0.026,
            declared_ratio: 1.0,
            strand_sigma_px: 0.06,
            strand_step_mm: 8.0,
            outlier_rate: 0.0,
            outlier_px: 4.0,
            corner_drop_rate: 0.0,
            pattern_drop_rate: 0.0,
            strand_drop_rate: 0.0,
            min_cell_px: 6.0,
            max_tilt_deg: 72.0,
            hand: None,
            mirrored_tabs: Vec::new(),
            ghost_tabs: Vec::new(),
        }
    }
}

impl SightingKnobs {
    /// Exact projections, nothing hidden. The stated uncertainties stay those of the default.
    pub fn exact() -> Self {
        Self {
            corner_sigma_px: 0.026e-9,
            declared_ratio: 1e9,
            strand_sigma_px: 0.0,
            ..Self::default()
        }
    }

    /// A tenth of everything hidden, one corner in two hundred grossly wrong: an ordinary evening.
    pub fn ordinary() -> Self {
        let (corner_drop_rate, pattern_drop_rate, strand_drop_rate) = (0.05, 0.1, 0.1);
        Self {
            outlier_rate: 0.005,
            corner_drop_rate,
            pattern_drop_rate,
            strand_drop_rate,
            ..Self::default()
        }
    }
}

/// The sightings of one photo and what was true when it was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct SightedPhoto {
    pub setup_idx: usize,
    pub photo_idx: usize,
    /// Folder and file name.
    pub setup: String,
    pub file: String,
    /// The camera as it stood and as its lens was.
    pub eye: Eye,
    pub sightings: PhotoSightings,
}

impl TruthScene {
    /// Sightings of every photo, set-up by set-up.
    pub fn sightings(&self, knobs: &SightingKnobs) -> Vec<SightedPhoto> {
        self.photo_indices()
            .into_iter()
            .map(|(setup_idx, photo_idx)| self.sight(setup_idx, photo_idx, knobs))
            .collect()
    }

    /// Sightings of one photo.
    pub fn sight(&self, setup_idx: usize, photo_idx: usize, knobs: &SightingKnobs) -> SightedPhoto {
        let eye = self.eye(setup_idx, photo_idx);
        let mut random = Random::stream(self.seed, &[2, setup_idx as u64, photo_idx as u64]);
        let mut of_hand = Random::stream(self.seed, &[5, setup_idx as u64, photo_idx as u64]);
        let camera = Camera {
            eye,
            shutter: knobs.hand.map(|hand| RollingShutter::drawn(&mut of_hand, hand)),
        };
        let mut sightings = PhotoSightings { blur_px: 0.7, ..PhotoSightings::default() };
        for placed in self.patterns(setup_idx, photo_idx) {
            let hidden = random.chance(knobs.pattern_drop_rate);
            let Some(sighting) =
                see_pattern(&camera, &placed, knobs, &mut random).filter(|_| !hidden)
            else {
                continue;
            };
            if let Pattern::Tab(number) = sighting.pattern {
                if knobs.mirrored_tabs.contains(&number) {
                    sightings.mirrored.push(sighting.pattern);
                }
                if knobs.ghost_tabs.contains(&number) {
                    sightings.patterns.push(ghost(&sighting, &eye.lens));
                }
            }
            sightings.patterns.push(sighting);
        }
        sightings.patterns.sort_by_key(|sighting| sighting.pattern);
        self.see_lines(setup_idx, photo_idx, &camera, knobs, &mut random, &mut sightings);
        let setup = &self.setups[setup_idx];
        let file = setup.photos[photo_idx].file.clone();
        SightedPhoto { setup_idx, photo_idx, setup: setup.name.clone(), file, eye, sightings }
    }

    fn see_lines(
        &self,
        setup_idx: usize,
        photo_idx: usize,
        camera: &Camera,
        knobs: &SightingKnobs,
        random: &mut Random,
        sightings: &mut PhotoSightings,
    ) {
        let setup = self.setup_in_picture(setup_idx, photo_idx);
        if setup.shows == Shows::CardsOnly {
            return;
        }
        let mut add = |kind: StringKind,
                       axis: &dyn Fn(f64) -> V3,
                       length_mm: f64,
                       radius_mm: f64| {
            let steps = (length_mm / knobs.strand_step_mm).floor() as usize;
            let points: Vec<StrandPoint> = (1..steps)
                .filter(|_| !random.chance(knobs.strand_drop_rate))
                .collect::<Vec<_>>()
                .into_iter()
                .filter_map(|i| {
                    strand_point(camera, axis, i as f64 / steps as f64, radius_mm, knobs, random)
                })
                .collect();
            if points.len() >= 4 {
                sightings.lines.push(LineSighting { kind, points, light: None, own_width: None });
            }
        };
        let cord = &self.bench.cord;
        let length = cord.to_x_mm - cord.from_x_mm;
        let seen_at = |t: f64| {
            cord.at(setup, cord.from_x_mm + t * length)
                + V3::y() * (cord.seen_off_mm[0] * (1.0 - t) + cord.seen_off_mm[1] * t)
        };
        add(StringKind::Cord, &seen_at, length, cord.radius_mm);
        // A hanging line is found from its flags: both must be read in this photo.
        let seen: Vec<Pattern> = self.flags_seen(setup_idx, photo_idx, camera, knobs);
        let both = |first: u8| [first, first + 1].iter().all(|n| seen.contains(&Pattern::Tab(*n)));
        let frame = &self.bike.frame;
        for line in frame.plumb_lines.iter().filter(|line| both(21 + 2 * line.letter)) {
            let [upper, lower] = line.flags_mm;
            let at = |t: f64| line.at(upper + t * (lower - upper));
            add(
                StringKind::Plumb(line.letter),
                &between_flags(&at, upper - lower),
                upper - lower,
                line.radius_mm,
            );
        }
        if let Some(backbone) = frame.backbone.as_ref().filter(|_| both(29)) {
            let at = |t: f64| backbone.front + (backbone.rear - backbone.front) * t;
            let length = (backbone.rear - backbone.front).norm();
            add(StringKind::Backbone, &between_flags(&at, length), length, backbone.radius_mm);
        }
    }

    fn flags_seen(
        &self,
        setup_idx: usize,
        photo_idx: usize,
        camera: &Camera,
        knobs: &SightingKnobs,
    ) -> Vec<Pattern> {
        let mut unused = Random::new(0);
        let all_there = SightingKnobs { corner_drop_rate: 0.0, ..knobs.clone() };
        let flags = self.patterns(setup_idx, photo_idx).into_iter().filter(|placed| placed.is_flag);
        flags
            .filter_map(|flag| see_pattern(camera, &flag, &all_there, &mut unused))
            .map(|sighting| sighting.pattern)
            .collect()
    }
}

/// The part of a line that its two flags' papers leave free, as a path from 0 to 1.
fn between_flags<'a>(at: &'a dyn Fn(f64) -> V3, length_mm: f64) -> impl Fn(f64) -> V3 + 'a {
    // A flag's paper reaches 20 mm below its middle (card.md's outline, 20 mm pattern).
    let margin = 24.0 / length_mm;
    move |t| at(margin + t * (1.0 - 2.0 * margin))
}

/// The camera as it stood, and how it moved while its rows were read out.
struct Camera {
    eye: Eye,
    shutter: Option<RollingShutter>,
}

impl Camera {
    /// As it is when the row is read that shows a point of the world.
    fn when_seen(&self, p: V3) -> Eye {
        let mut eye = self.eye;
        for shutter in self.shutter.iter().cycle().take(3) {
            let Some([_, v]) = eye.project(p) else { break };
            eye = eye_at_row(&self.eye, shutter, v);
        }
        eye
    }
}

/// Whether and how a pattern is read in a photo.
fn see_pattern(
    camera: &Camera,
    placed: &PlacedPattern,
    knobs: &SightingKnobs,
    random: &mut Random,
) -> Option<PatternSighting> {
    let to_eye = camera.eye.centre - placed.pose.origin;
    if placed.pose.normal().dot(&to_eye) < to_eye.norm() * knobs.max_tilt_deg.to_radians().cos() {
        return None;
    }
    let pattern = placed.pattern;
    let mut corners = Vec::with_capacity((pattern.rows() - 1) * (pattern.cols() - 1));
    for (r, c) in pattern.corners() {
        let eye = camera.when_seen(placed.world(r as f64, c as f64));
        let rotation = eye.rotation * placed.pose.rotation;
        let p =
            rotation * placed.local(r as f64, c as f64) + eye.camera_from_world(placed.pose.origin);
        let Some(at) = eye.project_camera(p) else { continue };
        let cell_px = shorter_cell(&eye.lens, &rotation, p, placed.pitch_mm);
        if cell_px < knobs.min_cell_px
            || !eye.lens.contains(at, 0.5 * cell_px + 2.0)
            || random.chance(knobs.corner_drop_rate)
        {
            continue;
        }
        let sigma = knobs.corner_sigma_px * (16.0 / cell_px).sqrt();
        let mut noisy = [at[0] + random.gauss(sigma), at[1] + random.gauss(sigma)];
        if random.chance(knobs.outlier_rate) {
            noisy = noisy.map(|w| w + random.between(-knobs.outlier_px, knobs.outlier_px));
        }
        let variance = (sigma * knobs.declared_ratio).powi(2);
        corners.push(CornerSighting {
            row: r as u8,
            col: c as u8,
            at: noisy,
            cov: [variance, 0.0, variance],
            cell_px,
        });
    }
    // A patch of 4 x 4 corners is the least that a 5 x 5 window of dots can be read from; a tab may
    // lack a quarter of its own.
    let least = if matches!(pattern, Pattern::Card(_)) { 16 } else { 12 };
    let read_cells = (corners.len() as u32).min((pattern.rows() * pattern.cols()) as u32);
    let whole = corners.len() >= least;
    whole.then_some(PatternSighting {
        pattern,
        corners,
        wrong_dots: 0,
        read_cells,
        margin: read_cells / 2,
    })
}

/// Length of the shorter projected side of a cell, px, lens distortion left aside.
fn shorter_cell(lens: &Lens, rotation: &super::geometry::M3, p: V3, pitch_mm: [f64; 2]) -> f64 {
    let side = |axis: usize| {
        let d = rotation.column(axis) * pitch_mm[axis];
        let (du, dv) =
            ((d.x - p.x / p.z * d.z) / p.z * lens.fx, (d.y - p.y / p.z * d.z) / p.z * lens.fy);
        du.hypot(dv)
    };
    side(0).min(side(1))
}

/// The mid-point of a strand's two edges where its axis passes `t` (0 to 1), as the picture shows
/// it.
fn strand_point(
    camera: &Camera,
    axis: &dyn Fn(f64) -> V3,
    t: f64,
    radius_mm: f64,
    knobs: &SightingKnobs,
    random: &mut Random,
) -> Option<StrandPoint> {
    let p = axis(t);
    let eye = &camera.when_seen(p);
    let along = (axis(t + 1e-4) - axis(t - 1e-4)).normalize();
    let [first, second] = strand_edges(eye, p, along, radius_mm).map(|edge| eye.project(edge));
    let (first, second) = (first?, second?);
    let mid = [(first[0] + second[0]) / 2.0, (first[1] + second[1]) / 2.0];
    // The normal is square to the axis's own image: an oblique view shears the line between the two
    // edge points.
    let (a, b) = (eye.project(p - along)?, eye.project(p + along)?);
    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
    let normal = [-(b[1] - a[1]) / length, (b[0] - a[0]) / length];
    let width = ((second[0] - first[0]) * normal[0] + (second[1] - first[1]) * normal[1]).abs();
    // A line thinner than this can't be told from noise.
    if width < 0.8 || !eye.lens.contains(mid, 3.0) {
        return None;
    }
    let off = random.gauss(knobs.strand_sigma_px);
    let at = [mid[0] + off * normal[0], mid[1] + off * normal[1]];
    let sigma = if knobs.strand_sigma_px > 0.0 {
        knobs.strand_sigma_px * knobs.declared_ratio
    } else {
        0.06
    };
    Some(StrandPoint { at, normal, sigma, width })
}

/// The two points of a cylinder's surface, in the plane square to its axis at `p`, where the eye's
/// rays graze it.
pub fn strand_edges(eye: &Eye, p: V3, along: V3, radius_mm: f64) -> [V3; 2] {
    let to_eye = eye.centre - p;
    let square = to_eye - along * along.dot(&to_eye);
    let distance = square.norm();
    let towards = square / distance;
    let across = along.cross(&towards);
    // The tangent from outside touches nearer than the middle by the angle asin(radius / distance).
    let near = radius_mm * radius_mm / distance;
    let half = (radius_mm * radius_mm - near * near).sqrt();
    [p + towards * near + across * half, p + towards * near - across * half]
}

/// A tab's reflection taken for the tab: the same corners turned by a quarter about a place next to
/// it.
fn ghost(sighting: &PatternSighting, lens: &Lens) -> PatternSighting {
    let mut ghost = sighting.clone();
    let centre = sighting.corners[sighting.corners.len() / 2].at;
    let away = if centre[0] < lens.width as f64 / 2.0 { 140.0 } else { -140.0 };
    let (sin, cos) = FRAC_PI_2.sin_cos();
    for corner in &mut ghost.corners {
        let (du, dv) = (corner.at[0] - centre[0], corner.at[1] - centre[1]);
        corner.at = [centre[0] + away + du * cos - dv * sin, centre[1] + du * sin + dv * cos];
    }
    ghost
}
