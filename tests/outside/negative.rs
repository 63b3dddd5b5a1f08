//! Photographs of other things.
