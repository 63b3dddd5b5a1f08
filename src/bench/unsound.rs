//! What is wrong with a scene as a whole, so that no figure of it may be given, or not all.

use crate::finding::Finding;
use crate::scene::Solution;

/// Why no figure may be given, where that is so.
pub fn finding(solution: &Solution) -> Option<Finding> {
    (!solution.converged).then(not_settled)
}

fn not_settled() -> Finding {
    Finding::refused(
        "not-settled",
        "The photos contradict each other, so that no one arrangement of cards, tabs and lines fits them, and no figure is given.",
        "See that nothing moved while they were taken, that no tab is on another part than the job says, and that all cards are of one print; \
         leave out blurred photos, and measure again.",
    )
}

pub fn not_determined() -> Finding {
    Finding::refused(
        "not-determined",
        "The photos leave something undetermined, so no ± can be worked out and no figure is given.",
        "Take more photos from other sides, each with two cards or more in it.",
    )
}

pub fn partly_determined() -> Finding {
    Finding::warning(
        "partly-determined",
        "The photos leave something open: figures that depend on it are not given.",
        "Take more photos from other sides, each with two cards or more in it.",
    )
}
