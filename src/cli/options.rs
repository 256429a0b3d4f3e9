//! Options that say what a drawing becomes; shared by the commands that plan a job.

use std::path::{Path, PathBuf};

use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser, ValueParser};
use clap::{Args, ValueEnum};

use crate::drawing::{self, ReadSettings};
use crate::finding::Finding;
use crate::geometry::Point;
use crate::ink::{Covered, InkSettings, Sheets};
use crate::order::{Effort, Strategy};
use crate::pipeline::{self, Plan, PlanSettings, Size};
use crate::place::{MOST_COPIES, Panels, WeedLines, WeedShape, Weeding};
use crate::profile::{Handshake, Library, Machine, Material, ProfileError, Tool};
use crate::units::Length;

use super::layers::{self, LayerOptions};
use super::{Failure, files, framing, number};

/// The machine where none is named.
pub const USUAL_MACHINE: &str = "roll-24";

/// What cuts, and what is cut.
#[derive(Args, Debug, Clone)]
pub struct MachineOptions {
    /// Machine profile: a name (see `profiles list`) or a file
    #[arg(long, short, value_name = "NAME", default_value = USUAL_MACHINE)]
    pub machine: String,
    /// Material profile: a name (see `profiles list`) or a file [default: vinyl-calendered; pen
    /// for a machine with a pen]
    #[arg(long, value_name = "NAME")]
    pub material: Option<String>,
    /// Distance of the blade's tip behind its axis [default: the material's]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub blade_offset: Option<Length>,
}

/// How the machine is to hold the sender back: named, or asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HandshakeWish {
    /// The machine is asked; the profile's where it does not answer.
    Auto,
    /// This one.
    Known(Handshake),
}

impl HandshakeWish {
    /// For an option that takes `auto` or the name of a handshake.
    pub fn parser() -> ValueParser {
        let known = Handshake::value_variants().iter().filter_map(Handshake::to_possible_value);
        let auto = PossibleValue::new(AUTO)
            .help("Ask the machine; the profile's where it does not answer");
        let all = PossibleValuesParser::new(std::iter::once(auto).chain(known));
        all.try_map(|name| match &name[..] {
            AUTO => Ok(Self::Auto),
            name => Handshake::from_str(name, true).map(Self::Known),
        })
        .into()
    }

    /// The one that was named.
    pub fn handshake(self) -> Option<Handshake> {
        match self {
            Self::Auto => None,
            Self::Known(handshake) => Some(handshake),
        }
    }
}

const AUTO: &str = "auto";

/// What a drawing becomes.
#[derive(Args, Debug, Clone)]
pub struct DrawingOptions {
    #[command(flatten)]
    pub with: MachineOptions,
    /// How far closed contours are cut past their start [default: the material's]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    overcut: Option<Length>,
    /// Those that were typed and that only a drawing obeys.
    #[arg(skip)]
    pub typed: Vec<String>,

    /// Take the drawing and the options from this file; what is typed here takes precedence
    #[arg(long, value_name = "FILE", help_heading = "Repeated jobs")]
    job: Option<PathBuf>,
    /// Write the drawing's name and the options of this run into a file for --job
    #[arg(long, value_name = "FILE", help_heading = "Repeated jobs")]
    save_job: Option<PathBuf>,

