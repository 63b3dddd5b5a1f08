//! The ring of standpoints: the bike from above, front at the top, a dot for each photo and an open
//! one where the next is wanted.

use maud::{Markup, html};

use super::tally::{BEARINGS, LOW_DEG, Wanted};
use crate::glance::stand::Stand;

/// The drawing is as wide as a phone's page, so that its letters are as large as they say, px.
const WIDE: f64 = 360.0;
const HIGH: f64 = 232.0;
const CENTRE: [f64; 2] = [WIDE / 2.0, HIGH / 2.0];
/// Radii of the ring, and of that for photos taken from low down, which lie further out.
const RADIUS: f64 = 82.0;
const LOW_RADIUS: f64 = 102.0;

fn place(bearing_deg: f64, low: bool) -> [f64; 2] {
    let radius = if low { LOW_RADIUS } else { RADIUS };
    let (sin, cos) = bearing_deg.to_radians().sin_cos();
    [CENTRE[0] - radius * sin, CENTRE[1] - radius * cos].map(|x| (10.0 * x).round() / 10.0)
}

/// The ring with the standpoints taken and the next one; `words` say the same.
pub fn ring(standpoints: &[Stand], next: Option<Wanted>, words: &str) -> Markup {
    let [x, y] = CENTRE;
    let sides = [1.0, -1.0];
    let wanted = sides
        .iter()
        .flat_map(|side| BEARINGS.iter().map(move |bearing| place(side * bearing, false)));
    html! {
        svg.ring viewBox={ "0 0 " (WIDE) " " (HIGH) } role="img" aria-label=(words) {
            circle.track cx=(x) cy=(y) r=(RADIUS) {}
            // The cord, the frame with the gearbox, and the rear wheel.
            line.cord x1=(x) y1=(y - 66.0) x2=(x) y2=(y + 66.0) {}
            rect.bike x=(x - 17.0) y=(y - 58.0) width="34" height="30" rx="6" {}
            path.bike d={ "M" (x - 11.0) " " (y - 28.0) " L" (x - 15.0) " " (y + 34.0) " M" (x + 11.0) " " (y - 28.0) " L" (x + 15.0) " " (y + 34.0) } {}
            rect.wheel x=(x - 7.0) y=(y - 4.0) width="14" height="68" rx="7" {}
            @for [x, y] in wanted { circle.place cx=(x) cy=(y) r="5" {} }
            @for stand in standpoints {
                @let [x, y] = place(stand.bearing_deg, stand.elevation_deg < LOW_DEG);
                circle.taken cx=(x) cy=(y) r="9" {}
            }
            @if let Some(next) = next {
                @let [x, y] = place(next.bearing_deg, next.low);
                circle.next cx=(x) cy=(y) r="13" {}
            }
            text x=(x) y="13" text-anchor="middle" { "front" }
            text x="8" y=(y + 6.0) { "left" }
            text x=(WIDE - 8.0) y=(y + 6.0) text-anchor="end" { "right" }
        }
    }
}
