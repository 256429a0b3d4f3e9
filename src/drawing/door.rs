//! Bytes -> text: unpacks gzip, decodes, and says what else the bytes are when they are no SVG text.
//!
//! Input: a file as it is. Output: UTF-8 text without a byte order mark, at most
//! [`MAX_TEXT_BYTES`] long, in which elements are nested at most [`MAX_NESTING`] deep: the XML and
//! SVG libraries recurse, so depth is checked before either sees the text.
//!
//! The encoding is the one of the byte order mark, else the one that the XML declaration names, else UTF-8 (XML 1.0,
//! 4.3.3 and appendix F); names mean what browsers take them for (Encoding Standard: ISO-8859-1 is windows-1252).

use std::borrow::Cow;
use std::io::Read;

use encoding_rs::{Encoding, UTF_16BE, UTF_16LE};

use super::error::ReadError;
use super::limits::{MAX_ATTRIBUTES, MAX_NESTING, MAX_TEXT_BYTES};
use super::lines::LineTable;

/// Unpacks and checks a file's bytes.
pub(super) fn open(bytes: &[u8]) -> Result<Cow<'_, str>, ReadError> {
    let bytes = if bytes.starts_with(&[0x1f, 0x8b]) {
        Cow::Owned(unpack(bytes)?)
    } else {
        Cow::Borrowed(bytes)
    };
    if bytes.len() > MAX_TEXT_BYTES {
        return Err(ReadError::TooLarge);
    }
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(ReadError::Empty);
    }
    refuse_other_formats(&bytes)?;
    let text = decode(bytes)?;
    check_nesting(&text)?;
    Ok(text)
}

fn unpack(bytes: &[u8]) -> Result<Vec<u8>, ReadError> {
    let mut out = Vec::new();
    let limit = MAX_TEXT_BYTES as u64 + 1;
    flate2::read::MultiGzDecoder::new(bytes)
        .take(limit)
        .read_to_end(&mut out)
        .map_err(|_| ReadError::Gzip)?;
    if out.len() > MAX_TEXT_BYTES { Err(ReadError::TooLarge) } else { Ok(out) }
}

/// First bytes of what is often taken for an SVG drawing (the formats' own signatures).
const SIGNATURES: [(&[u8], &str); 8] = [
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"%!PS", "a PostScript document"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"\x1f\x8b", "a file packed twice"),
    (b"IN;", "an HPGL job"),
];

fn refuse_other_formats(bytes: &[u8]) -> Result<(), ReadError> {
    match SIGNATURES.iter().find(|(start, _)| bytes.starts_with(start)) {
        Some((_, name)) => Err(ReadError::OtherFormat(name)),
        None => Ok(()),
    }
}

fn decode(bytes: Cow<'_, [u8]>) -> Result<Cow<'_, str>, ReadError> {
    let text = match (encoding(&bytes)?, bytes) {
        (Some(encoding), bytes) => {
            let text = encoding.decode_without_bom_handling_and_without_replacement(&bytes);
            text.map(|text| Cow::Owned(text.into_owned()))
                .ok_or(ReadError::Undecodable(encoding.name()))
        }
        (None, Cow::Borrowed(b)) => {
            std::str::from_utf8(b).map(Cow::Borrowed).map_err(|e| not_utf8(b, e))
        }
        (None, Cow::Owned(b)) => {
            String::from_utf8(b).map(Cow::Owned).map_err(|e| not_utf8(e.as_bytes(), e.utf8_error()))
        }
    }?;
    if text.len() > MAX_TEXT_BYTES {
        return Err(ReadError::TooLarge);
    }
    let text = match text {
        Cow::Borrowed(t) => Cow::Borrowed(t.strip_prefix('\u{feff}').unwrap_or(t)),
        Cow::Owned(t) if t.starts_with('\u{feff}') => Cow::Owned(t['\u{feff}'.len_utf8()..].into()),
        owned => owned,
    };
    match text.trim_start().starts_with('<') {
        true => Ok(text),
        false => Err(ReadError::OtherFormat("text without any tag at its beginning")),
    }
}

/// What the text is written in; none for UTF-8.
fn encoding(bytes: &[u8]) -> Result<Option<&'static Encoding>, ReadError> {
    let starts = |mark: &[u8]| bytes.starts_with(mark);
    if starts(b"\xff\xfe\0\0")
        || starts(b"\0\0\xfe\xff")
        || starts(b"<\0\0\0")
        || starts(b"\0\0\0<")
    {
        return Err(ReadError::Encoding("UTF-32"));
    }
    if starts(b"\xff\xfe") || starts(b"<\0") {
        return Ok(Some(UTF_16LE));
    }
    if starts(b"\xfe\xff") || starts(b"\0<") {
        return Ok(Some(UTF_16BE));
    }
    let named = declared(bytes).and_then(Encoding::for_label_no_replacement);
    // Bytes that a declaration can be read in are not of two to a character.
    let told =
        named.filter(|encoding| !matches!(encoding.name(), "UTF-8" | "UTF-16LE" | "UTF-16BE"));
    Ok(told.filter(|encoding| !(encoding.is_ascii_compatible() && bytes.is_ascii())))
}

