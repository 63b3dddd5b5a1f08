//! What measuring several evenings again gave, told as one.

use super::compare::Reproduction;

impl Reproduction {
    fn differences(&self) -> &[String] {
        match self {
            Self::Identical => &[],
            Self::Reproduced(told) | Self::FiguresAlone(told) | Self::Differs(told) => told,
        }
    }

    fn with(&self, told: Vec<String>) -> Self {
        match self {
            Self::Identical => Self::Identical,
            Self::Reproduced(_) => Self::Reproduced(told),
            Self::FiguresAlone(_) => Self::FiguresAlone(told),
            Self::Differs(_) => Self::Differs(told),
        }
    }

    /// The same with its differences in other words.
    pub fn told_as(&self, words: impl Fn(&String) -> String) -> Self {
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
        let told = [self.differences(), other.differences()].concat();
        if rank(&other) > rank(&self) { other.with(told) } else { self.with(told) }
    }
}
