//! Which font each text is set in, and what to say when it is not the one asked for.
//!
//! The rule is the one of CSS: of the families asked for, the first that is installed. A drawing
//! that asks for a family that is missing would be cut in other shapes than its author saw, so that
//! is an error, unless another family that the author named is there (a warning) or the person
//! accepted a substitute. The same choice is made for the findings and for the SVG library.
//!
//! Text converted to paths in the drawing program needs none of this.

use std::collections::{BTreeSet, HashMap};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, OnceLock};

use svgtypes::{FontFamily, parse_font_families};
use usvg::FontResolver;
use usvg::fontdb::{self, Database, Family};

use super::families;
use super::survey::{Survey, TextRun, quoted};
use crate::finding::{Finding, Place};

/// Stands for "no family was named" where the SVG library wants a name.
pub(super) const UNNAMED: &str = "bladewright: no family named";

/// Families that serve for the generic ones, in this order; our choice among widely packaged ones.
const SERIF: [&str; 5] =
    ["Times New Roman", "Liberation Serif", "DejaVu Serif", "Noto Serif", "FreeSerif"];
const SANS: [&str; 6] =
    ["Arial", "Helvetica", "Liberation Sans", "DejaVu Sans", "Noto Sans", "FreeSans"];
const MONO: [&str; 5] =
    ["Courier New", "Liberation Mono", "DejaVu Sans Mono", "Noto Sans Mono", "FreeMono"];

/// The installed fonts and the person's substitute.
pub(super) struct Fonts {
    pub(super) database: Arc<Database>,
    fallback: Option<String>,
}

/// What a list of families comes to.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Choice {
    /// The first family that was asked for.
    Asked(String),
    /// No family was named, or a generic one came first.
    Generic(String),
    /// A later family of the author's list; the missing first one.
    Later(String, String),
    /// The person's substitute; the missing family.
    Fallback(String, String),
    /// Nothing; the missing family.
    Missing(String),
}

/// What the SVG library asked for while it set the texts.
#[derive(Debug, Default)]
pub(super) struct Asked {
    /// Characters that came from another font, with it.
    pub(super) borrowed: Vec<(char, String)>,
    /// Families that were asked for and not found.
    missing: BTreeSet<String>,
}

impl Choice {
    fn family(&self) -> Option<&str> {
        match self {
            Self::Asked(name) | Self::Generic(name) => Some(name),
            Self::Later(name, _) | Self::Fallback(name, _) => Some(name),
            Self::Missing(_) => None,
        }
    }
}

impl Fonts {
    /// The system's fonts (read once for the whole program) and those of further folders.
    pub(super) fn new(system: bool, dirs: &[PathBuf], fallback: Option<String>) -> Self {
        let database = match (system, dirs) {
            (true, []) => Arc::clone(&installed().1),
            (system, dirs) => {
                let mut all = if system { installed().0.clone() } else { Database::new() };
                dirs.iter().for_each(|dir| all.load_fonts_dir(dir));
                Arc::new(families::named(&all))
            }
        };
        Self { database, fallback }
    }

    /// The family for a list of families.
    pub(super) fn choose(&self, families: &[FontFamily]) -> Choice {
        let mut missing: Option<String> = None;
        for family in families {
            let found = match family {
                FontFamily::Named(name) if name == UNNAMED => self.generic(&FontFamily::Serif),
                FontFamily::Named(name) => self.installed(name),
                // After a named family, a generic one is only a way to show anything at all.
                _ if missing.is_some() => continue,
                generic => self.generic(generic),
            };
            match (found, family, missing.take()) {
                (Some(found), _, Some(first)) => return Choice::Later(found, first),
                (Some(found), FontFamily::Named(name), None) if name != UNNAMED => {
                    return Choice::Asked(found);
                }
                (Some(found), _, None) => return Choice::Generic(found),
                (None, _, Some(first)) => missing = Some(first),
                (None, family, None) => missing = Some(name_of(family)),
            }
        }
        let missing = missing.unwrap_or_else(|| "serif".into());
        match self.fallback.as_ref().and_then(|name| self.installed(name)) {
            Some(found) => Choice::Fallback(found, missing),
            None => Choice::Missing(missing),
        }
    }

