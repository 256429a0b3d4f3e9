//! A film's regions → [`Layout`]: lines on the machine's sheet, mm, y up, in machine coordinates.
//!
//! Turn, mirror, copies, packing, panels and weeding lines happen here, and y turns up here, once. Size does not: a
//! drawing is scaled before it is outlined ([`crate::drawing::Drawing::scaled`]), so tolerances
//! stay true. Hard-clip limits are checked here, before anything is ordered or written.
//!
//! Invariants: every line lies where the tip of the tool has to run; outer contours run
//! counter-clockwise, holes clockwise, whatever was mirrored and however a line that is followed was
//! drawn: material lies to the left of every closed line that is cut.

mod bridges;
mod fit;
mod marks;
mod pack;
mod panels;
mod small;
mod thin;
mod weed;

use kurbo::Affine;

use crate::contour_tree;
use crate::finding::Finding;
use crate::geometry::{Bounds, Contour, LineRef, Point, Region};
use crate::ink::{Film, Treatment};
use crate::parallel;
use crate::profile::Machine;

pub use bridges::{Dash, bridge};
pub use fit::PlaceError;
pub use panels::{Panel, Panels, panels};
pub use small::small_pieces;
pub use thin::{ThinPlace, thin_pieces, thin_places};
pub use weed::{WeedLines, WeedShape, Weeding};

/// Everything that is to be cut, on the sheet.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Layout {
    /// The lines, as drawn: in the order of their first shape.
    pub lines: Vec<CutLine>,
}

/// One line to be cut.
#[derive(Debug, Clone, PartialEq)]
pub struct CutLine {
    /// Where the tip has to run, mm, y up, machine coordinates.
    pub contour: Contour,
    /// Why it is there.
    pub role: Role,
    /// Index into [`crate::drawing::Drawing::layers`] of its first shape.
    pub layer: usize,
    /// Tool number, from 1.
    pub tool: u32,
}

/// Why a line is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Part of the design, cut.
    #[default]
    Design,
    /// Part of the design, drawn.
    Draw,
    /// Part of the design, scored.
    Score,
    /// Marks by which films are laid on one another.
    Mark,
    /// Lines that make weeding easier; cut last.
    Weed,
}

impl Role {
    /// The role of the lines of a layer that is treated so.
    fn of(treatment: Treatment) -> Self {
        match treatment {
            Treatment::Draw => Self::Draw,
            Treatment::Score => Self::Score,
            Treatment::Cut | Treatment::Skip => Self::Design,
        }
    }

    /// Whether the line was drawn by the author, and not added around the work.
    pub fn is_design(self) -> bool {
        matches!(self, Self::Design | Self::Draw | Self::Score)
    }
}

/// Where and how the work lies on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Placement {
    /// Turned counter-clockwise, degrees.
    pub rotate_deg: f64,
    /// Left and right exchanged.
    pub mirror: bool,
    /// Lower left corner of the work, mm from the lower left corner of the machine's area (from
    /// 0,0 where the area is unknown). `None` keeps the drawing's place on its page.
    pub at: Option<Point>,
    /// Columns and rows of copies.
    pub copies: (u32, u32),
    /// Gap between copies, mm.
    pub gap_mm: f64,
    /// Separate pieces are moved and turned so that they take little film: how many directions,
    /// evenly spread over the full turn, are tried; `None` leaves them as drawn.
    pub pack_turns: Option<u32>,
    /// The design is cut in stretches with bridges between them ([`bridge`]).
    pub dash: Option<Dash>,
    /// Registration marks around the work, the same on every film.
    pub marks: bool,
    /// Work that is too large for the machine is parted into panels ([`panels`]).
    pub panels: Option<Panels>,
    /// Cuts through the waste that make weeding easier.
    pub weeding: Weeding,
}

impl Default for Placement {
    fn default() -> Self {
        Self {
            rotate_deg: 0.0,
            mirror: false,
            at: None,
            copies: (1, 1),
            gap_mm: 5.0,
            pack_turns: None,
            dash: None,
            marks: false,
            panels: None,
            weeding: Weeding::default(),
        }
    }
}

/// The most copies laid at once.
pub const MOST_COPIES: u32 = 10_000;

