//! What an archive holds beside photos and settings: made from the result alone, so that it can be
//! made again and compared.

use crate::report::program::Program;
use crate::report::result::SCHEMA;
use crate::report::{ResultDocument, html, text};
use crate::text::units::Show;

use super::readme::{self, Privacy};
use super::tag_files::Entry;
use super::{layout, tag_files};

/// The one folder in the ZIP; it hangs on the job alone, not on the file's name.
pub(super) fn top_folder(job_id: &str) -> String {
    format!("{}-{}", Program::this().name, job_id.get(..12).unwrap_or(job_id))
}

/// The texts beside the payload, by their paths in the bag: made from what is sealed alone, so that
/// they can be made again and compared.
pub(super) fn bag_texts(
    document: &ResultDocument,
    n_photos: usize,
    privacy: &Privacy,
    payload: &[Entry],
) -> Vec<(String, Vec<u8>)> {
    let readme = readme::text(&document.program, &document.job.id, n_photos, privacy);
    tag_files::tag_files(
        payload,
        &facts(document, n_photos, privacy),
        vec![(layout::README.to_owned(), readme.into_bytes())],
    )
}

/// Under this label the bag says which photos are copies without their place.
pub(super) const CLEANED_PHOTOS: &str = "Photos-Changed-To-Remove-Place";

/// Our own facts for bag-info.txt.
fn facts(
    document: &ResultDocument,
    n_photos: usize,
    privacy: &Privacy,
) -> Vec<(&'static str, String)> {
    let Program { name, version, .. } = &document.program;
    let names =
        |photos: &[String]| if photos.is_empty() { "none".to_owned() } else { photos.join(", ") };
    vec![
        ("Sealed-By", format!("{name} {version}")),
        ("External-Identifier", document.job.id.clone()),
        (
            "External-Description",
            "A motorcycle's rear wheel, chain line and frame, measured from photos".to_owned(),
        ),
        ("Result-Form", SCHEMA.to_owned()),
        ("Photos", n_photos.to_string()),
        ("Photos-With-Place", names(&privacy.with_place)),
        ("Photos-With-Serial-Number", names(&privacy.with_serial)),
        (CLEANED_PHOTOS, names(&privacy.cleaned)),
    ]
}

/// The report's files as the archive holds them, by their paths in the bag: made from the result
/// alone, so that they can be made again and compared.
///
/// The small pictures of photos that the report in the job's folder has are left out: the photos
/// themselves are in the archive.
pub fn report_files(document: &ResultDocument) -> Vec<(String, Vec<u8>)> {
    let plain = anstream::adapter::strip_str(&text::report_all(document, Show::Mm)).to_string();
    let page = html::files(document, &[], Show::Mm)
        .into_iter()
        .map(|file| (format!("{}{}", layout::REPORT, file.path), file.bytes));
    page.chain([(layout::REPORT_TEXT.to_owned(), plain.into_bytes())]).collect()
}
