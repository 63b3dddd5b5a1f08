//! What is wrong in a job file, one thing at a time.

use std::fmt;

/// One thing wrong in a job file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// Line of the file, from 1.
    pub line: usize,
    pub what: String,
    pub advice: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "line {}: {}. {}", self.line, self.what, self.advice)
    }
}