impl Layout {
    /// The box around all lines, mm.
    pub fn bounds(&self) -> Bounds {
        bounds_of(&self.lines)
    }

    fn shift(&mut self, by: Point) {
        for p in self.lines.iter_mut().flat_map(|line| &mut line.contour.points) {
            *p = *p + by;
        }
    }
}

/// Lays `film` of a page of `page_mm` on the sheet of `machine`.
///
/// # Errors
/// [`PlaceError`] with both sizes and the option that makes it fit.
pub fn layout(
    film: &Film,
    page_mm: (f64, f64),
    placement: &Placement,
    machine: &Machine,
) -> Result<(Layout, Vec<Finding>), PlaceError> {
    if placement.pack_turns.is_some() {
        return packed(film, page_mm, placement, machine);
    }
    let mut sheets = layouts(&[film], page_mm, placement, machine)?;
    Ok((sheets.pop().unwrap_or_default(), Vec::new()))
}

/// Lays several films of one drawing on sheets of their own, all about the same origin, so that
/// they register when they are laid on one another. Nothing is packed.
///
/// # Errors
/// [`PlaceError`] with both sizes and the option that makes it fit.
pub fn layouts(
    films: &[&Film],
    page_mm: (f64, f64),
    placement: &Placement,
    machine: &Machine,
) -> Result<Vec<Layout>, PlaceError> {
    let turned: Vec<Turned> = films.iter().map(|film| turn(film, page_mm, placement)).collect();
    let design = turned.iter().fold(Bounds::EMPTY, |b, film| b.union(bounds_of(&film.lines)));
    let page = turned.first().map_or(Bounds::EMPTY, |film| film.page);
    let mut layouts = Vec::with_capacity(films.len());
    for film in turned {
        layouts.push(Layout { lines: copies(film.lines, design, placement) });
    }
    if placement.marks {
        let work = layouts.iter().fold(Bounds::EMPTY, |b, layout| b.union(layout.bounds()));
        layouts.iter_mut().for_each(|layout| layout.lines.extend(marks::around(work)));
    }
    finished(layouts, Some(page), placement, machine).map(|(layouts, _)| layouts)
}

/// With weed lines, in their place on the sheet by `page` (without one by the work itself), and how
/// far they were moved.
fn finished(
    mut layouts: Vec<Layout>,
    page: Option<Bounds>,
    placement: &Placement,
    machine: &Machine,
) -> Result<(Vec<Layout>, Point), PlaceError> {
    for layout in &mut layouts {
        let weed = weed::lines(&layout.lines, &placement.weeding)?;
        layout.lines.extend(weed);
    }
    let work = layouts.iter().fold(Bounds::EMPTY, |b, layout| b.union(layout.bounds()));
    let shift = fit::shift(work, page.unwrap_or(work), placement, machine)?;
    layouts.iter_mut().for_each(|layout| layout.shift(shift));
    Ok((layouts, shift))
}

fn packed(
    film: &Film,
    page_mm: (f64, f64),
    placement: &Placement,
    machine: &Machine,
) -> Result<(Layout, Vec<Finding>), PlaceError> {
    let (lines, used) = pack::pack(&turn(film, page_mm, placement).lines, placement, machine)?;
    let mut layout = Layout { lines };
    let page = layout.bounds();
    let weed = weed::lines(&layout.lines, &placement.weeding)?;
    layout.lines.extend(weed);
    layout.shift(fit::shift(layout.bounds(), page, placement, machine)?);
    Ok((layout, vec![used]))
}

fn bounds_of(lines: &[CutLine]) -> Bounds {
    lines.iter().fold(Bounds::EMPTY, |b, line| b.union(line.contour.bounds()))
}

/// The film's lines, turned and mirrored, y up, and the box of the page with them.
struct Turned {
    lines: Vec<CutLine>,
    page: Bounds,
}

