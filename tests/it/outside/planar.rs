//! Flat targets solved by our own adjustment: start lens from `camera::start`, start poses from
//! `scene::pose`, then `scene::solve` with everything held that the target does not have (print
//! scale, bow, refocusing).
//!
//! A target plays the part of a card: a card's corners may be given at any place of its plane.
//! Nothing is known of the lens beforehand.

use nalgebra::{Matrix2, Vector2, Vector3};
use sightcord::camera::Lens;
use sightcord::camera::lens::N_LENS;
use sightcord::camera::start::{focal_from_homographies, homography};
use sightcord::cards::Pattern;
use sightcord::math::Rigid;
use sightcord::scene::adjust::residual::foreseen;
use sightcord::scene::adjust::solve::{Problem, adjust, covariance};
use sightcord::scene::model::observe::{Block, SeenCorner, Shown};
use sightcord::scene::model::priors::{Drift, FaceSigma, LensSpread, LensStart, Priors};
use sightcord::scene::model::state::{Card, Ground, Sheet, State};
use sightcord::scene::model::unknowns::Slots;
use sightcord::scene::model::view::View;
use sightcord::scene::start::pose::{Glimpse, locate};

/// Points of a target, in its own unit, and the pixels where one photo shows them.
pub type Points = Vec<(Vector2<f64>, Vector2<f64>)>;

/// Stands for "held still" and "not known" among standard uncertainties.
const HELD: f64 = 1e-9;
const UNKNOWN: f64 = 1e6;

/// The card whose part the targets play.
const CARD: u8 = 1;

/// One camera's calibration.
pub struct Calibrated {
    pub lens: Lens,
    /// Standard deviations of the lens parameters, by the residuals.
    pub sigma: [f64; N_LENS],
    pub camera_from_target: Vec<Rigid>,
    /// Seen minus foreseen, px.
    pub residuals: Vec<Vector2<f64>>,
    /// Standard deviation of one coordinate, px.
    pub noise: f64,
}

impl Calibrated {
    /// Root mean square distance, px.
    pub fn rms(&self) -> f64 {
        rms(&self.residuals)
    }
}

fn rms(residuals: &[Vector2<f64>]) -> f64 {
    (residuals.iter().map(Vector2::norm_squared).sum::<f64>() / residuals.len() as f64).sqrt()
}

/// Which of k1, k2, p1, p2, k3 are unknowns; the others are zero.
pub type Free = [bool; 5];

/// Everything known beforehand is held, everything else is left open.
pub fn priors(n_lenses: usize, free: Free) -> Priors {
    Priors {
        print: [1.0; 2],
        print_sigma: [HELD; 2],
        sheet_sigma: HELD,
        loose_sheets: Vec::new(),
        measured_sheets: Vec::new(),
        bow_sigma: HELD,
        tab_scale_sigma: HELD,
        unlike_tabs: Default::default(),
        zoom_sigma: vec![HELD; n_lenses],
        shift_sigma: vec![HELD; n_lenses],
        sweep_sigma: [HELD; 2],
        usual_drift: Drift { zoom: HELD, shift_px: HELD },
        lens_start: vec![LensStart { focal: 1000.0, width: 640, height: 480 }; n_lenses],
        lens_spread: LensSpread {
            focal: UNKNOWN,
            aspect: UNKNOWN,
            middle: UNKNOWN,
            distortion: free.map(|free| if free { UNKNOWN } else { HELD }),
        },
        flag_sigma: HELD,
        face_sigma: FaceSigma { off_mm: HELD, tilt: HELD },
        still_bodies: Vec::new(),
        cord_moved_sigma: HELD,
        cord_straight_sigma: HELD,
    }
}

fn view(lens: usize, camera_from_world: Rigid) -> View {
    View::still(lens, 0, camera_from_world, [640, 480])
}

fn card(world_from_card: Rigid, fixed: bool) -> Card {
    Card { sheet: 0, world_from_card, ground: Ground::Bench, fixed }
}

/// What one photo shows of one target. A standard deviation of one pixel is stated for all points:
/// none lies far enough off to be bent by Huber's bound, and the real one is taken from the
/// residuals.
fn block(view: usize, card: usize, points: &Points) -> Block {
    let pitch = Pattern::Card(CARD).pitch_mm();
    let seen = |(point, at): &(Vector2<f64>, Vector2<f64>)| SeenCorner {
        row: 0,
        col: 0,
        cells: [point.x / pitch, point.y / pitch],
        at: *at,
        whiten: Matrix2::identity(),
        cell_px: 20.0,
        used: true,
    };
    Block {
        view,
        shown: Shown::Card(card),
        corners: points.iter().map(seen).collect(),
        points: Vec::new(),
        noise: 1.0,
    }
}

/// A scene of targets and cameras.
struct Scene {
    state: State,
    blocks: Vec<Block>,
    priors: Priors,
}

impl Scene {
    fn new(
        lenses: Vec<Lens>,
        views: Vec<View>,
        cards: Vec<Card>,
        blocks: Vec<Block>,
        free: Free,
    ) -> Self {
        let priors = priors(lenses.len(), free);
        let sheets = vec![Sheet { number: CARD, scale: [0.0; 2], bow: [0.0; 2] }];
        Self {
            state: State { lenses, views, print: [1.0; 2], sheets, cards, ..State::default() },
            blocks,
            priors,
        }
    }

