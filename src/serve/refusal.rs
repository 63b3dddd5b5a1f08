//! Why something was not done for the phone: what happened and what to do, with the status that
//! HTTP has for it.

/// Nothing was changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    pub status: u16,
    pub what: String,
    pub advice: String,
}

impl Refusal {
    pub fn new(status: u16, what: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { status, what: what.into(), advice: advice.into() }
    }

    /// Something went wrong in a folder of this computer; its path is for the terminal, not for the
    /// phone.
    pub fn disk(doing: &str, why: &std::io::Error) -> Self {
        let reason = why.kind();
        Self::new(
            500,
            format!("{doing} did not work ({reason})."),
            "Look at the computer: is the disk full, may the folder be written to?",
        )
    }
}
