//! How far a drawing grows when everything it refers to is written out.
//!
//! Clones, markers, masks, clip paths and patterns may refer to others in turn. A few lines can
//! stand for billions of elements, or for a chain so long that recursion overflows the stack. Both
//! are found here, before the SVG library writes anything out: the weight of a target is its own
//! elements plus the weights of what they refer to.
//!
//! Input: elements in document order, with where each subtree ends, and the references that begin
//! at each. Cycles count as nothing: the library breaks them.

use std::collections::HashMap;

use crate::drawing::limits::{MAX_EXPANDED, MAX_REFERENCES};

/// A reference from an element to an id.
pub(super) struct Reference<'a> {
    /// The referring element, as an index in document order.
    pub(super) from: usize,
    /// The id that it names.
    pub(super) id: &'a str,
    /// How often the target is written out for it (a marker: once per vertex).
    pub(super) times: u64,
}

/// All elements of a document and what they refer to.
#[derive(Default)]
pub(super) struct Graph<'a> {
    /// For each element, the index after its last descendant.
    pub(super) ends: Vec<usize>,
    /// What each element weighs by itself, 1 or more.
    pub(super) own: Vec<u64>,
    /// Ascending by `from`.
    pub(super) references: Vec<Reference<'a>>,
    /// Which element has an id.
    pub(super) ids: HashMap<&'a str, usize>,
}

/// Why a drawing is refused; with the element that is to blame.
#[derive(Debug, PartialEq)]
pub(super) enum TooMuch {
    Chain(usize),
    Elements(usize),
}

#[derive(Clone, Copy)]
enum Weight {
    Unknown,
    Open,
    Known { elements: u64, depth: usize },
}

/// Refuses chains and growth beyond the limits.
pub(super) fn check(graph: &Graph<'_>) -> Result<(), TooMuch> {
    let mut weights = vec![Weight::Unknown; graph.ends.len()];
    let before = sums(&graph.own);
    let mut total = before.last().copied().unwrap_or(0);
    if total > MAX_EXPANDED {
        return Err(TooMuch::Elements(0));
    }
    let graph = &Weighed { graph, before: &before };
    for reference in &graph.graph.references {
        let (elements, _) = follow(graph, reference, 1, &mut weights)?;
        total = total.saturating_add(elements);
        if total > MAX_EXPANDED {
            return Err(TooMuch::Elements(reference.from));
        }
    }
    Ok(())
}

/// The graph with the weight of all elements before each.
struct Weighed<'a, 'g> {
    graph: &'a Graph<'g>,
    before: &'a [u64],
}

fn sums(own: &[u64]) -> Vec<u64> {
    let running = own.iter().scan(0u64, |sum, weight| {
        *sum = sum.saturating_add(*weight);
        Some(*sum)
    });
    std::iter::once(0).chain(running).collect()
}

/// Elements and depth that one reference stands for. Recursion is bounded by the chain's limit.
fn follow(
    graph: &Weighed<'_, '_>,
    reference: &Reference<'_>,
    depth: usize,
    weights: &mut [Weight],
) -> Result<(u64, usize), TooMuch> {
    let Some(&target) = graph.graph.ids.get(reference.id) else { return Ok((0, 0)) };
    let (elements, below) = weigh(graph, target, depth, weights)?;
    if depth + below > MAX_REFERENCES {
        return Err(TooMuch::Chain(reference.from));
    }
    Ok((elements.saturating_mul(reference.times), below + 1))
}

fn weigh(
    graph: &Weighed<'_, '_>,
    target: usize,
    depth: usize,
    weights: &mut [Weight],
) -> Result<(u64, usize), TooMuch> {
    match weights[target] {
        Weight::Known { elements, depth } => return Ok((elements, depth)),
        Weight::Open => return Ok((0, 0)),
        Weight::Unknown if depth > MAX_REFERENCES => return Err(TooMuch::Chain(target)),
        Weight::Unknown => weights[target] = Weight::Open,
    }
    let end = graph.graph.ends[target];
    let first = graph.graph.references.partition_point(|r| r.from < target);
    let mut elements = graph.before[end].saturating_sub(graph.before[target]);
    let mut deepest = 0;
    for reference in graph.graph.references[first..].iter().take_while(|r| r.from < end) {
        let (more, below) = follow(graph, reference, depth + 1, weights)?;
        elements = elements.saturating_add(more);
        deepest = deepest.max(below);
    }
    weights[target] = Weight::Known { elements, depth: deepest };
    Ok((elements, deepest))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Element `i` refers `times` times to element `i + 1`; element 0 is nobody's target.
    fn chain(length: usize, times: usize) -> (Vec<String>, usize, usize) {
        ((0..length).map(|i| format!("e{i}")).collect(), length, times)
    }

    fn graph((names, length, times): &(Vec<String>, usize, usize)) -> Graph<'_> {
        let references = (0..length - 1)
            .flat_map(|from| (0..*times).map(move |_| from))
            .map(|from| Reference { from, id: &names[from + 1], times: 1 })
            .collect();
        let ids = names.iter().enumerate().map(|(i, n)| (n.as_str(), i)).collect();
        Graph { ends: (1..=*length).collect(), own: vec![1; *length], references, ids }
    }

    #[test]
    fn bombs_and_long_chains_are_refused_cycles_are_not() {
        assert_eq!(check(&graph(&chain(20, 1))), Ok(()));
        assert!(matches!(check(&graph(&chain(30, 10))), Err(TooMuch::Elements(_))));
        assert!(matches!(check(&graph(&chain(5_000, 1))), Err(TooMuch::Chain(_))));
        let names = chain(2, 1);
        let mut cycle = graph(&names);
        cycle.references.push(Reference { from: 1, id: "e0", times: 1 });
        assert_eq!(check(&cycle), Ok(()));
    }
}
