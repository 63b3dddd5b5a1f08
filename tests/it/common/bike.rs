//! The bike that is measured: every part of it that a tab marks, as parameters in the bench frame
//! (x forward along the datum cord, y left, z up, mm; degrees).

use sightcord::figure::Side;

use super::geometry::{V3, axis_from_angles};

#[derive(Clone, Debug, PartialEq)]
pub struct Bike {
    pub chain_side: Side,
    pub wheel: Wheel,
    pub rear_sprocket: RearSprocket,
    pub gearbox: GearboxSprocket,
    pub hub_face: Option<HubFace>,
    pub frame: Frame,
    pub front_wheel: Option<FrontWheel>,
    pub free_tabs: Vec<FreeTab>,
    pub faces: Vec<NamedFace>,
}

/// The rear wheel. Axial distances are measured from the rim's mean mid-plane along the axis, + to
/// the left.
#[derive(Clone, Debug, PartialEq)]
pub struct Wheel {
    /// Where the axis pierces the rim's mean mid-plane; its y is the figure wheel/offset.
    pub centre: V3,
    pub yaw_deg: f64,
    pub lean_deg: f64,
    /// Outer radius of the rim, for pictures.
    pub rim_radius_mm: f64,
    /// Radius at which the rim's tabs stand on its outside faces.
    pub tab_radius_mm: f64,
    pub rim_width_mm: f64,
    /// Lateral run-out: both faces lie `runout_mm * cos(angle - runout_phase_deg)` further to the
    /// left than the mean, with the angle on the wheel counted from the marked place. Peak to
    /// peak is twice `runout_mm`.
    pub runout_mm: f64,
    pub runout_phase_deg: f64,
    /// Where the marked place stands in a set-up with no turn: 0 front, 90 top, 180 rear, 270
    /// bottom.
    pub mark_deg: f64,
    /// Further rim tabs on the left face: number and angle on the wheel from the marked place.
    pub further_places: Vec<(u8, f64)>,
    /// Axial places of the spindle's left and right end faces. The spindle does not turn.
    pub spindle_ends_mm: [f64; 2],
}

impl Wheel {
    /// Unit axis pointing left.
    pub fn axis(&self) -> V3 {
        axis_from_angles(self.yaw_deg, self.lean_deg)
    }

