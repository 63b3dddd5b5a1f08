//! A photo in one line: from where, what it adds, and "good" or what to do. Then a line for each
//! set-up.

use anstyle::{AnsiColor, Style};
use textwrap::core::display_width;

use crate::glance::seen::{BLURRED, Glance, SeenPattern};
use crate::glance::tally::Tally;
use crate::glance::{adds, tally};
use crate::job::Job;
use crate::visible::one_line;

const WIDTH: usize = 80;
const GOOD: Style = AnsiColor::Green.on_default();
const OPEN: Style = AnsiColor::Yellow.on_default();
const BAD: Style = AnsiColor::Red.on_default();
const HEADING: Style = Style::new().bold();
const IS_GOOD: &str = "good";
/// Longer names of photos are cut at the front.
const LONGEST_NAME: usize = 28;
/// Cells smaller than this, px, are a step too far away.
const TOO_SMALL: f64 = 6.0;

/// How good a photo is for its purpose, in a word, and what to do where it could be better.
pub fn verdict(glance: &Glance) -> (Style, String) {
    if let Some(error) = &glance.error {
        return (BAD, format!("not readable: {}. {}", error.what, error.advice));
    }
    if glance.cards.is_empty() {
        return (
            BAD,
            "no card is read: go closer, or more light, and have two cards whole in it".to_owned(),
        );
    }
    if glance.blur_px.is_some_and(|blur| blur > BLURRED) {
        return (OPEN, "blurred: hold the phone still and take it again".to_owned());
    }
    if let Some(text) = too_small("tab", &glance.tabs).or_else(|| too_small("card", &glance.cards))
    {
        return (OPEN, text);
    }
    if glance.cards.len() < 2 && !glance.for_the_lens {
        return (OPEN, "have a second card in it".to_owned());
    }
    (GOOD, IS_GOOD.to_owned())
}

/// Whether there is nothing to do better.
pub fn is_good(glance: &Glance) -> bool {
    verdict(glance).1 == IS_GOOD
}

/// "tab 5 too small: one step closer".
fn too_small(word: &str, seen: &[SeenPattern]) -> Option<String> {
    let smallest = seen
        .iter()
        .min_by(|a, b| a.cell_px.total_cmp(&b.cell_px))
        .filter(|p| p.cell_px < TOO_SMALL)?;
    Some(format!("{word} {} too small: one step closer", smallest.number))
}

/// "mark forward, from the left".
pub fn place(glance: &Glance) -> String {
    let mark = glance.mark.map(|mark| format!("mark {mark}"));
    let from = glance.from.map(|side| format!("from the {}", side.word()));
    match (glance.for_the_lens, mark, from) {
        (true, ..) => "cards only".to_owned(),
        (_, Some(mark), Some(from)) => format!("{mark}, {from}"),
        (_, one, other) => one.or(other).unwrap_or_default(),
    }
}

/// Photos with a line each, what each adds to those before it.
pub fn lines(before: &[Glance], glances: &[Glance], job: &Job) -> String {
    let name = |glance: &Glance| shortened(&one_line(&glance.photo));
    let column = |of: &dyn Fn(&Glance) -> String| {
        glances.iter().map(|glance| display_width(&of(glance))).max().unwrap_or(0)
    };
    let (names, places) = (column(&name), column(&place));
    let mut earlier: Vec<Glance> = before.to_vec();
    let mut text = String::new();
    for glance in glances {
        let (style, word) = verdict(glance);
        let adds = adds::adds_in_short(&earlier, glance, job);
        let padded = |text: String, width: usize| {
            format!("{text}{}", " ".repeat(width.saturating_sub(display_width(&text))))
        };
        let mut first = padded(name(glance), names);
        if places > 0 {
            first = format!("{first}  {}", padded(place(glance), places));
        }
        let rest = " ".repeat(4);
        let what = if adds.is_empty() { String::new() } else { format!("; {adds}") };
        for (i, line) in
            wrapped(&format!("{first}  "), &rest, &format!("{word}{what}")).iter().enumerate()
        {
            // The word of the verdict alone has its colour.
            match line.find(word.as_str()).filter(|_| i == 0) {
                Some(at) => {
                    let (before, after) = line.split_at(at);
                    let (verdict, after) = after.split_at(word.len());
                    text.push_str(&format!("{before}{style}{verdict}{style:#}{after}\n"));
                }
                None => text.push_str(&format!("{line}\n")),
            }
        }
        earlier.push(glance.clone());
    }
    text
}

fn wrapped(first: &str, rest: &str, words: &str) -> Vec<String> {
    let options = textwrap::Options::new(WIDTH)
        .initial_indent(first)
        .subsequent_indent(rest)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    textwrap::wrap(&one_line(words), options)
        .into_iter()
        .map(std::borrow::Cow::into_owned)
        .collect()
}

/// A name of reasonable length: its end tells photos apart, and a folder that does not fit is left
/// out whole.
fn shortened(name: &str) -> String {
    let n = name.chars().count();
    let file = name.rsplit_once('/').map(|(_, file)| format!(".../{file}"));
    let fits = |name: &String| name.chars().count() <= LONGEST_NAME;
    if n <= LONGEST_NAME {
        name.to_owned()
    } else if let Some(file) = file.filter(fits) {
        file
    } else {
        format!("...{}", name.chars().skip(n + 3 - LONGEST_NAME).collect::<String>())
    }
}

/// One line a set-up, then what all photos together lack.
pub fn tally(glances: &[Glance], job: &Job) -> String {
    let Tally { setups, next, lacks } = tally::tally(glances, job);
    let width = setups.iter().map(|setup| display_width(&setup.name)).max().unwrap_or(0);
    let mut text = String::new();
    for setup in &setups {
        let style = if setup.complete { GOOD } else { OPEN };
        let pad = " ".repeat(width.saturating_sub(display_width(&setup.name)));
        let first = format!("{}{pad}  ", one_line(&setup.name));
        for (i, line) in
            wrapped(&first, &" ".repeat(width + 2), &setup.what).into_iter().enumerate()
        {
            match line.strip_prefix(first.as_str()).filter(|_| i == 0) {
                Some(what) => {
                    text.push_str(&format!("{HEADING}{first}{HEADING:#}{style}{what}{style:#}\n"))
                }
                None => text.push_str(&format!("{style}{line}{style:#}\n")),
            }
        }
    }
    for lack in &lacks {
        wrapped("  - ", "    ", lack).iter().for_each(|line| text.push_str(&format!("{line}\n")));
    }
    for line in wrapped("", "", &next).into_iter().filter(|line| !line.is_empty()) {
        text.push_str(&format!("{HEADING}{line}{HEADING:#}\n"));
    }
    text
}
