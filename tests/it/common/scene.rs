//! The truth: a bike over a bench with cards, a cord and plumb lines, photographed in set-ups.
//!
//! World = bench frame: x forward along the datum cord as it lies in the first set-up, y to the
//! left, z up (against gravity), millimetres. Everything is a parameter; nothing here is random.
//! [`super::budget`] draws errors into a scene.

use std::collections::{BTreeMap, BTreeSet};

use sightcord::cards::Pattern;
use sightcord::figure::Side;

use super::bike::Bike;
use super::geometry::{Eye, Lens, M3, Pose, V3, looking_at, turn};
use super::walk::{self, Walk};

/// A whole job with its truth.
#[derive(Clone, Debug, PartialEq)]
pub struct TruthScene {
    /// Feeds every random stream that is drawn from this scene (noise, draughts, clutter).
    pub seed: u64,
    pub bike: Bike,
    pub bench: Bench,
    pub look: Look,
    pub lens: Lens,
    pub setups: Vec<SetUp>,
    /// The walk by which the set-ups of the bike were photographed, for taking them anew.
    pub walk: Walk,
    pub print: Print,
    /// How single tabs are stuck wrongly, by number.
    pub tab_errors: BTreeMap<u8, TabError>,
    /// Tabs that nobody stuck on.
    pub missing_tabs: BTreeSet<u8>,
    /// Tabs whose place carries another number: place -> number on the paper.
    pub swapped_tabs: BTreeMap<u8, u8>,
}

/// Light and colours, linear. They carry no truth and make the photos hard or easy.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// Towards the lamp or the sun, and the part of the light that comes from all round.
    pub to_light: [f64; 3],
    pub ambient: f64,
    /// Whether bars and strings are lit from where the lamp is; otherwise they are brightest
    /// towards the camera.
    pub round_bars: bool,
    /// The cord's shadow: half-width of its soft edge, and light left in its middle.
    pub shadow_soft_mm: f64,
    pub shadow_left: f64,
    pub shade: Option<ShadeEdge>,
    pub bench: [f64; 3],
    /// Size along and across of the bench's grain, and its depth.
    pub grain_mm: [f64; 2],
    pub grain: f64,
    pub walls: [[f64; 3]; 4],
    /// Colour of plumb lines and backbone cord.
    pub line: [f64; 3],
    /// Second colour of the datum cord, and the length in which it winds round once.
    pub cord_twist: Option<([f64; 3], f64)>,
}

/// Where the shade of something large ends on the bench: beyond `at_mm` in this direction from
/// forward it is light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShadeEdge {
    pub turn_deg: f64,
    pub at_mm: f64,
    pub soft_mm: f64,
    pub left: f64,
}

impl Default for Look {
    /// A lamp from the front left, high, over wood.
    fn default() -> Self {
        Self {
            to_light: [0.22, 0.35, 0.91],
            ambient: 0.5,
            round_bars: false,
            shadow_soft_mm: 0.25,
            shadow_left: 0.45,
            shade: None,
            bench: [0.42, 0.30, 0.18],
            grain_mm: [90.0, 3.5],
            grain: 0.28,
            walls: [[0.16, 0.15, 0.14], [0.20, 0.16, 0.11], [0.12, 0.17, 0.10], [0.13, 0.16, 0.18]],
            line: [0.55, 0.55, 0.5],
            cord_twist: None,
        }
    }
}

/// What lies on the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct Bench {
    pub cards: Vec<Card>,
    pub cord: Cord,
    pub riders: Vec<Rider>,
    /// The bench's own tilt, along and across, where the cards do not lie flat to it; otherwise
    /// the cards' plane is the bench.
    pub level_deg: Option<[f64; 2]>,
    /// Half-width of the amplitude by which flags turn in the draught, afresh in every photo,
    /// degrees.
    pub draught_deg: f64,
}

/// A strip folded round the datum cord, glued back to back: tab `number` looks left, `number + 1`
/// right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rider {
    pub number: u8,
    pub x_mm: f64,
    /// + = its top to the left.
    pub lean_deg: f64,
    /// The middle between its faces off the cord's axis, mm to the left along its own breadth.
    pub across_mm: f64,
    /// By how much nearer than a pattern side the patterns' centres stand to the cord's axis, for
    /// want of bridge, mm.
    pub short_mm: f64,
    /// Whether the left and the right face carry their tabs.
    pub faces: [bool; 2],
    /// By how much it was pushed forward along the cord before each later set-up, mm.
    pub pushed_mm: f64,
}