    /// Colour that counts as bare paper: #rrggbb, or none
    #[arg(long, value_name = "COLOUR", default_value = "#ffffff", help_heading = "What is cut")]
    paper: String,
    /// Trim what runs past the page
    #[arg(long, value_enum, value_name = "WHERE", help_heading = "What is cut")]
    crop: Option<Crop>,
    /// One job for all, for each layer, or for each colour
    #[arg(long, value_enum, default_value_t = SheetChoice::One, help_heading = "What is cut")]
    sheets: SheetChoice,
    /// Only these layers, by name, separated by commas (a comma within a name: \,)
    #[arg(long, value_name = "NAMES", help_heading = "What is cut")]
    layers: Option<Vec<String>>,
    /// Only these colours (#rrggbb), separated by commas
    #[arg(long, value_name = "COLOURS", value_delimiter = ',', help_heading = "What is cut")]
    colours: Option<Vec<String>>,
    /// With a job for each colour: what another colour covers
    #[arg(long, value_enum, default_value_t = CoveredChoice::Remove, help_heading = "What is cut")]
    covered: CoveredChoice,
    /// With --covered remove: how far each film reaches under the one that covers it, so that no gap
    /// shows when they are laid by hand
    #[arg(long, value_name = "LENGTH", help_heading = "What is cut", allow_hyphen_values = true)]
    underlap: Option<Length>,
    /// Join ends of lines that are nearer than this (with --trace lines)
    #[arg(long, value_name = "LENGTH", help_heading = "What is cut", allow_hyphen_values = true)]
    join: Option<Length>,
    /// How far outlines may deviate from the drawn curves [default: 0.01mm]
    #[arg(long, value_name = "LENGTH", help_heading = "What is cut", allow_hyphen_values = true)]
    pub tolerance: Option<Length>,
    /// How often outlines may cross before they are merged; a million takes about 10 s and 200 MB
    /// [default: 1000000]
    #[arg(long, value_name = "NUMBER", help_heading = "What is cut", allow_negative_numbers = true,
          value_parser = number::whole::<u64>(0..=u64::MAX))]
    most_crossings: Option<u64>,
    /// Folder with further fonts
    #[arg(long, value_name = "FOLDER", help_heading = "What is cut")]
    font_dir: Vec<PathBuf>,
    /// Font family that stands in for one that is not installed
    #[arg(long, value_name = "FAMILY", help_heading = "What is cut")]
    font_fallback: Option<String>,

    #[command(flatten)]
    layers_apart: LayerOptions,

    /// So many times as large as drawn
    #[arg(long, value_name = "FACTOR", help_heading = "Size and place", allow_negative_numbers = true,
          conflicts_with_all = ["width", "height"], value_parser = number::decimal)]
    scale: Option<f64>,
    /// Width of what is cut, before it is turned and copied; proportions are kept
    #[arg(
        long,
        value_name = "LENGTH",
        help_heading = "Size and place",
        allow_hyphen_values = true
    )]
    width: Option<Length>,
    /// Height of what is cut, before it is turned and copied; proportions are kept
    #[arg(
        long,
        value_name = "LENGTH",
        help_heading = "Size and place",
        allow_hyphen_values = true
    )]
    height: Option<Length>,
    /// Turn counter-clockwise
    #[arg(
        long,
        value_name = "DEGREES",
        default_value_t = 0.0,
        help_heading = "Size and place",
        allow_negative_numbers = true,
        value_parser = number::decimal
    )]
    rotate: f64,
    /// Exchange left and right (a mirrored material does so by itself)
    #[arg(long, help_heading = "Size and place")]
    mirror: bool,
    /// Lower left corner of the work, from the lower left corner of the machine's area
    #[arg(long, value_name = "X,Y", help_heading = "Size and place", allow_hyphen_values = true)]
    at: Option<String>,
    /// Copies: a number in a row (`send` cuts them one after the other along the feed, as many as
    /// the film is long), or COLUMNSxROWS on the sheet
    #[arg(long, value_name = "N", help_heading = "Size and place")]
    copies: Option<String>,
    /// Gap between copies
    #[arg(
        long,
        value_name = "LENGTH",
        default_value = "5mm",
        help_heading = "Size and place",
        allow_hyphen_values = true
    )]
    gap: Length,
    /// Move and turn separate pieces so that they take little film
    #[arg(long, help_heading = "Size and place", conflicts_with = "at")]
    pack: bool,
    /// With --pack: how many directions of a piece are tried; 1 never turns it
    #[arg(long, value_name = "N", default_value_t = 4, help_heading = "Size and place",
          allow_negative_numbers = true, value_parser = number::whole::<u32>(1..=72))]
    pack_turns: u32,
    /// Cut registration marks around the work, the same on every film
    #[arg(long, help_heading = "Size and place", conflicts_with = "pack")]
    marks: bool,
    /// Part work that is too large for the machine into panels, a job each, with marks at the seams
    #[arg(long, help_heading = "Size and place", conflicts_with_all = ["pack", "marks"])]
    panels: bool,
    /// With --panels: largest width of a panel [default: what the machine reaches]
    #[arg(
        long,
        value_name = "LENGTH",
        help_heading = "Size and place",
        allow_hyphen_values = true
    )]
    panel_width: Option<Length>,
    /// With --panels: how far two panels overlap at their seam
    #[arg(
        long,
        value_name = "LENGTH",
        default_value = "5mm",
        help_heading = "Size and place",
        allow_hyphen_values = true
    )]
    panel_overlap: Length,

    /// Cut a border around the work, at this distance, to weed along
    #[arg(long, value_name = "LENGTH", help_heading = "Weeding", allow_hyphen_values = true)]
    weed_border: Option<Length>,
    /// Whether the border is a rectangle or follows the work
    #[arg(long, value_enum, default_value_t = WeedShapeChoice::Box, help_heading = "Weeding")]
    weed_shape: WeedShapeChoice,
    /// Part the waste into strips at most this wide, 80mm, or both ways into fields at most so wide
    /// and high, 80x120mm; brings a border (5mm if none is asked for)
    #[arg(
        long,
        value_name = "WIDTH[xHEIGHT]",
        help_heading = "Weeding",
        allow_hyphen_values = true
    )]
    weed_lines: Option<String>,
    /// How far those cuts keep from the work
    #[arg(
        long,
        value_name = "LENGTH",
        default_value = "1mm",
        help_heading = "Weeding",
        allow_hyphen_values = true
    )]
    weed_clearance: Length,

    /// Order of the cuts
    #[arg(long, value_enum, default_value_t = OrderChoice::Best, help_heading = "Order")]
    pub order: OrderChoice,
    /// How long the best order is searched
    #[arg(long, value_enum, default_value_t = EffortChoice::Normal, help_heading = "Order")]
    effort: EffortChoice,
    /// What the order makes small
    #[arg(long, value_enum, default_value_t = OrderFor::Travel, help_heading = "Order")]
    order_for: OrderFor,
    /// Longest feed against the working direction, or none [default: the machine's]
    #[arg(long, value_name = "LENGTH", help_heading = "Order", allow_hyphen_values = true)]
    max_back_feed: Option<String>,
    /// Also say how far the travel is from the least possible, and what bands along the feed cost
    #[arg(long, help_heading = "Order")]
    pub bound: bool,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq)]
