//! Lines → [`Sheet`]: the ordering problem of some lines on the plane, and the way back.
//!
//! A closed line becomes one node whose spots are its candidate starts; an open line two nodes with
//! one spot each that stay side by side, so that either end may come first. Nodes are numbered
//! along a Hilbert curve through the middles of the boxes: near things lie near in memory, and the
//! numbering itself is a fair first order. The nearest line around that belongs to the same group
//! becomes the parent.

use std::collections::HashMap;

use super::Visit;
use super::boxes::hilbert_key;
use super::candidates::{Start, starts};
use super::cost::Planar;
use super::problem::{NOBODY, Problem, Route};
use crate::contour_tree::ContourTree;
use crate::geometry::{Bounds, LineRef, Point};
use crate::parallel;

/// The ordering problem of some lines.
#[derive(Debug, Clone)]
pub struct Sheet<M: Planar> {
    /// The problem without the drawing.
    pub problem: Problem<M>,
    /// For each node the box around its spots; nothing for the end.
    pub boxes: Vec<Bounds>,
    /// For each node its line; [`NOBODY`] for start and end.
    lines: Vec<u32>,
}

/// What a sheet is made from.
#[derive(Debug, Clone, Copy)]
pub struct Group<'a> {
    /// All lines of the layout.
    pub lines: &'a [LineRef<'a>],
    /// Who lies inside whom.
    pub tree: &'a ContourTree,
    /// The lines that take part; those without points are left out.
    pub members: &'a [usize],
    /// Straight run wanted around a start, mm.
    pub keep_off_mm: f64,
    /// How many times as many starts as the search's to offer for a line.
    pub finer: usize,
    /// Where the tool stands.
    pub start: Point,
}

impl Group<'_> {
    /// The candidate starts of a closed line; none for an open one.
    fn starts(&self, line: usize) -> Vec<Start> {
        if !self.lines[line].closed {
            return Vec::new();
        }
        starts(self.lines[line], self.keep_off_mm, self.finer)
    }
}

