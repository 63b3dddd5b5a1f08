//! A mistake of the program itself, caught where it would end the run: it becomes a finding with a
//! way to report it.

use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::finding::Finding;

/// Runs a step that should never panic. Should it all the same, the finding says what was lost
/// (`lost`, a sentence). What the step was working on must not be used again, except what it
/// returned.
pub fn guarded<T>(lost: &str, step: impl FnOnce() -> T) -> Result<T, Box<Finding>> {
    catch_unwind(AssertUnwindSafe(step)).map_err(|panic| {
        let words = panic.downcast_ref::<String>().map(String::as_str).or_else(|| panic.downcast_ref::<&str>().copied());
        Box::new(Finding::refused(
            "program-mistake",
            format!("{lost} The program made a mistake there ({}).", words.unwrap_or("without words")),
            "Please report it as the README says under \"When something is wrong\", with this text and, if you may give them away, the \
             photos. The other figures are not affected.",
        ))
    })
}
