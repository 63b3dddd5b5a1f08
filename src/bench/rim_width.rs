//! The rim's width as a check: it stays the same from set-up to set-up, and a caliper knows it
//! without any print.

use crate::finding::Finding;
use crate::say;
use crate::text::Amount;

use super::figures::Figures;
use super::nuisance::TORN;
use super::settings::BenchSettings;
use crate::figure::Figure;

/// A caliper over the rim's outside faces, across its width by hand, mm (k = 2; our estimate,
/// common practice, no source).
const CALIPER_U_MM: f64 = 0.2;

/// Two set-ups that photograph the same width differ by their noise alone; three standard
/// deviations of it are no chance any more.
const BEYOND_NOISE: f64 = 3.0;

/// Widths that differ by less than this come to nothing in any verdict, mm.
const LEAST_DIFFERENCE_MM: f64 = 0.3;

/// The rear rim's width over all set-ups that tell it: the mean, its U, the field of the first.
struct Width {
    mean: f64,
    u: f64,
    field: Figure,
}

/// Findings about widths that contradict each other or the caliper.
pub fn findings(figures: &Figures, settings: &BenchSettings, findings: &mut Vec<Finding>) {
    findings.extend(between_setups(figures));
    findings.extend(settings.rim_width_mm.zip(mean_width(figures)).and_then(
        |(caliper, photographed)| {
            let beyond = (photographed.mean - caliper).abs() > photographed.u.hypot(CALIPER_U_MM);
            beyond.then(|| {
                against_caliper(caliper, &photographed, settings.print_measured == [true, true])
            })
        },
    ));
}

/// What the caliper shows of an unmeasured print, where the two widths agree: by how many
/// percent the print may be out at most.
pub fn print_within_percent(figures: &Figures, settings: &BenchSettings) -> Option<f64> {
    let (caliper, photographed) = settings.rim_width_mm.zip(mean_width(figures))?;
    let difference = (photographed.mean - caliper).abs();
    let bound = photographed.u.hypot(CALIPER_U_MM);
    (difference <= bound).then(|| 100.0 * (difference + bound) / caliper)
}

fn measured_widths(figures: &Figures) -> Vec<(Figure, usize, f64)> {
    let widths = figures.measured.table.measured();
    let measured = widths.filter(|(figure, _)| matches!(figure, Figure::RimWidth(_))).filter_map(
        |(figure, width)| {
            let index = figures.joint.fields.iter().position(|known| known == figure)?;
            Some((figure.clone(), index, width.value))
        },
    );
    measured.collect()
}

fn mean_width(figures: &Figures) -> Option<Width> {
    let widths = measured_widths(figures);
    let n = widths.len() as f64;
    let pairs = widths.iter().flat_map(|a| widths.iter().map(move |b| (a.1, b.1)));
    let variance = pairs.map(|(a, b)| figures.joint.matrix[a][b]).sum::<f64>() / (n * n);
    let mean = widths.iter().map(|(.., width)| width).sum::<f64>() / n;
    let (field, ..) = widths.into_iter().next()?;
    Some(Width { mean, u: 2.0 * variance.max(0.0).sqrt(), field })
}

fn between_setups(figures: &Figures) -> Option<Finding> {
    let widths = measured_widths(figures);
    let (low, high) =
        widths.iter().fold(widths.first().zip(widths.first())?, |(low, high), width| {
            (if width.2 < low.2 { width } else { low }, if width.2 > high.2 { width } else { high })
        });
    let c = |a: usize, b: usize| figures.joint.matrix[a][b];
    // That a tab moved is what is looked for: it does not count as noise.
    let moved = |field: &Figure| {
        let shares = figures.budget.iter().filter(|entry| entry.field == *field);
        shares.filter(|entry| entry.from == TORN).map(|entry| (entry.u / 2.0).powi(2)).sum::<f64>()
    };
    let both = c(low.1, low.1) + c(high.1, high.1) - 2.0 * c(low.1, high.1);
    let noise = (both - moved(&low.0) - moved(&high.0)).max(0.0).sqrt();
    let difference = high.2 - low.2;
    (difference > LEAST_DIFFERENCE_MM.max(BEYOND_NOISE * noise)).then(|| {
        Finding::warning(
            "rim-widths-differ",
            say![
                "The rim at the marked place is ",
                Amount::tenths(low.2),
                " wide in one set-up and ",
                Amount::tenths(high.2),
                " in another, and it can't have changed.",
            ],
            "See that tabs 1 and 2 stick fast and flat, and that nothing moved while the photos of a set-up were taken.",
        )
        .about(high.0.clone())
    })
}

fn against_caliper(caliper: f64, photographed: &Width, print_was_measured: bool) -> Finding {
    // Too small a print makes everything look too large by as much.
    let printed_percent = 100.0 * caliper / photographed.mean;
    let what = say![
        "The rim is ",
        Amount::tenths(caliper),
        " wide by caliper and ",
        Amount::tenths(photographed.mean),
        format!(
            " in the photos. The print's scale is probably off by {:.1} %: everything printed at {printed_percent:.1} % of its size \
             would look so.",
            (printed_percent - 100.0).abs()
        ),
    ];
    let advice = match print_was_measured {
        false => {
            "Lay a steel rule on the check lines of a card (250 mm along, 160 mm across) and write what it shows under [print] in \
             job.toml. If they are right, take the rim's width again, over its outside faces where tabs 1 and 2 stick."
        }
        true => {
            "The values under [print] in job.toml disagree: lay the rule on the check lines once more. If they are right, take \
             the rim's width again, over its outside faces where tabs 1 and 2 stick, and see that both lie flat."
        }
    };
    Finding::warning("print-scale-contradicts-caliper", what, advice)
        .about(photographed.field.clone())
}
