//! Threads, as many as the system gives: it measures even with none, since the result does not
//! depend on their number.

use std::sync::Once;
use std::sync::mpsc::{Sender, channel};
use std::thread::Builder;

use anyhow::Context;
use rayon::{ThreadBuilder, ThreadPoolBuilder};

/// What to do where the system gives too few.
const ADVICE: &str = "end other programs, or raise the limit on processes (ulimit -u)";

/// Starts as many threads as are asked for, or as the computer has processors. Where the system
/// gives fewer, that is reported, and those do the work; where it gives none, this thread does it.
/// Calling it again changes nothing.
pub(super) fn start(asked: Option<u16>) {
    static STARTED: Once = Once::new();
    STARTED.call_once(|| {
        let wanted = asked.map_or_else(usual, usize::from);
        // The pool can be built but once, and not again with fewer: so threads are asked for first,
        // and wait for their work.
        let mut waiting: Vec<Sender<ThreadBuilder>> = (0..wanted).map_while(|_| waiting_thread()).collect();
        let given = waiting.len();
        let built = match given {
            0 => ThreadPoolBuilder::new().num_threads(1).use_current_thread().build_global(),
            _ => {
                let hand_over = |thread| {
                    let sent = waiting.pop().map(|to| to.send(thread));
                    sent.and_then(Result::ok).ok_or_else(|| std::io::Error::other("a thread has ended"))
                };
                ThreadPoolBuilder::new().num_threads(given).spawn_handler(hand_over).build_global()
            }
        };
        if let Err(why) = built {
            super::complain(&format!("the work can't be shared among threads ({why}); please report it as the README says"));
        } else if given < wanted {
            let does = if given == 0 { "this one does all the work".to_owned() } else { format!("{given} do the work") };
            super::complain(&format!(
                "of {wanted} threads that were asked for, {does}, which takes longer. To be quicker, {ADVICE}."
            ));
        }
    });
}

/// As many as the computer has processors, or as the environment variable asks for that the crate
/// rayon is known by.
fn usual() -> usize {
    let asked = std::env::var("RAYON_NUM_THREADS")
        .ok()
        .and_then(|asked| asked.parse().ok())
        .filter(|&asked| asked > 0);
    asked.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, Into::into))
}

/// A thread that waits for what it is to do, and ends where nothing comes; None where the system
/// gives none.
fn waiting_thread() -> Option<Sender<ThreadBuilder>> {
    let (hand_over, taken) = channel();
    let wait = move || {
        if let Ok(thread) = taken.recv() {
            ThreadBuilder::run(thread);
        }
    };
    Builder::new().spawn(wait).ok()?;
    Some(hand_over)
}

/// Says, before something is begun that can't do without a further thread, that the system gives
/// none.
pub(super) fn one_more() -> anyhow::Result<()> {
    Builder::new()
        .spawn(|| ())
        .with_context(|| format!("this system gives the program no further thread: {ADVICE}"))?;
    Ok(())
}
