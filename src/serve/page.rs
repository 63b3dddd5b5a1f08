//! The page itself: an empty frame whose sections the script fills in.

use maud::{DOCTYPE, html};

use super::parts::title;
use super::state::State;

/// In the report's colours.
pub const CSS: &str = concat!(include_str!("../report/html/palette.css"), include_str!("page.css"));
pub const SCRIPT: &str = include_str!("page.js");

/// The page. Everything it uses comes from this server, by addresses relative to its own.
pub fn page(state: &State) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="referrer" content="no-referrer";
                title { (title(state)) ", at the bench" }
                link rel="icon" href="data:,";
                link rel="stylesheet" href="page.css";
                script src="page.js" defer {}
            }
            body {
                header #head { h1 { (title(state)) } }
                p #offline role="alert" hidden { "The computer doesn't answer. Is it on and awake, and is the phone in its network? This page goes on by itself." }
                p #refused role="alert" hidden {}
                p #lost role="alert" hidden {}
                // Fixed at the bottom, and the keyboard's first stop.
                div #bar {
                    p #sending role="status" {}
                    p #next {}
                    button #resort type="button" hidden {}
                    div.buttons {
                        input #shoot type="file" accept="image/*" capture="environment";
                        label.shoot for="shoot" { "Take a photo" }
                        input #pick type="file" accept="image/*" multiple;
                        label.pick for="pick" { "Choose photos" }
                    }
                }
                main #main {
                    noscript { p { "This page needs JavaScript, which this browser has switched off. It comes from your own computer alone." } }
                    @for (id, live) in [("shot", true), ("walk", false), ("photos", false), ("figures", false), ("steps", false), ("evenings", false), ("finish", false)] {
                        section id=(id) aria-live=[live.then_some("polite")] {}
                    }
                    p.mind { "A measurement, not a certificate of roadworthiness." }
                }
            }
        }
    };
    markup.into_string()
}