/// Longest XML declaration that is looked at, bytes.
const MOST_DECLARED: usize = 400;

/// The encoding that the XML declaration names.
fn declared(bytes: &[u8]) -> Option<&[u8]> {
    let head = bytes.trim_ascii_start().strip_prefix(b"<?xml")?;
    let head = &head[..head.len().min(MOST_DECLARED)];
    let end = head.windows(2).position(|pair| pair == b"?>")?;
    const NAME: &[u8] = b"encoding";
    let at = head[..end].windows(NAME.len()).position(|word| word == NAME)?;
    let value =
        head[at + NAME.len()..end].trim_ascii_start().strip_prefix(b"=")?.trim_ascii_start();
    let (quote, rest) = value.split_first().filter(|(quote, _)| matches!(quote, b'"' | b'\''))?;
    rest.split(|byte| byte == quote).next()
}

fn not_utf8(bytes: &[u8], error: std::str::Utf8Error) -> ReadError {
    let good = String::from_utf8_lossy(bytes.get(..error.valid_up_to()).unwrap_or_default());
    let place = LineTable::new(&good).place(good.len());
    ReadError::NotUtf8 { byte: error.valid_up_to() as u64, place }
}

/// Refuses deep nesting and floods of attributes. A rough count is enough: it knows comments, CDATA, instructions, quoted
/// values and self-closing tags, and never counts less than the XML library does for text that
/// the library accepts.
fn check_nesting(text: &str) -> Result<(), ReadError> {
    let mut depth = 0usize;
    let mut at = 0;
    while let Some(found) = find(text, at, '<') {
        let rest = &text[found..];
        at = if rest.starts_with("<!--") {
            after(text, found + 4, "-->")
        } else if rest.starts_with("<![CDATA[") {
            after(text, found + 9, "]]>")
        } else if rest.starts_with("<?") {
            after(text, found + 2, "?>")
        } else if rest.starts_with("</") {
            depth = depth.saturating_sub(1);
            found + 2
        } else if rest.starts_with("<!") {
            found + 2
        } else {
            let tag = tag_end(text, found + 1);
            depth += usize::from(!tag.closed);
            let place = || LineTable::new(text).place(found);
            if depth > MAX_NESTING {
                return Err(ReadError::TooDeep(place()));
            }
            if tag.attributes > MAX_ATTRIBUTES {
                return Err(ReadError::TooManyAttributes(place()));
            }
            tag.end
        };
    }
    Ok(())
}

/// A start tag, roughly.
struct Tag {
    /// The byte after it.
    end: usize,
    /// Whether it closes itself.
    closed: bool,
    attributes: usize,
}

fn tag_end(text: &str, from: usize) -> Tag {
    let bytes = text.as_bytes();
    let mut attributes = 0;
    let mut at = from;
    while let Some(&b) = bytes.get(at) {
        match b {
            b'"' | b'\'' => at = find(text, at + 1, b.into()).unwrap_or(bytes.len()),
            b'>' => {
                let closed = bytes.get(at.wrapping_sub(1)) == Some(&b'/');
                return Tag { end: at + 1, closed, attributes };
            }
            b'=' => attributes += 1,
            _ => {}
        }
        at += 1;
    }
    Tag { end: bytes.len(), closed: false, attributes }
}

/// Where a character stands next; `from` is a character's first byte.
fn find(text: &str, from: usize, character: char) -> Option<usize> {
    text.get(from..)?.find(character).map(|i| i + from)
}

