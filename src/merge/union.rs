//! Many areas → merged regions: overlaps melt.
//!
//! Groups of touching boxes are overlaid one by one on all cores; within a group of thousands the
//! union is taken in a cascade over neighbours (Morton order), which keeps the sweep short.
//! Groups come back in the order of their first area, so the number of threads changes nothing.

use i_overlay::core::fill_rule::FillRule as Rule;
use i_overlay::core::overlay_rule::OverlayRule;

use crate::geometry::{Contour, Region};
use crate::parallel;

use super::cluster::clusters;
use super::{Area, Frame, Ring, contour, density, overlay_of};

/// Groups above this many areas are united in a cascade.
const DENSE: usize = 2000;
/// How many areas are united at once in the first round of a cascade, and in the later ones.
const BATCH: usize = 64;
const FAN_IN: usize = 8;
/// A contour whose area divided by its length is below this is a sliver of rounding, mm.
const SLIVER_MM: f64 = 0.002;

/// A merged region.
#[derive(Debug, Clone, PartialEq)]
pub struct Merged {
    /// The piece, mm.
    pub region: Region,
    /// Index of the first area that it was made from, judged by boxes: of areas that come in several
    /// parts it may be a later one.
    pub first: usize,
}

/// The union of `areas`, as separate regions.
pub fn merge(areas: &[Area]) -> Vec<Merged> {
    grouped(areas).merged(|merged| merged)
}

/// Areas in groups whose boxes touch.
pub struct Groups<'a> {
    areas: &'a [Area],
    frames: Vec<Option<Frame>>,
    groups: Vec<Vec<usize>>,
}

/// `areas` in groups whose boxes touch, to be counted before they are merged.
pub fn grouped(areas: &[Area]) -> Groups<'_> {
    let frames = parallel::map(areas.len(), |i| areas[i].frame());
    let groups = clusters(&frames);
    Groups { areas, frames, groups }
}

impl Groups<'_> {
    /// How often the edges cross within all groups, each counted as [`Area::crossings`] does.
    pub fn crossings(&self, most: u64) -> u64 {
        let counts = parallel::map(self.groups.len(), |i| {
            let areas = self.groups[i].iter().map(|&area| &self.areas[area]);
            density::crossings(areas.flat_map(|area| &area.rings), most)
        });
        counts.into_iter().fold(0, u64::saturating_add)
    }

    /// What `each` makes of the regions of [`merge`], in their order.
    pub fn merged<T: Send>(&self, each: impl Fn(Merged) -> T + Sync) -> Vec<T> {
        let united = |i: usize| -> Vec<T> {
            unite(self.areas, &self.frames, &self.groups[i]).map(&each).collect()
        };
        parallel::map(self.groups.len(), united).into_iter().flatten().collect()
    }
}

fn unite(
    areas: &[Area],
    frames: &[Option<Frame>],
    group: &[usize],
) -> impl Iterator<Item = Merged> {
    let shapes = if group.len() > DENSE {
        cascade(areas, frames, group)
    } else {
        let rings: Vec<&Ring> = group.iter().flat_map(|&i| &areas[i].rings).collect();
        overlaid(rings)
    };
    shapes
        .into_iter()
        .filter_map(|shape| region(&shape))
        .map(|region| Merged { first: first_of(&region, frames, group), region })
}

fn overlaid<'a>(rings: impl IntoIterator<Item = &'a Ring>) -> Vec<Vec<Ring>> {
    let mut overlay = overlay_of(&[], &[]);
    for ring in rings {
        overlay.add_contour(ring, i_overlay::core::overlay::ShapeType::Subject);
    }
    overlay.overlay(OverlayRule::Subject, Rule::NonZero)
}

fn cascade(areas: &[Area], frames: &[Option<Frame>], group: &[usize]) -> Vec<Vec<Ring>> {
    let mut order = group.to_vec();
    order.sort_by_key(|&i| (frames[i].map(morton), i));
    let mut parts: Vec<Vec<Ring>> = order
        .chunks(BATCH)
        .map(|batch| {
            overlaid(batch.iter().flat_map(|&i| &areas[i].rings)).into_iter().flatten().collect()
        })
        .collect();
    while parts.len() > FAN_IN {
        parts = parts
            .chunks(FAN_IN)
            .map(|some| overlaid(some.iter().flatten()).into_iter().flatten().collect())
            .collect();
    }
    overlaid(parts.iter().flatten())
}

/// Position along the Morton curve (G. M. Morton, 1966): the bits of x and y in turn.
fn morton(frame: Frame) -> u64 {
    let spread = |v: i32| {
        let mut bits = u64::from((v as u32) ^ 0x8000_0000);
        for (shift, mask) in [
            (16, 0x0000_FFFF_0000_FFFF),
            (8, 0x00FF_00FF_00FF_00FF),
            (4, 0x0F0F_0F0F_0F0F_0F0F),
            (2, 0x3333_3333_3333_3333),
            (1, 0x5555_5555_5555_5555),
        ] {
            bits = (bits | (bits << shift)) & mask;
        }
        bits
    };
    spread(frame.x[0]) | (spread(frame.y[0]) << 1)
}

/// A shape of the library as a region in mm; `None` for slivers.
fn region(shape: &[Ring]) -> Option<Region> {
    let mut contours = shape.iter().map(|ring| contour(ring)).filter(|c| !is_sliver(c));
    let outer = contours.next().filter(|c| c.signed_area() > 0.0)?;
    Some(Region { outer, holes: contours.collect() })
}

fn is_sliver(contour: &Contour) -> bool {
    contour.points.len() < 3 || contour.signed_area().abs() < SLIVER_MM * contour.length()
}

/// The first area of the group whose box lies in the region's box; the group's first, if the
/// group is too large to look.
fn first_of(region: &Region, frames: &[Option<Frame>], group: &[usize]) -> usize {
    let around = region.outer.bounds().grown(0.01);
    let fits = |&&i: &&usize| frames[i].is_some_and(|frame| around.holds(frame.bounds()));
    let candidate = (group.len() <= 256).then(|| group.iter().find(fits)).flatten();
    candidate.or(group.first()).copied().unwrap_or(0)
}