enum Crop {
    Page,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq)]
enum WeedShapeChoice {
    Box,
    Outline,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq)]
enum SheetChoice {
    One,
    Layer,
    Colour,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq)]
enum CoveredChoice {
    Remove,
    Keep,
}

/// How the order is found.
#[derive(ValueEnum, Debug, Clone, Copy, PartialEq)]
pub enum OrderChoice {
    Drawn,
    Nearest,
    Best,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq)]
enum EffortChoice {
    Quick,
    Normal,
    Long,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq)]
enum OrderFor {
    Travel,
    Time,
}

impl OrderChoice {
    /// As the library says it.
    pub fn strategy(self) -> Strategy {
        match self {
            Self::Drawn => Strategy::Drawn,
            Self::Nearest => Strategy::Nearest,
            Self::Best => Strategy::Best,
        }
    }
}

impl MachineOptions {
    /// The profiles that are meant.
    pub fn profiles(&self) -> Result<(Machine, Material), Failure> {
        let machine = machine(&self.machine)?;
        let usual = if machine.tool == Tool::Pen { "pen" } else { "vinyl-calendered" };
        let name = self.material.as_deref().unwrap_or(usual);
        let material = Library::of_user().material(name).map_err(wrong_profile)?;
        within_reach("--blade-offset", self.blade_offset)?;
        Ok((machine, material))
    }
}

impl DrawingOptions {
    /// Reads the drawing in `bytes`; `file` names it in errors.
    pub fn drawing(
        &self,
        bytes: &[u8],
        file: &Path,
    ) -> Result<(drawing::Drawing, Vec<Finding>), Failure> {
        for folder in &self.font_dir {
            if !folder.is_dir() {
                let text = format!("--font-dir {}: there is no such folder", folder.display());
                return Err(Failure::usage(text));
            }
        }
        let settings = ReadSettings {
            font_dirs: self.font_dir.clone(),
            font_fallback: self.font_fallback.clone(),
            ..ReadSettings::default()
        };
        drawing::read(bytes, &settings).map_err(|error| {
            let place = error.place();
            let at = match (place.row, place.column) {
                (Some(row), Some(column)) => format!("{}:{row}:{column}", file.display()),
                _ => file.display().to_string(),
            };
            Failure::failed(format!("{at}: {error}"))
        })
    }

