//! The report of an evening: written into its folder as the command measure does, and kept to be
//! shown on the phone.

use std::collections::BTreeMap;
use std::sync::{Arc, PoisonError};

use crate::photo::job_photos::REPORT_FOLDER;
use crate::pictures::{drawn, or_result_alone};
use crate::pipeline;
use crate::report::write::{Identity, JobPlaces, prepare};
use crate::text::units::Show;

use super::refusal::Refusal;
use super::state::Bench;

/// Writes the report of what was measured last.
pub fn make(bench: &Bench) -> Result<(), Refusal> {
    let (folder, result) = {
        let state = bench.read();
        let result = state.last_result.clone().filter(|_| state.is_measured());
        (state.evening.folder.clone(), result)
    };
    let wait = || {
        Refusal::new(
            409,
            "The figures are not ready yet.",
            "Wait until they are on the page, then press again.",
        )
    };
    let result = result.ok_or_else(wait)?;
    let refused = |error: &dyn std::fmt::Display| {
        // Folders are named by their paths there; the phone has no business with those.
        let text = error.to_string().replace(&folder.display().to_string(), "the job folder");
        Refusal::new(409, "The report was not written.", text)
    };
    let listed = pipeline::open(&folder).map_err(|error| refused(&error))?;
    if listed.id != result.document.job.id {
        return Err(Refusal::new(
            409,
            "The photos or job.toml on the computer have changed since they were measured.",
            "Take or remove a photo, and the figures are worked out again.",
        ));
    }
    let identity = Identity::new(listed.id.clone(), &pipeline::listed_photos(&listed.photos));
    let places = JobPlaces::new(&folder, listed.photos.all().map(|photo| photo.path.as_path()));
    let destination =
        prepare(&folder.join(REPORT_FOLDER), identity, places).map_err(|error| refused(&error))?;
    let files = {
        let mut measured = result.measured.lock().unwrap_or_else(PoisonError::into_inner);
        or_result_alone(&mut measured, |measured| drawn(measured, Show::Mm, false)).1
    };
    destination.write(&files).map_err(|error| refused(&error))?;
    let files: BTreeMap<String, Vec<u8>> =
        files.into_iter().map(|file| (file.path, file.bytes)).collect();
    bench.change(|state| {
        // Something else may have been measured meanwhile.
        if state.last_result.as_ref().is_some_and(|last| Arc::ptr_eq(last, &result)) {
            state.report = Some(Arc::new(files));
        }
    });
    Ok(())
}

/// Whether each step of a plan is ticked, in its order.
pub type Ticks = Vec<bool>;

/// A report's page as it is shown on the phone: larger for thumbs, with the steps' ticks, and with
/// the way back to the bench page at the relative address `back`. The file itself stays as it is.
pub fn on_the_phone(page: &str, back: &str, ticks: &Ticks) -> String {
    const BOX: &str = "<input type=\"checkbox\">";
    let mut parts = page.split(BOX);
    let mut shown = parts.next().unwrap_or_default().to_owned();
    for (idx, part) in parts.enumerate() {
        let is_ticked = ticks.get(idx).copied().unwrap_or(false);
        shown.push_str(if is_ticked { "<input type=\"checkbox\" checked>" } else { BOX });
        shown.push_str(part);
    }
    let link =
        format!("<body><nav class=\"back\"><a href=\"{back}\">Back to the bench page</a></nav>");
    shown
        .replacen("</head>", &format!("<style>{}</style></head>", include_str!("report.css")), 1)
        .replacen("<body>", &link, 1)
}

/// The report's files by name, its page as the phone shows it.
pub fn file(bench: &Bench, name: &str) -> Option<Vec<u8>> {
    let (files, ticks): (_, Ticks) = {
        let state = bench.read();
        let plan = state.last_result.iter().flat_map(|result| &result.document.plan);
        (state.report.clone()?, plan.map(|step| state.is_ticked(step)).collect())
    };
    let bytes = files.get(name)?;
    if name != "index.html" {
        return Some(bytes.clone());
    }
    let page = String::from_utf8_lossy(bytes);
    Some(on_the_phone(&page, "../", &ticks).into_bytes())
}
