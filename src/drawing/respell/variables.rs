//! Custom properties (CSS Variables 1): those given at the root of the drawing stand in wherever they are asked
//! for; one that is given nowhere leaves what is written behind its comma (chapter 3).

use std::collections::HashMap;

use super::{colours, scan};

/// Variables within variables deeper than this are left as they are.
const MOST_DEPTH: usize = 8;
/// So are values for which more are looked up than this.
const MOST_LOOKUPS: usize = 100;
/// How a variable is asked for.
const OPENING: &str = "var(";

/// The custom properties of a drawing.
#[derive(Default)]
pub(super) struct Variables<'a> {
    of_root: HashMap<&'a str, &'a str>,
    /// Those given in rules and styles of other elements, and at which byte.
    of_others: HashMap<&'a str, usize>,
}

impl<'a> Variables<'a> {
    pub(super) fn of_root(&mut self, name: &'a str, value: &'a str) {
        self.of_root.insert(name, value);
    }

    pub(super) fn of_other(&mut self, name: &'a str, at: usize) {
        self.of_others.entry(name).or_insert(at);
    }

    /// What is given at the root and elsewhere, with the place elsewhere.
    pub(super) fn given_anew(&self) -> Vec<(usize, &'a str)> {
        let anew = self.of_others.iter().filter(|(name, _)| self.of_root.contains_key(*name));
        let mut anew: Vec<_> = anew.map(|(name, at)| (*at, *name)).collect();
        anew.sort_unstable();
        anew
    }

    /// Where variables are asked for in `text`, and what stands in for each, as far as that is known.
    pub(super) fn uses(&self, text: &str) -> Vec<(std::ops::Range<usize>, String)> {
        let mut found = Vec::new();
        let mut at = 0;
        while let Some(start) = text[at..].find(OPENING).map(|start| at + start) {
            let close = scan::until(text, start + OPENING.len()..text.len(), b")");
            let end = (close + 1).min(text.len());
            let inside = &text[start + OPENING.len()..close];
            if let Some(value) = self.value(inside, MOST_DEPTH, &mut { MOST_LOOKUPS }) {
                found.push((start..end, value));
            }
            at = end;
        }
        found
    }

    /// What stands in for a name and what follows its comma.
    fn value(&self, inside: &str, depth: usize, lookups: &mut usize) -> Option<String> {
        *lookups = lookups.checked_sub(1)?;
        let (name, fallback) = match inside.split_once(',') {
            Some((name, fallback)) => (name.trim(), Some(fallback)),
            None => (inside.trim(), None),
        };
        let value = match self.of_root.get(name) {
            Some(value) => value,
            None if self.of_others.contains_key(name) => return None,
            None => fallback?,
        };
        let value = self.without_variables(value.trim(), depth.checked_sub(1)?, lookups)?;
        let is_word = value.bytes().all(|b| b.is_ascii_alphabetic());
        Some(match colours::written(&value) {
            Some(colour) => colour,
            None if is_word => value.to_ascii_lowercase(),
            None => value,
        })
    }

    fn without_variables(&self, text: &str, depth: usize, lookups: &mut usize) -> Option<String> {
        let mut out = String::new();
        let mut rest = text;
        while let Some(start) = rest.find(OPENING) {
            let from = start + OPENING.len();
            let close = scan::until(rest, from..rest.len(), b")");
            out += &rest[..start];
            out += &self.value(&rest[from..close], depth, lookups)?;
            rest = rest.get(close + 1..).unwrap_or_default();
        }
        Some(out + rest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_looked_up() {
        let mut variables = Variables::default();
        variables.of_root("--a", "#123");
        variables.of_root("--b", "var(--a)");
        variables.of_root("--loop", "var(--loop)var(--loop)");
        variables.of_other("--c", 7);
        let value = |text: &str| variables.uses(text).pop().map(|(_, value)| value);
        for (asked, wanted) in [
            ("fill:var(--a)", Some("#123")),
            ("var( --b , red)", Some("#123")),
            ("var(--none, rgb(0 0 0 / 80%))", Some("#000000cc")),
            ("var(--none, var(--a))", Some("#123")),
            ("var(--none,Black)", Some("black")),
            ("var(--none)", None),
            ("var(--c, red)", None),
            ("var(--loop)", None),
            ("var(--a", Some("#123")),
        ] {
            assert_eq!(value(asked).as_deref(), wanted, "{asked}");
        }
        variables.of_other("--a", 9);
        assert_eq!(variables.given_anew(), [(9, "--a")]);
    }
}
