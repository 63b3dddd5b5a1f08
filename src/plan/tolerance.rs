//! What is allowed, who says so, and whether a figure is shown to be inside it.

use super::chain_drive;
use super::outcome::{Decision, Unit, Verdict};
use super::settings::PlanSettings;
use super::words::{FINEST, amount};
use crate::bench::Figures;
use crate::bench::datum::counts_from_it;
use crate::figure::facts::UpFrom;
use crate::figure::{Figure, FigureTable, Measured};
use crate::finding::{Finding, Severity};
use crate::measurement::{Measurement, Quality};
use crate::say;
use crate::text::{Amount, Sentence};

/// The source given where nobody has published a limit.
pub const NO_SOURCE: &str = "common practice, no source";

/// A whole print out by this much ("fit to page" takes 3 %) can't be seen in photos; a verdict must
/// survive it.
const PRINT_MAY_BE_OUT_PERCENT: f64 = 3.0;

/// What one figure is allowed.
#[derive(Clone, Debug, PartialEq)]
pub struct Tolerance {
    pub field: Figure,
    /// The value aimed at.
    pub nominal: f64,
    /// Greatest allowed distance from it.
    pub limit: f64,
    pub unit: Unit,
    pub source: String,
    /// Whether the bike can't be called good without a verdict on this: it is then listed even
    /// where it was not measured.
    pub needed: bool,
    /// Why the figure can't be judged as it was measured, if so.
    pub blocked: Option<Sentence>,
    /// Why it was seen too poorly to be judged, where that is not its own photos' fault, and what
    /// helps.
    pub poor: Option<Sentence>,
}

/// Which figures say where the wheel stands: in the frame as far as that is known, else over the
/// cord.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reference {
    pub offset: Figure,
    pub yaw: Figure,
}

impl Reference {
    pub fn of(figures: &Measured) -> Self {
        let first =
            |choices: [Figure; 3]| choices.into_iter().find(|field| figures.get(field).is_some());
        Self {
            offset: first([
                Figure::WheelInFrameOffset,
                Figure::WheelOffset,
                Figure::WheelOffsetAtMark,
            ])
            .unwrap_or(Figure::WheelOffset),
            // One line alone leaves the frame's own yaw open, and with it the wheel's in the frame.
            yaw: match figures.get(&Figure::FrameYaw).and(figures.get(&Figure::WheelInFrameYaw)) {
                Some(_) => Figure::WheelInFrameYaw,
                None => [Figure::WheelYaw, Figure::WheelYawFromOffsets]
                    .into_iter()
                    .find(|field| figures.get(field).is_some())
                    .unwrap_or(Figure::WheelYaw),
            },
        }
    }
}

/// All tolerances that apply, defaults first and in the order of the work, then what only the job
/// names.
pub fn tolerances(input: &Figures, settings: &PlanSettings) -> (Vec<Tolerance>, Vec<Finding>) {
    let mut all = defaults(input, settings);
    let mut findings = Vec::new();
    for setting in &settings.tolerances {
        if let Some(finding) = cannot_use(setting, &input.measured.table) {
            findings.push(finding);
            continue;
        }
        let source = setting.source.clone();
        match all.iter_mut().find(|tolerance| tolerance.field == setting.field) {
            Some(known) => (known.limit, known.source) = (setting.limit, source),
            None => all.push(Tolerance {
                field: setting.field.clone(),
                nominal: 0.0,
                limit: setting.limit,
                unit: setting.unit,
                source,
                needed: true,
                blocked: None,
                poor: None,
            }),
        }
    }
    for tolerance in &mut all {
        tolerance.blocked = blocked(&tolerance.field, input);
        tolerance.poor = poor_datum(&tolerance.field, input);
    }
    (all, findings)
}

/// Why a figure can't be judged although it was measured.
fn blocked(figure: &Figure, input: &Figures) -> Option<Sentence> {
    if *figure == Figure::WheelInFrameYaw && input.get(&Figure::FrameYaw).is_none() {
        return Some(say![
            "The frame's own direction was not measured and is taken as that of the cord, over which the wheel's squareness is judged. \
             Hang a second plumb line, or stick a pair of stations, ",
            Amount::mm(200.0),
            " or more from the first along the bike.",
        ]);
    }
    let up = &input.measured.up;
    (up.from == UpFrom::Bench && up.relative_to_bench.contains(figure)).then(|| {
        say![
            "It is measured from the bench, and the job does not say that the bench is level: hang a plumb line, or lay a spirit level along and \
             across and write levelled = \"spirit level\" under [bench] in job.toml."
        ]
    })
}

/// Why a figure that is measured from the cord was seen too poorly, where the cord was: whatever
/// shows the wheel from more sides does not help it.
fn poor_datum(figure: &Figure, input: &Figures) -> Option<Sentence> {
    let is_poor = input.findings.iter().any(|finding| {
        finding.severity != Severity::Note && POOR_DATUM.contains(&finding.id.as_str())
    });
    (is_poor && counts_from_it(figure)).then(|| {
        say![
            "The cord, which it is measured from, was not seen well enough: the finding on the cord says what helps."
        ]
    })
}

