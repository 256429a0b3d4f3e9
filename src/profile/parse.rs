//! TOML text → profile, with errors that name file, row, column, and what was probably meant.

use serde::de::DeserializeOwned;

use super::{Machine, Material, values};
use crate::finding::Place;

/// Why there is no profile.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProfileError {
    /// No profile of that name.
    #[error("there is no {what} profile \"{name}\"; {advice}")]
    Unknown {
        /// "machine" or "material".
        what: &'static str,
        /// What was asked for.
        name: String,
        /// What there is, or what was probably meant.
        advice: String,
    },
    /// The file cannot be read.
    #[error("the profile {path} cannot be read: {why}")]
    Unreadable {
        /// The path.
        path: String,
        /// What the system said.
        why: String,
    },
    /// The text is no profile.
    #[error("{file}:{place}: {text}")]
    Text {
        /// The file.
        file: String,
        /// Row and column.
        place: Place,
        /// What is the matter and what to do.
        text: String,
    },
    /// A value makes no sense.
    #[error("{file}: {text}")]
    Value {
        /// The file.
        file: String,
        /// What is the matter and what to do.
        text: String,
    },
}

/// Reads a machine profile; `file` names it in errors.
///
/// # Errors
/// [`ProfileError`] with row and column.
pub fn machine_from_text(text: &str, file: &str) -> Result<Machine, ProfileError> {
    let machine: Machine = parse(text, file)?;
    values::machine(&machine).map_err(|text| ProfileError::Value { file: file.into(), text })?;
    Ok(machine)
}

/// Reads a material profile; `file` names it in errors.
///
/// # Errors
/// [`ProfileError`] with row and column.
pub fn material_from_text(text: &str, file: &str) -> Result<Material, ProfileError> {
    let material: Material = parse(text, file)?;
    values::material(&material).map_err(|text| ProfileError::Value { file: file.into(), text })?;
    Ok(material)
}

fn parse<T: DeserializeOwned>(text: &str, file: &str) -> Result<T, ProfileError> {
    tables_are_named(text, file)?;
    toml::from_str(text).map_err(|error| {
        let start = error.span().map_or(0, |span| span.start);
        ProfileError::Text {
            file: file.to_owned(),
            place: place(text, start),
            text: explained(error.message()),
        }
    })
}

/// Keys whose values are tables.
const TABLES: [&str; 4] = ["hard_clip", "language", "motion", "serial"];

/// Refuses a list in place of a table: its values would be taken one after another, whatever was meant.
fn tables_are_named(text: &str, file: &str) -> Result<(), ProfileError> {
    // What is no TOML is told by the reader.
    let Ok(table) = toml::de::DeTable::parse(text) else { return Ok(()) };
    let mut lists = table.get_ref().iter().filter(|(_, value)| value.get_ref().is_array());
    let Some((key, _)) = lists.find(|(key, _)| TABLES.contains(&key.get_ref().as_ref())) else {
        return Ok(());
    };
    let name = key.get_ref();
    let example = match name.as_ref() {
        "hard_clip" => "hard_clip = { x_min = 0, y_min = 0, x_max = 600, y_max = 1000 }".into(),
        name => format!("[{name}] with a line KEY = VALUE for each below it"),
    };
    Err(ProfileError::Text {
        file: file.to_owned(),
        place: place(text, key.span().start),
        text: format!("{name} is a list, in which no value has a name; write {example}"),
    })
}

fn place(text: &str, offset: usize) -> Place {
    let before = text.get(..offset).unwrap_or(text);
    let row = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().map_or(0, |line| line.chars().count()) + 1;
    Place::text(row as u32, column as u32)
}

/// What people write who want a profile to begin with the values of another.
const INHERITING: [&str; 8] =
    ["extends", "inherits", "inherit", "base", "based_on", "parent", "include", "from"];

/// The TOML reader's message in our words.
pub(crate) fn explained(message: &str) -> String {
    let mut quoted = message.split('`').skip(1).step_by(2);
    if message.starts_with("unknown field") || message.starts_with("unknown variant") {
        let what = if message.starts_with("unknown field") { "key" } else { "value" };
        let found = quoted.next().unwrap_or_default();
        let known: Vec<&str> = quoted.collect();
        if INHERITING.contains(&found) && what == "key" {
            return format!(
                "the key \"{found}\" is not known: a profile takes no values from another; copy the whole \
                 of it (`bladewright profiles show NAME`) and change that"
            );
        }
        return match closest(found, &known) {
            Some(near) => format!("the {what} \"{found}\" is not known; did you mean \"{near}\"?"),
            None => format!("the {what} \"{found}\" is not known; known are: {}", known.join(", ")),
        };
    }
    if message.starts_with("missing field") {
        let key = quoted.next().unwrap_or_default();
        return format!("the key \"{key}\" is missing; add a line \"{key} = ...\"");
    }
    if let Some((found, expected)) = message.split_once(", expected ")
        && let Some(found) = found.strip_prefix("invalid ")
    {
        // "type: string ...", "value: integer ...", "length 1".
        let found = found.split_once(": ");
        let found = found.map_or("a list of another length".to_owned(), |(_, what)| in_words(what));
        return format!("{found} stands where {} belongs", wanted(expected));
    }
    if message.starts_with("duplicate key") {
        return "this key stands here a second time; keep one of them".to_owned();
    }
    "this can't be read as TOML: a line is KEY = VALUE, texts stand in quotes, decimals have a point, \
     lists stand in [ ]"
        .to_owned()
}

/// What was found, as the TOML reader says it: `string "wide"`, `integer `5``.
fn in_words(found: &str) -> String {
    let bare = found.replace('`', "");
    let kinds = [
        ("string ", "the text "),
        ("integer ", "the number "),
        ("floating point ", "the number "),
        ("boolean ", "the word "),
    ];
    let named =
        kinds.iter().find_map(|(kind, words)| Some(format!("{words}{}", bare.strip_prefix(kind)?)));
    named.unwrap_or_else(|| match bare.as_str() {
        "sequence" => "a list".to_owned(),
        "map" => "a table".to_owned(),
        _ => "something else".to_owned(),
    })
}

/// What belongs there, as the TOML reader says it by the type.
fn wanted(expected: &str) -> &'static str {
    match expected {
        "f64" | "f32" => "a number, as 0.25,",
        "u8" | "u16" | "u32" | "u64" | "usize" => "a whole number, 0 or more,",
        "i8" | "i16" | "i32" | "i64" => "a whole number",
        "a boolean" | "bool" => "true or false",
        "a string" => "a text in quotes",
        _ if expected.starts_with("an array of length") => "a list of two numbers, as [1.0, 2.0],",
        _ if expected.contains("sequence") || expected.contains("array") => "a list in [ ]",
        _ if expected.contains("struct") || expected.contains("map") => "a table",
        _ => "another kind of value",
    }
}

/// The known word that `word` is most likely a slip of.
pub(crate) fn closest<'a>(word: &str, known: &[&'a str]) -> Option<&'a str> {
    let best = known.iter().map(|k| (distance(word, k), *k)).min()?;
    (best.0 <= 1 + word.chars().count() / 3).then_some(best.1)
}

/// Edit distance (Levenshtein, 1966).
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = std::mem::replace(&mut row[0], i + 1);
        for (j, cb) in b.iter().enumerate() {
            let replaced = diagonal + usize::from(ca != *cb);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(row[j + 1] + 1);
        }
    }
    row[b.len()]
}