    /// By how much the rim's faces lie to the left of the mean at an angle on the wheel from the
    /// marked place.
    pub fn runout_at(&self, wheel_deg: f64) -> f64 {
        self.runout_mm * (wheel_deg - self.runout_phase_deg).to_radians().cos()
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct RearSprocket {
    /// Axial distance of its outside face from the rim's mid-plane, + outboard on the chain's
    /// side.
    pub face_mm: f64,
    pub tab_radius_mm: f64,
    /// Tip radius, for pictures.
    pub radius_mm: f64,
    /// Face wobble at the tabs' radius: the face lies `wobble_mm * cos(angle)` further outboard,
    /// angle from the marked place.
    pub wobble_mm: f64,
}

#[derive(Clone, Debug, PartialEq)]
pub struct GearboxSprocket {
    /// Centre of its outside face.
    pub centre: V3,
    pub yaw_deg: f64,
    pub lean_deg: f64,
    pub tab_radius_mm: f64,
    pub radius_mm: f64,
    /// Where the middle of its tabs lies on the face, from the centre, mm forward and up: they are
    /// set by eye.
    pub tabs_off_mm: [f64; 2],
}

impl GearboxSprocket {
    pub fn axis(&self) -> V3 {
        axis_from_angles(self.yaw_deg, self.lean_deg)
    }
}

/// Brake drum's or hub's reference face, marked by tab 31 (turns with the wheel) or 32 (does not).
#[derive(Clone, Debug, PartialEq)]
pub struct HubFace {
    pub side: Side,
    /// Axial distance from the rim's mid-plane, + outboard on its own side.
    pub face_mm: f64,
    pub turns: bool,
    pub tab_radius_mm: f64,
    pub tab_deg: f64,
}

/// The frame and what hangs on it. The parts are places of their own, so that a frame may disagree
/// with itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    pub stations: Vec<Station>,
    pub plumb_lines: Vec<PlumbLine>,
    pub backbone: Option<Backbone>,
    /// Distance between the two adjusters, square to the frame.
    pub adjuster_spacing_mm: f64,
}

/// A pair of like points, left and right; A to D are letters 0 to 3.
#[derive(Clone, Debug, PartialEq)]
pub struct Station {
    pub letter: u8,
    pub left: V3,
    pub right: V3,
}

/// A plumb line hung from the frame: vertical whatever the frame does. Two flags, upper and lower.
#[derive(Clone, Debug, PartialEq)]
pub struct PlumbLine {
    pub letter: u8,
    pub x_mm: f64,
    pub y_mm: f64,
    pub top_mm: f64,
    pub bob_mm: f64,
    /// Heights of the upper and lower flag's centre.
    pub flags_mm: [f64; 2],
    /// Direction in which the flags look on average, from forward to the left.
    pub facing_deg: f64,
    pub radius_mm: f64,
    /// By how much it hangs out of plumb towards x and y, its middle in place: still air that is
    /// not quite still.
    pub out_of_plumb_deg: [f64; 2],
}

/// The cord along the frame's backbone with flags 29 (front) and 30 (rear).
#[derive(Clone, Debug, PartialEq)]
pub struct Backbone {
    pub front: V3,
    pub rear: V3,
    pub radius_mm: f64,
}

/// The front wheel with tabs 3 and 4; it turns as the rear wheel does.
#[derive(Clone, Debug, PartialEq)]
pub struct FrontWheel {
    pub centre: V3,
    pub yaw_deg: f64,
    pub lean_deg: f64,
    pub rim_radius_mm: f64,
    pub tab_radius_mm: f64,
    pub rim_width_mm: f64,
}

impl FrontWheel {
    pub fn axis(&self) -> V3 {
        axis_from_angles(self.yaw_deg, self.lean_deg)
    }
}

/// What a tab moves with between set-ups.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MovesWith {
    Frame,
    Wheel,
    Gearbox,
}

/// A tab that the job names: a point on a face, the face's outward normal, as it stands in a set-up
/// with no turn.
#[derive(Clone, Debug, PartialEq)]
pub struct FreeTab {
    pub number: u8,
    pub point: V3,
    pub normal: V3,
    pub moves_with: MovesWith,
}

/// A face that the job names, marked by three free tabs or more.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedFace {
    pub name: String,
    pub tabs: Vec<u8>,
}

impl Frame {
    /// Nothing on it at all.
    pub fn bare() -> Self {
        Self {
            stations: Vec::new(),
            plumb_lines: Vec::new(),
            backbone: None,
            adjuster_spacing_mm: 200.0,
        }
    }

    /// Two stations, two plumb lines and a backbone cord in one upright plane with this offset at
    /// the axle and this yaw.
    pub fn in_plane(offset_mm: f64, yaw_deg: f64) -> Self {
        let slope = yaw_deg.to_radians().tan();
        let on_plane = |x: f64, z: f64| V3::new(x, offset_mm + slope * x, z);
        let across = axis_from_angles(yaw_deg, 0.0);
        let station = |letter, x, z| Station {
            letter,
            left: on_plane(x, z) + across * 48.0,
            right: on_plane(x, z) - across * 48.0,
        };
        let line = |letter, x: f64, facing_deg| PlumbLine {
            facing_deg,
            ..PlumbLine::hung(letter, x, on_plane(x, 0.0).y)
        };
        Self {
            stations: vec![station(0, 420.0, 292.0), station(1, 660.0, 300.0)],
            plumb_lines: vec![line(0, -400.0, 0.0), line(1, 800.0, 180.0)],
            backbone: Some(Backbone {
                front: on_plane(464.0, 766.6),
                rear: on_plane(-40.0, 859.0),
                radius_mm: 0.6,
            }),
            ..Self::bare()
        }
    }
}

