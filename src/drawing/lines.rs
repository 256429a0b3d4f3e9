//! Byte offset -> row and column, quickly.
//!
//! The XML library's own look-up counts from the start of the text each time (measured: 10 s for a
//! map with 100 000 paths). This table keeps the starts of lines, and a count of characters every
//! kilobyte, because a drawing may be one line of many megabytes.

use crate::finding::Place;

/// Distance between counts, bytes.
const STEP: usize = 1024;

/// The table for one text.
pub(super) struct LineTable<'a> {
    bytes: &'a [u8],
    /// Offset of each line's first byte.
    starts: Vec<usize>,
    /// Characters before byte `i * STEP`.
    counts: Vec<usize>,
}

impl<'a> LineTable<'a> {
    /// Reads the text once.
    pub(super) fn new(text: &'a str) -> Self {
        let bytes = text.as_bytes();
        let mut starts = vec![0];
        starts.extend(text.match_indices('\n').map(|(i, _)| i + 1));
        let mut counts = vec![0];
        let mut total = 0;
        for block in bytes.chunks(STEP) {
            total += count(block);
            counts.push(total);
        }
        Self { bytes, starts, counts }
    }

    /// Row and column of a byte, both from 1.
    pub(super) fn place(&self, offset: usize) -> Place {
        let offset = offset.min(self.bytes.len());
        let row = self.starts.partition_point(|s| *s <= offset).max(1);
        let start = self.starts.get(row - 1).copied().unwrap_or(0);
        let column = self.characters_between(start, offset) + 1;
        Place::text(narrow(row), narrow(column))
    }

    /// Counted one by one over a short way, else from the table.
    fn characters_between(&self, start: usize, end: usize) -> usize {
        match self.bytes.get(start..end) {
            Some(near) if near.len() < STEP => count(near),
            _ => self.characters_before(end) - self.characters_before(start),
        }
    }

    fn characters_before(&self, offset: usize) -> usize {
        let block = offset / STEP;
        let from = block * STEP;
        let rest = self.bytes.get(from..offset).map_or(0, count);
        self.counts.get(block).copied().unwrap_or(0) + rest
    }
}

/// Characters that begin in these bytes: all but continuation bytes.
fn count(bytes: &[u8]) -> usize {
    bytes.iter().filter(|b| **b & 0xC0 != 0x80).count()
}

fn narrow(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_rows_and_characters_not_bytes() {
        let text = "<svg>\n  äö<g/>\n</svg>";
        let table = LineTable::new(text);
        assert_eq!(table.place(0), Place::text(1, 1));
        let at = text.find("<g/>").unwrap();
        assert_eq!(table.place(at), Place::text(2, 5));
        assert_eq!(table.place(9999), Place::text(3, 7));
    }

    #[test]
    fn agrees_with_the_xml_library_on_long_and_short_lines() {
        let (long, short) = ("<g title='é'/>".repeat(700), "<g title='é'/>\n<g/>".repeat(700));
        let text = format!("<svg>{long}{short}</svg>");
        let doc = usvg::roxmltree::Document::parse(&text).unwrap();
        let table = LineTable::new(&text);
        for node in doc.descendants().step_by(97) {
            let expected = doc.text_pos_at(node.range().start);
            assert_eq!(table.place(node.range().start), Place::text(expected.row, expected.col));
        }
    }
}