impl<M: Planar> Sheet<M> {
    /// The problem of `group` under `metric`.
    pub fn new(group: &Group, metric: M) -> Self {
        let mut sheet = Self::empty(metric, group.start);
        let mut nodes = HashMap::new();
        let lines = along_curve(group);
        let spots = |i: usize| group.starts(lines[i]).iter().map(|s| s.at).collect();
        parallel::in_turn(lines.len(), spots, |i, spots| {
            nodes.insert(lines[i], sheet.problem.len() as u32);
            sheet.add_line(lines[i], &group.lines[lines[i]], spots);
        });
        sheet.add_parents(group, &nodes);
        sheet.problem.add_end();
        sheet.note_node(NOBODY, Bounds::EMPTY);
        sheet
    }
    fn empty(metric: M, start: Point) -> Self {
        Self {
            problem: Problem::new(metric, &[start]),
            boxes: vec![Bounds::of(&[start])],
            lines: vec![NOBODY],
        }
    }
    /// The problem in which every line of `visits` has only the start it has there; nodes are
    /// numbered as they are visited.
    pub fn chosen(lines: &[LineRef], visits: &[Visit], start: Point, metric: M) -> Self {
        let mut sheet = Self::empty(metric, start);
        for visit in visits {
            let Some((from, to)) = lines.get(visit.line).and_then(|l| visit.ends(l)) else {
                continue;
            };
            let node = sheet.add_spot(visit.line, from);
            if !lines[visit.line].closed && lines[visit.line].points.len() > 1 {
                let other = sheet.add_spot(visit.line, to);
                sheet.problem.join(node, other);
            }
        }
        sheet.problem.add_end();
        sheet.note_node(NOBODY, Bounds::EMPTY);
        sheet
    }
    /// The nodes in the order of `visits`, each at its first spot.
    pub fn route_of(&self, visits: &[Visit]) -> Route {
        let mut by_line: HashMap<u32, Vec<u32>> = HashMap::new();
        for node in 0..self.problem.len() as u32 {
            by_line.entry(self.line(node)).or_default().push(node);
        }
        let mut route = Route { nodes: vec![0], picks: vec![0; self.problem.len()] };
        for visit in visits {
            route.nodes.extend(by_line.get(&(visit.line as u32)).into_iter().flatten());
        }
        route.nodes.push(self.problem.end());
        route
    }
    fn note_node(&mut self, line: u32, bounds: Bounds) {
        self.lines.push(line);
        self.boxes.push(bounds);
    }
    /// Adds a line; `spots` are where a closed one may be begun.
    fn add_line(&mut self, line: usize, contour: &LineRef, spots: Vec<Point>) {
        let last = contour.points.len() - 1;
        if contour.closed {
            self.problem.add(&spots);
            return self.note_node(line as u32, Bounds::of(&spots));
        }
        let first = self.add_spot(line, contour.points[0]);
        if last > 0 {
            let second = self.add_spot(line, contour.points[last]);
            self.problem.join(first, second);
        }
    }
    fn add_spot(&mut self, line: usize, spot: Point) -> u32 {
        let node = self.problem.add(&[spot]);
        self.note_node(line as u32, Bounds::of(&[spot]));
        node
    }
    fn add_parents(&mut self, group: &Group, nodes: &HashMap<usize, u32>) {
        for (node, &line) in self.lines.iter().enumerate() {
            if line == NOBODY {
                continue;
            }
            let around = group.tree.ancestors(line as usize).find_map(|a| nodes.get(&a));
            if let Some(&parent) = around {
                self.problem.set_parent(node as u32, parent);
            }
        }
    }
    /// The line of a node; [`NOBODY`] for start and end.
    pub fn line(&self, node: u32) -> u32 {
        self.lines[node as usize]
    }
    /// The visits of `route` through the problem of `group`, and the point where its last cut ends.
    ///
    /// The candidate starts are looked up anew: kept for all lines they would be as large as the problem.
    pub fn visits(&self, route: &Route, group: &Group) -> (Vec<Visit>, Point) {
        let mut visits: Vec<Visit> = Vec::with_capacity(route.nodes.len());
        let nodes: Vec<u32> =
            route.nodes.iter().copied().filter(|&n| self.line(n) != NOBODY).collect();
        let pick = |node: u32| route.picks[node as usize] as usize;
        let start =
            |i: usize| group.starts(self.line(nodes[i]) as usize).get(pick(nodes[i])).copied();
        parallel::in_turn(nodes.len(), start, |i, start| {
            let (node, line) = (nodes[i], self.line(nodes[i]) as usize);
            if visits.last().is_some_and(|v| v.line == line) {
                return;
            }
            let (contour, mate) = (&group.lines[line], self.problem.mate(node));
            let reversed = mate != NOBODY && mate < node;
            let end = if reversed { contour.points.len() - 1 } else { 0 };
            let (vertex, along) = start.map_or((end, 0.0), |s| (s.vertex as usize, s.along));
            visits.push(Visit { line, vertex, along, reversed });
        });
        let at = self.problem.spot(route, nodes.last().copied().unwrap_or(0));
        (visits, at)
    }
}

/// The members that have points, along a Hilbert curve through the middles of their boxes.
fn along_curve(group: &Group) -> Vec<usize> {
    let members = group.members.iter().filter(|&&m| !group.lines[m].points.is_empty());
    let middles: Vec<(usize, Point)> =
        members.map(|&m| (m, group.lines[m].bounds().center())).collect();
    let frame = middles.iter().fold(Bounds::EMPTY, |mut b, &(_, p)| {
        b.add(p);
        b
    });
    let mut keyed: Vec<(u64, usize)> =
        middles.iter().map(|&(m, p)| (hilbert_key(p, &frame), m)).collect();
    keyed.sort_unstable();
    keyed.into_iter().map(|(_, m)| m).collect()
}