    /// Adjusts to the last digit; residuals, noise of a coordinate and standard deviations of each
    /// lens.
    fn solve(&mut self, n_unknowns: usize) -> (Vec<Vector2<f64>>, f64, Vec<[f64; N_LENS]>) {
        let slots = Slots::of(&self.state);
        let problem = Problem { blocks: &self.blocks, priors: &self.priors, slots: &slots };
        for _ in 0..20 {
            // One call ends when a figure of ours would not change any more; published digits ask
            // for a few steps beyond.
            let adjusted = adjust(&mut self.state, &problem, 60);
            assert!(adjusted.converged, "the adjustment did not converge: {adjusted:?}");
        }
        let mut residuals = Vec::new();
        for block in &self.blocks {
            for corner in &block.corners {
                residuals.push(
                    corner.at
                        - foreseen(&self.state, &slots, block, corner.cells)
                            .expect("in front of the camera"),
                );
            }
        }
        assert!(residuals.iter().all(|r| r.norm() < 3.0), "Huber's bound bends a residual");
        let squares: f64 = residuals.iter().map(Vector2::norm_squared).sum();
        let noise = (squares / (2 * residuals.len() - n_unknowns) as f64).sqrt();
        let covariance = covariance(&self.state, &problem).expect("the photos determine the lens");
        let sigma = |&slot: &usize| {
            std::array::from_fn(|i| noise * covariance[(slot + i, slot + i)].sqrt())
        };
        (residuals, noise, slots.lenses.iter().map(sigma).collect())
    }
}

/// Calibrates a camera from photos of one target.
pub fn calibrate(photos: &[Points], free: Free) -> Calibrated {
    let maps: Vec<_> = photos
        .iter()
        .map(|points| {
            let (plane, pixels): (Vec<_>, Vec<_>) = points.iter().copied().unzip();
            homography(&plane, &pixels).expect("the points span a plane")
        })
        .collect();
    let focal = focal_from_homographies(&maps, 640, 480).expect("the target is tilted");
    let lens = Lens::pinhole(focal, 640, 480);
    let views = photos.iter().map(|points| view(0, start_pose(points, lens))).collect();
    let blocks = photos.iter().enumerate().map(|(i, points)| block(i, 0, points)).collect();
    let mut scene =
        Scene::new(vec![lens], views, vec![card(Rigid::identity(), true)], blocks, free);
    let n_unknowns = 4 + free.iter().filter(|free| **free).count() + 6 * photos.len();
    let (residuals, noise, sigma) = scene.solve(n_unknowns);
    let camera_from_target = scene.state.views.iter().map(|view| view.camera_from_world).collect();
    Calibrated {
        lens: scene.state.lenses[0],
        sigma: sigma[0],
        camera_from_target,
        residuals,
        noise,
    }
}

fn start_pose(points: &Points, lens: Lens) -> Rigid {
    let corners = points
        .iter()
        .map(|(p, at)| (Vector3::new(p.x, p.y, 0.0), *at, Matrix2::identity()))
        .collect();
    // The lens is not known yet: points may be off by pixels.
    let (pose, _) =
        locate(&[Glimpse { lens, camera_from_world: Rigid::identity(), corners }], 10.0)
            .expect("a pose");
    pose
}

/// Two cameras that stood still while one target was shown to both in many places.
pub struct Rig {
    pub lenses: [Lens; 2],
    pub sigma: [[f64; N_LENS]; 2],
    pub right_from_left: Rigid,
    pub rms: f64,
}

/// Solves both cameras together. To our adjustment each camera is one photo in which many cards lie
/// about.
pub fn rig(photos: [&[Points]; 2], alone: [&Calibrated; 2], free: Free) -> Rig {
    let lenses = alone.map(|camera| camera.lens);
    let world_from_left = alone[0].camera_from_target[0].inverse();
    let views = (0..2).map(|side| view(side, alone[side].camera_from_target[0])).collect();
    let cards = alone[0]
        .camera_from_target
        .iter()
        .enumerate()
        .map(|(i, pose)| card(world_from_left.then(pose), i == 0))
        .collect();
    let blocks = (0..2)
        .flat_map(|side| {
            photos[side].iter().enumerate().map(move |(i, points)| block(side, i, points))
        })
        .collect();
    let mut scene = Scene::new(lenses.to_vec(), views, cards, blocks, free);
    let n_unknowns =
        2 * (4 + free.iter().filter(|free| **free).count()) + 6 * (photos[0].len() + 1);
    let (residuals, _, sigma) = scene.solve(n_unknowns);
    let [left, right] = [0, 1].map(|side| scene.state.views[side].camera_from_world);
    let lenses = [scene.state.lenses[0], scene.state.lenses[1]];
    Rig {
        lenses,
        sigma: [sigma[0], sigma[1]],
        right_from_left: right.then(&left.inverse()),
        rms: rms(&residuals),
    }
}
