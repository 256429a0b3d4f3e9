//! Profiles: what the program knows of machines and materials, as data.
//!
//! A profile is a TOML file; the built-in ones are embedded in the binary from
//! `machine-profiles/`. A file of the same name in the user's config folder, or one named by path,
//! takes precedence. Unknown keys are refused with a suggestion. Every value has its source in the
//! profile's `[source]` table.

mod machine;
mod material;

pub use machine::{
    Arcs, EncodedLines, EndAt, FeedAxis, Handshake, HardClip, Kind, Language, Lists, Machine,
    Motion, Origin, Parity, Serial, Tool,
};
pub use material::Material;
