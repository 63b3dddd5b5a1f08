//! One figure over the evenings, drawn: its values with their uncertainty, and the limits as a
//! band.

use maud::{Markup, html};

use crate::measurement::Measurement;
use crate::text::units::{Kind, Show, Shown};

const WIDE: f64 = 340.0;
const HIGH: f64 = 120.0;
/// Room for the words at the side and below.
const LEFT: f64 = 20.0;
const BELOW: f64 = 28.0;

/// The drawing. `points` holds each evening's number and value, in order.
pub fn trend(points: &[(u32, Measurement)], nominal: f64, tolerance: f64, kind: Kind) -> Markup {
    let reach = |(_, m): &(u32, Measurement)| (m.value - nominal).abs() + m.u;
    let most = points.iter().map(reach).fold(tolerance, f64::max) * 1.1;
    let middle = (HIGH - BELOW) / 2.0;
    let height = |value: f64| round(middle - (value - nominal) / most * middle);
    let step = (WIDE - 2.0 * LEFT) / (points.len().max(2) - 1) as f64;
    let across = |idx: usize| round(LEFT + step * idx as f64);
    let path: Vec<String> = points
        .iter()
        .enumerate()
        .map(|(idx, (_, m))| format!("{},{}", across(idx), height(m.value)))
        .collect();
    let words: Vec<String> = points
        .iter()
        .map(|(evening, m)| {
            let shown = Shown::of(m, kind, Show::Mm);
            format!("evening {evening}: {} ± {} {}", shown.signed(), shown.u, shown.unit)
        })
        .collect();
    html! {
        svg.trend viewBox={ "0 0 " (WIDE) " " (HIGH) } role="img" aria-label=(words.join(", ")) {
            rect.band x="0" y=(height(nominal + tolerance)) width=(WIDE) height=(round(2.0 * tolerance / most * middle)) {}
            line.nought x1="0" x2=(WIDE) y1=(height(nominal)) y2=(height(nominal)) {}
            polyline.path points=(path.join(" ")) {}
            @for (idx, (evening, m)) in points.iter().enumerate() {
                line.reach x1=(across(idx)) x2=(across(idx)) y1=(height(m.value - m.u)) y2=(height(m.value + m.u)) {}
                circle.dot cx=(across(idx)) cy=(height(m.value)) r="5" {}
                text x=(across(idx)) y=(HIGH - 6.0) text-anchor="middle" { (evening) }
            }
        }
        p.kind { (words.join(", ")) }
    }
}

fn round(x: f64) -> f64 {
    (10.0 * x).round() / 10.0
}
