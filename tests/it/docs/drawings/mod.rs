//! The drawings of docs/figures.md, one a group of figures. Front is at the top from above, the
//! bike's left at the left.

mod bench;
mod chain;
mod frame;
pub mod pen;
mod wheel;

/// File name without its ending, and the drawing.
pub fn all() -> Vec<(&'static str, String)> {
    vec![
        ("signs", wheel::signs()),
        ("rim", wheel::rim()),
        ("wheel", wheel::wheel()),
        ("two-positions", wheel::two_positions()),
        ("run-out", wheel::run_out()),
        ("hub", wheel::hub()),
        ("spindle", wheel::spindle()),
        ("track", wheel::track()),
        ("chain-at-gearbox", chain::at_gearbox()),
        ("chain-at-rear", chain::at_rear()),
        ("chain-angles", chain::angles()),
        ("frame", frame::frame()),
        ("wheel-in-frame", frame::wheel_in_frame()),
        ("plumb", frame::plumb()),
        ("stations", frame::stations()),
        ("backbone", frame::backbone()),
        ("faces", frame::faces()),
        ("level", bench::level()),
        ("cord", bench::cord()),
        ("print", bench::print()),
        ("lens", bench::lens()),
        ("verdict", bench::verdict()),
    ]
}
