//! From an editable drawing to a proven cut.
//!
//! ```text
//! SVG text -> Drawing -> visible ink (outlined strokes) -> merged Regions
//!   -> Layout on the sheet -> Layout sound in plotter units -> ContourTree -> CutOrder -> AxisPaths
//!   -> Job in plotter units (-> arcs, for machines that take them) -> HPGL bytes -> file | serial port
//! beside it: HPGL bytes -> Trace -> Simulation -> check, proof, compare, preview, report
//! ```
//!
//! The modules are declared in the order of that flow; a stage uses only stages above it
//! (`tests/architecture.rs` reads this file and checks). `contour_tree` stands above `place`, which asks
//! it what lies inside what, too.

pub mod units;

#[cfg(test)]
mod lehmer;

pub mod geometry;

pub mod finding;

pub mod parallel;

mod clipping;

mod sets;

pub mod edges;

pub mod glyphs;

pub mod profile;

pub mod drawing;

pub mod outline;

pub mod merge;

pub mod ink;

pub mod contour_tree;

pub mod place;

pub mod rounding;

pub mod order;

pub mod blade;

pub mod job;

pub mod hpgl;

pub mod simulate;

pub mod work;

pub mod check;

pub mod follow;

pub mod arcs;

pub mod proof;

pub mod led;

pub mod pipeline;

pub mod report;

pub mod compare;

pub mod preview;

pub mod tuning;

pub mod stand_in;

pub mod send;

pub mod cli;
