//! Writes tuned values into a material profile, everything else left as it stands.
//!
//! In: the profile's text. Out: the new text and what changed, so that it can be shown before it is
//! written. Comments, order and layout stay (`toml_edit`). The source of each changed value becomes
//! that it was tuned: a guess must not keep the name of its source.

use toml_edit::{DocumentMut, Item, Table, value};

/// Values found by tuning; what is `None` stays.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Tuned {
    /// Blade offset, mm.
    pub blade_offset_mm: Option<f64>,
    /// Overcut, mm.
    pub overcut_mm: Option<f64>,
    /// Force in the machine's own numbers.
    pub machine_force: Option<f64>,
    /// Speed, cm/s.
    pub velocity_cm_s: Option<f64>,
}

/// One changed value.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The key in the profile.
    pub key: &'static str,
    /// The value before; `None` when there was none.
    pub before: Option<f64>,
    /// The value now.
    pub after: f64,
}

/// Why nothing was changed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SaveError {
    /// The profile's text is not TOML.
    #[error("the material profile cannot be read as TOML: {0}")]
    Unreadable(String),
    /// A value that makes no sense.
    #[error("{key} cannot be {value}; give a number from {low} to {high}")]
    OutOfRange {
        /// The key.
        key: &'static str,
        /// The value asked for.
        value: f64,
        /// Least that makes sense.
        low: f64,
        /// Most that makes sense.
        high: f64,
    },
}

/// The profile's text with the tuned values in it, and what changed.
///
/// # Errors
/// [`SaveError`] when the text is no TOML, or a value lies outside what a machine can have.
pub fn save(text: &str, tuned: &Tuned) -> Result<(String, Vec<Change>), SaveError> {
    let mut document: DocumentMut =
        text.parse().map_err(|e: toml_edit::TomlError| SaveError::Unreadable(e.to_string()))?;
    let wanted = [
        ("blade_offset_mm", tuned.blade_offset_mm, (0.0, 5.0)),
        ("overcut_mm", tuned.overcut_mm, (0.0, 20.0)),
        ("machine_force", tuned.machine_force, (0.0, 10_000.0)),
        ("velocity_cm_s", tuned.velocity_cm_s, (0.1, 200.0)),
    ];
    let mut changes = Vec::new();
    for (key, after, (low, high)) in wanted {
        let Some(after) = after else { continue };
        if !(low..=high).contains(&after) {
            return Err(SaveError::OutOfRange { key, value: after, low, high });
        }
        let before = document.get(key).and_then(number);
        if before != Some(after) {
            put(&mut document, key, after);
            changes.push(Change { key, before, after });
        }
    }
    Ok((document.to_string(), changes))
}

fn number(item: &Item) -> Option<f64> {
    item.as_float().or_else(|| item.as_integer().map(|i| i as f64))
}

fn put(document: &mut DocumentMut, key: &str, after: f64) {
    let mut item = value(after);
    if let (Some(old), Some(new)) =
        (document.get(key).and_then(Item::as_value), item.as_value_mut())
    {
        *new.decor_mut() = old.decor().clone();
    }
    document.insert(key, item);
    let source = document.entry("source").or_insert_with(|| Item::Table(Table::new()));
    if let Some(source) = source.as_table_like_mut() {
        source.insert(key, value("tuned on this machine with a test sheet"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PROFILE: &str = "# Our film\nname = \"a\"\nblade_offset_mm = 0.25 # nominal\n\n[source]\nblade_offset_mm = \"guess\"\n";

    #[test]
    fn comments_stay_and_the_change_is_told() {
        let tuned =
            Tuned { blade_offset_mm: Some(0.27), velocity_cm_s: Some(20.0), ..Tuned::default() };
        let (text, changes) = save(PROFILE, &tuned).unwrap();
        assert!(text.contains("# Our film\n") && text.contains("blade_offset_mm = 0.27 # nominal"));
        assert!(text.contains("blade_offset_mm = \"tuned on"));
        assert!(text.find("velocity_cm_s = 20.0").unwrap() < text.find("[source]").unwrap());
        let first = Change { key: "blade_offset_mm", before: Some(0.25), after: 0.27 };
        assert_eq!(changes[0], first);
        assert_eq!(changes[1].before, None);
    }

    #[test]
    fn nothing_to_change_changes_nothing() {
        let same = Tuned { blade_offset_mm: Some(0.25), ..Tuned::default() };
        assert_eq!(save(PROFILE, &same).unwrap(), (PROFILE.to_owned(), vec![]));
        let wrong = Tuned { blade_offset_mm: Some(-1.0), ..Tuned::default() };
        assert!(matches!(save(PROFILE, &wrong), Err(SaveError::OutOfRange { .. })));
        assert!(matches!(save("= 3", &same), Err(SaveError::Unreadable(_))));
    }
}
