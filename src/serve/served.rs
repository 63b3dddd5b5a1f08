//! What all connections of the page share.

use std::sync::Arc;

use tokio::sync::Semaphore;

use super::state::Bench;

/// Connections at a time: two phones open some twelve. Whoever comes later waits.
const CONNECTIONS: usize = 64;
/// Photos that come in at a time, and that are looked at: each of these takes some hundred
/// megabytes.
const UPLOADS: usize = 4;
const LOOKS: usize = 2;

/// What all connections share.
pub struct Served {
    pub bench: Bench,
    pub(super) token: String,
    pub(super) connections: Arc<Semaphore>,
    pub(super) uploads: Semaphore,
    pub(super) looks: Semaphore,
}

impl Served {
    pub fn new(bench: Bench, token: String) -> Self {
        Self {
            bench,
            token,
            connections: Arc::new(Semaphore::new(CONNECTIONS)),
            uploads: Semaphore::new(UPLOADS),
            looks: Semaphore::new(LOOKS),
        }
    }
}
