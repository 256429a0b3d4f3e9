//! Discs between walls → [`ThinPlace`]s: those that neighbour each other are one place.

use crate::parallel;
use crate::sets::Sets;

use super::ThinPlace;
use super::disc::{Disc, Spot, Walls};

/// Steps of the search for the least width between two points of a contour; each shortens the
/// stretch by the golden ratio.
const NARROWINGS: u32 = 16;
/// Points are at most so many least widths apart: no strip as long as it has to be slips through.
const STEP: f64 = 0.75;
/// A point is told when it is longer than this many least widths: sharper than 28°.
const LONG_POINT: f64 = 2.0;

/// A disc by the point of a contour that it belongs to.
struct Entry {
    disc: Disc,
    /// Number of that point.
    key: usize,
    /// Number of the point nearest to where the disc touches the wall opposite.
    opposite: usize,
    /// It was found at an inner corner.
    neck: bool,
}

/// Points along the contours, numbered.
struct Points<'a> {
    walls: &'a Walls<'a>,
    /// For each contour the number of its first point, and one more at the end.
    first: Vec<usize>,
}

/// The thin places between `walls`.
pub(super) fn places(walls: &Walls) -> Vec<ThinPlace> {
    let points = Points::along(walls);
    let rings = parallel::map(walls.rings.len(), |ring| points.entries(ring));
    let mut entries: Vec<Entry> = Vec::with_capacity(rings.iter().map(Vec::len).sum());
    rings.into_iter().for_each(|ring| entries.extend(ring));
    let groups = points.groups(&entries);
    groups.iter().filter_map(|group| points.place(&entries, group)).collect()
}

impl<'a> Points<'a> {
    /// Points spread evenly along each contour.
    fn along(walls: &'a Walls<'a>) -> Self {
        let mut first = vec![0];
        let mut total = 0;
        for ring in &walls.rings {
            total += (ring.length_mm / (STEP * walls.below_mm)).ceil().max(1.0) as usize;
            first.push(total);
        }
        Self { walls, first }
    }

    fn count(&self, ring: usize) -> usize {
        self.first[ring + 1] - self.first[ring]
    }

    fn step_mm(&self, ring: usize) -> f64 {
        self.walls.rings[ring].length_mm / self.count(ring) as f64
    }

    fn key(&self, spot: Spot) -> usize {
        let count = self.count(spot.ring);
        let number = (spot.along_mm / self.step_mm(spot.ring)).floor().max(0.0) as usize;
        self.first[spot.ring] + number % count
    }

    /// All discs at points and inner corners of a contour, by their keys, which are larger in the next one.
    fn entries(&self, ring: usize) -> Vec<Entry> {
        let step = self.step_mm(ring);
        let spot = |i: usize| Spot { ring, along_mm: (i as f64 + 0.5) * step };
        let discs = (0..self.count(ring)).filter_map(|i| self.walls.disc_at(spot(i)));
        let mut entries: Vec<Entry> = discs.map(|disc| self.entry(disc, false)).collect();
        let corners = self.walls.of_ring(ring).filter(|&wall| self.walls.is_sharp(wall));
        let necks = corners.filter_map(|wall| self.walls.neck_at(wall));
        // What a neck cuts off has to be worth the name of a piece.
        let necks = necks
            .filter(|disc| self.walls.way_round(disc) > 2.0 * self.walls.below_mm + disc.width_mm);
        entries.extend(necks.map(|disc| self.entry(disc, true)));
        entries.sort_by_key(|entry| entry.key);
        entries
    }

    fn entry(&self, disc: Disc, neck: bool) -> Entry {
        Entry { disc, key: self.key(disc.from), opposite: self.key(disc.to), neck }
    }

    /// Entries that neighbour each other, directly or through others.
    fn groups(&self, entries: &[Entry]) -> Vec<Vec<usize>> {
        let mut sets = Sets::new(entries.len());
        for (i, entry) in entries.iter().enumerate() {
            let Disc { from, to, .. } = entry.disc;
            for (ring, key) in [(from.ring, entry.key), (to.ring, entry.opposite)] {
                self.near(entries, ring, key).for_each(|j| sets.join(i, j));
            }
        }
        sets.groups(|_| true)
    }

    /// The entries at the point `key` of a contour and at its neighbours.
    fn near<'b>(
        &self,
        entries: &'b [Entry],
        ring: usize,
        key: usize,
    ) -> impl Iterator<Item = usize> + use<'b> {
        let (first, count) = (self.first[ring], self.count(ring));
        let shifted = move |by: usize| first + (key - first + by) % count;
        let keys = [shifted(count - 1), key, shifted(1)];
        keys.into_iter().flat_map(move |key| {
            let from = entries.partition_point(|entry| entry.key < key);
            (from..).take_while(move |&i| entries.get(i).is_some_and(|entry| entry.key == key))
        })
    }

    /// The place that a group of entries makes, if it is worth telling.
    fn place(&self, entries: &[Entry], group: &[usize]) -> Option<ThinPlace> {
        let below = self.walls.below_mm;
        let of = |i: &usize| &entries[*i];
        let length = |entry: &Entry| {
            // Both sides of a strip have points.
            if entry.neck { 0.0 } else { self.step_mm(entry.disc.from.ring) / 2.0 }
        };
        let (tips, strip): (Vec<&Entry>, Vec<&Entry>) =
            group.iter().map(of).partition(|entry| self.walls.is_tip(&entry.disc));
        let length_mm: f64 = group.iter().map(|i| length(of(i))).sum();
        let strip_mm: f64 = strip.iter().map(|entry| length(entry)).sum();
        let least = |all: &[&Entry]| {
            let by_width = |a: &&&Entry, b: &&&Entry| a.disc.width_mm.total_cmp(&b.disc.width_mm);
            all.iter().min_by(by_width).map(|entry| (entry.disc, entry.neck))
        };
        let place = |disc: Disc, pointed| ThinPlace {
            at: disc.center,
            width_mm: disc.width_mm,
            length_mm: f64::max(length_mm, disc.width_mm),
            pointed,
        };
        if strip_mm >= below || strip.iter().any(|entry| entry.neck) {
            let (disc, neck) = least(&strip)?;
            return Some(place(if neck { disc } else { self.narrowest(disc) }, false));
        }
        let (disc, _) = least(&tips)?;
        (length_mm >= LONG_POINT * below).then(|| place(disc, true))
    }

    /// The narrowest disc between the points beside `disc` (golden section search; Kiefer, 1953).
    fn narrowest(&self, disc: Disc) -> Disc {
        let step = self.step_mm(disc.from.ring);
        let ratio = (5f64.sqrt() - 1.0) / 2.0;
        let at = |by: f64| {
            let found = self.walls.disc_at(disc.from.moved(by));
            found.filter(|found| !self.walls.is_tip(found))
        };
        let width = |found: &Option<Disc>| found.map_or(f64::INFINITY, |found| found.width_mm);
        let (mut low, mut high) = (-step, step);
        let mut best = disc;
        for _ in 0..NARROWINGS {
            let (left, right) = (high - ratio * (high - low), low + ratio * (high - low));
            let (a, b) = (at(left), at(right));
            for found in [a, b].into_iter().flatten() {
                if found.width_mm < best.width_mm {
                    best = found;
                }
            }
            if width(&a) <= width(&b) { high = right } else { low = left }
        }
        self.walls
            .necks_beside(&best)
            .fold(best, |best, neck| if neck.width_mm < best.width_mm { neck } else { best })
    }
}
