//! Small numerical tools that know nothing of cards, photos or motorcycles.

pub mod erf;
