//! The report as a page: one self-contained file that is read on a phone, printed, and filed with
//! the frame number.

mod bars;
mod details;
mod drawing;
mod figures;
mod flat;
pub mod letters;
mod names;
mod page;
mod photos;
mod plan;
mod reduce;
mod since;

pub use drawing::{Bike, DRAWING_CSS, Drawing, above, behind, side};
pub use flat::flat_card;
pub use names::MAP_LETTERS;
pub use page::{PAGE_CSS, page, plan_page};
pub use photos::{Overlay, PhotoPicture, RESIDUAL_FACTOR, name_digits, plain_name};
pub use plan::in_capitals;
pub use reduce::{named_picture, picture};
pub use since::since_page;

use super::result::{RESULT_NAME, ResultDocument};
use super::write::ReportFile;
use crate::text::units::Show;

/// All files of a report: the result, the page, the drawings and the photos.
pub fn files(document: &ResultDocument, pictures: &[PhotoPicture], show: Show) -> Vec<ReportFile> {
    let result = ReportFile::new(RESULT_NAME, document.to_json());
    let document = &*document.visible();
    let mut files = vec![result, ReportFile::new("index.html", page(document, pictures, show))];
    files.extend(
        views(document, show)
            .into_iter()
            .map(|(name, view)| ReportFile::new(format!("views/{name}.svg"), view.file())),
    );
    files.extend(photos::files(pictures));
    files
}

/// The drawings of the scene with the names of their files; none where nothing of the scene is
/// known.
pub fn views(document: &ResultDocument, show: Show) -> Vec<(&'static str, Drawing)> {
    let Some(bike) = bike_of(document) else { return Vec::new() };
    vec![("above", above(&bike, show)), ("behind", behind(&bike, show)), ("side", side(&bike))]
}

/// What the drawings show; None where nothing of the scene is known.
fn bike_of(document: &ResultDocument) -> Option<Bike<'_>> {
    let layout = &document.layout;
    (layout.axle.is_some() || !layout.marks.is_empty()).then(|| Bike::new(document))
}
