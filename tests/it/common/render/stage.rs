//! The scene as surfaces: first what carries truth, then what stands about.

use sightcord::cards::Pattern;
use sightcord::figure::Side;

use super::super::geometry::{M3, Pose, V3};
use super::super::layout::PlacedPattern;
use super::super::scene::{SetUp, Shows, TruthScene};
use super::knobs::RenderKnobs;
use super::paint::{Rgb, Texture};
use super::print::Print;
use super::surface::{Lit, Outline, Paint, Shade, Shadow, Shape, Surface, Twist};

const STEEL: Rgb = [0.33, 0.33, 0.35];
const ENAMEL: Rgb = [0.05, 0.07, 0.14];
const WOOD: Rgb = [0.42, 0.30, 0.18];

/// All surfaces of one photo.
pub fn surfaces(
    scene: &TruthScene,
    setup_idx: usize,
    photo_idx: usize,
    knobs: &RenderKnobs,
) -> Vec<Surface> {
    let setup = scene.setup_in_picture(setup_idx, photo_idx);
    let with_bike = setup.shows == Shows::Bike;
    let mut stage = Stage { scene, setup, surfaces: Vec::new() };
    for placed in scene.patterns(setup_idx, photo_idx) {
        stage.print(&placed, false);
        if matches!(placed.pattern, Pattern::Tab(number) if knobs.mirrored_tabs.contains(&number)) {
            stage.reflection(&placed);
        }
    }
    stage.bench();
    if with_bike {
        stage.strings();
    }
    if knobs.clutter {
        stage.room();
        if with_bike {
            stage.wheel();
            stage.chain();
            stage.frame();
        }
    }
    stage.surfaces
}

fn rgb(colour: [f64; 3]) -> Rgb {
    colour.map(|c| c as f32)
}

struct Stage<'a> {
    scene: &'a TruthScene,
    setup: &'a SetUp,
    surfaces: Vec<Surface>,
}

