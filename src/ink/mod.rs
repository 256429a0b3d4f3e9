//! Drawing → [`Ink`]: what the eye sees, as merged regions.
//!
//! Every shape becomes the area that it really paints: its fill under its own rule, its stroke
//! outlined before any transform, both inside all of its clips. A gradient counts as far as it can
//! be told from the paper, and so does plain paint. Opaque shapes in the colour of the paper erase what
//! lies under them, in painting order. What is left is merged, for one film, or for a film per layer or colour. Layers
//! that are drawn or scored are no areas: their lines are followed as they are drawn, and they
//! neither cover nor erase anything. Layers that are cut in different ways (depth, tool, material)
//! are merged each for itself.
//!
//! In and out: millimetres on the page, y down. Regions come in the order of their first shape,
//! whatever the number of threads.

mod clip;
mod dense;
mod doubled;
mod fade;
mod film;
mod gradient;
mod hairline;
mod lines;
mod paint;

use crate::drawing::{Drawing, Layer, Lettering, Shape};
use crate::finding::{Finding, Place};
use crate::geometry::{Bounds, Contour, Region};
use crate::merge::TooFar;

/// How to look at a drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct InkSettings {
    /// The colour that counts as bare paper; `None` when every colour is ink.
    pub paper: Option<[u8; 3]>,
    /// How far outlines may deviate from the drawn curves, mm.
    pub tolerance_mm: f64,
    /// How far vertices left out after merging may lie from the outline, mm.
    pub decimate_mm: f64,
    /// Cut off what runs past the page.
    pub crop_to_page: bool,
    /// Outlines of what is painted, or the drawn lines themselves.
    pub trace: Trace,
    /// How many films.
    pub sheets: Sheets,
    /// With a film per colour: what happens under another colour.
    pub covered: Covered,
    /// With a film per colour: how far a film reaches under the one that covers it, mm.
    pub underlap_mm: f64,
    /// What is done with layers, by name; those not named are cut.
    pub treatments: Vec<LayerTreatment>,
    /// Only these layers, by name.
    pub layers: Option<Vec<String>>,
    /// Only these colours.
    pub colours: Option<Vec<[u8; 3]>>,
    /// Ends of lines nearer than this are joined ([`Trace::CentreLines`]), mm.
    pub join_mm: f64,
    /// How often the edges of a shape, or of a film, may cross before they are merged.
    pub most_crossings: u64,
}

/// [`InkSettings::most_crossings`] unless asked otherwise: some 10 s and 200 MB.
pub const MOST_CROSSINGS: u64 = 1_000_000;

impl Default for InkSettings {
    fn default() -> Self {
        Self {
            paper: Some([255; 3]),
            tolerance_mm: 0.01,
            decimate_mm: 0.0125,
            crop_to_page: false,
            trace: Trace::Outlines,
            sheets: Sheets::One,
            covered: Covered::Remove,
            underlap_mm: 0.0,
            treatments: Vec::new(),
            layers: None,
            colours: None,
            join_mm: 0.0,
            most_crossings: MOST_CROSSINGS,
        }
    }
}

/// What is done with the shapes of a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, PartialOrd, Ord, Hash)]
pub enum Treatment {
    /// Their lines are drawn with a pen.
    Draw,
    /// Their lines are scored, so that the sheet folds there.
    Score,
    /// They are cut out.
    #[default]
    Cut,
    /// They are left out.
    Skip,
}

/// What is done with one layer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LayerTreatment {
    /// The layer's name.
    pub layer: String,
    /// What is done.
    pub treatment: Treatment,
    /// Cut layers with the same number are merged; those that are not named have 0.
    pub group: u32,
    /// Where it is cut: whether outlines or drawn lines; `None` is as usual.
    pub trace: Option<Trace>,
}

impl InkSettings {
    fn of_layer(&self, drawing: &Drawing, layer: usize) -> Option<&LayerTreatment> {
        let name = &drawing.layers.get(layer)?.name;
        self.treatments.iter().find(|t| t.layer == *name)
    }

    /// What is done with the shapes of `layer` of `drawing`.
    pub(crate) fn treatment(&self, drawing: &Drawing, layer: usize) -> Treatment {
        self.of_layer(drawing, layer).map_or(Treatment::Cut, |t| t.treatment)
    }

    fn group(&self, drawing: &Drawing, layer: usize) -> u32 {
        self.of_layer(drawing, layer).map_or(0, |t| t.group)
    }

    /// Whether what is painted in `layer` is cut out, and not followed along its lines.
    fn is_area(&self, drawing: &Drawing, layer: usize) -> bool {
        let own = self.of_layer(drawing, layer).and_then(|t| t.trace);
        own.unwrap_or(self.trace) == Trace::Outlines
            && self.treatment(drawing, layer) == Treatment::Cut
    }

