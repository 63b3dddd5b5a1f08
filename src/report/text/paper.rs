//! The terminal's sheet: 80 columns, wrapped paragraphs, aligned columns, and the few styles in
//! use.
//!
//! Styles are written as escape codes; printing passes the text through a stream that takes them
//! out where the output is not a terminal. No meaning depends on a style alone.

use anstyle::{AnsiColor, Style};
use textwrap::core::display_width;
use textwrap::{Options, WordSplitter};

/// Width of a line. Every terminal has that many columns, and a printed page too.
pub const WIDTH: usize = 80;

pub const HEADING: Style = Style::new().bold();
pub const FAINT: Style = Style::new().dimmed();
pub const GOOD: Style = AnsiColor::Green.on_default();
pub const BAD: Style = AnsiColor::Red.on_default().bold();
pub const OPEN: Style = AnsiColor::Yellow.on_default();

/// A text that grows line by line.
#[derive(Default)]
pub struct Paper {
    text: String,
}

impl Paper {
    pub fn into_text(self) -> String {
        self.text
    }

    pub fn blank(&mut self) {
        self.text.push('\n');
    }

    /// A heading with a blank line before it, and what it is about behind it.
    pub fn heading(&mut self, title: &str, about: &str) {
        self.blank();
        let about = if about.is_empty() { String::new() } else { format!(": {about}") };
        let lines = wrapped(&format!("{}{about}", title.to_uppercase()), "", "  ");
        for (i, line) in lines.iter().enumerate() {
            let (bold, plain) = if i == 0 {
                line.split_at(title.to_uppercase().len().min(line.len()))
            } else {
                ("", line.as_str())
            };
            self.text.push_str(&format!("{HEADING}{bold}{HEADING:#}{plain}\n"));
        }
    }

    /// A paragraph, wrapped; the first line begins with `first`, the others with `rest`.
    pub fn paragraph(&mut self, style: Style, first: &str, rest: &str, words: &str) {
        for line in wrapped(words, first, rest) {
            self.line(style, &line);
        }
    }

    pub fn line(&mut self, style: Style, line: &str) {
        if style.is_plain() {
            self.text.push_str(line.trim_end());
        } else {
            self.text.push_str(&format!("{style}{}{style:#}", line.trim_end()));
        }
        self.text.push('\n');
    }

    /// Cells side by side, each padded to its width. A cell that is too long for its column ends
    /// the line, and the next one goes on in its own column below.
    pub fn row(&mut self, cells: &[(Style, &str, usize)]) {
        let mut line = String::new();
        let mut at = 0;
        let mut column = 0;
        for &(style, cell, width) in cells {
            // A cell that fills its column to the brim counts as too long, or it would run into the
            // next one.
            if at > 0 && at + 1 > column && !cell.is_empty() {
                self.text.push_str(line.trim_end());
                self.text.push('\n');
                line.clear();
                at = 0;
            }
            line.push_str(&" ".repeat(column - at));
            if style.is_plain() || cell.is_empty() {
                line.push_str(cell);
            } else {
                line.push_str(&format!("{style}{cell}{style:#}"));
            }
            at = column + display_width(cell);
            column += width;
        }
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }
}

/// Words in lines of [`WIDTH`] columns. Control characters, which a name in a job could carry, are
/// made visible blanks first: they must not steer the terminal.
fn wrapped(words: &str, first: &str, rest: &str) -> Vec<String> {
    let options = Options::new(WIDTH)
        .initial_indent(first)
        .subsequent_indent(rest)
        .word_splitter(WordSplitter::NoHyphenation);
    textwrap::wrap(&harmless(words), options).into_iter().map(|line| line.into_owned()).collect()
}

/// The text with every control character turned into a blank.
pub fn harmless(words: &str) -> String {
    words.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}
