//! What a drawing may ask of the reader. Beyond these it is refused (or the part left out) with a
//! sentence, so that no file can take more than some seconds or a gigabyte, or end the program.
//!
//! The figures are ours, far above real drawings: the largest open map at hand has 4 MB of text.

/// Longest text after unpacking, bytes. A gzip file that grows beyond it is refused while it is
/// being unpacked.
pub const MAX_TEXT_BYTES: usize = 64 * 1024 * 1024;

/// Deepest nesting of elements. The SVG library stops at 1024, clones included, and recurses; the
/// stack below leaves room for that in a debug build.
pub const MAX_NESTING: usize = 400;

/// Longest chain of references: a clone of a clone, a clip path on a clip path, ...
pub const MAX_REFERENCES: usize = 64;

/// Most elements once every clone, marker, mask and clip is written out; [`COMMANDS_PER_ELEMENT`]
/// path commands count as one more. The SVG library counts only clones (and stops at a million).
pub const MAX_EXPANDED: u64 = 1_000_000;

/// Path commands that weigh as much as an element: at the limit, four million of them take
/// 0.7 GB (measured: 12 million took 2.2 GB).
pub const COMMANDS_PER_ELEMENT: u64 = 4;

/// Most attributes of one element: the XML library compares each with each (measured: 8 s for
/// 60 000).
pub const MAX_ATTRIBUTES: usize = 256;

/// Most style rules times elements: each is held against each, twice (measured: 4.4 s for 60
/// million).
pub const MAX_STYLE_WORK: u64 = 60_000_000;

/// Longest text of one text element, characters: shaping is not linear in it.
pub const MAX_TEXT_CHARS: usize = 20_000;

/// Longest text of all text elements together, characters: each becomes an outline of its own.
pub const MAX_ALL_TEXT_CHARS: usize = 100_000;

/// Most tiles that one shape's pattern is written out to; beyond, the shape is cut as solid.
pub const MAX_TILES_PER_SHAPE: usize = 4_000;

/// Most shapes that all patterns together are written out to.
pub const MAX_TILE_SHAPES: usize = 100_000;

/// Farthest coordinate on the page, mm: the integer grid of the merge ends at 1 073 m.
pub const MAX_PAGE_MM: f64 = 500_000.0;

/// Farthest coordinate in a drawing's own units that is handed on: squares of it stay finite in
/// 32-bit floating point, which the SVG library computes with.
pub const MAX_USER_UNITS: f64 = 1e15;

/// Stack of the reading thread, bytes. Only touched pages cost memory.
pub const STACK_BYTES: usize = 256 * 1024 * 1024;

/// How often a finding of one code is told singly before the rest is only counted.
pub const MAX_FINDINGS_PER_CODE: usize = 20;

/// The same for notes, which ask for nothing: a drawing with sixty hidden sketches is no list of them.
pub const MAX_NOTES_PER_CODE: usize = 5;