    /// Whether the letters of a text are chosen and cut out.
    pub(crate) fn is_cut_out(&self, drawing: &Drawing, letters: &Lettering) -> bool {
        let name = drawing.layers.get(letters.layer).map(|layer| &layer.name);
        let layers = self.layers.as_ref().zip(name);
        layers.is_none_or(|(chosen, name)| chosen.contains(name))
            && self.colours.as_ref().is_none_or(|chosen| chosen.contains(&letters.rgb))
            && self.is_area(drawing, letters.layer)
    }
}

/// What is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Trace {
    /// The edge of everything painted.
    #[default]
    Outlines,
    /// The drawn lines themselves (for a drawing pen or score lines).
    CentreLines,
}

/// How the work is spread over films.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Sheets {
    /// All on one.
    #[default]
    One,
    /// One for each layer.
    Layer,
    /// One for each colour.
    Colour,
}

/// What happens to a colour under another one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Covered {
    /// It is removed.
    #[default]
    Remove,
    /// It stays whole.
    Keep,
}

/// What is visible, ready to be laid on a sheet.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ink {
    /// At least one.
    pub films: Vec<Film>,
}

/// The work on one film. Millimetres on the page, y down.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Film {
    /// Name of the layer or colour; empty when there is one film for all.
    pub name: String,
    /// Its colour, if the films are by colour.
    pub rgb: Option<[u8; 3]>,
    /// Merged regions.
    pub regions: Vec<FilmRegion>,
    /// Lines to be followed as they are.
    pub lines: Vec<FilmLine>,
    /// Vertices that all of them had before those within the tolerance were left out.
    pub merged_points: usize,
}

/// A line to be followed and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct FilmLine {
    /// The line.
    pub contour: Contour,
    /// Index of its layer.
    pub layer: usize,
    /// What is done with it.
    pub treatment: Treatment,
}

/// A merged region and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct FilmRegion {
    /// The piece.
    pub region: Region,
    /// Index of the layer of its first shape.
    pub layer: usize,
}

/// Why nothing can be cut.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum InkError {
    /// Nothing is visible.
    #[error(
        "the drawing shows nothing that can be cut; make a layer visible, or give a shape a size, and a fill \
         or a stroke"
    )]
    Nothing,
    /// All is thinner than any outline.
    #[error(
        "all that the drawing shows are hairlines, too thin to cut around; cut along them with --trace \
         lines, or draw them wider"
    )]
    Hairlines,
    /// Lines are followed, and there is none.
    #[error(
        "no line of the drawing can be followed: all that it shows has no length or the colour of the \
         paper; cut along outlines (--trace outlines), or name another --paper"
    )]
    NoLine,
    /// No such layer.
    #[error("the drawing has no layer \"{name}\"; it has: {present}")]
    NoSuchLayer {
        /// What was asked for.
        name: String,
        /// The names that there are.
        present: String,
    },
    /// No such colour.
    #[error("the drawing shows nothing in the colour {name}; it shows: {present}")]
    NoSuchColour {
        /// What was asked for.
        name: String,
        /// The colours that there are.
        present: String,
    },
    /// A shape lies too far out.
    #[error("{far}; the shape begins at {place}; move it onto the page")]
    TooFar {
        /// How far.
        far: TooFar,
        /// Row and column of the shape.
        place: Place,
    },
    /// Outlines have more vertices than fit.
    #[error(
        "the outlines of this drawing have more than {} million vertices, which would take gigabytes; \
         draw fewer or narrower lines, or allow a coarser outline (--tolerance)",
        dense::MOST_VERTICES / 1_000_000
    )]
    TooFine,
    /// Lines cross so often that merging them would take minutes and gigabytes.
    #[error(
        "the outlines of {what} cross more than {most} times, which is not merged; draw fewer lines \
         upon each other, cut one layer at a time (--layers), or allow more (--most-crossings), which \
         takes about 10 s and 200 MB for each million"
    )]
    TooDense {
        /// Which lines.
        what: String,
        /// What is allowed.
        most: u64,
    },
}

impl Film {
    /// How many contours and lines it has.
    pub fn contours(&self) -> usize {
        let of_regions = self.regions.iter().map(|piece| 1 + piece.region.holes.len());
        of_regions.sum::<usize>() + self.lines.len()
    }
}

impl Ink {
    /// The box around everything, mm.
    pub fn bounds(&self) -> Bounds {
        self.films.iter().fold(Bounds::EMPTY, |all, film| {
            let regions = film.regions.iter().map(|r| r.region.outer.bounds());
            let lines = film.lines.iter().map(|line| line.contour.bounds());
            regions.chain(lines).fold(all, Bounds::union)
        })
    }
}

