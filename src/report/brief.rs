//! A step of the plan in the fewest words that can be acted upon: verb, part, side, amount, turns,
//! and what it will be after.

use super::fields::InWords;
use crate::job::SpacerKind;
use crate::measurement::Measurement;
use crate::plan::outcome::{Choice, Direction, PlanStep, StepKind};
use crate::plan::words::turns_in_words;
use crate::text::capital;
use crate::text::units::{Kind, Show, Shown};

/// Share of its uncertainty by which a figure may move without being reported as moved (our
/// choice).
const UNMOVED: f64 = 0.1;

/// A step in short.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Brief {
    /// What to do to which part; sides and directions in capitals.
    pub what: String,
    /// How far: "1.42 mm"; empty where it can't be said.
    pub amount: String,
    /// The same in turns of the adjuster; empty where there is none.
    pub turns: String,
    /// The figure that asked for it: as it is measured, as the steps before leave it where that is
    /// something else, and after; empty for what goes to somebody else.
    pub then: String,
}

/// The step in short. `now` is what the figure that asked for it was measured to be.
pub fn brief(step: &PlanStep, now: Option<Measurement>, show: Show) -> Brief {
    let amount = step
        .distance
        .map_or_else(String::new, |distance| Shown::of(&distance, Kind::Length, show).with_unit());
    Brief {
        what: what(step),
        amount,
        turns: step.flats.filter(|flats| *flats > 0).map_or_else(String::new, turns_in_words),
        then: then(step, now, show),
    }
}

fn what(step: &PlanStep) -> String {
    let side = step.side.map_or_else(String::new, |side| side.word().to_uppercase());
    let way = match step.direction {
        Some(Direction::Rearward) => "BACK",
        Some(Direction::Forward) => "FORWARD",
        Some(Direction::Outboard) => "OUT",
        Some(Direction::Inboard) => "IN",
        Some(Direction::Left) => "LEFT",
        Some(Direction::Right) => "RIGHT",
        None => "",
    };
    match (step.step, step.applied_to.as_str()) {
        (StepKind::Rehang, _) if step.distance.is_none() => {
            "Turn the frame on the bench".to_owned()
        }
        (StepKind::Rehang, _) => format!("Hang the frame further to the {way}"),
        (StepKind::Square, _) => format!("Draw the {side} end of the spindle {way}"),
        (StepKind::Chain, applied) if applied == SpacerKind::Hub.word() => {
            let to = step.side.map(|side| {
                if step.direction == Some(Direction::Outboard) { side } else { side.other() }
            });
            let to = to.map_or_else(String::new, |side| side.word().to_uppercase());
            format!("Move the wheel to the {to} on its spindle, by its hub spacers")
        }
        (StepKind::Chain, applied) => {
            let part = if applied == SpacerKind::Sprocket.word() { "rear" } else { "gearbox" };
            let verb = if way == "OUT" { "Pack" } else { "Bring" };
            format!("{verb} the {} sprocket {way}", part.to_uppercase())
        }
        (StepKind::Centre, _) => format!("Pull the rim to the {way} by its spokes"),
        (StepKind::Refer, _) => format!("Have {} seen to: {}", step.because.name(), step.part),
    }
}

fn then(step: &PlanStep, now: Option<Measurement>, show: Show) -> String {
    let figures = step.before.zip(step.after.get(&step.because));
    figures.filter(|_| step.step != StepKind::Refer).map_or_else(String::new, |(before, after)| {
        let words = |measured: &Measurement| step.because.in_words(measured, show);
        let (name, then) = (capital(&step.because.name()), words(&after));
        let earlier = match step.n {
            0 | 1 => String::new(),
            2 => "after step 1".to_owned(),
            3 => "after steps 1 and 2".to_owned(),
            n => format!("after steps 1 to {}", n - 1),
        };
        // What the steps before change by less than anybody can tell is not worth a word.
        let unmoved = |now: &Measurement| {
            earlier.is_empty() || (now.value - before.value).abs() <= UNMOVED * now.u
        };
        match now {
            Some(now) if unmoved(&now) => format!("{name}: {} now, {then} then", words(&now)),
            Some(now) => {
                format!("{name}: {} now, {} {earlier}, {then} then", words(&now), words(&before))
            }
            None if earlier.is_empty() => format!("{name}: {} now, {then} then", words(&before)),
            None => format!("{name}: {} {earlier}, {then} then", words(&before)),
        }
    })
}

/// A way to bring the sprockets into line: the part, how it moves, and what the rim then needs.
pub fn choice(choice: &Choice, show: Show) -> [String; 3] {
    let shown = |measured| Shown::of(measured, Kind::Length, show).with_unit();
    let part = match choice.applied_to.as_str() {
        hub if hub == SpacerKind::Hub.word() => "hub spacers",
        rear if rear == SpacerKind::Sprocket.word() => "rear sprocket's packing",
        _ => "gearbox sprocket's shim",
    };
    let way = if choice.direction == Direction::Outboard { "out" } else { "in" };
    let off = choice.rim_undecided.map(|off| Measurement { value: off.value.abs(), ..off });
    let rim = match (&choice.rim, &off) {
        (Some(rim), _) => format!("rim {}", shown(rim)),
        (None, Some(off)) => format!("rim {} off?", shown(off)),
        (None, None) => "rim may stay".to_owned(),
    };
    [part.to_owned(), format!("{} {way}", shown(&choice.distance)), rim]
}