impl Rider {
    pub fn standing(number: u8, x_mm: f64, lean_deg: f64) -> Self {
        Self {
            number,
            x_mm,
            lean_deg,
            across_mm: 0.0,
            short_mm: 0.0,
            faces: [true, true],
            pushed_mm: 0.0,
        }
    }
}

/// One card: its pattern frame in the world, and its bow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Card {
    pub number: u8,
    pub pose: Pose,
    /// z = kx (1 - x^2) + ky (1 - y^2), x and y from -1 to 1 over the pattern, mm.
    pub bow_mm: [f64; 2],
}

impl Card {
    /// A flat card lying level, its lane's middle at (x, y), turned by `turn_deg` to the left.
    pub fn lying(number: u8, x: f64, y: f64, turn_deg: f64) -> Self {
        // A sheet of paper on a bench: its print lies about half a millimetre up where it does not
        // lie flat to the wood.
        Self {
            number,
            pose: Pose { rotation: turn(V3::z(), turn_deg), origin: V3::new(x, y, 0.4) },
            bow_mm: [0.0, 0.0],
        }
    }
}

/// The datum cord: a straight line over y = 0, lower in its middle by the sag.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cord {
    pub radius_mm: f64,
    /// Height of its axis at the ends.
    pub height_mm: f64,
    pub sag_mm: f64,
    pub from_x_mm: f64,
    pub to_x_mm: f64,
    /// Linear reflectance, red, green, blue.
    pub colour: [f64; 3],
    /// By how much light and shadow move its mid-line to the left at its rear and front end in
    /// every photo, mm: in sightings alone.
    pub seen_off_mm: [f64; 2],
}

/// Paper and printer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Print {
    /// Printed length over designed length minus one, along (pattern x) and across (pattern y), of
    /// every sheet.
    pub scale_error: [f64; 2],
    /// Further scale error of single cards, by number.
    pub card_scale_error: BTreeMap<u8, [f64; 2]>,
    /// Tabs printed at another size: pattern side as the job states it, mm.
    pub tab_side_mm: BTreeMap<u8, f64>,
    /// Paper thickness minus the standard 0.10 mm.
    pub paper_error_mm: f64,
    /// Backing of single tabs, as the job states it, mm.
    pub backing_mm: BTreeMap<u8, f64>,
}

/// Thickness of the paper unless the job gives another, mm.
pub const PAPER_MM: f64 = 0.10;

/// How a tab is stuck where it is not flat on its place.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TabError {
    /// Off the face, mm (+ outward).
    pub normal_mm: f64,
    /// In the pattern's own plane, along its x and y, mm.
    pub sideways_mm: [f64; 2],
    /// About the pattern's x and y, degrees.
    pub tilt_deg: [f64; 2],
}

impl TabError {
    /// A tab that has come off along its lower edge and swung up about its upper one.
    pub fn peeled(deg: f64, side_mm: f64) -> Self {
        Self {
            normal_mm: deg.to_radians().sin() * side_mm / 2.0,
            tilt_deg: [deg, 0.0],
            ..Self::default()
        }
    }
}

/// What the photos of a folder show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shows {
    /// The bike over the bench.
    Bike,
    /// The cards alone: photos for the lens (folder 0-camera).
    CardsOnly,
}

/// One sub-folder of photos; within it nothing moves.
#[derive(Clone, Debug, PartialEq)]
pub struct SetUp {
    pub name: String,
    pub shows: Shows,
    /// Turn of the rear (and front) wheel, from the front over the top.
    pub wheel_turn_deg: f64,
    pub gearbox_turn_deg: f64,
    /// Where the wheel stands along its axis by end float, mm to the left.
    pub end_float_mm: f64,
    /// By how much the wheel's axis stands off in this set-up by play in its bearings: yaw, lean.
    pub play_deg: [f64; 2],
    /// By how much the wheel was set in elsewhere in the fork ends for this set-up: forward and
    /// up, mm.
    pub reseated_mm: [f64; 2],
    /// By how much the cord was knocked to the left at its rear and front end, mm.
    pub cord_moved_mm: [f64; 2],
    /// Cards that were moved: number, shift along x and y in mm, turn in degrees.
    pub moved_cards: BTreeMap<u8, [f64; 3]>,
    pub photos: Vec<Viewpoint>,
}

