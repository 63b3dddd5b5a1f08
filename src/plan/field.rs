//! JSON pointers of the figures that the plan works with.

pub const WHEEL_OFFSET: &str = "/wheel/offset";
pub const WHEEL_OFFSET_AT_MARK: &str = "/wheel/offset_at_mark";
pub const WHEEL_YAW: &str = "/wheel/yaw";
pub const WHEEL_YAW_FROM_OFFSETS: &str = "/wheel/yaw_from_offsets";
pub const WHEEL_LEAN: &str = "/wheel/lean";
pub const FRAME_OFFSET: &str = "/frame/offset";
pub const FRAME_YAW: &str = "/frame/yaw";
pub const WHEEL_IN_FRAME_OFFSET: &str = "/wheel_in_frame/offset";
pub const WHEEL_IN_FRAME_YAW: &str = "/wheel_in_frame/yaw";
pub const RUNOUT: &str = "/runout/lateral";
pub const RIM_FROM_FACE: &str = "/hub/rim_from_face";
pub const CENTRES: &str = "/chain/centres";
pub const CHAIN_AT_GEARBOX: &str = "/chain/offset_at_gearbox";
pub const CHAIN_AT_REAR: &str = "/chain/offset_at_rear";
pub const CHAIN_YAW: &str = "/chain/yaw";
pub const CHAIN_LEAN: &str = "/chain/lean";
pub const SPINDLE_HEIGHTS: &str = "/spindle/height_difference";
pub const SPINDLE_LEFT: &str = "/spindle/left";
pub const SPINDLE_RIGHT: &str = "/spindle/right";

/// What a figure is called in a sentence.
pub fn words(field: &str) -> String {
    let known = match field {
        WHEEL_OFFSET => "the rim's offset from the cord",
        WHEEL_OFFSET_AT_MARK => "the rim's offset from the cord at the mark",
        WHEEL_YAW => "the wheel's yaw to the cord",
        WHEEL_YAW_FROM_OFFSETS => "the wheel's yaw as the rim offsets give it",
        WHEEL_LEAN => "the wheel's lean",
        FRAME_OFFSET => "the frame's offset from the cord",
        FRAME_YAW => "the frame's yaw to the cord",
        WHEEL_IN_FRAME_OFFSET => "the rim's offset in the frame",
        WHEEL_IN_FRAME_YAW => "the wheel's yaw in the frame",
        RUNOUT => "the rim's lateral run-out",
        RIM_FROM_FACE => "the rim's distance from the hub face",
        CHAIN_AT_GEARBOX => "the chain line at the gearbox",
        CHAIN_AT_REAR => "the chain line at the rear sprocket",
        CHAIN_YAW => "the gearbox's yaw to the rear sprocket",
        CHAIN_LEAN => "the gearbox's lean to the rear sprocket",
        SPINDLE_HEIGHTS => "the difference in height of the spindle's ends",
        other => return format!("the figure {other}"),
    };
    known.to_owned()
}

/// The rim offset's pointer for a rim figure's id.
pub fn rim_offset(id: &str) -> String {
    format!("/rim/{id}/offset")
}
