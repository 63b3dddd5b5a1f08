//! The photos for the report, from everything a measurement holds; and what is left of a report
//! that can't be drawn.

use rayon::prelude::*;

use crate::guarded::guarded;
use crate::pipeline::Measured;
use crate::report::html::{self, Overlay, PhotoPicture, picture};
use crate::report::result::RESULT_NAME;
use crate::report::text;
use crate::report::write::ReportFile;
use crate::text::units::Show;

/// One picture for each photo of a set-up that can be read, in order.
pub fn pictures(measured: &Measured) -> Vec<PhotoPicture> {
    let solution = measured.solution.as_ref();
    let photos: Vec<_> =
        measured.photos.iter().enumerate().filter(|(_, photo)| !photo.lens_only).collect();
    photos
        .into_par_iter()
        .filter_map(|(idx, photo)| {
            picture(
                &photo.file,
                photo.facts.as_ref()?,
                Overlay::of(&photo.sightings, solution, idx),
            )
        })
        .collect()
}

/// The report as text for the terminal, whole or the one screen that most people want, and its
/// files.
pub fn drawn(measured: &Measured, show: Show, all: bool) -> (String, Vec<ReportFile>) {
    let whole = text::report_all(&measured.document, show);
    let plain = anstream::adapter::strip_str(&whole).to_string();
    let text = if all { whole } else { text::report(&measured.document, show) };
    let mut files = html::files(&measured.document, &pictures(measured), show);
    files.push(ReportFile::new("report.txt", plain));
    (text, files)
}

/// What `draw` gives: the report as text, and its files. Should it make a mistake, the result
/// alone, with a finding that says so: the figures are there, and are not lost with a page.
pub fn or_result_alone(
    measured: &mut Measured,
    draw: impl FnOnce(&Measured) -> (String, Vec<ReportFile>),
) -> (String, Vec<ReportFile>) {
    let lost =
        format!("No text and no page could be made; the figures stand in {RESULT_NAME} alone.");
    guarded(&lost, || draw(measured)).unwrap_or_else(|mistake| {
        let text = format!("{} {}\n", mistake.what, mistake.advice);
        measured.document.findings.push(*mistake);
        (text, vec![ReportFile::new(RESULT_NAME, measured.document.to_json())])
    })
}