impl SetUp {
    /// A set-up of the bike with these photos.
    pub fn new(name: &str, wheel_turn_deg: f64, photos: Vec<Viewpoint>) -> Self {
        Self {
            name: name.to_owned(),
            shows: Shows::Bike,
            wheel_turn_deg,
            gearbox_turn_deg: 0.0,
            end_float_mm: 0.0,
            play_deg: [0.0, 0.0],
            reseated_mm: [0.0, 0.0],
            cord_moved_mm: [0.0, 0.0],
            moved_cards: BTreeMap::new(),
            photos,
        }
    }

    /// Photos of the cards alone.
    pub fn cards_only(photos: Vec<Viewpoint>) -> Self {
        Self { shows: Shows::CardsOnly, ..Self::new("0-camera", 0.0, photos) }
    }
}

/// Where one photo was taken from, and how the lens stood then.
#[derive(Clone, Debug, PartialEq)]
pub struct Viewpoint {
    /// File name in the set-up's folder.
    pub file: String,
    /// camera_from_world.
    pub rotation: M3,
    pub centre: V3,
    pub drift: LensDrift,
    /// The set-up that is really in the picture, where it was filed in the wrong folder.
    pub really_in_setup: Option<usize>,
}

impl Viewpoint {
    /// A photo taken at `eye` towards `target`, the camera turned clockwise by `roll_deg`.
    pub fn looking(file: &str, eye: V3, target: V3, roll_deg: f64) -> Self {
        let rotation = looking_at(eye, target, roll_deg);
        Self {
            file: file.to_owned(),
            rotation,
            centre: eye,
            drift: LensDrift::default(),
            really_in_setup: None,
        }
    }
}

/// How a photo's lens differs from the camera's: focus moves the focal length, the stabiliser the
/// principal point.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LensDrift {
    /// Relative change of fx and fy.
    pub focal: f64,
    /// Change of cx and cy, px.
    pub centre_px: [f64; 2],
}

impl Default for TruthScene {
    /// Four cards on the cord, one plumb line, two set-ups half a turn apart with nine photos each,
    /// 8-megapixel camera.
    fn default() -> Self {
        let mut scene = Self {
            seed: 1,
            bike: Bike::default(),
            bench: Bench::default(),
            look: Look::default(),
            lens: walk::phone_lens(),
            setups: vec![
                SetUp::new("1-mark-forward", 0.0, Vec::new()),
                SetUp::new("2-mark-rearward", 180.0, Vec::new()),
            ],
            walk: Walk::Round,
            print: Print::default(),
            tab_errors: BTreeMap::new(),
            missing_tabs: BTreeSet::new(),
            swapped_tabs: BTreeMap::new(),
        };
        scene.take_photos();
        scene
    }
}

impl Default for Bench {
    fn default() -> Self {
        let card = |number, x, y, turn_deg, tilt: [f64; 2]| {
            let flat = Card::lying(number, x, y, turn_deg);
            Card { pose: flat.pose.nudged(V3::zeros(), tilt), ..flat }
        };
        Self {
            // A little off the cord and off level, and two of them the other way round, as people
            // lay them.
            cards: vec![
                card(1, -331.0, -1.1, -0.6, [0.06, 0.04]),
                card(2, 1.0, 0.8, 179.1, [-0.05, 0.03]),
                card(3, 329.0, 1.3, 0.9, [0.02, -0.08]),
                card(4, 661.0, -0.7, 180.7, [-0.04, -0.02]),
            ],
            cord: Cord::default(),
            riders: Vec::new(),
            level_deg: None,
            draught_deg: 20.0,
        }
    }
}

impl Default for Cord {
    fn default() -> Self {
        Self {
            radius_mm: 1.0,
            height_mm: 2.6,
            sag_mm: 0.0,
            from_x_mm: -620.0,
            to_x_mm: 950.0,
            colour: [0.9, 0.25, 0.08],
            seen_off_mm: [0.0; 2],
        }
    }
}

