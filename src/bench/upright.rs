//! What shows upright, and what to report where nothing does.

use nalgebra::Matrix2;

use crate::figure::Figure;
use crate::figure::facts::UpFrom;
use crate::figure::part::Letter;
use crate::finding::Finding;
use crate::scene::{Solution, State};
use crate::sightings::StringKind;

use super::ground::plumb_lines;
use super::settings::BenchSettings;
use super::views::Views;

/// A line that is known worse than this, degrees (standard), shows upright no better than a bench
/// that nobody levelled.
const WORTH_LITTLE: f64 = 0.15;
/// Images of one line that must agree: a plane through each camera; two planes always meet in a
/// line, the third confirms it.
pub const LEAST_IMAGES: usize = 3;

/// Whether so many images of a line, or its flags in so many photos each, confirm it.
pub fn is_line_confirmed(images: usize, photos_of_flags: &[usize]) -> bool {
    images >= LEAST_IMAGES || photos_of_flags.iter().filter(|photos| **photos >= 2).count() >= 2
}

/// Why a plumb line does not show upright, if it does not. `spread` is the covariance of its
/// slopes.
pub fn undetermined(
    solution: &Solution,
    views: &Views,
    line: usize,
    spread: &Matrix2<f64>,
) -> Option<Finding> {
    let (images, flags) = views.of_line(solution, line);
    // Two flags, each from two photos, bear each other out as images do.
    let known = (0..2).all(|i| spread[(i, i)] < WORTH_LITTLE.to_radians().powi(2));
    if known && is_line_confirmed(images, &flags) {
        return None;
    }
    let StringKind::Plumb(letter) = solution.state.lines[line].kind else { return None };
    let letter = Letter::of(letter);
    let seen = match images {
        0 => "the line itself in none; three are needed".to_owned(),
        1 => "the line itself in one photo only; three are needed".to_owned(),
        n if n < LEAST_IMAGES => format!("the line itself in {n} photos only; three are needed"),
        n => format!("the {n} photos that show the line itself disagree about it"),
    };
    Some(
        Finding::warning(
            "plumb-line-not-read",
            format!(
                "Plumb line {letter} does not show upright: a flag of it was read, but {seen}."
            ),
            "Take three photos or more, from both sides, in which the line is sharp and in front of a plain background; a white or black line \
             1 mm thick is seen best.",
        )
        .about(Figure::PlumbOffset(letter)),
    )
}

/// Whether a line that does not show upright was seen often enough to: then its images contradict
/// each other.
pub fn is_contradicted(solution: &Solution, views: &Views, line: usize) -> bool {
    views.of_line(solution, line).0 >= LEAST_IMAGES
}

/// What to report where no plumb line shows upright.
pub fn findings(from: UpFrom, state: &State, settings: &BenchSettings) -> Vec<Finding> {
    let mut findings = Vec::new();
    if from == UpFrom::PlumbLine {
        return findings;
    }
    if plumb_lines(state).is_empty() {
        findings.push(
            Finding::note(
                "no-plumb-line",
                "No flag of a plumb line (21 to 28) was read in any photo, so no plumb line shows upright or the frame's middle.",
                "Hang a plumb line with flags 21 and 22, and take photos in which one of them and a stretch of the line are sharp.",
            )
            .about(Figure::PlumbOffset(Letter::of(0))),
        );
    }
    let u = 2.0 * settings.level_sigma;
    let finding = match from {
        UpFrom::SpiritLevel => Finding::note(
            "up-from-bench",
            format!(
                "Upright is what the spirit level on the bench shows, within {u:.2} degrees: leans and offsets are relative to the bench."
            ),
            "Hang a plumb line in the photos where that is not good enough.",
        ),
        UpFrom::Bench => Finding::warning(
            "bench-level-unknown",
            format!(
                "No plumb line and no level shows what is upright: leans, rim offsets and wheel offsets are relative to the bench, \
                 which may be off level by {u:.1} degrees, and are not judged."
            ),
            "Hang a plumb line with flags 21 and 22 in the photos; or lay a spirit level on the bench along and across, pack it until the \
             bubble is centred, and write levelled = \"spirit level\" under [bench] in job.toml.",
        ),
        UpFrom::Reading | UpFrom::PlumbLine => return findings,
    };
    findings.push(finding.about(Figure::LevelAcross));
    findings
}
