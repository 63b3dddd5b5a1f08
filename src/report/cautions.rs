//! What to mind whatever the figures say. Printed with every plan and every report.

/// What can hurt, in one line, before any step.
pub const IN_ONE_LINE: &str =
    "Prop the bike on its own, take the chain off, turn the wheel by hand.";

/// What a report is not.
pub const NO_CERTIFICATE: &str = "A measurement, not a certificate of roadworthiness: local rules apply, and work that the law leaves to licensed workshops stays theirs.";

/// In the order in which they matter at the bench. Facts of the trade: common practice, no source.
pub const CAUTIONS: [&str; 8] = [
    "Prop the bike independently of the clamp or stand that holds it, so that it can't fall when one of them lets go.",
    "Take the chain off, or keep fingers well clear of chain and sprockets, whenever the wheel is turned.",
    "Never run the engine for this: every turn of the wheel is made by hand.",
    "After moving the wheel, tighten the spindle nuts to the maker's figure, and fit new split pins and locking tabs.",
    "After moving the wheel, check the brake rod or cable, the torque arm and the chain's slack again before riding.",
    "Have spoke tension and the rim's truth checked by a wheel builder whenever spokes were turned.",
    "This is a measurement, not a certificate of roadworthiness: it shows nothing of cracks, bearings, spokes or brakes.",
    "Local rules on repair and inspection apply, and what they leave to licensed workshops stays theirs, whatever this report says.",
];
