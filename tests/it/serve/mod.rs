//! The page at the bench: the program serves it on the loopback address, and clients of all manners
//! come.

mod browser;
mod client;
mod flat;
mod followed;
mod helpful;
mod pages;
mod phone;
mod rude;
mod speed;
mod stands;
mod together;