    /// The exact name of an installed family, or other name of a face; case does not matter.
    fn installed(&self, name: &str) -> Option<String> {
        let names = self.database.faces().flat_map(|face| &face.families);
        names.map(|(family, _)| family).find(|f| f.eq_ignore_ascii_case(name)).cloned()
    }

    fn generic(&self, family: &FontFamily) -> Option<String> {
        let list: &[&str] = match family {
            FontFamily::SansSerif => &SANS,
            FontFamily::Monospace => &MONO,
            _ => &SERIF,
        };
        let any = || {
            let mut names: Vec<&String> =
                self.database.faces().flat_map(|f| f.families.first()).map(|(n, _)| n).collect();
            names.sort();
            names.first().map(|name| (*name).clone())
        };
        list.iter().find_map(|name| self.installed(name)).or_else(any)
    }

    /// Up to three installed families whose names are closest.
    fn close_to(&self, wanted: &str) -> Vec<String> {
        let mut names: Vec<&str> = self
            .database
            .faces()
            .flat_map(|face| face.families.first())
            .map(|(name, _)| name.as_str())
            .collect();
        names.sort_unstable();
        names.dedup();
        let mut scored: Vec<(usize, &str)> =
            names.into_iter().map(|name| (likeness(wanted, name), name)).collect();
        scored.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(b.1)));
        scored.into_iter().take(3).map(|(_, name)| name.to_owned()).collect()
    }

    /// The SVG library's way to ask for fonts; what it asks is noted.
    pub(super) fn resolver<'a>(&'a self, asked: &'a Mutex<Asked>) -> FontResolver<'a> {
        let fallback = FontResolver::default_fallback_selector();
        FontResolver {
            select_font: Box::new(|font, database| {
                let choice = self.choose(font.families());
                if let (Choice::Missing(name), Ok(mut asked)) = (&choice, asked.lock()) {
                    asked.missing.insert(name.clone());
                }
                let query = fontdb::Query {
                    families: &[Family::Name(choice.family()?)],
                    weight: fontdb::Weight(font.weight()),
                    stretch: stretch(font.stretch()),
                    style: style(font.style()),
                };
                database.query(&query)
            }),
            select_fallback: Box::new(move |character, used, database| {
                if used.is_empty() {
                    return None;
                }
                let id = fallback(character, used, database)?;
                let name = database.face(id).and_then(|f| f.families.first()).map(|f| f.0.clone());
                if let (Ok(mut asked), Some(name)) = (asked.lock(), name) {
                    asked.borrowed.push((character, name));
                }
                Some(id)
            }),
        }
    }

    /// Errors for families that were missing in texts which [`Fonts::check`] does not see set:
    /// clones, markers, pictures.
    pub(super) fn told_late(&self, survey: &Survey<'_>, asked: &Asked) -> Vec<Finding> {
        let told: BTreeSet<String> = survey
            .runs
            .iter()
            .filter(|run| !run.shelved)
            .filter_map(|run| match self.choose(&parsed(&run.families)) {
                Choice::Missing(name) => Some(name),
                _ => None,
            })
            .collect();
        asked
            .missing
            .difference(&told)
            .map(|missing| {
                let run = survey.runs.iter().find(|run| {
                    self.choose(&parsed(&run.families)) == Choice::Missing(missing.clone())
                });
                let (text, place) =
                    run.map_or(("a text", Place::default()), |r| ("the text", r.place));
                let name = run.map_or(String::new(), |r| format!(" {}", quoted(&r.text)));
                let text = format!(
                    "{text}{name} asks for the font {}, which is not installed; it is left out.",
                    quoted(missing)
                );
                Finding::error("font-missing", text).hint(self.advice(missing)).at(place)
            })
            .collect()
    }

    /// Tells of the texts that are not set in the family asked for, once for each family: what helps one
    /// helps all.
    pub(super) fn check(&self, survey: &mut Survey<'_>) -> Vec<Finding> {
        let mut alike: Vec<(Choice, &TextRun, usize)> = Vec::new();
        let mut known: HashMap<&str, usize> = HashMap::new();
        for run in survey.runs.iter().filter(|run| !run.shelved) {
            if let Some(first) = known.get(run.families.as_str()) {
                alike[*first].2 += 1;
            } else {
                known.insert(&run.families, alike.len());
                alike.push((self.choose(&parsed(&run.families)), run, 1));
            }
            let missing = known.get(run.families.as_str()).map(|first| &alike[*first].0);
            if matches!(missing, Some(Choice::Missing(_)))
                && let Some(element) = run.element.and_then(|e| survey.elements.get_mut(e))
            {
                element.explained = true;
            }
        }
        let finding = |(choice, run, texts): &(Choice, &TextRun, usize)| {
            self.finding((run, *texts), choice).map(|finding| finding.at(run.place))
        };
        alike.iter().filter_map(finding).collect()
    }

    /// What to tell of some texts, of which `run` is the first.
    fn finding(&self, (run, texts): (&TextRun, usize), choice: &Choice) -> Option<Finding> {
        let text = quoted(&run.text.chars().take(40).collect::<String>());
        let others = match texts - 1 {
            0 => String::new(),
            1 => " (and another text)".to_owned(),
            more => format!(" (and {more} more texts)"),
        };
        let text = format!("{text}{others}");
        Some(match choice {
            Choice::Asked(_) => return None,
            Choice::Generic(name) if run.families.is_empty() => Finding::note(
                "font-unnamed",
                format!("the text {text} names no font; it is set in {}.", quoted(name)),
            ),
            Choice::Generic(name) => Finding::note(
                "font-generic",
                format!(
                    "the text {text} asks only for a kind of font ({}); it is set in {}.",
                    run.families,
                    quoted(name)
                ),
            ),
            Choice::Later(name, missing) => Finding::warning(
                "font-substituted",
                format!(
                    "the text {text} is set in {}, its next choice: {} is not installed.",
                    quoted(name),
                    quoted(missing)
                ),
            )
            .hint("Install the font, or convert the text to paths in the drawing program."),
            Choice::Fallback(name, missing) => Finding::warning(
                "font-fallback",
                format!(
                    "the text {text} is set in {} as asked: {} is not installed.",
                    quoted(name),
                    quoted(missing)
                ),
            ),
            Choice::Missing(missing) => Finding::error(
                "font-missing",
                format!(
                    "the text {text} asks for the font {}, which is not installed; it is left out.",
                    quoted(missing)
                ),
            )
            .hint(self.advice(missing)),
        })
    }

    fn advice(&self, missing: &str) -> String {
        let close: Vec<String> = self.close_to(missing).iter().map(|n| quoted(n)).collect();
        let accepted = self.fallback.as_deref().map_or(String::new(), |name| {
            format!("The substitute {} is not installed either. ", quoted(name))
        });
        if close.is_empty() {
            return format!(
                "{accepted}No font is installed at all: name a folder with --font-dir, or convert \
                 the text to paths."
            );
        }
        format!(
            "{accepted}Closest installed: {}. Take one with --font-fallback, name a folder with \
             --font-dir, or convert the text to paths.",
            close.join(", ")
        )
    }
}