/// What of `drawing` is visible.
///
/// # Errors
/// [`InkError`] when nothing is left to cut, a layer does not exist, or a shape lies beyond the
/// reach of any machine.
pub fn visible(drawing: &Drawing, settings: &InkSettings) -> Result<(Ink, Vec<Finding>), InkError> {
    let shapes = chosen(drawing, settings)?;
    let mut findings: Vec<Finding> = skipped(drawing, &shapes, settings).into_iter().collect();
    let (cut, followed): (Vec<&Shape>, Vec<&Shape>) = shapes
        .into_iter()
        .filter(|shape| settings.treatment(drawing, shape.layer) != Treatment::Skip)
        .partition(|shape| settings.is_area(drawing, shape.layer));
    let clips = if cut.is_empty() { Vec::new() } else { clip::areas(drawing, settings)? };
    let (coats, told) = paint::coats(drawing, &cut, &clips, settings)?;
    findings.extend(told);
    let films = if cut.is_empty() { Vec::new() } else { film::films(drawing, coats, settings)? };
    let (lines, told) = lines::films(drawing, &followed, settings)?;
    findings.extend(told);
    if settings.join_mm > 0.0 && followed.is_empty() {
        let text =
            "No line is followed, so --join has no gaps to close: all is cut along outlines.";
        let hint = "--trace lines follows the drawn lines; so do layers that are drawn or scored.";
        findings.push(Finding::note("join-no-lines", text).hint(hint));
    }
    let ink = Ink { films: together(drawing, films, lines, settings.sheets) };
    match ink.bounds().is_empty() {
        true if findings.iter().any(|f| f.code == hairline::CODE) => Err(InkError::Hairlines),
        true if followed.is_empty() => Err(InkError::Nothing),
        true => Err(InkError::NoLine),
        false => Ok((ink, findings)),
    }
}

/// The films with those of the lines: under the same name one film.
fn together(
    drawing: &Drawing,
    mut films: Vec<Film>,
    lines: Vec<Film>,
    sheets: Sheets,
) -> Vec<Film> {
    for film in lines {
        match films.iter_mut().find(|other| other.name == film.name) {
            Some(other) => {
                other.lines.extend(film.lines);
                other.merged_points += film.merged_points;
            }
            None => films.push(film),
        }
    }
    if sheets == Sheets::Layer {
        films.sort_by_key(|film| drawing.layers.iter().position(|l| l.name == film.name));
    }
    films
}

/// Names the layers that are left out as asked.
fn skipped(drawing: &Drawing, shapes: &[&Shape], settings: &InkSettings) -> Option<Finding> {
    let mut names: Vec<&str> = Vec::new();
    let skip = |shape: &&&Shape| settings.treatment(drawing, shape.layer) == Treatment::Skip;
    for shape in shapes.iter().filter(skip) {
        let name = drawing.layers.get(shape.layer).map_or("", |l| l.name.as_str());
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let first = drawing.layers.iter().find(|l| names.contains(&l.name.as_str()))?;
    let text = format!("Left out as asked: {}.", names.join(", "));
    Some(Finding::note("layer-skipped", text).at(first.place))
}

/// A layer's name as lists of names take it: a comma within it after a backslash.
pub fn as_listed(name: &str) -> String {
    name.replace(',', "\\,")
}

/// The shapes of the chosen layers and colours, in painting order.
fn chosen<'a>(drawing: &'a Drawing, settings: &InkSettings) -> Result<Vec<&'a Shape>, InkError> {
    let mut wanted = vec![settings.layers.is_none(); drawing.layers.len()];
    for name in settings.layers.iter().flatten() {
        let mut found = false;
        for (layer, wanted) in drawing.layers.iter().zip(&mut wanted) {
            if layer.name == *name {
                (*wanted, found) = (true, true);
            }
        }
        if !found {
            let listed = |layer: &Layer| as_listed(&layer.name);
            let present: Vec<String> = drawing.layers.iter().map(listed).collect();
            return Err(InkError::NoSuchLayer { name: name.clone(), present: present.join(", ") });
        }
    }
    let in_layer = |shape: &&Shape| wanted.get(shape.layer).copied().unwrap_or(true);
    let chosen: Vec<&Shape> = drawing.shapes.iter().filter(in_layer).collect();
    colours_are_there(&chosen, settings)?;
    Ok(chosen)
}

/// Every colour that is asked for is painted somewhere.
fn colours_are_there(shapes: &[&Shape], settings: &InkSettings) -> Result<(), InkError> {
    let Some(asked) = &settings.colours else { return Ok(()) };
    let mut present: Vec<[u8; 3]> = shapes
        .iter()
        .flat_map(|shape| {
            let fill = shape.fill.map(|fill| fill.paint);
            [fill, shape.stroke.as_ref().map(|stroke| stroke.paint)]
        })
        .flatten()
        .filter(|paint| paint::effect(paint, settings.paper) == paint::Effect::Ink)
        .map(|paint| paint.rgb)
        .collect();
    present.sort_unstable();
    present.dedup();
    let name = |[r, g, b]: &[u8; 3]| format!("#{r:02x}{g:02x}{b:02x}");
    asked.iter().find(|rgb| !present.contains(rgb)).map_or(Ok(()), |missing| {
        let present: Vec<String> = present.iter().map(name).collect();
        Err(InkError::NoSuchColour { name: name(missing), present: present.join(", ") })
    })
}
