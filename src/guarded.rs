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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_a_finding_that_says_what_was_lost_and_where_to_report_it() {
        let finding =
            guarded("a.jpg is not used.", || assert_eq!(1, 2, "one is not two")).unwrap_err();
        assert!(
            finding.what.starts_with("a.jpg is not used.")
                && finding.what.contains("one is not two"),
            "{finding:?}"
        );
        assert!(finding.advice.contains("report"), "{finding:?}");
        assert_eq!(guarded("", || 7).ok(), Some(7));
    }
}
