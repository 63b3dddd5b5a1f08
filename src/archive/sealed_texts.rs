//! What an archive holds besides photos and settings: made from the result alone, so that it can be
//! made again and compared.

use crate::report::program::Program;
use crate::report::result::SCHEMA;
use crate::report::{ResultDocument, html, text};
use crate::text::units::Show;

use super::evenings::Within;
use super::readme::{self, Privacy};
use super::tag_files::Entry;
use super::{layout, tag_files};

/// The one folder in the ZIP; it depends on the job alone, not on the file's name.
pub(super) fn top_folder(job_id: &str) -> String {
    format!("{}-{}", Program::this().name, job_id.get(..12).unwrap_or(job_id))
}

/// One evening as it is sealed.
pub(super) struct SealedEvening {
    pub(super) within: Within,
    pub(super) document: ResultDocument,
}

/// The texts outside the payload, by their paths in the bag: made from what is sealed alone, so
/// that they can be made again and compared. The first evening's job gives the archive its number.
pub(super) fn bag_texts(
    evenings: &[SealedEvening],
    privacy: &Privacy,
    payload: &[Entry],
) -> Vec<(String, Vec<u8>)> {
    let Some(SealedEvening { document, .. }) = evenings.first() else { return Vec::new() };
    let n_photos = evenings.iter().map(|evening| evening.document.photos.len()).sum();
    let later: Vec<(u32, &str)> = evenings[1..]
        .iter()
        .map(|evening| (evening.within.number, evening.document.job.id.as_str()))
        .collect();
    let readme = readme::text(&document.program, &document.job.id, &later, n_photos, privacy);
    tag_files::tag_files(
        payload,
        &facts(document, &later, n_photos, privacy),
        vec![(layout::README.to_owned(), readme.into_bytes())],
    )
}

/// Under this label the bag says which photos are copies without their place.
pub(super) const CLEANED_PHOTOS: &str = "Photos-Changed-To-Remove-Place";

/// Our own facts for bag-info.txt.
fn facts(
    document: &ResultDocument,
    later: &[(u32, &str)],
    n_photos: usize,
    privacy: &Privacy,
) -> Vec<(&'static str, String)> {
    let Program { name, version, .. } = &document.program;
    let names =
        |photos: &[String]| if photos.is_empty() { "none".to_owned() } else { photos.join(", ") };
    let mut facts = vec![
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
    ];
    if !later.is_empty() {
        let numbers: Vec<String> = later.iter().map(|(number, _)| number.to_string()).collect();
        facts.push(("Later-Evenings", numbers.join(", ")));
    }
    facts
}

/// The report's files as the archive holds them, by their paths in the bag: made from the result
/// alone, so that they can be made again and compared.
///
/// The small pictures of photos that the report in the job's folder has are left out: the photos
/// themselves are in the archive.
pub fn report_files(document: &ResultDocument, within: &Within) -> Vec<(String, Vec<u8>)> {
    let plain = anstream::adapter::strip_str(&text::report_all(document, Show::Mm)).to_string();
    let page = html::files(document, &[], Show::Mm)
        .into_iter()
        .map(|file| (format!("{}{}", within.report(), file.path), file.bytes));
    page.chain([(within.report_text(), plain.into_bytes())]).collect()
}