    /// Reads the drawing at `file` and plans its jobs.
    pub fn plans(&self, file: &Path) -> Result<Vec<Plan>, Failure> {
        let settings = self.settings()?;
        let bytes = files::read(file)?;
        self.plans_of(&bytes, file, &settings)
    }

    /// Plans the jobs of the drawing in `bytes`.
    pub fn plans_of(
        &self,
        bytes: &[u8],
        file: &Path,
        settings: &PlanSettings,
    ) -> Result<Vec<Plan>, Failure> {
        let (_, mut orders) = self.orders_of(bytes, file, settings, &[settings.strategy])?;
        Ok(orders.pop().unwrap_or_default())
    }

    /// The names of the layers of the drawing in `bytes`, and its jobs planned once in each order.
    pub fn orders_of(
        &self,
        bytes: &[u8],
        file: &Path,
        settings: &PlanSettings,
        strategies: &[Strategy],
    ) -> Result<(Vec<String>, Vec<Vec<Plan>>), Failure> {
        let (drawing, findings) = self.drawing(bytes, file)?;
        let layers = drawing.layers.iter().map(|layer| layer.name.clone()).collect();
        let orders = pipeline::plan_orders(drawing, &findings, settings, strategies);
        let orders = orders.map_err(|error| {
            // What the drawing lost on the way may be why nothing is left.
            super::talk::findings(&file.display().to_string(), &findings);
            Failure::failed(format!("{}: {error}", file.display()))
        })?;
        Ok((layers, orders))
    }

    /// What was typed, as the library says it.
    pub fn settings(&self) -> Result<PlanSettings, Failure> {
        let (machine, material) = self.with.profiles()?;
        let mut settings = PlanSettings::new(machine, material);
        self.ink(&mut settings)?;
        self.place(&mut settings)?;
        self.layers_apart.put(&mut settings)?;
        settings.blade_offset_mm = self.with.blade_offset.map(Length::mm);
        within_reach("--overcut", self.overcut)?;
        settings.overcut_mm = self.overcut.map(Length::mm);
        settings.strategy = self.order.strategy();
        settings.effort = match self.effort {
            EffortChoice::Quick => Effort::Quick,
            EffortChoice::Normal => Effort::Normal,
            EffortChoice::Long => Effort::Long,
        };
        settings.order_for_time = self.order_for == OrderFor::Time;
        match self.max_back_feed.as_deref() {
            None => {}
            Some("none") => settings.max_back_feed_mm = None,
            Some(text) => {
                let length = positive("--max-back-feed", text.parse().map_err(Failure::usage)?)?;
                if settings.machine.feed_axis.is_none() {
                    let text = format!(
                        "--max-back-feed {text}: {} feeds nothing (its profile names no feed_axis), so \
                         nothing is fed back",
                        settings.machine.name
                    );
                    return Err(Failure::usage(text));
                }
                settings.max_back_feed_mm = Some(length);
            }
        }
        Ok(settings)
    }

    fn ink(&self, settings: &mut PlanSettings) -> Result<(), Failure> {
        let ink = &mut settings.ink;
        ink.paper = if self.paper == "none" { None } else { Some(colour(&self.paper)?) };
        ink.crop_to_page = self.crop == Some(Crop::Page);
        ink.sheets = match self.sheets {
            SheetChoice::One => Sheets::One,
            SheetChoice::Layer => Sheets::Layer,
            SheetChoice::Colour => Sheets::Colour,
        };
        ink.covered = match self.covered {
            CoveredChoice::Remove => Covered::Remove,
            CoveredChoice::Keep => Covered::Keep,
        };
        if let Some(length) = self.underlap {
            ink.underlap_mm = underlap(length, ink)?;
        }
        let listed =
            |lists: &Vec<String>| lists.iter().flat_map(|list| layers::names(list)).collect();
        ink.layers = self.layers.as_ref().map(listed);
        let chosen = self.colours.as_ref().map(|all| all.iter().map(|c| colour(c)).collect());
        ink.colours = chosen.transpose()?;
        ink.most_crossings = self.most_crossings.unwrap_or(ink.most_crossings);
        ink.join_mm = self.join.map_or(Ok(0.0), |join| positive("--join", join))?;
        if let Some(length) = self.tolerance {
            let tolerance = positive("--tolerance", length)?;
            if !(0.0005..=5.0).contains(&tolerance) {
                let text = format!("--tolerance {length}: it must be 0.0005mm to 5mm");
                return Err(Failure::usage(text));
            }
            ink.tolerance_mm = tolerance;
        }
        ink.decimate_mm = ink.decimate_mm.max(ink.tolerance_mm);
        Ok(())
    }

