//! Cuts that hand the heading on, one to the next, computed on all cores.
//!
//! What a cut becomes depends on the heading that the cut before it left, so the cuts form a chain.
//! But a trailing blade forgets: after forty offsets of cutting nothing of an earlier heading is
//! left in any digit. So the chain is parted into stretches, each computed as if the blade came
//! from anywhere, after a run-up over the cuts before it. Then the chain is walked once: where the
//! heading that really comes is the one reckoned with, to the last bit, the stretch holds as it is;
//! until then its cuts are made again.
//!
//! Invariant: the result is what making one cut after the other gives, bit for bit.

use crate::parallel;

/// Offsets of cutting after which an earlier heading shows in no digit, twice over to be on the safe
/// side: e⁻⁴⁰ is below the last one. Too few cost time, nothing else.
const FORGOTTEN_AFTER: f64 = 80.0;
/// Cuts in a stretch: many against a run-up of one or two, few enough to keep all cores at work.
const STRETCH: usize = 64;
/// Cuts in a run-up at most; where that is not enough, cuts are made again.
const LONGEST_RUN_UP: usize = 16;

/// A cut, and the heading with which it ends, radians; `None` while unknown.
pub(super) type Ended<T> = (T, Option<f64>);

/// Makes as many cuts as `lengths` (each in blade offsets) has, the first with the heading `start`,
/// each of the others with that which the one before left.
pub(super) fn run<T: Send>(
    lengths: &[f64],
    start: Option<f64>,
    cut: impl Fn(usize, Option<f64>) -> Ended<T> + Sync,
) -> Vec<T> {
    let reckon = |stretch: usize| {
        let first = stretch * STRETCH;
        let expected = if first == 0 { start } else { run_up(&lengths[..first], &cut) };
        let mut heading = expected;
        let last = (first + STRETCH).min(lengths.len());
        let cuts: Vec<Ended<T>> = (first..last)
            .map(|i| {
                let ended = cut(i, heading);
                heading = ended.1;
                ended
            })
            .collect();
        (expected, cuts)
    };
    let stretches = parallel::map(lengths.len().div_ceil(STRETCH), reckon);
    let mut heading = start;
    let mut all = Vec::with_capacity(lengths.len());
    for (expected, cuts) in stretches {
        let mut holds = expected == heading;
        for reckoned in cuts {
            let then = reckoned.1;
            let ended = if holds { reckoned } else { cut(all.len(), heading) };
            holds = holds || ended.1 == then;
            heading = ended.1;
            all.push(ended.0);
        }
    }
    all
}

/// The heading after the last of the cuts with these `lengths`, the blade coming from anywhere.
fn run_up<T>(lengths: &[f64], cut: impl Fn(usize, Option<f64>) -> Ended<T>) -> Option<f64> {
    let mut sum = 0.0;
    let enough = lengths.iter().rev().position(|length| {
        sum += length;
        sum >= FORGOTTEN_AFTER
    });
    let count = enough.map_or(LONGEST_RUN_UP, |i| i + 1).min(LONGEST_RUN_UP).min(lengths.len());
    let heading = |heading, i| cut(i, heading).1;
    (lengths.len() - count..lengths.len()).fold(Some(0.0), heading)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A made-up blade that forgets within so many offsets.
    fn forgetting(lengths: &[f64]) -> impl Fn(usize, Option<f64>) -> Ended<(usize, u64)> {
        let lengths = lengths.to_vec();
        move |i, heading| {
            let kept = heading.unwrap_or(9.0) * (-lengths[i]).exp();
            let end = (i as f64).sin() + kept;
            ((i, end.to_bits()), Some(end))
        }
    }

    #[test]
    fn a_relay_is_one_cut_after_the_other_to_the_last_bit() {
        // Long cuts, short ones that need a run-up, ones too short for any, and a mixture.
        let kinds: [fn(usize) -> f64; 4] =
            [|_| 50.0, |_| 9.0, |_| 0.5, |i| if i % 70 < 40 { 0.01 } else { 30.0 }];
        for kind in kinds {
            for count in [0, 1, 63, 64, 65, 1000] {
                let lengths: Vec<f64> = (0..count).map(kind).collect();
                let cut = forgetting(&lengths);
                let mut heading = None;
                let expected = (0..count).map(|i| {
                    let ended = cut(i, heading);
                    heading = ended.1;
                    ended.0
                });
                let expected: Vec<_> = expected.collect();
                assert_eq!(run(&lengths, None, &cut), expected, "{count}");
            }
        }
    }
}
