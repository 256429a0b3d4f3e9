//! The same work for many items on all cores, results in order.
//!
//! Which thread does an item never shows in the result, so any number of threads gives the same
//! bytes. The threads are rayon's: one for each core, or those of the pool that the caller runs in. They
//! stay until the program ends, so that a step is given the memory that the step before let go.

use std::error::Error;
use std::sync::{LazyLock, Mutex, PoisonError};

use rayon::ThreadPoolBuilder;
use rayon::prelude::*;

/// So many items at most are taken on at once: few enough that no thread is left with much at the end.
const PORTION: usize = 16;

/// So many results at most wait for their turn.
const BLOCK: usize = 1024;

/// Begins what is to be done aside, unless it was begun before: see [`with_aside`].
pub type Begin<'a> = dyn Fn() + Sync + 'a;

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

/// Both results; `aside` begins on another core as soon as `main` calls the function that it is given,
/// which it does where it has work for one core only, and at the latest when `main` is done.
pub fn with_aside<A: Send + Default, T: Send>(
    aside: impl FnOnce() -> A + Send,
    main: impl FnOnce(&Begin) -> T + Send,
) -> (A, T) {
    if !has_threads() {
        return (aside(), main(&|| {}));
    }
    let (work, done) = (Mutex::new(Some(aside)), Mutex::new(A::default()));
    let take = || work.lock().unwrap_or_else(PoisonError::into_inner).take();
    let result = rayon::scope(|scope| {
        let begin = || {
            if let Some(work) = take() {
                let done = &done;
                scope.spawn(move |_| {
                    let made = work();
                    *done.lock().unwrap_or_else(PoisonError::into_inner) = made;
                });
            }
        };
        let result = main(&begin);
        begin();
        result
    });
    (done.into_inner().unwrap_or_else(PoisonError::into_inner), result)
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
    use std::sync::atomic::{AtomicUsize, Ordering};

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

    #[test]
    fn what_is_done_aside_is_done_once_whenever_it_begins() {
        for threads in [1, 2, 7] {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            for times in 0..3 {
                let count = AtomicUsize::new(0);
                let aside = || count.fetch_add(1, Ordering::Relaxed) + 41;
                let main = |begin: &super::Begin| {
                    (0..times).for_each(|_| begin());
                    super::map(100, |i| i).len()
                };
                let both = pool.install(|| super::with_aside(aside, main));
                assert_eq!((both, count.into_inner()), ((41, 100), 1), "{threads} {times}");
            }
        }
    }
}
