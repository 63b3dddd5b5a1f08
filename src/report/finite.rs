//! Numbers that come with the figures must be finite, or the file could not be read again.

use super::result::ResultDocument;
use crate::bench::figures::Layout;
use crate::figure::facts::UpSource;
use crate::figure::table::Correlation;

/// Leaves out every place, lens coefficient or contribution that is no finite number (a failed
/// division far upstream, say). Figures are not touched here. Returns the names of what lost
/// something.
pub(crate) fn keep_finite(document: &mut ResultDocument) -> Vec<&'static str> {
    let mut lost = Vec::new();
    let mut note = |name: &'static str, before: usize, after: usize| {
        if after < before {
            lost.push(name);
        }
    };
    let finite = |p: &[f64; 3]| p.iter().all(|x| x.is_finite());

    let Layout { wheel_axis, axle, rear_sprocket, gearbox_sprocket, marks, lines, cameras, .. } =
        &mut document.layout;
    for place in [wheel_axis, axle, rear_sprocket, gearbox_sprocket] {
        let before = usize::from(place.is_some());
        *place = place.filter(finite);
        note("a part's place in the drawings", before, usize::from(place.is_some()));
    }
    let before = marks.len() + lines.len() + cameras.len();
    marks.retain(|mark| finite(&mark.at) && finite(&mark.normal));
    lines.retain(|(_, a, b)| finite(a) && finite(b));
    cameras.retain(|(_, at)| finite(at));
    note("a place in the drawings", before, marks.len() + lines.len() + cameras.len());

    for photo in &mut document.photos {
        let before = usize::from(photo.position.is_some());
        photo.position = photo.position.filter(finite);
        note("a camera's position", before, usize::from(photo.position.is_some()));
    }
    let before = document.camera.len();
    document.camera.retain(|c| [c.k1, c.k2, c.p1, c.p2, c.k3].iter().all(|x| x.is_finite()));
    note("a lens", before, document.camera.len());

    let before = document.measured.up.sources.len();
    let is_source = |s: &UpSource| {
        [s.sigma_deg, s.differs_across_deg, s.differs_along_deg].iter().all(|x| x.is_finite())
    };
    document.measured.up.sources.retain(is_source);
    note("what was taken for upright", before, document.measured.up.sources.len());

    let before = document.budget.len() + document.scale_sensitivity.len();
    document.budget.retain(|entry| entry.u.is_finite());
    document.scale_sensitivity.retain(|_, per_percent| per_percent.is_finite());
    note(
        "a contribution to the uncertainty",
        before,
        document.budget.len() + document.scale_sensitivity.len(),
    );

    if !document.correlation.matrix.iter().flatten().all(|x| x.is_finite()) {
        document.correlation = Correlation::default();
        note("the correlation of the figures", 1, 0);
    }
    lost.dedup();
    lost
}