/// Findings that make the datum no better than a single sighting.
const POOR_DATUM: [&str; 4] =
    ["cord-seen-poorly", "cord-contradicted", "cord-not-straight", "datum-single"];

/// Why a tolerance of the job can't be used, as a finding.
fn cannot_use(setting: &crate::job::Tolerance, figures: &FigureTable) -> Option<Finding> {
    let name = &setting.field;
    if !figures.knows(name) {
        let nearest = figures.nearest(&name.pointer());
        let what =
            format!("The job sets a tolerance for {name}, and there is no figure of that name.");
        return Some(
            Finding::warning("tolerance-unknown-field", what, format!("Did you mean {nearest}?"))
                .about(name),
        );
    }
    if setting.unit != name.unit() || !(setting.limit.is_finite() && setting.limit > 0.0) {
        let key = name.unit().word();
        let what = format!(
            "The job's tolerance for {name} is not a length or angle above zero of the figure's own unit."
        );
        return Some(
            Finding::warning("tolerance-unusable", what, format!("Give it with the key {key}."))
                .about(name),
        );
    }
    None
}

/// The limits where the job gives none.
fn defaults(input: &Figures, settings: &PlanSettings) -> Vec<Tolerance> {
    let reference = Reference::of(&input.measured);
    let entry = |field: Figure, limit: f64, source: String, needed: bool| Tolerance {
        unit: field.unit(),
        field,
        nominal: 0.0,
        limit,
        source,
        needed,
        blocked: None,
        poor: None,
    };
    let (chain_mm, chain_source) = chain_limit(input);
    let mut all = vec![
        // The wheel is judged in the frame, so the frame itself only has to hang near enough for
        // the figures over the cord to speak of the bike.
        entry(Figure::FrameOffset, 2.0, NO_SOURCE.to_owned(), false),
        entry(Figure::FrameYaw, 0.2, NO_SOURCE.to_owned(), false),
        entry(
            reference.yaw,
            0.1,
            format!("{NO_SOURCE} (it moves the chain line by 1 mm at 570 mm between centres)"),
            true,
        ),
        entry(Figure::ChainAtGearbox, chain_mm, chain_source, true),
        entry(reference.offset, 1.0, NO_SOURCE.to_owned(), true),
        entry(
            Figure::WheelLean,
            LEAN_LIMIT_DEG,
            format!("{NO_SOURCE} (what a digital angle gauge is good to)"),
            false,
        ),
        entry(Figure::ChainYaw, chain_drive::parallel_limit_deg(), parallel_source(), false),
        entry(Figure::ChainLean, chain_drive::parallel_limit_deg(), parallel_source(), false),
        entry(Figure::RunoutLateral, RUNOUT_LIMIT_MM, runout_source(), false),
        entry(Figure::SpindleHeights, heights_limit(input), heights_source(), false),
    ];
    if let Some(target) = settings.hub_target_mm.filter(|target| target.is_finite()) {
        let source = format!("{NO_SOURCE}; counted from the job's target");
        all.push(Tolerance { nominal: target, ..entry(Figure::RimFromFace, 1.0, source, false) });
    }
    all
}

/// How far a wheel may lean, degrees.
const LEAN_LIMIT_DEG: f64 = 0.2;

/// Distance between the spindle's ends where they were not measured, mm (common practice, no
/// source).
const USUAL_ENDS_MM: f64 = 230.0;

/// One tilt must not be in as a lean and out as a difference in height: the ends may differ by what
/// the lean's limit makes of the distance between them, mm.
fn heights_limit(input: &Figures) -> f64 {
    let limit = between_ends(input).unwrap_or(USUAL_ENDS_MM) * LEAN_LIMIT_DEG.to_radians().tan();
    (limit * 100.0).round() / 100.0
}

/// The distance between the spindle's ends, where both were measured, mm.
pub(super) fn between_ends(input: &Figures) -> Option<f64> {
    let ends = input.get(&Figure::SpindleLeft).zip(input.get(&Figure::SpindleRight));
    ends.map(|(left, right)| left.value + right.value)
        .filter(|apart| apart.is_finite() && *apart > 0.0)
}

fn heights_source() -> String {
    format!(
        "{NO_SOURCE} (what a lean of {LEAN_LIMIT_DEG} degrees makes of the distance between the ends)"
    )
}

/// Greatest lateral distortion of a rim that passes inspection whatever it is made of, mm, taken as
/// peak to peak.
pub const RUNOUT_LIMIT_MM: f64 = 2.0;

/// The same for a steel rim.
pub const RUNOUT_LIMIT_STEEL_MM: f64 = 4.0;

