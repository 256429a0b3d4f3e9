//! Inner before outer: [`hold_back`] turns any order into one that keeps it.
//!
//! Walk the order; a node with unvisited children is held until the last of them is out, then it
//! follows at once. Pairs that stay side by side move together.

use super::cost::Metric;
use super::problem::{NOBODY, Problem};

/// `nodes` rearranged so that every child comes before its parent; pairs stay side by side.
///
/// The relative order of everything that was in order stays.
pub fn hold_back<M: Metric>(problem: &Problem<M>, nodes: &[u32]) -> Vec<u32> {
    let mut waiting = vec![0u32; problem.len()];
    for &node in nodes {
        if let Some(count) = waiting.get_mut(problem.parent(node) as usize) {
            *count += 1;
        }
    }
    let mut held = vec![false; problem.len()];
    let mut out = Vec::with_capacity(nodes.len());
    for &node in nodes {
        if waiting[node as usize] > 0 {
            held[node as usize] = true;
        } else {
            release(problem, node, (&mut waiting, &held), &mut out);
        }
    }
    out
}

/// Puts `node` out, and after it every held node that waited for it alone.
fn release<M: Metric>(
    problem: &Problem<M>,
    node: u32,
    (waiting, held): (&mut [u32], &[bool]),
    out: &mut Vec<u32>,
) {
    let mut next = node;
    loop {
        out.push(next);
        let parent = problem.parent(next);
        if parent == NOBODY {
            return;
        }
        waiting[parent as usize] -= 1;
        if waiting[parent as usize] > 0 || !held[parent as usize] {
            return;
        }
        next = parent;
    }
}