impl Cord {
    /// A point of the axis in a set-up.
    pub fn at(&self, setup: &SetUp, x: f64) -> V3 {
        let along = (x - self.from_x_mm) / (self.to_x_mm - self.from_x_mm);
        let [rear, front] = setup.cord_moved_mm;
        V3::new(
            x,
            rear + (front - rear) * along,
            self.height_mm - self.sag_mm * 4.0 * along * (1.0 - along),
        )
    }
}

impl TruthScene {
    /// Everything that tabs can mark: run-out, hub face, frame, stations, backbone; twelve photos a
    /// set-up.
    pub fn full() -> Self {
        let mut scene = Self { bike: Bike::full(), walk: Walk::AllRound, ..Self::default() };
        scene.take_photos();
        scene
    }

    /// The same scene for a bike with its chain on this side, photographed by the walk mirrored for
    /// it.
    pub fn with_chain_on(mut self, side: Side, chain_line_mm: f64) -> Self {
        self.bike = self.bike.with_chain_on(side, chain_line_mm);
        self.take_photos();
        self
    }

    /// Takes the photos of every set-up of the bike anew, from other places for another seed.
    pub fn take_photos(&mut self) {
        let (walk, seed, side) = (self.walk, self.seed, self.bike.chain_side);
        for (i, setup) in self.setups.iter_mut().enumerate().filter(|(_, s)| s.shows == Shows::Bike)
        {
            setup.photos = walk.photos(seed.wrapping_mul(1000) + i as u64, side);
        }
    }

    /// Adds a folder of photos of one card alone, for the lens.
    pub fn with_camera_photos(mut self) -> Self {
        let middle = self.bench.cards[self.bench.cards.len() / 2].pose.origin;
        self.setups.insert(0, SetUp::cards_only(walk::over_a_card(self.seed, middle)));
        self
    }

    /// The same scene photographed with smaller pictures.
    pub fn at_scale(mut self, ratio: f64) -> Self {
        self.lens = self.lens.scaled(ratio);
        for photo in self.setups.iter_mut().flat_map(|s| &mut s.photos) {
            photo.drift.centre_px = photo.drift.centre_px.map(|c| c * ratio);
        }
        self
    }

    /// Set-up and photo index of every photo, in order.
    pub fn photo_indices(&self) -> Vec<(usize, usize)> {
        let of_setup = |(s, setup): (usize, &SetUp)| {
            (0..setup.photos.len()).map(move |p| (s, p)).collect::<Vec<_>>()
        };
        self.setups.iter().enumerate().flat_map(of_setup).collect()
    }

    /// The camera of one photo with its own lens.
    pub fn eye(&self, setup_idx: usize, photo_idx: usize) -> Eye {
        let photo = &self.setups[setup_idx].photos[photo_idx];
        let lens = Lens {
            fx: self.lens.fx * (1.0 + photo.drift.focal),
            fy: self.lens.fy * (1.0 + photo.drift.focal),
            cx: self.lens.cx + photo.drift.centre_px[0],
            cy: self.lens.cy + photo.drift.centre_px[1],
            ..self.lens
        };
        Eye::new(lens, photo.rotation, photo.centre)
    }

    /// The set-up that is in the picture, which is the folder's own unless the photo was misfiled.
    pub fn setup_in_picture(&self, setup_idx: usize, photo_idx: usize) -> &SetUp {
        let really = self.setups[setup_idx].photos[photo_idx].really_in_setup.unwrap_or(setup_idx);
        &self.setups[really]
    }

    /// Printed cell sides of a pattern, along and across, mm.
    pub fn pitch_mm(&self, pattern: Pattern) -> [f64; 2] {
        let number = pattern.number();
        let (designed, own) = match pattern {
            Pattern::Card(_) => (pattern.pitch_mm(), self.print.card_scale_error.get(&number)),
            Pattern::Tab(_) => (
                self.print.tab_side_mm.get(&number).map_or(pattern.pitch_mm(), |side| side / 5.0),
                None,
            ),
        };
        let own = own.copied().unwrap_or([0.0, 0.0]);
        [0, 1].map(|axis| designed * (1.0 + self.print.scale_error[axis] + own[axis]))
    }
}
