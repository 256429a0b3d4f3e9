//! The same work for many items on all cores, results in order.
//!
//! Which thread does an item never shows in the result, so any number of threads gives the same
//! bytes. The threads are rayon's: one for each core, or those of the pool that the caller runs in. They
//! stay until the program ends, so that a step is given the memory that the step before let go.

use std::error::Error;
use std::sync::LazyLock;

use rayon::ThreadPoolBuilder;
use rayon::prelude::*;

/// So many items at most are taken on at once: few enough that no thread is left with much at the end.
const PORTION: usize = 16;

/// So many results at most wait for their turn.
const BLOCK: usize = 1024;

/// Whether there are threads; where the system lets none begin, all is done on the caller's.
static THREADS: LazyLock<bool> = LazyLock::new(|| {
    let begun = ThreadPoolBuilder::new().build_global();
    // Without a cause they were there before.
    begun.map_or_else(|error| error.source().is_none(), |()| true)
});

fn has_threads() -> bool {
    rayon::current_thread_index().is_some() || *THREADS
}

/// `work(0)`, `work(1)`, ... `work(count - 1)` on all cores.
pub fn map<T: Send>(count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    if !has_threads() {
        return (0..count).map(work).collect();
    }
    (0..count).into_par_iter().with_max_len(PORTION).map(&work).collect()
}

/// Hands `work(0)`, `work(1)`, ... to `take` in this order. A block of them at a time is done on all cores, so
/// that no more than a block is kept.
pub fn in_turn<T: Send>(
    count: usize,
    work: impl Fn(usize) -> T + Sync,
    mut take: impl FnMut(usize, T),
) {
    for first in (0..count).step_by(BLOCK) {
        let block = map(BLOCK.min(count - first), |i| work(first + i));
        block.into_iter().enumerate().for_each(|(i, done)| take(first + i, done));
    }
}

/// Both results, computed side by side.
pub fn both<A: Send, B: Send>(
    a: impl FnOnce() -> A + Send,
    b: impl FnOnce() -> B + Send,
) -> (A, B) {
    if has_threads() { rayon::join(a, b) } else { (a(), b()) }
}

/// `work` on one of those threads: what it does by itself and what it has [`map`] do then share their
/// memory, which makes a third of a large job's.
pub fn within<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    if has_threads() { rayon::scope(|_| work()) } else { work() }
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
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            let mut taken = Vec::new();
            pool.install(|| super::in_turn(3000, |i| i + 1, |i, next| taken.push((i, next))));
            assert_eq!(taken, (0..3000).map(|i| (i, i + 1)).collect::<Vec<_>>());
            let squares = pool.install(|| super::map(1000, |i| i * i));
            assert!(squares.iter().enumerate().all(|(i, s)| *s == i * i), "{threads}");
        }
        assert!(super::map(0, |i| i).is_empty());
    }
}
