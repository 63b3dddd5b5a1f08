//! The three photographed sets with known truth next to the project, as scenes: their parameters
//! in, our scene out.

use std::path::{Path, PathBuf};

use serde_json::Value;
use sightcord::figure::Side;

use super::bike::{Backbone, Bike, Frame, GearboxSprocket, HubFace, PlumbLine, Station, Wheel};
use super::geometry::{Lens, M3, Pose, V3, axis_from_angles};
use super::scene::{Card, SetUp, TruthScene, Viewpoint};

/// Names of the sets.
pub const SETS: [&str; 3] = ["grass-track", "swing-arm", "no-plumb"];

/// Folder of one set.
pub fn folder(set: &str) -> PathBuf {
    Path::new("../shared/photos").join(set)
}

/// A JSON file of one set.
pub fn read(set: &str, file: &str) -> Value {
    let path = folder(set).join(file);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// One set as a scene, its photos included.
pub fn scene(set: &str) -> TruthScene {
    let truth = read(set, "truth.json");
    let params = &truth["truth"]["params"];
    let mut scene =
        TruthScene { bike: bike(params), lens: lens(&truth["camera"]), ..TruthScene::default() };
    scene.bench.cards = array(&truth["cards"]).iter().map(card).collect();
    scene.bench.cord.radius_mm = number(&params["cord_r"]);
    scene.bench.cord.height_mm = number(&params["cord_z"]);
    scene.bench.cord.colour = numbers(&params["cord_colour"]);
    scene.setups = array(&params["setups"])
        .iter()
        .map(|setup| {
            let name = setup[0].as_str().expect("a set-up's name");
            SetUp::new(name, number(&setup[1]), photos(&truth["photos"], name))
        })
        .collect();
    let for_the_lens = photos(&truth["photos"], "0-camera");
    if !for_the_lens.is_empty() {
        scene.setups.insert(0, SetUp::cards_only(for_the_lens));
    }
    scene.print.tab_side_mm =
        if params["full"] == true { [(29, 25.0), (30, 25.0)].into() } else { Default::default() };
    scene
}

fn bike(params: &Value) -> Bike {
    let get = |key: &str| number(&params[key]);
    let full = params["full"] == true;
    let mut bike = Bike::default();
    let places = if full { params["rim_tabs"].as_u64().expect("rim_tabs") as u8 } else { 0 };
    bike.wheel = Wheel {
        centre: V3::new(get("spindle_x"), get("wheel_offset"), get("spindle_h")),
        yaw_deg: get("wheel_yaw"),
        lean_deg: get("wheel_lean"),
        rim_radius_mm: get("rim_r"),
        tab_radius_mm: get("rim_r") - 13.0,
        rim_width_mm: get("rim_w"),
        runout_mm: get("runout"),
        runout_phase_deg: get("runout_phase"),
        further_places: (0..places)
            .map(|i| (33 + i, 30.0 + 360.0 / f64::from(places) * f64::from(i)))
            .collect(),
        ..bike.wheel
    };
    bike.rear_sprocket.face_mm = get("rear_face");
    bike.gearbox = GearboxSprocket {
        centre: V3::new(get("eng_x"), 0.0, get("eng_z")),
        yaw_deg: get("eng_yaw"),
        lean_deg: get("eng_lean"),
        ..bike.gearbox
    };
    // The sets' chain line is given along y, ours along the axis.
    bike.set_chain_line(get("chainline") * bike.chain_outward().y);
    bike.frame = Frame::bare();
    if params["plumb"] == true {
        let rear = PlumbLine::hung(0, get("plumb_x"), get("plumb_y"));
        bike.frame.plumb_lines.push(PlumbLine {
            facing_deg: 12.0,
            flags_mm: [560.0, 170.0],
            top_mm: 640.0,
            ..rear
        });
    }
    if full {
        let plate = V3::new(get("eng_x"), get("plate_y"), 300.0);
        let across = axis_from_angles(get("plate_yaw"), get("plate_lean"));
        bike.frame.stations =
            vec![station(0, plate, across, 475.0, 292.0), station(1, plate, across, 648.0, 300.0)];
        let front = PlumbLine::hung(1, get("plumb_b_x"), get("plumb_b_y"));
        bike.frame.plumb_lines.push(PlumbLine {
            facing_deg: 35.0,
            flags_mm: [560.0, 190.0],
            top_mm: 640.0,
            ..front
        });
        let slope = (get("plumb_b_y") - get("plumb_y")) / (get("plumb_b_x") - get("plumb_x"));
        let on_backbone =
            |x: f64, z: f64| V3::new(x, get("plumb_y") + slope * (x - get("plumb_x")), z);
        let (front, rear) = (on_backbone(464.0, 766.6), on_backbone(-40.0, 859.0));
        bike.frame.backbone = Some(Backbone { front, rear, radius_mm: 0.6 });
        let face_mm = get("drum_face").abs();
        bike.hub_face = Some(HubFace {
            side: Side::Right,
            face_mm,
            turns: true,
            tab_radius_mm: 66.0,
            tab_deg: 60.0,
        });
    }
    bike
}

/// Stations are pairs of points on two parallel plates whose middle plane goes through `plate`.
fn station(letter: u8, plate: V3, across: V3, x: f64, z: f64) -> Station {
    let y = plate.y - (across.x * (x - plate.x) + across.z * (z - plate.z)) / across.y;
    let middle = V3::new(x, y, z);
    Station { letter, left: middle + across * 48.0, right: middle - across * 48.0 }
}

fn photos(photos: &Value, setup: &str) -> Vec<Viewpoint> {
    let of_setup =
        |photo: &&Value| photo["file"].as_str().expect("a file").starts_with(&format!("{setup}/"));
    let viewpoint = |photo: &Value| Viewpoint {
        file: photo["file"]
            .as_str()
            .expect("a file")
            .rsplit('/')
            .next()
            .expect("a name")
            .to_owned(),
        rotation: rotation(&photo["R"]),
        centre: V3::from(numbers(&photo["C"])),
        drift: Default::default(),
        really_in_setup: None,
    };
    array(photos).iter().filter(of_setup).map(viewpoint).collect()
}

fn card(card: &Value) -> Card {
    let pose = Pose { rotation: rotation(&card["R"]), origin: V3::from(numbers(&card["t"])) };
    Card { number: card["id"].as_u64().expect("a number") as u8, pose, bow_mm: [0.0, 0.0] }
}

fn lens(camera: &Value) -> Lens {
    let size = |key: &str| camera[key].as_u64().expect("a size") as usize;
    Lens {
        width: size("W"),
        height: size("H"),
        fx: number(&camera["fx"]),
        fy: number(&camera["fy"]),
        cx: number(&camera["cx"]),
        cy: number(&camera["cy"]),
        dist: numbers(&camera["dist"]),
    }
}

/// A pose in a set's own truth.
pub fn pose(value: &Value) -> Pose {
    Pose { rotation: rotation(&value["R"]), origin: V3::from(numbers(&value["t"])) }
}

fn rotation(rows: &Value) -> M3 {
    M3::from_rows(&[0, 1, 2].map(|i| V3::from(numbers(&rows[i])).transpose()))
}

pub fn array(value: &Value) -> &Vec<Value> {
    value.as_array().expect("a list")
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn numbers<const N: usize>(value: &Value) -> [f64; N] {
    let values: Vec<f64> = array(value).iter().map(number).collect();
    values.try_into().expect("as many numbers as the place takes")
}
