//! Whether viewers know a list of selectors (Selectors 4, 3.9 and 4.1): one that they do not know takes
//! its whole rule with it, however good its neighbours are.
//!
//! What stands in brackets is not judged.

/// Classes of state and place (Selectors 4; HTML, chapter Pseudo-classes; Compatibility).
const CLASSES: [&str; 60] = [
    "-webkit-any-link",
    "-webkit-autofill",
    "active",
    "any-link",
    "autofill",
    "checked",
    "default",
    "defined",
    "dir",
    "disabled",
    "empty",
    "enabled",
    "first",
    "first-child",
    "first-of-type",
    "focus",
    "focus-visible",
    "focus-within",
    "fullscreen",
    "has",
    "host",
    "host-context",
    "hover",
    "in-range",
    "indeterminate",
    "invalid",
    "is",
    "lang",
    "last-child",
    "last-of-type",
    "left",
    "link",
    "modal",
    "not",
    "nth-child",
    "nth-last-child",
    "nth-last-of-type",
    "nth-of-type",
    "only-child",
    "only-of-type",
    "open",
    "optional",
    "out-of-range",
    "paused",
    "picture-in-picture",
    "placeholder-shown",
    "playing",
    "popover-open",
    "read-only",
    "read-write",
    "required",
    "right",
    "root",
    "scope",
    "target",
    "user-invalid",
    "user-valid",
    "valid",
    "visited",
    "where",
];
/// Parts of elements (CSS Pseudo-Elements 4, CSS Shadow Parts, WebVTT); the first four take one colon, too.
const PARTS: [&str; 17] = [
    "after",
    "before",
    "first-letter",
    "first-line",
    "backdrop",
    "cue",
    "details-content",
    "file-selector-button",
    "grammar-error",
    "highlight",
    "marker",
    "part",
    "placeholder",
    "selection",
    "slotted",
    "spelling-error",
    "target-text",
];

/// Whether viewers know every selector of `list`.
pub(super) fn are_known(list: &str) -> bool {
    // What XML or CSS spells with escapes, and comments, are left to the reader of the rules.
    list.contains(['&', '\\']) || list.contains("/*") || Selectors { rest: list }.are_known()
}

struct Selectors<'a> {
    rest: &'a str,
}

impl Selectors<'_> {
    fn are_known(mut self) -> bool {
        loop {
            if !self.complex() {
                return false;
            }
            match self.rest.strip_prefix(',') {
                Some(rest) => self.rest = rest,
                None => return self.rest.is_empty(),
            }
        }
    }

    /// Compounds with combinators between them, and the blanks around.
    fn complex(&mut self) -> bool {
        loop {
            self.blanks();
            if !self.compound() {
                return false;
            }
            self.blanks();
            match self.rest.chars().next() {
                None | Some(',') => return true,
                Some('>' | '+' | '~') => self.rest = &self.rest[1..],
                Some(_) => {}
            }
        }
    }

    /// What one element has to be.
    fn compound(&mut self) -> bool {
        let before = self.rest.len();
        if !self.element() {
            return false;
        }
        while let Some(first) = self.rest.chars().next() {
            let known = match first {
                '.' | '#' => {
                    self.rest = &self.rest[1..];
                    self.word().is_some()
                }
                '[' => self.bracket(']'),
                ':' => self.pseudo(),
                _ => break,
            };
            if !known {
                return false;
            }
        }
        self.rest.len() < before
    }

    /// Its name, perhaps with that of its namespace.
    fn element(&mut self) -> bool {
        let name = |rest: &mut Self| match rest.rest.strip_prefix('*') {
            Some(after) => rest.rest = after,
            None => drop(rest.word()),
        };
        name(self);
        if let Some(after) = self.rest.strip_prefix('|') {
            self.rest = after;
            name(self);
        }
        true
    }

    fn pseudo(&mut self) -> bool {
        let after = self.rest.trim_start_matches(':');
        let colons = self.rest.len() - after.len();
        self.rest = after;
        let Some(word) = self.word().map(str::to_ascii_lowercase) else { return false };
        let word = word.as_str();
        let known = match colons {
            1 => CLASSES.contains(&word) || PARTS[..4].contains(&word),
            // Compatibility, 4.2: such parts are known, whatever they are called.
            2 => PARTS.contains(&word) || word.starts_with("-webkit-"),
            _ => return false,
        };
        known && (!self.rest.starts_with('(') || self.bracket(')'))
    }

    /// What stands up to the bracket that closes this one.
    fn bracket(&mut self, closing: char) -> bool {
        let (mut depth, mut quote) = (0usize, None);
        for (at, letter) in self.rest.char_indices() {
            match (quote, letter) {
                (Some(open), _) => quote = Some(open).filter(|open| *open != letter),
                (None, '"' | '\'') => quote = Some(letter),
                (None, '(' | '[') => depth += 1,
                (None, ')' | ']') => depth = depth.saturating_sub(1),
                _ => {}
            }
            if depth == 0 {
                self.rest = &self.rest[at + letter.len_utf8()..];
                return letter == closing;
            }
        }
        false
    }

    /// A name (CSS Syntax 3, 4.3.9).
    fn word(&mut self) -> Option<&str> {
        let is_part =
            |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_') || !c.is_ascii();
        let end = self.rest.find(|c| !is_part(c)).unwrap_or(self.rest.len());
        let (word, rest) = self.rest.split_at(end);
        let behind = word.strip_prefix('-').unwrap_or(word);
        if behind.is_empty() || behind.starts_with(|c: char| c.is_ascii_digit()) {
            return None;
        }
        self.rest = rest;
        Some(word)
    }

    fn blanks(&mut self) {
        self.rest = self.rest.trim_start();
    }
}

#[cfg(test)]
mod tests {
    use super::are_known;

    #[test]
    fn lists_are_known_as_a_whole() {
        for known in [
            "rect",
            "*",
            "svg|rect , .a.b #c",
            "g>rect+path ~ line:not(.x,[y=')'])",
            "[a='b,c']",
            "rect::before, circle:NTH-child(2n + 1)",
            ":root",
            "-x--y:hover",
            ".größe",
            "text:first-line",
            "a::-webkit-scrollbar",
        ] {
            assert!(are_known(known), "{known}");
        }
        for unknown in [
            "",
            "rect:foo",
            "rect:foo,circle",
            "rect::foo",
            "rect,",
            "rect,,circle",
            "rect!",
            "3a",
            "circle,#1",
            "> rect",
            "rect >",
            ".",
            "rect:-foo",
            "a::-moz-foo",
            "rect:",
            "a:::before",
            "[a",
            "rect:not(a",
            "{",
        ] {
            assert!(!are_known(unknown), "{unknown}");
        }
    }
}
