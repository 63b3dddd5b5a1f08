//! Results compared with the truth.

use std::collections::BTreeMap;
use std::fmt;
use std::path::Path;

use sightcord::bench::Figures;
use sightcord::figure::Figure;
use sightcord::measurement::Measurement;
use sightcord::report::ResultDocument;

use super::TruthScene;
use super::expected::Expected;
use super::solving::by_pointer;

/// A measured figure and its true value.
#[derive(Clone, Debug)]
pub struct Compared {
    pub pointer: String,
    pub measured: Measurement,
    pub truth: f64,
}

impl Compared {
    pub fn error(&self) -> f64 {
        (self.measured.value - self.truth).abs()
    }

    /// The error in units of U.
    pub fn ratio(&self) -> f64 {
        self.error() / self.measured.u
    }
}

impl fmt::Display for Compared {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let Measurement { value, u, quality } = self.measured;
        let (pointer, truth, ratio) = (&self.pointer, self.truth, self.ratio());
        write!(f, "{pointer}: {value:.4} ± {u:.4}, true {truth:.4} ({ratio:.1} U, {quality:?})")
    }
}

/// Every figure of a result that was measured and has a true value, by pointer.
pub fn compared(document: &ResultDocument, expected: &Expected) -> Vec<Compared> {
    // Where the frame's direction is not known it is taken to be the cord's: the wheel's offset in the
    // frame is then by definition another figure.
    let frame_lies_along_cord = document.figure(&Figure::FrameYaw).is_none();
    let compare = |(pointer, &truth): (&String, &f64)| {
        let figure = Figure::at(pointer);
        if frame_lies_along_cord && figure == Figure::WheelInFrameOffset {
            return None;
        }
        let measured = document.figure(&figure)?;
        Some(Compared { pointer: pointer.clone(), measured, truth })
    };
    expected.iter().filter_map(compare).collect()
}

/// The true figures of a photographed set or a rendered job.
pub fn expected_of(folder: &Path) -> BTreeMap<String, f64> {
    let text = std::fs::read_to_string(folder.join("expected.json")).expect("expected.json");
    serde_json::from_str(&text).expect("figures by JSON pointer")
}

/// Every figure that is given lies within `factor` U of the truth.
pub fn assert_honest(figures: &Figures, truth: &TruthScene, factor: f64) {
    let expected = truth.expected();
    for (pointer, measured) in by_pointer(figures) {
        let Some(&truth) = expected.get(&pointer) else { continue };
        let figure = Compared { pointer, measured, truth };
        let ids: Vec<&str> = figures.findings.iter().map(|finding| finding.id.as_str()).collect();
        assert!(figure.error() <= factor * measured.u, "{figure}; {ids:?}");
    }
}