    fn size(&self) -> Result<Size, Failure> {
        let fit = |option, length: Option<Length>| {
            length.map(|length| positive(option, length)).transpose()
        };
        let (width_mm, height_mm) = (fit("--width", self.width)?, fit("--height", self.height)?);
        match self.scale {
            Some(factor) if factor <= 0.0 => {
                Err(Failure::usage(format!("--scale {factor}: it must be above 0")))
            }
            Some(factor) => Ok(Size::Scale(factor)),
            None if width_mm.or(height_mm).is_none() => Ok(Size::AsDrawn),
            None => Ok(Size::Fit { width_mm, height_mm }),
        }
    }

    fn place(&self, settings: &mut PlanSettings) -> Result<(), Failure> {
        settings.size = self.size()?;
        let placement = &mut settings.placement;
        placement.rotate_deg = self.rotate;
        placement.mirror ^= self.mirror;
        placement.at = self.at.as_deref().map(pair).transpose()?;
        placement.copies = self.copies.as_deref().map_or(Ok((1, 1)), copies)?;
        if !(0.0..=10_000.0).contains(&self.gap.mm()) {
            let text = format!(
                "--gap {}: it must be 0 to 10000mm, else copies lie in one another",
                self.gap
            );
            return Err(Failure::usage(text));
        }
        placement.gap_mm = self.gap.mm();
        placement.pack_turns = self.pack.then_some(self.pack_turns);
        placement.marks = self.marks;
        placement.panels = self.panels()?;
        placement.weeding = self.weeding()?;
        Ok(())
    }

    fn panels(&self) -> Result<Option<Panels>, Failure> {
        let width = self.panel_width.map(|width| positive("--panel-width", width)).transpose()?;
        let overlap_mm = self.panel_overlap.mm();
        if !(0.0..=500.0).contains(&overlap_mm) {
            let text = format!("--panel-overlap {}: it must be 0 to 500mm", self.panel_overlap);
            return Err(Failure::usage(text));
        }
        Ok(self.panels.then_some(Panels { width_mm: width, overlap_mm }))
    }

    /// How many copies `send` cuts one after the other, and the gap between them, mm; those that are
    /// packed or laid out in columns and rows belong to one job.
    pub fn row(&self) -> (u32, f64) {
        let number = self.copies.as_deref().filter(|_| !self.pack).and_then(|n| n.parse().ok());
        (number.unwrap_or(1), self.gap.mm())
    }

    fn weeding(&self) -> Result<Weeding, Failure> {
        let length = |option: &str, length: Option<Length>| {
            length.map(|length| positive(option, length)).transpose()
        };
        Ok(Weeding {
            border_mm: length("--weed-border", self.weed_border)?,
            shape: match self.weed_shape {
                WeedShapeChoice::Box => WeedShape::Box,
                WeedShapeChoice::Outline => WeedShape::Outline,
            },
            lines: self.weed_lines.as_deref().map(weed_lines).transpose()?,
            clearance_mm: positive("--weed-clearance", self.weed_clearance)?,
        })
    }
}

/// The machine called `name`, or in the file `name`.
pub fn machine(name: &str) -> Result<Machine, Failure> {
    let machine = Library::of_user().machine(name);
    machine.and_then(|machine| framing::judged(machine, name)).map_err(wrong_profile)
}

/// A profile that is wrong is a slip in what was typed; one that cannot be read is not.
pub fn wrong_profile(error: ProfileError) -> Failure {
    match error {
        ProfileError::Unreadable { .. } => Failure::failed(error),
        _ => Failure::usage(error),
    }
}

