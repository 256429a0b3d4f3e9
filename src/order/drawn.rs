//! The order as drawn, except that inner lines come before those around them.
//!
//! Every line begins at its first candidate start (its first vertex, unless starts keep off
//! corners) and runs in its own sense.

use super::cost::Planar;
use super::precedence::hold_back;
use super::problem::Route;
use super::sheet::Sheet;

/// The order in which the lines of `sheet` were drawn.
pub fn order<M: Planar>(sheet: &Sheet<M>) -> Route {
    let problem = &sheet.problem;
    let end = problem.end();
    let mut nodes: Vec<u32> = (1..problem.len() as u32).filter(|&n| n != end).collect();
    nodes.sort_by_key(|&n| (sheet.line(n), n));
    let mut route = Route { nodes: vec![0], picks: vec![0; problem.len()] };
    route.nodes.extend(hold_back(problem, &nodes));
    route.nodes.push(end);
    route
}
