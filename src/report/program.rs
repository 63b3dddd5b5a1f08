//! Which program wrote a result, and whether two results may be compared byte by byte.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The program that measured.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Program {
    pub name: String,
    pub version: String,
    /// Of its sources, as version control names it; "+changes" behind it where they differ from
    /// that. "unknown" where the program was built without knowing, empty where an earlier
    /// version did not say.
    #[serde(default)]
    pub revision: String,
    /// What it was built with beyond the usual, such as "heic".
    #[serde(default)]
    pub features: Vec<String>,
    /// The kind of machine, such as "x86_64-linux": on one kind a version gives the same bytes.
    /// Empty where no version said it.
    #[serde(default)]
    pub machine: String,
}

/// What a program says whose sources' revision was not known when it was built.
const UNKNOWN_REVISION: &str = "unknown";

impl Program {
    /// This very program.
    pub fn this() -> Self {
        Self {
            name: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            revision: env!("SIGHTCORD_REVISION").to_owned(),
            features: env!("SIGHTCORD_FEATURES").split_whitespace().map(str::to_owned).collect(),
            machine: format!("{}-{}", std::env::consts::ARCH, std::env::consts::OS),
        }
    }

    /// The same program in the same version, on whatever machine: it writes the same words for the
    /// same figures. Two revisions are two versions; where one does not know its revision, the
    /// version's number counts. That is the stricter way: a forger gains nothing by
    /// taking the revision out of an archive.
    pub fn is_same_version(&self, other: &Self) -> bool {
        let is_known = |revision: &str| !revision.is_empty() && revision != UNKNOWN_REVISION;
        let same_revision = self.revision == other.revision
            || !is_known(&self.revision)
            || !is_known(&other.revision);
        self.name == other.name && self.version == other.version && same_revision
    }

    /// Name, version and revision for people.
    pub fn in_words(&self) -> String {
        match self.revision.as_str() {
            "" => format!("{} {}", self.name, self.version),
            revision => format!("{} {} (revision {revision})", self.name, self.version),
        }
    }
}