impl Stage<'_> {
    fn to_light(&self) -> V3 {
        V3::from(self.scene.look.to_light).normalize()
    }

    fn light_on(&self, normal: V3) -> f32 {
        let ambient = self.scene.look.ambient;
        (ambient + (1.0 - ambient) * normal.dot(&self.to_light()).max(0.0)) as f32
    }

    /// The large shade as it falls on a sheet.
    fn shade(&self, pose: &Pose) -> Option<Shade> {
        let edge = self.scene.look.shade?;
        let across =
            V3::new(edge.turn_deg.to_radians().cos(), edge.turn_deg.to_radians().sin(), 0.0);
        // Slid along the light down to the bench.
        let light = self.to_light();
        let flat = across - V3::z() * (across.dot(&light) / light.z.max(0.2));
        let local = pose.rotation.transpose() * flat;
        Some(Shade {
            constant: pose.origin.dot(&flat) - edge.at_mm,
            per_mm: [local.x, local.y, local.z],
            soft_mm: edge.soft_mm,
            left: edge.left,
        })
    }

    fn print(&mut self, placed: &PlacedPattern, mirrored: bool) {
        let pattern = placed.pattern;
        let half_mm = [
            placed.pitch_mm[0] * pattern.cols() as f64 / 2.0,
            placed.pitch_mm[1] * pattern.rows() as f64 / 2.0,
        ];
        let is_card = matches!(pattern, Pattern::Card(_));
        self.surfaces.push(Surface {
            shape: Shape::Sheet { pose: placed.pose, bow_mm: placed.bow_mm, half_mm },
            paint: Paint::Print(Print::new(placed, mirrored)),
            light: self.light_on(placed.pose.normal()),
            exact: true,
            shadow: if is_card { self.cord_shadow(&placed.pose) } else { None },
            shade: self.shade(&placed.pose),
        });
    }

    /// The tab's mirror image in a flat piece of chrome next to it, a little darker.
    fn reflection(&mut self, placed: &PlacedPattern) {
        let side = placed.pitch_mm[0] * 5.0;
        let beside = PlacedPattern {
            pose: placed.pose.nudged(V3::new(1.7 * side, 0.0, 0.0), [0.0, 0.0]),
            ..*placed
        };
        self.print(&beside, true);
        if let Some(image) = self.surfaces.last_mut() {
            image.light *= 0.8;
        }
    }

    fn flat(&mut self, pose: Pose, outline: Outline, colour: Rgb, texture: Texture) {
        self.surfaces.push(Surface {
            shape: Shape::Sheet { pose, bow_mm: [0.0, 0.0], half_mm: [1.0, 1.0] },
            paint: Paint::Plain { outline, colour, texture },
            light: self.light_on(pose.normal()),
            exact: false,
            shadow: None,
            shade: self.shade(&pose),
        });
    }

    fn bar(&mut self, from: V3, to: V3, radius_mm: f64, colour: Rgb, exact: bool) {
        self.twisted(from, to, radius_mm, colour, exact, None);
    }

    fn twisted(
        &mut self,
        from: V3,
        to: V3,
        radius_mm: f64,
        colour: Rgb,
        exact: bool,
        twist: Option<Twist>,
    ) {
        let along = (to - from).normalize();
        let lit = self
            .scene
            .look
            .round_bars
            .then(|| Lit { to_light: self.to_light(), ambient: self.scene.look.ambient });
        // Bars look up to the light with the part of them that can.
        let up = V3::z() - along * along.z;
        let light = self.light_on(if up.norm() > 0.1 { up.normalize() } else { V3::x() });
        self.surfaces.push(Surface {
            shape: Shape::Tube { from, to, radius_mm },
            paint: Paint::Bar { colour, twist, lit },
            light: if lit.is_some() { 1.0 } else { light },
            exact,
            shadow: None,
            shade: None,
        });
    }

    /// The cord's shadow on a sheet: p lies in it where the ray from p to the light passes within a
    /// radius of the cord. The signed distance of that ray from the cord's axis is (p - a) . (l
    /// x m) / |l x m|.
    fn cord_shadow(&self, pose: &Pose) -> Option<Shadow> {
        if self.setup.shows == Shows::CardsOnly {
            return None;
        }
        let cord = &self.scene.bench.cord;
        let x = pose.origin.x.clamp(cord.from_x_mm, cord.to_x_mm);
        let (a, b) = (cord.at(self.setup, x), cord.at(self.setup, x + 1.0));
        let across = self.to_light().cross(&(b - a)).normalize();
        let local = pose.rotation.transpose() * across;
        Some(Shadow {
            constant: (pose.origin - a).dot(&across),
            per_mm: [local.x, local.y, local.z],
            radius_mm: cord.radius_mm,
            soft_mm: self.scene.look.shadow_soft_mm,
            left: self.scene.look.shadow_left,
        })
    }

    fn bench(&mut self) {
        // Wood under the lowest corner of any card.
        let corners = |placed: &PlacedPattern| {
            let (rows, cols) =
                (placed.pattern.rows() as f64 + 3.0, placed.pattern.cols() as f64 + 4.0);
            [[-3.0, -4.0], [-3.0, cols], [rows, -4.0], [rows, cols]]
                .map(|[r, c]| placed.world(r, c).z)
        };
        let lowest = self.scene.cards_in(self.setup).iter().flat_map(corners).fold(0.0, f64::min);
        let pose = Pose { rotation: M3::identity(), origin: V3::new(0.0, 0.0, lowest - 0.2) };
        let outline = Outline::Rectangle { from: [-760.0, -480.0], to: [1060.0, 480.0] };
        let look = &self.scene.look;
        let texture = Texture::Blotches {
            size_mm: look.grain_mm,
            depth: look.grain as f32,
            seed: self.scene.seed as u32,
        };
        self.flat(pose, outline, rgb(look.bench), texture);
        let shadow = self.cord_shadow(&pose);
        if let Some(bench) = self.surfaces.last_mut() {
            bench.shadow = shadow;
            bench.exact = true;
        }
    }

    /// Cord, plumb lines and backbone.
    fn strings(&mut self) {
        let cord = &self.scene.bench.cord;
        // A sagging cord in straight pieces: within a piece it sags by less than a thousandth of
        // the whole.
        let n = if cord.sag_mm == 0.0 { 1 } else { 32 };
        let at = |i: usize| {
            cord.at(
                self.setup,
                cord.from_x_mm + (cord.to_x_mm - cord.from_x_mm) * i as f64 / n as f64,
            )
        };
        for i in 0..n {
            let twist = self
                .scene
                .look
                .cord_twist
                .map(|(colour, pitch_mm)| Twist { colour: rgb(colour), pitch_mm });
            self.twisted(at(i), at(i + 1), cord.radius_mm, rgb(cord.colour), true, twist);
        }
        self.rider_feet();
        let frame = &self.scene.bike.frame;
        for line in &frame.plumb_lines {
            let [top, bob] = TruthScene::plumb_ends(line);
            self.bar(top, bob, line.radius_mm, rgb(self.scene.look.line), true);
            self.bar(bob, bob - V3::z() * 38.0, 10.0, [0.5, 0.33, 0.18], false);
        }
        if let Some(backbone) = &frame.backbone {
            let beyond = (backbone.front - backbone.rear).normalize() * 40.0;
            self.bar(
                backbone.front + beyond,
                backbone.rear - beyond,
                backbone.radius_mm,
                rgb(self.scene.look.line),
                true,
            );
        }
    }

    /// The paper of each rider round the cord: half a tube, and flanks up to where its seam begins.
    fn rider_feet(&mut self) {
        let paper: Rgb = [0.82, 0.82, 0.80];
        let setups: Vec<&SetUp> =
            self.scene.setups.iter().filter(|s| s.shows == Shows::Bike).collect();
        let later = setups.iter().position(|s| s.name == self.setup.name).unwrap_or(0);
        for rider in &self.scene.bench.riders {
            let (axis, along, up) = self.scene.rider_stance(self.setup, rider, later);
            let radius = self.scene.bench.cord.radius_mm + 0.1;
            let seam = 8.0 - rider.short_mm;
            self.bar(axis - along * 14.0, axis + along * 14.0, radius, paper, true);
            let touch = (radius / seam).acos();
            for way in [1.0, -1.0] {
                let left = up.cross(&along) * way;
                let outward = left * touch.sin() + up * touch.cos();
                let rise = up * touch.sin() - left * touch.cos();
                let from = axis + outward * radius;
                let pose = Pose {
                    rotation: M3::from_columns(&[rise.cross(&outward), rise, outward]),
                    origin: from,
                };
                let length = (seam * seam - radius * radius).sqrt();
                self.flat(
                    pose,
                    Outline::Rectangle { from: [-14.0, 0.0], to: [14.0, length] },
                    paper,
                    Texture::Flat,
                );
            }
        }
    }

    /// Floor and four walls of other colours, with blotches.
    fn room(&mut self) {
        let wall = |x: f64, y: f64, normal: V3| {
            let side = V3::z().cross(&normal);
            Pose {
                rotation: M3::from_columns(&[side, V3::z(), normal]),
                origin: V3::new(x, y, 600.0),
            }
        };
        let seed = self.scene.seed as u32;
        let outline = || Outline::Rectangle { from: [-3500.0, -1500.0], to: [3500.0, 2500.0] };
        let blotches = |seed| Texture::Blotches { size_mm: [160.0, 120.0], depth: 0.35, seed };
        for (i, (pose, colour)) in [
            (wall(0.0, 1750.0, -V3::y()), rgb(self.scene.look.walls[0])),
            (wall(0.0, -1750.0, V3::y()), rgb(self.scene.look.walls[1])),
            (wall(-1900.0, 0.0, V3::x()), rgb(self.scene.look.walls[2])),
            (wall(2400.0, 0.0, -V3::x()), rgb(self.scene.look.walls[3])),
        ]
        .into_iter()
        .enumerate()
        {
            self.flat(pose, outline(), colour, blotches(seed + 7 * i as u32));
        }
        let floor = Pose { rotation: M3::identity(), origin: V3::new(0.0, 0.0, -800.0) };
        self.flat(floor, outline(), [0.10, 0.10, 0.10], blotches(seed + 99));
    }

    /// A frame whose z is the wheel's axis, at an axial place.
    fn on_axis(centre: V3, axis: V3, axial_mm: f64) -> Pose {
        Pose { origin: centre + axis * axial_mm, ..Pose::on_face(centre, axis, 0.0) }
    }

    fn wheel(&mut self) {
        let wheel = &self.scene.bike.wheel;
        let stance = self.scene.wheel_in(self.setup);
        let (outer, inner) = (wheel.rim_radius_mm, wheel.rim_radius_mm - 26.0);
        // Just under the lowest tab: the tabs show what is true, the rim behind them is scenery.
        let half = wheel.rim_width_mm / 2.0 - wheel.runout_mm.abs() - 1.0;
        self.drum(stance.centre, stance.axis, half, outer, inner, STEEL);
        for spoke in 0..36 {
            let deg = 10.0 * f64::from(spoke);
            let side = if spoke % 2 == 0 { 24.0 } else { -24.0 };
            let lead = if spoke % 4 < 2 { 38.0 } else { -38.0 };
            let (hub, rim) = (stance.at(side, 28.0, deg + lead), stance.at(0.0, inner, deg));
            self.bar(hub, rim, 1.1, [0.5, 0.5, 0.5], false);
        }
        self.bar(
            stance.centre + stance.axis * 30.0,
            stance.centre - stance.axis * 30.0,
            26.0,
            STEEL,
            false,
        );
        if let Some(face) = &self.scene.bike.hub_face {
            let side = face.side.sign();
            let at = face.face_mm - 0.8;
            let (from, to) = (
                stance.centre + stance.axis * side * (at - 30.0),
                stance.centre + stance.axis * side * at,
            );
            self.bar(from, to, 82.0, STEEL, false);
            let pose = Self::on_axis(stance.centre, stance.axis * side, at);
            self.flat(pose, Outline::Ring { inner: 9.0, outer: 82.0 }, STEEL, Texture::Flat);
        }
        let [left, right] = wheel.spindle_ends_mm;
        let axis = wheel.axis();
        self.bar(
            wheel.centre + axis * (left - 0.6),
            wheel.centre + axis * (right + 0.6),
            9.0,
            STEEL,
            false,
        );
        for (axial, outward) in [(left - 0.6, axis), (right + 0.6, -axis)] {
            let pose = Self::on_axis(wheel.centre, outward, axial * outward.dot(&axis));
            self.flat(pose, Outline::Ring { inner: 0.0, outer: 13.0 }, STEEL, Texture::Flat);
        }
        if let Some(front) = &self.scene.bike.front_wheel {
            let stance = super::super::layout::WheelStance::new(
                front.centre,
                [front.yaw_deg, front.lean_deg],
                self.setup,
            );
            let outer = front.rim_radius_mm;
            self.drum(
                stance.centre,
                stance.axis,
                front.rim_width_mm / 2.0 - 0.6,
                outer,
                outer - 26.0,
                STEEL,
            );
        }
    }

    /// A rim: two rings, and the band round them inside and outside as facets.
    fn drum(&mut self, centre: V3, axis: V3, half_mm: f64, outer: f64, inner: f64, colour: Rgb) {
        let texture = Texture::Blotches { size_mm: [14.0, 14.0], depth: 0.08, seed: 3 };
        for side in [1.0, -1.0] {
            self.flat(
                Self::on_axis(centre, axis * side, half_mm),
                Outline::Ring { inner, outer },
                colour,
                texture,
            );
        }
        let frame = Self::on_axis(centre, axis, 0.0);
        let facets = 48;
        for i in 0..facets {
            let angle = std::f64::consts::TAU * f64::from(i) / f64::from(facets);
            let radial = frame.rotation * V3::new(angle.cos(), angle.sin(), 0.0);
            for (radius, outward) in [(outer, radial), (inner, -radial)] {
                let width = radius * (std::f64::consts::PI / f64::from(facets)).tan();
                let rotation = M3::from_columns(&[axis.cross(&outward), axis, outward]);
                let pose = Pose { rotation, origin: centre + radial * radius };
                self.flat(
                    pose,
                    Outline::Rectangle { from: [-width, -half_mm], to: [width, half_mm] },
                    colour,
                    texture,
                );
            }
        }
    }

    fn chain(&mut self) {
        let bike = &self.scene.bike;
        let side = bike.chain_side.sign();
        let stance = self.scene.wheel_in(self.setup);
        let outer = bike.rear_sprocket.radius_mm;
        let at = bike.rear_sprocket.face_mm - bike.rear_sprocket.wobble_mm.abs() - 0.6;
        let gear = |inner: f64, outer: f64| {
            // Half-inch pitch: as many teeth as the rim has room for.
            let teeth = (std::f64::consts::TAU * outer / 12.7).round();
            Outline::Gear { inner, outer, depth: 3.2, teeth }
        };
        // Turned with the wheel, so that the teeth do not stand still.
        let mut pose = Self::on_axis(stance.centre, stance.axis * side, at);
        pose.rotation *= super::super::geometry::turn(V3::z(), -side * self.setup.wheel_turn_deg);
        self.flat(
            pose,
            gear(40.0, outer),
            STEEL,
            Texture::Blotches { size_mm: [9.0, 9.0], depth: 0.06, seed: 5 },
        );
        let gearbox = &bike.gearbox;
        let pose = Self::on_axis(gearbox.centre, gearbox.axis() * side, -0.6);
        self.flat(pose, gear(0.0, gearbox.radius_mm), STEEL, Texture::Flat);
        let shaft = gearbox.centre - gearbox.axis() * side * 0.8;
        self.bar(shaft, shaft - gearbox.axis() * side * 40.0, 14.0, STEEL, false);
    }

    /// Chain stays, seat tubes, engine plates, a prop.
    fn frame(&mut self) {
        let bike = &self.scene.bike;
        let frame_y = self.scene.expected().get("/frame/offset").copied().unwrap_or(0.0);
        // Plates just behind the stations' faces, or a modest one behind the gearbox.
        let stations = &bike.frame.stations;
        for side in [Side::Left, Side::Right] {
            let s = side.sign();
            let (face, normal) = match stations.first() {
                Some(station) => {
                    let across = (station.left - station.right).normalize();
                    (if s > 0.0 { station.left } else { station.right }, across * s)
                }
                None => (V3::new(420.0, frame_y + s * 40.0, 292.0), V3::y() * s),
            };
            let pose = Pose::on_face(face - normal * 0.8, normal, 0.0);
            // In the plate's own frame y points down on the left and up on the right.
            let up = -s;
            let (low, high) = ((-60.0 * up).min(55.0 * up), (-60.0 * up).max(55.0 * up));
            self.flat(
                pose,
                Outline::Rectangle { from: [-60.0, low], to: [310.0, high] },
                [0.4, 0.37, 0.34],
                Texture::Flat,
            );
            let end = bike.wheel.centre
                + bike.wheel.axis()
                    * (if s > 0.0 {
                        bike.wheel.spindle_ends_mm[0]
                    } else {
                        bike.wheel.spindle_ends_mm[1]
                    });
            let inside = end - V3::y() * (s * 14.0);
            self.bar(inside, V3::new(350.0, frame_y + s * 50.0, 262.0), 11.0, ENAMEL, false);
            self.bar(inside, V3::new(250.0, frame_y + s * 45.0, 640.0), 9.0, ENAMEL, false);
            self.bar(
                V3::new(350.0, frame_y + s * 50.0, 262.0),
                V3::new(250.0, frame_y + s * 45.0, 700.0),
                13.0,
                ENAMEL,
                false,
            );
            self.bar(
                V3::new(880.0, frame_y + s * 150.0, -5.0),
                V3::new(830.0, frame_y + s * 60.0, 262.0),
                14.0,
                WOOD,
                false,
            );
        }
    }
}