/// The system's fonts as they are listed, and under all their names.
fn installed() -> &'static (Database, Arc<Database>) {
    static SYSTEM: OnceLock<(Database, Arc<Database>)> = OnceLock::new();
    SYSTEM.get_or_init(|| {
        let mut database = Database::new();
        database.load_system_fonts();
        let named = Arc::new(families::named(&database));
        (database, named)
    })
}

fn parsed(families: &str) -> Vec<FontFamily> {
    match parse_font_families(families) {
        Ok(list) if !list.is_empty() => list,
        _ => vec![FontFamily::Named(UNNAMED.into())],
    }
}

fn name_of(family: &FontFamily) -> String {
    match family {
        FontFamily::Named(name) if name == UNNAMED => "serif".into(),
        other => other.to_string().trim_matches('"').to_owned(),
    }
}

/// How alike two names are, in thousandths: shared pairs of letters (Dice 1945).
fn likeness(a: &str, b: &str) -> usize {
    let pairs = |s: &str| -> Vec<(char, char)> {
        let letters: Vec<char> =
            s.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
        letters.windows(2).map(|w| (w[0], w[1])).collect()
    };
    let (a, mut b) = (pairs(a), pairs(b));
    let total = a.len() + b.len();
    let shared = a
        .iter()
        .filter(|pair| match b.iter().position(|other| other == *pair) {
            Some(at) => {
                b.swap_remove(at);
                true
            }
            None => false,
        })
        .count();
    (2000 * shared).checked_div(total).unwrap_or(0)
}

