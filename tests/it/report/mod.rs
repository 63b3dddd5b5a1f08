//! The report stage: the result document, the terminal's text, the page, and how they come to lie
//! in their folder.

mod browser;
mod document;
mod measured;
mod measured_pages;
mod page;
pub mod samples;
mod terminal;
mod writing;
