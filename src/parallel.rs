//! The same work for many items on all cores, results in order.
//!
//! Which thread does an item never shows in the result, so any number of threads gives the same
//! bytes.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Items handed to a thread at a time: small enough to balance, large enough not to queue.
const PORTION: usize = 16;

/// `work(0)`, `work(1)`, ... `work(count - 1)` on `threads` threads.
pub fn map<T: Send>(count: usize, threads: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let threads = threads.clamp(1, count.max(1));
    if threads == 1 {
        return (0..count).map(work).collect();
    }
    let next = AtomicUsize::new(0);
    let portion = PORTION.min(count.div_ceil(threads * 4)).max(1);
    let done: Mutex<Vec<(usize, Vec<T>)>> = Mutex::new(Vec::new());
    let run = || {
        loop {
            let from = next.fetch_add(portion, Ordering::Relaxed);
            if from >= count {
                break;
            }
            let part: Vec<T> = (from..(from + portion).min(count)).map(&work).collect();
            if let Ok(mut done) = done.lock() {
                done.push((from, part));
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..threads {
            scope.spawn(run);
        }
        run();
    });
    let mut parts = done.into_inner().unwrap_or_default();
    parts.sort_by_key(|(from, _)| *from);
    parts.into_iter().flat_map(|(_, part)| part).collect()
}

/// Both results, computed side by side.
pub fn both<A: Send, B>(a: impl FnOnce() -> A + Send, b: impl FnOnce() -> B) -> (A, B) {
    std::thread::scope(|scope| {
        let other = scope.spawn(a);
        let b = b();
        match other.join() {
            Ok(a) => (a, b),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

/// As many threads as the machine has cores.
pub fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

#[cfg(test)]
mod tests {
    #[test]
    fn order_does_not_depend_on_threads() {
        for threads in [1, 2, 7] {
            let squares = super::map(1000, threads, |i| i * i);
            assert!(squares.iter().enumerate().all(|(i, s)| *s == i * i), "{threads}");
        }
        assert!(super::map(0, 4, |i| i).is_empty());
    }
}
