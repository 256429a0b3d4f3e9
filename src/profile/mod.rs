//! Profiles: what the program knows of machines and materials, as data.
//!
//! A profile is a TOML file; the built-in ones are embedded in the binary from
//! `machine-profiles/`. A file of the same name in the user's config folder, or one named by path,
//! takes precedence. Unknown keys are refused with a suggestion. Every value has its source in the
//! profile's `[source]` table.

mod library;
mod machine;
mod material;
mod parse;
mod values;

pub use library::{FoundIn, Library, Listed};
pub use machine::{
    Arcs, EncodedLines, EndAt, FeedAxis, Handshake, HardClip, Kind, Language, Lists, MOST_TOOLS,
    Machine, Motion, Origin, Parity, Serial, Tool,
};
pub use material::{DepthSettings, Material};
pub use parse::{ProfileError, machine_from_text, material_from_text};
pub(crate) use parse::{closest, explained};
