//! What measuring several evenings again gave, as one outcome.

use super::compare::Reproduction;

impl Reproduction {
    fn differences(&self) -> &[String] {
        match self {
            Self::Identical => &[],
            Self::Reproduced(all) | Self::FiguresAlone(all) | Self::Differs(all) => all,
        }
    }

    fn with(&self, differences: Vec<String>) -> Self {
        match self {
            Self::Identical => Self::Identical,
            Self::Reproduced(_) => Self::Reproduced(differences),
            Self::FiguresAlone(_) => Self::FiguresAlone(differences),
            Self::Differs(_) => Self::Differs(differences),
        }
    }

    /// The same with its differences in other words.
    pub fn reworded(&self, words: impl Fn(&String) -> String) -> Self {
        self.with(self.differences().iter().map(words).collect())
    }

    /// What two evenings gave together: the worse of both, with the differences of both.
    pub fn and(self, other: Self) -> Self {
        let rank = |one: &Self| match one {
            Self::Identical => 0,
            Self::Reproduced(_) => 1,
            Self::FiguresAlone(_) => 2,
            Self::Differs(_) => 3,
        };
        let both = [self.differences(), other.differences()].concat();
        if rank(&other) > rank(&self) { other.with(both) } else { self.with(both) }
    }
}
