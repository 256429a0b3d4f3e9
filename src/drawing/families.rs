//! The names that a font's faces go by: drawing programs write different ones for the same face.
//!
//! A database of fonts lists a face under its typographic family (OpenType, table name, ID 16), where it has
//! one. Older programs know at most four faces of a family and write the name that is made for them (ID 1:
//! the condensed faces of "Gull" are a family "Gull Condensed"); some write the full name (ID 4). Each of
//! these leads to its faces here, as long as it is no family of other faces.

use std::collections::HashSet;

use skrifa::FontRef;
use skrifa::MetadataProvider;
use skrifa::string::StringId;
use usvg::fontdb::{Database, FaceInfo, Language};

/// The faces of `database` under all their names; their order stays.
pub(super) fn named(database: &Database) -> Database {
    let taken: HashSet<String> = database
        .faces()
        .flat_map(|face| &face.families)
        .map(|(name, _)| name.to_lowercase())
        .collect();
    let mut all = Database::new();
    for face in database.faces() {
        let mut face = face.clone();
        let more = further(database, &face)
            .into_iter()
            .filter(|name| !taken.contains(&name.to_lowercase()));
        let more: Vec<_> = more.map(|name| (name, Language::Unknown)).collect();
        face.families.extend(more);
        all.push_face_info(face);
    }
    all
}

/// Its other names, families before full names.
fn further(database: &Database, face: &FaceInfo) -> Vec<String> {
    let names = database.with_face_data(face.id, |data, index| {
        let font = FontRef::from_index(data, index).ok()?;
        let of = |id| font.localized_strings(id).map(|text| text.to_string()).collect::<Vec<_>>();
        Some([of(StringId::FAMILY_NAME), of(StringId::FULL_NAME)].concat())
    });
    let mut known = HashSet::new();
    let names = names.flatten().unwrap_or_default().into_iter();
    names.filter(|name| !name.is_empty() && known.insert(name.to_lowercase())).collect()
}