fn within_reach(option: &str, length: Option<Length>) -> Result<(), Failure> {
    match length.filter(|l| !(0.0..=50.0).contains(&l.mm())) {
        Some(length) => Err(Failure::usage(format!("{option} {length}: it must be 0 to 50mm"))),
        None => Ok(()),
    }
}

fn positive(option: &str, length: Length) -> Result<f64, Failure> {
    if length.mm() > 0.0 {
        Ok(length.mm())
    } else {
        Err(Failure::usage(format!("{option} {length}: it must be above 0")))
    }
}

fn underlap(length: Length, ink: &InkSettings) -> Result<f64, Failure> {
    if ink.sheets != Sheets::Colour || ink.covered != Covered::Remove {
        let text = "--underlap works with --sheets colour and --covered remove: otherwise nothing that \
                    is covered is taken away";
        return Err(Failure::usage(text));
    }
    if !(0.0..=20.0).contains(&length.mm()) {
        return Err(Failure::usage(format!("--underlap {length}: it must be 0 to 20mm")));
    }
    Ok(length.mm())
}

fn colour(text: &str) -> Result<[u8; 3], Failure> {
    let digits = text.trim().trim_start_matches('#');
    let byte = |i: usize| u8::from_str_radix(digits.get(2 * i..2 * i + 2)?, 16).ok();
    let parsed = (digits.len() == 6).then(|| Some([byte(0)?, byte(1)?, byte(2)?])).flatten();
    parsed.ok_or_else(|| {
        Failure::usage(format!("\"{text}\" is no colour; write it as #rrggbb, for example #ffffff"))
    })
}

fn pair(text: &str) -> Result<Point, Failure> {
    let wrong = || Failure::usage(format!("--at {text}: write two lengths, for example 10mm,25mm"));
    let (x, y) = text.split_once(',').ok_or_else(wrong)?;
    let length = |part: &str| part.parse::<Length>().map(Length::mm).map_err(|_| wrong());
    Ok(Point::new(length(x)?, length(y)?))
}

/// `80mm`, or `80x120mm`; a unit at the end holds for both.
fn weed_lines(text: &str) -> Result<WeedLines, Failure> {
    let wrong = || {
        let text = format!(
            "--weed-lines {text}: write the width of the strips, for example 80mm, or width and \
             height of the fields, for example 80x120mm"
        );
        Failure::usage(text)
    };
    let length = |part: &str| {
        let length = part.trim().parse::<Length>().map(Length::mm).ok();
        length.filter(|mm| *mm > 0.0).ok_or_else(wrong)
    };
    // The x of "px" is followed by no number.
    let digit_after =
        |(at, _): &(usize, &str)| text[at + 1..].starts_with(|c: char| c.is_ascii_digit());
    let Some((at, _)) = text.match_indices('x').find(digit_after) else {
        return Ok(WeedLines::Strips(length(text)?));
    };
    let (width, height) = (&text[..at], &text[at + 1..]);
    let unit = height.trim_start_matches(|c: char| c.is_ascii_digit() || c == '.' || c == ' ');
    let bare = width.trim().ends_with(|c: char| c.is_ascii_digit());
    let width = if bare { format!("{width}{unit}") } else { width.to_owned() };
    Ok(WeedLines::Fields { width_mm: length(&width)?, height_mm: length(height)? })
}

fn copies(text: &str) -> Result<(u32, u32), Failure> {
    let wrong = || {
        let text = format!("--copies {text}: write a number, or columns and rows such as 3x2");
        Failure::usage(text)
    };
    let number = |part: &str| {
        part.trim().parse::<u32>().ok().filter(|n| (1..=10_000).contains(n)).ok_or_else(wrong)
    };
    let (columns, rows) = match text.split_once('x') {
        Some((columns, rows)) => (number(columns)?, number(rows)?),
        None => (number(text)?, 1),
    };
    if u64::from(columns) * u64::from(rows) > u64::from(MOST_COPIES) {
        return Err(Failure::usage(format!(
            "--copies {text}: at most {MOST_COPIES} are laid at once"
        )));
    }
    Ok((columns, rows))
}
