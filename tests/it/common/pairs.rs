//! Whole jobs beside one another: two threads for each, as many jobs as the machine has pairs.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use rayon::ThreadPoolBuilder;

/// What `make` gives for each item, in their order. One job alone leaves most threads waiting on a
/// machine with many; and jobs that all share its threads would take each other's parts up half
/// way, one within another.
pub fn by_pairs<T: Sync, R: Send>(items: &[T], make: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let n_threads = thread::available_parallelism().map_or(2, usize::from);
    let (next, made) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    thread::scope(|scope| {
        for _ in 0..(n_threads / 2).clamp(1, items.len().max(1)) {
            scope.spawn(|| {
                let pool = ThreadPoolBuilder::new().num_threads(2).build().expect("two threads");
                loop {
                    let idx = next.fetch_add(1, Ordering::Relaxed);
                    let Some(item) = items.get(idx) else { break };
                    let result = pool.install(|| make(item));
                    made.lock().expect("no job ends another").push((idx, result));
                }
            });
        }
    });
    let mut made = made.into_inner().expect("no job ends another");
    made.sort_by_key(|(idx, _)| *idx);
    made.into_iter().map(|(_, result)| result).collect()
}