fn runout_source() -> String {
    format!(
        "UK DVSA, MOT inspection manual for motorcycles, 5.2.2: {RUNOUT_LIMIT_MM} mm for aluminium alloy, used here for every rim; a \
         steel rim is allowed {RUNOUT_LIMIT_STEEL_MM} mm"
    )
}

fn parallel_source() -> String {
    "Tsubaki, The Complete Guide to Chain, 7.1.2.2: shafts level and parallel within 1 in 300"
        .to_owned()
}

/// The chain line's tolerance at the measured distance between centres, and its source. Where the
/// distance is not known a motorcycle's is under a metre.
fn chain_limit(input: &Figures) -> (f64, String) {
    let centres = input
        .get(&Figure::ChainCentres)
        .map(|centres| centres.value)
        .filter(|value| value.is_finite() && *value > 0.0);
    let limit = chain_drive::offset_limit(centres.unwrap_or(0.0));
    let other = match centres {
        Some(centres) => {
            let (fast, slow) = chain_drive::other_offset_limits(centres);
            format!("{fast:.1} mm, below 0.5 m/s {slow:.1} mm")
        }
        None => "0.1 mm for each 100 mm between centres, below 0.5 m/s 0.2 mm".to_owned(),
    };
    let source = format!(
        "Tsubaki, The Complete Guide to Chain, 7.1.2.2: sprocket faces within {limit:.1} mm at this distance between centres; \
         handbooks disagree: Wippermann, Guidelines for the Alignment of Chain Drives, gives {other}"
    );
    (limit, source)
}

/// Judges the value v of a figure with expanded uncertainty U by its tolerance t: in if
/// |v| + U <= t, out if |v| - U > t, else undecided. The guard band is U itself on both sides, as
/// in ISO 14253-1 and JCGM 106:2012.
pub fn decide(value: f64, u: f64, limit: f64) -> Decision {
    match value.abs() {
        v if v + u <= limit => Decision::In,
        v if v - u > limit => Decision::Out,
        _ => Decision::Undecided,
    }
}

/// A figure against its tolerance. `per_percent` is how the figure answers to 1 % of print scale
/// where no rule was laid on the print's check lines, else zero.
pub fn judge(tolerance: &Tolerance, figure: Option<Measurement>, per_percent: f64) -> Verdict {
    let (verdict, decide) = match figure {
        None => (
            Decision::Undecided,
            Some(say!["It was not measured: the findings say why and what to do."]),
        ),
        Some(figure) if figure.quality == Quality::Single => {
            (Decision::Undecided, tolerance.poor.clone().or_else(|| Some(say![SINGLE])))
        }
        Some(_) if tolerance.blocked.is_some() => (Decision::Undecided, tolerance.blocked.clone()),
        Some(figure) => decide_measured(tolerance, figure, per_percent),
    };
    Verdict {
        blocked: tolerance.blocked.is_some(),
        field: tolerance.field.clone(),
        value: figure,
        nominal: tolerance.nominal,
        tolerance: tolerance.limit,
        unit: tolerance.unit,
        source: tolerance.source.clone(),
        verdict,
        decide,
    }
}

const SINGLE: &str = "It was seen in one photo only, or from one direction only. Take one more photo of the same place \
                      from well to one side (25 degrees or more): then it can be judged.";

fn decide_measured(
    tolerance: &Tolerance,
    figure: Measurement,
    per_percent: f64,
) -> (Decision, Option<Sentence>) {
    let (limit, unit) = (tolerance.limit, tolerance.unit);
    let away = figure.value - tolerance.nominal;
    let plain = decide(away, figure.u, limit);
    let shift = PRINT_MAY_BE_OUT_PERCENT * per_percent;
    let holds_at = |shift: f64| decide(away + shift, figure.u, limit) == plain;
    if plain != Decision::Undecided && !(holds_at(shift) && holds_at(-shift)) {
        let why = say![
            format!(
                "It would be {} if the print is true to size, which nobody has checked: 1 % too small changes it by ",
                plain.word()
            ),
            amount(per_percent.abs(), unit),
            format!(
                ", and \"fit to page\" prints {PRINT_MAY_BE_OUT_PERCENT} % too small. Lay a steel rule on the check lines of a sheet and enter \
                 what it shows under [print] in job.toml."
            ),
        ];
        return (Decision::Undecided, Some(why));
    }
    if plain != Decision::Undecided {
        return (plain, None);
    }
    let (enough, becomes) = match away.abs() <= limit {
        true => (limit - away.abs(), "in"),
        false => (away.abs() - limit, "out"),
    };
    let why = match enough < FINEST {
        true => say!["It sits right on the limit: no more photos will settle it."],
        false => say![
            "The limit lies within its ± of ",
            Amount::at_least(figure.u, unit),
            ". A ± of ",
            Amount::at_most(enough, unit),
            format!(" or less would make it {becomes}."),
        ],
    };
    let looser =
        say!["A limit of ", Amount::at_least(away.abs() + figure.u, unit), " would make it in.",];
    (Decision::Undecided, Some(why.and(looser)))
}