/// The byte after the next `mark`, or the text's end.
fn after(text: &str, from: usize, mark: &str) -> usize {
    let found = text.get(from..).and_then(|rest| rest.find(mark));
    found.map_or(text.len(), |i| from + i + mark.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    fn gz(data: &[u8]) -> Vec<u8> {
        let mut e = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
        e.write_all(data).unwrap();
        e.finish().unwrap()
    }

    #[test]
    fn unpacks_and_drops_the_mark() {
        assert_eq!(open(&gz("\u{feff}<svg/>".as_bytes())).unwrap(), "<svg/>");
        assert_eq!(open("\u{feff}<svg/>".as_bytes()).unwrap(), "<svg/>");
    }

    #[test]
    fn refuses_what_is_no_drawing() {
        assert_eq!(open(b""), Err(ReadError::Empty));
        assert_eq!(open(b" \n\t"), Err(ReadError::Empty));
        assert_eq!(open(&gz(b"<svg/>")[..12]), Err(ReadError::Gzip));
        assert_eq!(open(&gz(&vec![b' '; MAX_TEXT_BYTES + 9])), Err(ReadError::TooLarge));
        assert_eq!(open(b"\xff\xfe\0\0<\0\0\0"), Err(ReadError::Encoding("UTF-32")));
        assert_eq!(open(b"\xff\xfe<\0\x00\xd8s\0"), Err(ReadError::Undecodable("UTF-16LE")));
        assert!(matches!(open(b"\x89PNG\r\n"), Err(ReadError::OtherFormat(_))));
        assert!(matches!(open(b"hello"), Err(ReadError::OtherFormat(_))));
        let Err(ReadError::NotUtf8 { byte, place }) = open(b"<svg>\n<g \xe9/>") else { panic!() };
        assert_eq!((byte, place), (9, crate::finding::Place::text(2, 4)));
    }

    /// XML 1.0, 4.3.3 and appendix F; Encoding Standard, indexes windows-1252 and Shift_JIS.
    #[test]
    fn decodes_what_is_declared() {
        let utf16 = |mark: &str, bytes: fn(u16) -> [u8; 2]| -> Vec<u8> {
            format!("{mark}<svg id='ü€😀'/>").encode_utf16().flat_map(bytes).collect()
        };
        for mark in ["\u{feff}", ""] {
            assert_eq!(open(&utf16(mark, u16::to_le_bytes)).unwrap(), "<svg id='ü€😀'/>");
            assert_eq!(open(&utf16(mark, u16::to_be_bytes)).unwrap(), "<svg id='ü€😀'/>");
            assert_eq!(open(&gz(&utf16(mark, u16::to_le_bytes))).unwrap(), "<svg id='ü€😀'/>");
        }
        for (name, bytes, text) in [
            ("ISO-8859-1", &b"\xfc"[..], "ü"),
            ("iso-8859-1", b"\xc3\xbc", "Ã¼"),
            ("windows-1252", b"\x80\x93", "€“"),
            ("ISO-8859-15", b"\xa4", "€"),
            ("Shift_JIS", b"\x83\x65", "テ"),
            ("UTF-8", b"\xc3\xbc", "ü"),
            ("utf-16", b"\xc3\xbc", "ü"),
            ("x-unknown", b"\xc3\xbc", "ü"),
        ] {
            for quote in ["\"", "'"] {
                let head =
                    format!("<?xml version='1.0' encoding = {quote}{name}{quote}?>\n<svg id='");
                let given = [head.as_bytes(), bytes, b"'/>"].concat();
                assert_eq!(open(&given).unwrap(), format!("{head}{text}'/>"), "{name}");
            }
        }
        let broken = b"<?xml version='1.0' encoding='Shift_JIS'?><svg id='\x83'/>";
        assert_eq!(open(broken), Err(ReadError::Undecodable("Shift_JIS")));
        assert!(matches!(
            open(b"<svg encoding='ISO-8859-1' id='\xfc'/>"),
            Err(ReadError::NotUtf8 { .. })
        ));
    }

    #[test]
    fn counts_nesting_but_not_what_only_looks_like_it() {
        let nested = |n| format!("<svg>{}{}</svg>", "<g>".repeat(n), "</g>".repeat(n));
        assert!(open(nested(MAX_NESTING - 1).as_bytes()).is_ok());
        assert!(matches!(open(nested(MAX_NESTING).as_bytes()), Err(ReadError::TooDeep(_))));
        let flat = "<svg><!--<g><g>--><![CDATA[<g>]]><?a <g> ?><g a='<g>'/></svg>".to_string()
            + &"<g a=\">\"/>".repeat(2 * MAX_NESTING);
        assert!(open(flat.as_bytes()).is_ok());
    }
}
