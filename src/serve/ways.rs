//! The ways to bring the sprockets into line on a step's card, where the job does not say which.

use maud::{Markup, html};

use crate::plan::choices;
use crate::plan::outcome::PlanStep;
use crate::report::brief;
use crate::text::capital;
use crate::text::units::Show;

/// Each way with what it leaves for the rim, the one that the plan takes first.
pub fn ways(step: &PlanStep) -> Markup {
    html! {
        @if !step.choices.is_empty() {
            div.ways {
                p { "The job does not say how. Ways, and what each leaves to do:" }
                ul {
                    @for way in &step.choices {
                        @let [part, moves, rim] = brief::choice(way, Show::Mm);
                        li class=[way.taken.then_some("taken")] {
                            b { (capital(&part)) } " " (moves) ", then " (rim)
                            @if way.taken { " (the plan's way: " (choices::why(&step.choices)) ")" }
                            @else if way.tied { " (as little work)" }
                            @for warning in &way.warnings { p.warned { (capital(&warning.shown(Show::Mm))) } }
                        }
                    }
                }
            }
        }
    }
}