fn turn(film: &Film, page_mm: (f64, f64), placement: &Placement) -> Turned {
    let (width, height) = page_mm;
    let upright = Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, height]);
    let mirror = if placement.mirror {
        Affine::new([-1.0, 0.0, 0.0, 1.0, width, 0.0])
    } else {
        Affine::IDENTITY
    };
    let map = quarter_exact(placement.rotate_deg) * mirror * upright;
    let mut page = Bounds::EMPTY;
    for (x, y) in [(0.0, 0.0), (width, 0.0), (0.0, height), (width, height)] {
        page.add(apply(map, Point::new(x, y)));
    }
    let regions = film.regions.iter().flat_map(|piece| {
        Region::contours(&piece.region).map(|contour| (contour, piece.layer, Role::Design))
    });
    let drawn = film.lines.iter().map(|l| (&l.contour, l.layer, Role::of(l.treatment)));
    let all: Vec<(&Contour, usize, Role)> = regions.chain(drawn).collect();
    let mut lines = parallel::map(all.len(), |i| {
        let (contour, layer, role) = all[i];
        CutLine { contour: mapped(contour, map), role, layer, tool: 1 }
    });
    if film.lines.iter().any(|l| l.contour.closed) {
        material_left(&mut lines);
    }
    Turned { lines, page }
}

/// Turns closed lines that were drawn the other way: outer ones run counter-clockwise, and those
/// that an odd number of cut lines is around, holes, clockwise. Drawn and scored lines bound no waste.
fn material_left(lines: &mut [CutLine]) {
    let bounding: Vec<usize> = (0..lines.len())
        .filter(|&i| lines[i].contour.closed && lines[i].role == Role::Design)
        .collect();
    let cut: Vec<LineRef> = bounding.iter().map(|&i| (&lines[i].contour).into()).collect();
    let depths = contour_tree::build(&cut).depths();
    let mut is_hole = vec![false; lines.len()];
    for (&line, depth) in bounding.iter().zip(depths) {
        is_hole[line] = depth % 2 == 1;
    }
    for (line, is_hole) in lines.iter_mut().zip(is_hole) {
        if line.contour.closed && (line.contour.signed_area() < 0.0) != is_hole {
            line.contour = line.contour.clone().reversed();
        }
    }
}

/// A turn by `degrees`; quarter turns without rounding.
fn quarter_exact(degrees: f64) -> Affine {
    match degrees.rem_euclid(360.0) {
        0.0 => Affine::IDENTITY,
        90.0 => Affine::new([0.0, 1.0, -1.0, 0.0, 0.0, 0.0]),
        180.0 => Affine::new([-1.0, 0.0, 0.0, -1.0, 0.0, 0.0]),
        270.0 => Affine::new([0.0, -1.0, 1.0, 0.0, 0.0, 0.0]),
        other => Affine::rotate(other.to_radians()),
    }
}

fn apply(map: Affine, p: Point) -> Point {
    let q = map * kurbo::Point::new(p.x, p.y);
    Point::new(q.x, q.y)
}

/// The contour under `map`; a closed one keeps its sense as seen (outer ones stay positive).
fn mapped(contour: &Contour, map: Affine) -> Contour {
    let points = contour.points.iter().map(|&p| apply(map, p)).collect();
    let moved = Contour { points, closed: contour.closed };
    if contour.closed && map.determinant() < 0.0 { moved.reversed() } else { moved }
}

