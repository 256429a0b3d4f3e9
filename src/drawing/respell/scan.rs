//! Where the parts of a style sheet begin and end: CSS Syntax 3, chapters 4 and 5, as far as it takes to
//! find rules, blocks and declarations. Strings, comments and brackets are passed over whole.

use std::ops::Range;

/// The first of `stops` in `range` that stands in no string, comment or bracket; its end if there is none.
pub(super) fn until(text: &str, range: Range<usize>, stops: &[u8]) -> usize {
    let bytes = text.as_bytes();
    let mut at = range.start;
    let mut open = 0usize;
    while at < range.end {
        let byte = bytes[at];
        if open == 0 && stops.contains(&byte) {
            return at;
        }
        match byte {
            b'"' | b'\'' => at = string_end(bytes, at, range.end),
            b'/' if bytes.get(at + 1) == Some(&b'*') => at = comment_end(text, at, range.end),
            b'&' => at = entity_end(bytes, at, range.end),
            b'(' | b'[' | b'{' => (open, at) = (open + 1, at + 1),
            b')' | b']' | b'}' => (open, at) = (open.saturating_sub(1), at + 1),
            _ => at += 1,
        }
    }
    range.end
}

/// The byte after an entity of XML, whose semicolon ends nothing.
fn entity_end(bytes: &[u8], start: usize, end: usize) -> usize {
    let is_part = |b: &&u8| b.is_ascii_alphanumeric() || **b == b'#';
    let name = bytes[start + 1..end].iter().take_while(is_part).count();
    let after = start + 1 + name;
    if name > 0 && after < end && bytes[after] == b';' { after + 1 } else { start + 1 }
}

/// The byte after a string; one that is not closed ends with its line (CSS Syntax 3, 4.3.5).
fn string_end(bytes: &[u8], start: usize, end: usize) -> usize {
    let mut at = start + 1;
    while at < end {
        match bytes[at] {
            b'\\' => at += 2,
            b'\n' => return at,
            byte if byte == bytes[start] => return at + 1,
            _ => at += 1,
        }
    }
    end
}

/// The byte after a comment; one that is not closed runs to the end.
pub(super) fn comment_end(text: &str, start: usize, end: usize) -> usize {
    let rest = text.get(start + 2..end).and_then(|rest| rest.find("*/"));
    rest.map_or(end, |length| start + 2 + length + 2)
}

/// `range` without the blanks at its ends.
pub(super) fn trimmed(text: &str, range: Range<usize>) -> Range<usize> {
    let inside = text.get(range.clone()).unwrap_or_default();
    let start = range.start + (inside.len() - inside.trim_start().len());
    start..start + inside.trim().len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strings_comments_and_brackets_are_passed_over() {
        let text = "a(;)';'/*;*/[;]{;};b";
        assert_eq!(until(text, 0..text.len(), b";"), text.len() - 2);
        assert_eq!(until("a&amp;b;&", 0..9, b";"), 7);
        assert_eq!(until("'open\n;", 0..7, b";"), 6);
        assert_eq!(until("/* open ;", 0..9, b";"), 9);
        assert_eq!(trimmed("  ab ", 0..5), 2..4);
    }
}