impl PlumbLine {
    /// The line's place at a height.
    pub fn at(&self, height_mm: f64) -> V3 {
        let up = height_mm - (self.flags_mm[0] + self.flags_mm[1]) / 2.0;
        let [x, y] = self.out_of_plumb_deg.map(|deg| up * deg.to_radians().tan());
        V3::new(self.x_mm + x, self.y_mm + y, height_mm)
    }

    /// A line with the usual heights.
    pub fn hung(letter: u8, x_mm: f64, y_mm: f64) -> Self {
        Self {
            letter,
            x_mm,
            y_mm,
            top_mm: 620.0,
            bob_mm: 60.0,
            flags_mm: [520.0, 170.0],
            facing_deg: 0.0,
            radius_mm: 0.5,
            out_of_plumb_deg: [0.0; 2],
        }
    }
}

impl Default for Bike {
    /// A rear wheel a little out of true over a chain on the left: every figure differs from nought
    /// and from every other.
    fn default() -> Self {
        let wheel = Wheel {
            centre: V3::new(0.0, 1.8, 330.0),
            yaw_deg: 0.3,
            lean_deg: 0.15,
            rim_radius_mm: 243.0,
            tab_radius_mm: 230.0,
            rim_width_mm: 60.0,
            runout_mm: 0.0,
            runout_phase_deg: 40.0,
            mark_deg: 0.0,
            further_places: Vec::new(),
            spindle_ends_mm: [118.0, -118.0],
        };
        let mut bike = Self {
            chain_side: Side::Left,
            wheel,
            rear_sprocket: RearSprocket {
                face_mm: 72.0,
                tab_radius_mm: 82.0,
                radius_mm: 104.0,
                wobble_mm: 0.0,
            },
            gearbox: GearboxSprocket {
                centre: V3::new(560.0, 0.0, 320.0),
                yaw_deg: 0.2,
                lean_deg: -0.1,
                tab_radius_mm: 30.0,
                radius_mm: 45.0,
                tabs_off_mm: [0.0; 2],
            },
            hub_face: None,
            frame: Frame { plumb_lines: vec![PlumbLine::hung(0, -400.0, 0.6)], ..Frame::bare() },
            front_wheel: None,
            free_tabs: Vec::new(),
            faces: Vec::new(),
        };
        bike.set_chain_line(1.1);
        bike
    }
}

impl Bike {
    /// The same bike with everything that can be marked: run-out and further rim places, hub face,
    /// frame, stations, backbone.
    pub fn full() -> Self {
        let mut bike = Self::default();
        bike.wheel.runout_mm = 0.4;
        bike.wheel.further_places = (0..6).map(|i| (33 + i, 30.0 + 60.0 * f64::from(i))).collect();
        bike.hub_face = Some(HubFace {
            side: Side::Right,
            face_mm: 58.0,
            turns: true,
            tab_radius_mm: 66.0,
            tab_deg: 60.0,
        });
        bike.frame = Frame::in_plane(0.5, 0.06);
        bike
    }

    /// Unit vector along the wheel's axis, outboard on the chain's side.
    pub fn chain_outward(&self) -> V3 {
        self.wheel.axis() * self.chain_side.sign()
    }

    /// Centre of the rear sprocket's outside face (its mean over a turn of the wheel).
    pub fn rear_sprocket_centre(&self) -> V3 {
        self.wheel.centre + self.chain_outward() * self.rear_sprocket.face_mm
    }

    /// Puts the gearbox sprocket so that its face's centre lies this far outboard of the rear
    /// sprocket's plane, along the axis.
    pub fn set_chain_line(&mut self, offset_mm: f64) {
        let out = self.chain_outward();
        let gearbox = &mut self.gearbox.centre;
        let present = (*gearbox - (self.wheel.centre + out * self.rear_sprocket.face_mm)).dot(&out);
        gearbox.y += (offset_mm - present) / out.y;
    }

    /// The same bike with its chain on this side and a brake drum, if any, on the other; frame and
    /// wheel stay as they are.
    pub fn with_chain_on(mut self, side: Side, chain_line_mm: f64) -> Self {
        self.chain_side = side;
        if let Some(face) = &mut self.hub_face {
            face.side = side.other();
        }
        self.set_chain_line(chain_line_mm);
        self
    }
}
