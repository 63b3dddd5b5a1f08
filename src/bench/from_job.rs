//! What the job means for the scene and for the figures.

use crate::job::settings::Levelled;
use crate::job::{Job, MovesWith, Role, TabRole};
use crate::scene::model::input::FaceSetting;
use crate::scene::model::priors::MeasuredSheet;
use crate::scene::model::state::TurningPart;
use crate::scene::{Carrier, Hangs, SceneSettings, TabSetting};
use crate::sightings::StringKind;

use super::settings::{BenchSettings, GEARBOX_FACE, Marked, Part, REAR_FACE};

/// Highest tab number.
const N_TABS: u8 = crate::cards::codes::N_TABS as u8;

/// Settings of the scene: how tabs move, what lies in one plane, how large the prints are.
pub fn scene_settings(job: &Job, setups: &[String]) -> SceneSettings {
    let (printed, print) = (job.tabs_to_cards(), job.tab_print());
    // A size of its own is as a ruler shows it, whatever the printer made of the cards.
    let as_measured = 2.0 / (print.along.ratio + print.across.ratio);
    let own_size = |number: &u8| {
        job.tabs.get(number).is_some_and(|tab| tab.side_mm != TabRole::of_number(*number).side_mm)
    };
    let tabs = (1..=N_TABS)
        .map(|number| {
            tab_setting(
                number,
                &job.tab(number),
                if own_size(&number) { as_measured } else { printed },
            )
        })
        .collect();
    let with_role = |wanted: &dyn Fn(&TabRole) -> bool| {
        (1..=N_TABS).filter(|n| wanted(&job.tab(*n))).collect::<Vec<u8>>()
    };
    let face = |name: &str, tabs: Vec<u8>| FaceSetting { name: name.to_owned(), tabs };
    let mut faces = vec![
        face(GEARBOX_FACE, with_role(&|tab| tab.role == Role::GearboxSprocket)),
        face(REAR_FACE, with_role(&|tab| tab.role == Role::RearSprocket)),
    ];
    faces.extend(job.faces.iter().map(|of_job| face(&of_job.name, of_job.tabs.clone())));
    let measured_sheets = job
        .cards
        .keys()
        .map(|&number| {
            let own = job.card_print(number);
            MeasuredSheet {
                number,
                scale: [own.along.ratio, own.across.ratio],
                sigma: own.along.sigma.max(own.across.sigma),
            }
        })
        .collect();
    SceneSettings {
        setups: setups.to_vec(),
        tabs,
        faces,
        moving_as_one: vec![with_role(&|tab| matches!(tab.role, Role::SpindleEnd { .. }))],
        print: [print.along.ratio, print.across.ratio],
        print_sigma: [print.along.sigma, print.across.sigma],
        measured_sheets,
        // What the job assumes is expanded, k = 2.
        flag_sigma: job.assumed.flag_u_mm / 2.0,
        cord_moved_sigma: job.assumed.cord_moved_u_mm / 2.0,
        flat_sigma: job.assumed.flat_u_mm / 2.0,
        bow_sigma: job.assumed.card_bow_u_mm / 2.0,
        zoom_sigma: job.assumed.focus_u_percent / 200.0,
        shift_sigma: job.assumed.lens_centre_u_px / 2.0,
    }
}

/// `printed` is the tab's printed size over what its side and the cards' print make of it.
fn tab_setting(number: u8, tab: &TabRole, printed: f64) -> TabSetting {
    let hangs = match (tab.role, tab.moves_with) {
        (Role::PlumbFlag { line, .. }, _) => Hangs::Flag(StringKind::Plumb(line.index())),
        (Role::BackboneFlag { .. }, _) => Hangs::Flag(StringKind::Backbone),
        (Role::CordRider { .. }, _) => Hangs::Cord,
        (_, MovesWith::Wheel) => Hangs::On(Carrier::Turning(TurningPart::Wheel)),
        (_, MovesWith::FrontWheel) => Hangs::On(Carrier::Turning(TurningPart::FrontWheel)),
        (_, MovesWith::Gearbox) => Hangs::On(Carrier::Turning(TurningPart::Gearbox)),
        (_, MovesWith::Frame | MovesWith::Line) => Hangs::On(Carrier::Still),
    };
    TabSetting {
        number,
        hangs,
        pitch: printed * tab.side_mm / crate::cards::codes::TAB_SIDE as f64,
        backing_mm: tab.backing_mm,
    }
}

/// Settings of the figures.
pub fn bench_settings(job: &Job, setups: &[String], lens_only: &[bool]) -> BenchSettings {
    let paper = job.tab_print().paper_mm;
    let marks = (1..=N_TABS)
        .map(|number| {
            let tab = job.tab(number);
            Marked { number, part: part(tab.role), thickness: paper + tab.backing_mm }
        })
        .collect();
    let level_was_read =
        job.bench.level_along_deg.is_some() || job.bench.level_across_deg.is_some();
    let level_was_laid = job.bench.levelled == Some(Levelled::SpiritLevel);
    let level_sigma = match (level_was_read, level_was_laid) {
        (true, _) => job.bench.sigma_deg(),
        (_, true) => job.assumed.levelled_u_deg / 2.0,
        _ => job.assumed.level_u_deg / 2.0,
    };
    let print = job.tab_print();
    BenchSettings {
        setups: setups.to_vec(),
        lens_only: lens_only.to_vec(),
        marks,
        chain_side: job.bike.chain_side,
        level: [
            job.bench.level_along_deg.unwrap_or(0.0),
            job.bench.level_across_deg.unwrap_or(0.0),
        ],
        level_sigma,
        assumed: job.assumed,
        level_was_read,
        level_was_laid,
        tooth_centres: match (
            job.sprockets.rear_face_to_tooth_centre_mm,
            job.sprockets.gearbox_face_to_tooth_centre_mm,
        ) {
            (Some(rear), Some(gearbox)) => Some([rear, gearbox]),
            _ => None,
        },
        hub_side: job.hub.face_side,
        lateral_tir: job.rim.lateral_tir_mm,
        rim_width_mm: job.rim.width_mm,
        faces: job.faces.iter().map(|face| face.name.clone()).collect(),
        print_measured: [print.along.measured, print.across.measured],
        known_wheel: None,
    }
}

fn part(role: Role) -> Part {
    match role {
        Role::RearRim { side } => Part::Rim { front_wheel: false, side, place: 0 },
        Role::RimPlace { side, place } => Part::Rim { front_wheel: false, side, place },
        Role::FrontRim { side } => Part::Rim { front_wheel: true, side, place: 0 },
        Role::GearboxSprocket => Part::GearboxSprocket,
        Role::RearSprocket => Part::RearSprocket,
        Role::SpindleEnd { side } => Part::SpindleEnd(side),
        Role::Station { letter, side } => Part::Station(letter.index(), side),
        Role::HubFace => Part::HubFace,
        Role::CordRider { rider, side } => Part::CordRider { rider, side },
        Role::PlumbFlag { .. } | Role::BackboneFlag { .. } | Role::Free => Part::Other,
    }
}
