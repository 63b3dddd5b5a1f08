//! The commented `job.toml` that a new job folder is given.

/// Text of a new `job.toml`: valid as it is, and valid with every `#` directly before a setting
/// taken away.
pub const TEMPLATE: &str = r#"# What the photos can't tell. Everything here may be left out; a job without this file works too.
# To use a line, take the # directly in front of it away and put your own value in. Write decimals with a point and text
# in double quotes; the units are in the names. Left and right are the rider's. Where a "u" is asked for, give the amount
# that 95 of 100 readings would stay within.

schema = "sightcord-job/1"

[bike]
# How the report names the bike.
#name = "Dry build of the grass-track frame"
# The side of the chain. It is checked against the tabs.
#chain_side = "left"

[print]
# Lay a steel rule on the two check lines of a printed card. The one below the pattern is made to be 250 mm (375 on A3), the
# one at the left edge 160 mm (240 on A3). Printers are out by up to half a percent, and photos alone can't show it.
#measured_along_mm = 249.6
#measured_across_mm = 159.9
# By how much your reading of the rule may be out.
#measured_u_mm = 0.25
# Thickness of the paper with its glue: from the face to the print.
#paper_mm = 0.10
# The check line at the top of the tabs' pages, made to be 100 mm: printers feed upright and lengthwise pages a little differently.
#measured_tabs_mm = 99.9

# One card that was printed elsewhere, or measured on its own. Repeat for others.
#[[print.card]]
#number = 13
#measured_along_mm = 375.3
#measured_across_mm = 240.2
#measured_u_mm = 0.25
#paper_mm = 0.20

[bench]
# Whether the bench was levelled: "spirit level" where one was laid along and across and showed nothing. Without a plumb line in
# the photos nothing that leans is judged unless this, or a level's reading, is given.
#levelled = "spirit level"
# A level laid on the bench: along the cord (+ = front high) and across it (+ = left high). A plumb line in the photos is
# better and wins where the two disagree.
#level_along_deg = 0.05
#level_across_deg = -0.10
# By how much the level may be out; 0.2 unless you say better.
#level_u_deg = 0.05

[adjusters]
# How far the chain adjuster moves in one turn, and how far apart the two stand across the bike: the plan gives its moves in turns.
#thread_pitch_mm = 1.25
#spacing_mm = 220
# The end of the spindle you would rather move. Unless you say so, it is the one away from the chain.
#draw = "right"

[spacers]
# Where you can add or take away spacers to bring the sprockets into line: "hub" (moves the rim along), "sprocket" (packing
# behind the rear sprocket) or "gearbox" (a shim there).
#kind = "hub"

[sprockets]
# From each sprocket's outside face, where the tabs are, inward to the middle of the teeth. Both or neither: then the chain
# line is measured between the teeth and not between the faces.
#rear_face_to_tooth_centre_mm = 3.6
#gearbox_face_to_tooth_centre_mm = 4.1
# Teeth and chain pitch (12.7 for 1/2 inch, 15.875 for 5/8).
#rear_teeth = 46
#gearbox_teeth = 17
#chain_pitch_mm = 15.875

[hub]
# The side on which the brake drum's or hub's reference face lies, and whether that face turns with the wheel (a drum does,
# a brake plate does not).
#face_side = "right"
#face_turns = true
# How far outboard of that face the rim should stand; minus = inboard.
#target_mm = -28.0

[rim]
# Width over the rim's outside faces with a caliper: it shows a print that came out too small or too large.
#width_mm = 60.0
# Sideways run-out, peak to peak, with a dial gauge. Leave it out if tabs 33 to 38 are on the rim.
#lateral_tir_mm = 0.8

# What is assumed of workmanship and equipment, since no photo shows it: the amount that 95 of 100 stay within. Raise
# what was done in a hurry; lower only what you have checked.
[assumed]
# A tab, square to its face: paper and glue; not lying flat. A tab off the point that it marks: on the frame; on the
# spindle's ends. A flag off its line.
#paper_u_mm = 0.06
#flat_u_mm = 0.10
#place_u_mm = 0.6
#spindle_place_u_mm = 1.4
#flag_u_mm = 0.6
# A print that nobody measured, and the bow of a card.
#print_u_percent = 0.6
#card_bow_u_mm = 1.0
# A bench that nobody levelled; one on which a spirit level was laid; a plumb line.
#level_u_deg = 0.3
#levelled_u_deg = 0.1
#plumb_u_deg = 0.012
# The cord: each end between set-ups.
#cord_moved_u_mm = 0.2
# Riders on the cord: across, from both faces and from one; along their height, which counts as far as they lean.
#rider_u_mm = 0.2
#rider_one_face_u_mm = 0.3
#rider_height_u_mm = 1.0
# The cord's middle as light and shadow let it be seen.
#cord_light_u_mm = 0.06
# A plumb line's middle as light lets it be seen.
#line_light_u_mm = 0.15
# The gearbox sprocket's tabs off its centre.
#gearbox_centre_u_mm = 10.0
# The rim's run-out, peak to peak, where nobody measured it.
#rim_tir_mm = 0.5
# The lens from photo to photo: focal length and middle.
#focus_u_percent = 0.2
#lens_centre_u_px = 6.0

# A tab that is used for something else than what is printed on it, or that is backed or printed differently. Repeat for
# others. Roles: rim (place 0 is the marked place, 1 and up are further ones), front-rim, gearbox-sprocket, rear-sprocket,
# spindle-end, station (place "A" to "D"), plumb-flag (place "A upper", "A lower" ... "D lower"), backbone-flag (place
# "front" or "rear"), hub-face, cord-rider (one face of a rider on the datum cord; place numbers the riders), free.
#[[tab]]
#number = 49
#role = "rim"
#side = "left"
#place = 0
# Thickness of the plate or magnet that the tab is glued to.
#backing_mm = 2.0
# Side of the printed pattern, where it was printed at another size.
#side_mm = 15.0

# Free tabs move with the "frame" unless you say "wheel", "front-wheel" or "gearbox".
#[[tab]]
#number = 45
#moves_with = "frame"

# Any three tabs, or more, stuck to one flat face: an engine plate, a platform.
#[[face]]
#name = "engine plate"
#tabs = [45, 46, 47]

# How far off a figure may be, instead of the program's own limits: in mm for lengths, deg for angles. The names of the
# figures are those in result.json. Repeat for others.
#[[tolerance]]
#field = "/wheel/offset"
#mm = 1.5
#source = "my own choice"

#[[tolerance]]
#field = "/wheel/yaw"
#deg = 0.15
#source = "my own choice"

# A value that you measured by hand. It is shown next to the photographed one and never mixed with it. Repeat for others.
#[[hand]]
#field = "/chain/offset_at_gearbox"
#value_mm = 2.0
#u_mm = 0.5
#tool = "straight-edge and feeler gauges"

#[[hand]]
#field = "/wheel/lean"
#value_deg = 0.1
#u_deg = 0.2
#tool = "digital angle gauge"

# Which photos belong together, where the folders don't show it or show it wrongly: within a set-up nothing moved. Without this
# the program sorts photos that are in no folder by the wheel's position in them; "measure --keep-grouping" writes here what
# it found. "0-camera" is for photos of cards alone. Repeat for others.
#[[setup]]
#name = "1-mark-forward"
#photos = ["IMG_0001.jpg", "IMG_0004.jpg"]
"#;