/// Copies of `lines` with the pitch of the whole `design`, which may have further films.
fn copies(lines: Vec<CutLine>, design: Bounds, placement: &Placement) -> Vec<CutLine> {
    let (columns, rows) = (placement.copies.0.max(1), placement.copies.1.max(1));
    if columns == 1 && rows == 1 {
        return lines;
    }
    let pitch = Point::new(design.width() + placement.gap_mm, design.height() + placement.gap_mm);
    let places = (0..rows).flat_map(|row| (0..columns).map(move |column| (column, row)));
    let mut all = Vec::new();
    for (column, row) in places.take(MOST_COPIES as usize) {
        let shift = Point::new(pitch.x * f64::from(column), pitch.y * f64::from(row));
        for line in &lines {
            let mut copy = line.clone();
            for p in &mut copy.contour.points {
                *p = *p + shift;
            }
            all.push(copy);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ink::FilmRegion;
    use crate::profile::Library;

    fn machine(name: &str) -> Machine {
        Library::default().machine(name).unwrap()
    }

    /// A piece of 40 × 20 mm with a hole, on a page of 100 × 60 mm, 10 mm from its top left corner.
    fn film() -> Film {
        let ring = |x0: f64, y0: f64, x1: f64, y1: f64| {
            let corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)];
            Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec())
        };
        let region = Region {
            outer: ring(10.0, 10.0, 50.0, 30.0),
            holes: vec![ring(15.0, 15.0, 20.0, 20.0).reversed()],
        };
        Film { regions: vec![FilmRegion { region, layer: 3 }], ..Film::default() }
    }

    fn placed(placement: &Placement, machine_name: &str) -> Result<Layout, PlaceError> {
        let machine = machine(machine_name);
        Ok(layout(&film(), (100.0, 60.0), placement, &machine)?.0)
    }

    #[test]
    fn the_page_stands_upright_at_the_origin() {
        let layout = placed(&Placement::default(), "plain-hpgl").unwrap();
        let bounds = layout.bounds();
        assert_eq!((bounds.min, bounds.max), (Point::new(10.0, 30.0), Point::new(50.0, 50.0)));
        assert_eq!(layout.lines[0].contour.signed_area(), 800.0);
        assert_eq!(layout.lines[1].contour.signed_area(), -25.0);
        assert_eq!(layout.lines[1].layer, 3);
        // The hole lies near the piece's upper left corner, as drawn.
        assert_eq!(layout.lines[1].contour.bounds().min, Point::new(15.0, 40.0));
    }

    #[test]
    fn mirrored_and_turned_contours_keep_their_sense() {
        for (mirror, rotate_deg) in [(true, 0.0), (true, 90.0), (false, 180.0), (true, 33.0)] {
            let placement = Placement { mirror, rotate_deg, ..Placement::default() };
            let layout = placed(&placement, "plain-hpgl").unwrap();
            let areas: Vec<f64> = layout.lines.iter().map(|l| l.contour.signed_area()).collect();
            assert!((areas[0] - 800.0).abs() < 1e-9 && (areas[1] + 25.0).abs() < 1e-9, "{areas:?}");
        }
        let mirrored =
            placed(&Placement { mirror: true, ..Placement::default() }, "plain-hpgl").unwrap();
        assert_eq!(mirrored.bounds().min, Point::new(50.0, 30.0));
        assert_eq!(mirrored.lines[1].contour.bounds().min, Point::new(80.0, 40.0));
    }

    #[test]
    fn copies_and_border_keep_their_gaps() {
        let placement = Placement {
            copies: (3, 2),
            gap_mm: 4.0,
            weeding: Weeding { border_mm: Some(3.0), ..Weeding::default() },
            at: Some(Point::new(5.0, 5.0)),
            ..Placement::default()
        };
        let layout = placed(&placement, "roll-15").unwrap();
        assert_eq!(layout.lines.len(), 3 * 2 * 2 + 1);
        let bounds = layout.bounds();
        assert_eq!(bounds.min, Point::new(5.0, 5.0));
        assert!((bounds.width() - (3.0 * 40.0 + 2.0 * 4.0 + 6.0)).abs() < 1e-9);
        assert_eq!(layout.lines.last().unwrap().role, Role::Weed);
    }

    #[test]
    fn too_large_names_the_option_that_helps() {
        let copied = |w: f64, h: f64, copies: (u32, u32)| {
            let corners = [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)];
            let outer = Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec());
            let region = Region { outer, holes: vec![] };
            let film = Film { regions: vec![FilmRegion { region, layer: 0 }], ..Film::default() };
            let placement = Placement { copies, ..Placement::default() };
            layout(&film, (w, h), &placement, &machine("roll-15")).unwrap_err().to_string()
        };
        let sheet = |w: f64, h: f64| copied(w, h, (1, 1));
        assert!(sheet(100.0, 500.0).contains("--rotate 90"), "{}", sheet(100.0, 500.0));
        assert!(sheet(900.0, 500.0).contains("--scale 0.7"), "{}", sheet(900.0, 500.0));
        let many = copied(300.0, 200.0, (90, 1));
        assert!(many.contains("fewer copies"), "{many}");
        let one = sheet(900_000.0, 500.0);
        assert!(one.contains("--panels") && !one.contains("copies"), "{one}");
        let far = Placement { at: Some(Point::new(800.0, 0.0)), ..Placement::default() };
        let told = placed(&far, "roll-15").unwrap_err().to_string();
        assert!(told.ends_with("it fits with --at 2,2"), "{told}");
    }
}