fn stretch(stretch: usvg::FontStretch) -> fontdb::Stretch {
    use fontdb::Stretch;
    match stretch {
        usvg::FontStretch::UltraCondensed => Stretch::UltraCondensed,
        usvg::FontStretch::ExtraCondensed => Stretch::ExtraCondensed,
        usvg::FontStretch::Condensed => Stretch::Condensed,
        usvg::FontStretch::SemiCondensed => Stretch::SemiCondensed,
        usvg::FontStretch::Normal => Stretch::Normal,
        usvg::FontStretch::SemiExpanded => Stretch::SemiExpanded,
        usvg::FontStretch::Expanded => Stretch::Expanded,
        usvg::FontStretch::ExtraExpanded => Stretch::ExtraExpanded,
        usvg::FontStretch::UltraExpanded => Stretch::UltraExpanded,
    }
}

fn style(style: usvg::FontStyle) -> fontdb::Style {
    match style {
        usvg::FontStyle::Normal => fontdb::Style::Normal,
        usvg::FontStyle::Italic => fontdb::Style::Italic,
        usvg::FontStyle::Oblique => fontdb::Style::Oblique,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_alike() {
        assert_eq!(likeness("DejaVu Sans", "dejavu sans"), 1000);
        assert!(
            likeness("Deja Vu Sans", "DejaVu Sans Mono") > likeness("Deja Vu Sans", "FreeSerif")
        );
        assert_eq!(likeness("", ""), 0);
    }

    /// Fonts by name only; no glyph is needed to choose among them.
    fn named(names: &[&str], fallback: Option<&str>) -> Fonts {
        let mut database = Database::new();
        for name in names {
            database.push_face_info(fontdb::FaceInfo {
                id: fontdb::ID::dummy(),
                source: fontdb::Source::Binary(Arc::new(Vec::<u8>::new())),
                index: 0,
                families: vec![((*name).into(), fontdb::Language::English_UnitedStates)],
                post_script_name: name.replace(' ', ""),
                style: fontdb::Style::Normal,
                weight: fontdb::Weight::NORMAL,
                stretch: fontdb::Stretch::Normal,
                monospaced: false,
            });
        }
        Fonts { database: Arc::new(database), fallback: fallback.map(str::to_owned) }
    }

    #[test]
    fn the_first_installed_family_is_taken_and_the_rest_is_told() {
        let fonts = named(&["Gull", "DejaVu Sans", "DejaVu Serif"], None);
        let choose = |families: &str| fonts.choose(&parsed(families));
        assert_eq!(choose("gull, serif"), Choice::Asked("Gull".into()));
        assert_eq!(choose("Heron, 'Gull'"), Choice::Later("Gull".into(), "Heron".into()));
        assert_eq!(choose("Heron, serif"), Choice::Missing("Heron".into()));
        assert_eq!(choose("Heron, Stork"), Choice::Missing("Heron".into()));
        assert_eq!(choose("sans-serif"), Choice::Generic("DejaVu Sans".into()));
        assert_eq!(choose(""), Choice::Generic("DejaVu Serif".into()));
        assert!(fonts.advice("Gulls").starts_with("Closest installed: \u{201c}Gull\u{201d}"));
    }

    #[test]
    fn a_substitute_is_taken_only_where_a_family_is_missing() {
        let fonts = named(&["Gull", "Tern"], Some("tern"));
        let choose = |families: &str| fonts.choose(&parsed(families));
        assert_eq!(choose("Heron, serif"), Choice::Fallback("Tern".into(), "Heron".into()));
        assert_eq!(choose("Gull"), Choice::Asked("Gull".into()));
        let fonts = named(&["Gull"], Some("Stork"));
        assert_eq!(fonts.choose(&parsed("Heron")), Choice::Missing("Heron".into()));
        assert!(fonts.advice("Heron").starts_with("The substitute \u{201c}Stork\u{201d}"));
    }

    #[test]
    fn without_any_font_everything_is_missing() {
        let fonts = Fonts::new(false, &[], Some("Tern".into()));
        let choice = fonts.choose(&parsed("Gull, sans-serif"));
        assert_eq!(choice, Choice::Missing("Gull".into()));
        assert_eq!(fonts.choose(&parsed("")), Choice::Missing("serif".into()));
        assert!(fonts.advice("Gull").contains("No font is installed at all"));
    }
}
