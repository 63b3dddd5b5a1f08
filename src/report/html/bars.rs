//! A figure as a bar: what it is, how far it may be off, and how far it may go.

use crate::figure::sense::Sense;
use crate::measurement::Measurement;

/// Width and height of a bar's sheet; the page scales it.
const WIDTH: f64 = 200.0;
const HEIGHT: f64 = 22.0;

/// What a bar shows. Values in the figure's own unit.
pub struct Bar<'a> {
    pub measured: &'a Measurement,
    /// The value aimed at and the greatest allowed distance from it.
    pub limit: Option<(f64, f64)>,
    /// The value that is no departure, where no limit names one: 0, but 1 for a ratio.
    pub nought: f64,
    /// Whether + is drawn to the left, as it lies on the bike.
    pub plus_is_left: bool,
}

/// Whether a figure's + points to the reader's left on a bike seen from behind; for those without a
/// side, + is to the right.
pub fn plus_is_left(sense: Sense, chain_on_left: bool) -> bool {
    match sense {
        Sense::Sideways | Sense::Yaw | Sense::Lean | Sense::LeftHigh => true,
        Sense::Outboard => chain_on_left,
        _ => false,
    }
}

/// Whether a bar shows anything: a size without a limit, such as a distance, has nothing to be
/// shown against.
pub fn is_worth_a_bar(sense: Sense, limit: Option<(f64, f64)>) -> bool {
    limit.is_some() || !matches!(sense, Sense::Size | Sense::OwnSide | Sense::RimOutboard)
}

impl Bar<'_> {
    /// The bar as SVG: the allowed range as a band between two ticks, the value as a dot with the
    /// reach of its uncertainty. Hidden from screen readers: the words next
    /// to it say the same.
    pub fn svg(&self) -> String {
        let Measurement { value, u, .. } = *self.measured;
        let (nominal, tolerance) = self.limit.unwrap_or((self.nought, 0.0));
        // The band takes at most two thirds, and the whole uncertainty has room.
        let reach =
            (1.5 * tolerance).max((value - nominal).abs() + u).max(f64::MIN_POSITIVE) * 1.06;
        let sign = if self.plus_is_left { -1.0 } else { 1.0 };
        let at = |x: f64| {
            let place = WIDTH / 2.0 * (1.0 + sign * (x - nominal) / reach);
            if place.is_finite() {
                (place.clamp(0.0, WIDTH) * 10.0).round() / 10.0
            } else {
                WIDTH / 2.0
            }
        };
        let middle = HEIGHT / 2.0;
        let mut svg =
            format!(r#"<svg class="bar" viewBox="0 0 {WIDTH} {HEIGHT}" aria-hidden="true">"#);
        if self.limit.is_some() {
            let (a, b) = (at(nominal - tolerance), at(nominal + tolerance));
            let (left, width) = (a.min(b), ((a - b).abs() * 10.0).round() / 10.0);
            svg.push_str(&format!(
                r#"<rect class="band" x="{left}" y="3" width="{width}" height="{}"/>"#,
                HEIGHT - 6.0
            ));
            for x in [a, b] {
                svg.push_str(&format!(
                    r#"<line class="tick" x1="{x}" y1="1" x2="{x}" y2="{}"/>"#,
                    HEIGHT - 1.0
                ));
            }
        }
        let centre = at(nominal);
        svg.push_str(&format!(
            r#"<line class="nought" x1="{centre}" y1="0" x2="{centre}" y2="{HEIGHT}"/>"#
        ));
        let (a, b, dot) = (at(value - u), at(value + u), at(value));
        svg.push_str(&format!(
            r#"<line class="reach" x1="{a}" y1="{middle}" x2="{b}" y2="{middle}"/>"#
        ));
        for x in [a, b] {
            svg.push_str(&format!(
                r#"<line class="reach" x1="{x}" y1="{}" x2="{x}" y2="{}"/>"#,
                middle - 4.0,
                middle + 4.0
            ));
        }
        svg.push_str(&format!(r#"<circle class="dot" cx="{dot}" cy="{middle}" r="4"/></svg>"#));
        svg
    }
}
