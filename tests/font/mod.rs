//! Writes a TrueType font: outlines, widths, names, all tables that OpenType 1.9 asks for
//! (OS/2, cmap, glyf, head, hhea, hmtx, loca, maxp, name, post), checksums included.
//!
//! What can be counted is counted from the glyphs: bounds, bearings, the most points of a glyph.

/// A font to be written.
pub struct Face<'a> {
    /// The family, name 1.
    pub family: &'a str,
    /// The typographic family, name 16, where it differs; the full name, 4, follows it.
    pub typographic: Option<&'a str>,
    /// Units of an em.
    pub em: i16,
    /// How far lines of text reach above and below the baseline; the latter is negative.
    pub ascent: i16,
    pub descent: i16,
    /// Heights of capitals and of small letters; 0 where the font is not to tell.
    pub capital: i16,
    pub small: i16,
    /// How far superscript is raised and subscript lowered.
    pub raised: i16,
    pub lowered: i16,
    /// The first stands for what the font lacks.
    pub glyphs: Vec<Glyph>,
}

/// A letter.
pub struct Glyph {
    /// `None` for the one that stands for what the font lacks.
    pub character: Option<char>,
    pub advance: u16,
    /// Closed, with what is filled at their right hand.
    pub contours: Vec<Vec<Knot>>,
}

/// A point of an outline: on it, or the control point of a parabola between two that are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knot {
    pub x: i16,
    pub y: i16,
    pub on: bool,
}

impl Glyph {
    /// Least and greatest x and y: x, y, x, y.
    fn bounds(&self) -> Option<[i16; 4]> {
        let all = || self.contours.iter().flatten();
        let (x, y) = (|| all().map(|knot| knot.x), || all().map(|knot| knot.y));
        Some([x().min()?, y().min()?, x().max()?, y().max()?])
    }

    fn points(&self) -> usize {
        self.contours.iter().map(Vec::len).sum()
    }
}

/// The font's file.
pub fn write(face: &Face) -> Vec<u8> {
    let mut glyf: Vec<u8> = Vec::new();
    let mut loca = vec![0; 4];
    for glyph in &face.glyphs {
        glyf.extend(outlines(glyph));
        glyf.resize(glyf.len().next_multiple_of(4), 0);
        loca.extend((glyf.len() as u32).to_be_bytes());
    }
    bound(&[
        (*b"OS/2", about(face)),
        (*b"cmap", cmap(&face.glyphs)),
        (*b"glyf", glyf),
        (*b"head", head(face)),
        (*b"hhea", hhea(face)),
        (*b"hmtx", face.glyphs.iter().flat_map(metric).collect()),
        (*b"loca", loca),
        (*b"maxp", maxp(&face.glyphs)),
        (*b"name", names(face)),
        (*b"post", [words(&[3]), vec![0; 30]].concat()),
    ])
}

/// A simple glyph; nothing for one without outlines.
fn outlines(glyph: &Glyph) -> Vec<u8> {
    let Some(bounds) = glyph.bounds() else { return Vec::new() };
    let mut table = words(&[glyph.contours.len() as i16]);
    table.extend(words(&bounds));
    let mut end = 0;
    for contour in &glyph.contours {
        end += contour.len() as i16;
        table.extend(words(&[end - 1]));
    }
    table.extend(words(&[0]));
    let knots: Vec<Knot> = glyph.contours.concat();
    let (flags_x, x) = steps(knots.iter().map(|knot| knot.x), 1);
    let (flags_y, y) = steps(knots.iter().map(|knot| knot.y), 2);
    let flags = flags_x.iter().zip(flags_y).zip(&knots);
    table.extend(flags.map(|((x, y), knot)| x | y | u8::from(knot.on)));
    table.extend([x, y].concat());
    table
}

/// Coordinates as steps, with a flag each: `1 << bit` for a step of one byte, `8 << bit` for a positive
/// one or, of two bytes, for none at all.
fn steps(values: impl Iterator<Item = i16>, bit: u8) -> (Vec<u8>, Vec<u8>) {
    let (short, same) = (1 << bit, 8 << bit);
    let (mut flags, mut bytes, mut last) = (Vec::new(), Vec::new(), 0);
    for value in values {
        let step = value - last;
        last = value;
        match (step, u8::try_from(step.unsigned_abs())) {
            (0, _) => flags.push(same),
            (_, Ok(size)) => {
                flags.push(if step > 0 { short | same } else { short });
                bytes.push(size);
            }
            (_, Err(_)) => {
                flags.push(0);
                bytes.extend(step.to_be_bytes());
            }
        }
    }
    (flags, bytes)
}

fn metric(glyph: &Glyph) -> Vec<u8> {
    words(&[glyph.advance as i16, glyph.bounds().map_or(0, |bounds| bounds[0])])
}

/// Bounds of all glyphs.
fn whole(face: &Face) -> [i16; 4] {
    let all: Vec<[i16; 4]> = face.glyphs.iter().filter_map(Glyph::bounds).collect();
    let least = |i: usize| all.iter().map(|bounds| bounds[i]).min().unwrap_or(0);
    let most = |i: usize| all.iter().map(|bounds| bounds[i]).max().unwrap_or(0);
    [least(0), least(1), most(2), most(3)]
}

/// When every font here was made: the first of January 2026, in seconds since that of 1904.
const DAY: u64 = 3_850_070_400;

/// Its checksum is filled in by [`bound`].
fn head(face: &Face) -> Vec<u8> {
    // Version 1.0 of table and font; baseline at 0, left bearings at the outlines.
    let mut table = words(&[1, 0, 1, 0, 0, 0, 0x5F0F, 0x3CF5, 3, face.em]);
    table.extend([DAY, DAY].iter().flat_map(|day| day.to_be_bytes()));
    table.extend(words(&whole(face)));
    // Neither bold nor slanted, from 8 pixels on, as it comes, long offsets.
    table.extend(words(&[0, 8, 2, 1, 0]));
    table
}

fn hhea(face: &Face) -> Vec<u8> {
    let inked = || face.glyphs.iter().filter_map(|glyph| Some((glyph, glyph.bounds()?)));
    let right = inked().map(|(glyph, bounds)| glyph.advance as i16 - bounds[2]);
    let advance = face.glyphs.iter().map(|glyph| glyph.advance).max().unwrap_or(0);
    let [left, _, extent, _] = whole(face);
    let mut table = words(&[1, 0, face.ascent, face.descent, 0, advance as i16]);
    table.extend(words(&[left, right.min().unwrap_or(0), extent, 1, 0, 0]));
    table.extend(words(&[0, 0, 0, 0, 0, face.glyphs.len() as i16]));
    table
}

fn maxp(glyphs: &[Glyph]) -> Vec<u8> {
    let points = glyphs.iter().map(Glyph::points).max().unwrap_or(0);
    let contours = glyphs.iter().map(|glyph| glyph.contours.len()).max().unwrap_or(0);
    let counts = [glyphs.len(), points, contours].map(|count| count as i16);
    [words(&[1, 0]), words(&counts), words(&[0, 0, 2, 0, 0, 0, 0, 0, 0, 0, 0])].concat()
}

/// Table OS/2, version 4.
fn about(face: &Face) -> Vec<u8> {
    let widths: Vec<usize> = face.glyphs.iter().map(|glyph| glyph.advance.into()).collect();
    let average = widths.iter().sum::<usize>() / widths.iter().filter(|w| **w > 0).count().max(1);
    let share = |percent: i32| (i32::from(face.em) * percent / 100) as i16;
    let mut table = words(&[4, average as i16, 400, 5, 0]);
    for shift in [face.lowered, face.raised] {
        table.extend(words(&[share(65), share(60), 0, shift]));
    }
    table.extend(words(&[share(5), share(25), 0]));
    // Not classified; basic and western Latin, punctuation.
    table.extend([0; 10]);
    table.extend([0x8000_0003u32, 0, 0, 0].iter().flat_map(|range| range.to_be_bytes()));
    table.extend(b"TERN");
    let characters = || face.glyphs.iter().filter_map(|glyph| glyph.character);
    let ends = [characters().min(), characters().max()].map(|c| c.map_or(0, |c| c as i16));
    table.extend(words(&[0x40, ends[0], ends[1], face.ascent, face.descent, 0]));
    table.extend(words(&[face.ascent, -face.descent]));
    table.extend([1u32, 0].iter().flat_map(|page| page.to_be_bytes()));
    table.extend(words(&[face.small, face.capital, 0, ' ' as i16, 1]));
    table
}

/// Characters in a row whose glyphs are in a row too: the first and the last character, and what is added
/// to them, modulo 65536, for the glyph.
struct Run {
    first: u16,
    last: u16,
    delta: u16,
}

/// Characters to glyphs, format 4.
fn cmap(glyphs: &[Glyph]) -> Vec<u8> {
    let numbered = glyphs.iter().zip(0u16..);
    let mut pairs: Vec<(u16, u16)> =
        numbered.filter_map(|(glyph, i)| Some((glyph.character? as u16, i))).collect();
    pairs.sort_unstable();
    let mut runs: Vec<Run> = Vec::new();
    for (code, glyph) in pairs {
        let delta = glyph.wrapping_sub(code);
        match runs.last_mut() {
            Some(run) if (run.last + 1, run.delta) == (code, delta) => run.last = code,
            _ => runs.push(Run { first: code, last: code, delta }),
        }
    }
    // The last run stands for what no glyph has: 0xFFFF plus 1 is glyph 0.
    runs.push(Run { first: 0xFFFF, last: 0xFFFF, delta: 1 });
    let column = |of: fn(&Run) -> u16| runs.iter().flat_map(move |run| of(run).to_be_bytes());
    let length = 16 + 8 * runs.len() as i16;
    let mut table = words(&[0, 1, 3, 1, 0, 12, 4, length, 0, 2 * runs.len() as i16]);
    table.extend(words(&search(runs.len(), 2)));
    table.extend(column(|run| run.last));
    table.extend(words(&[0]));
    table.extend(column(|run| run.first));
    table.extend(column(|run| run.delta));
    table.extend(column(|_| 0));
    table
}

/// The figures by which a list of `count` entries of `size` bytes is searched.
fn search(count: usize, size: usize) -> [i16; 3] {
    let depth = count.max(1).ilog2();
    let range = size << depth;
    [range as i16, depth as i16, (count * size - range) as i16]
}

fn names(face: &Face) -> Vec<u8> {
    let plain: String = face.family.chars().filter(char::is_ascii_alphanumeric).collect();
    let version = "Version 1.000";
    let own = format!("{version};{plain}");
    let (short, family) = (format!("{plain}-Regular"), face.family);
    let full = face.typographic.map_or(family.to_owned(), |family| format!("{family} Regular"));
    let mut texts =
        vec![(1i16, family), (2, "Regular"), (3, &own), (4, &full), (5, version), (6, &short)];
    if let Some(typographic) = face.typographic {
        texts.extend([(16, typographic), (17, "Regular")]);
    }
    let count = texts.len() as i16;
    let (mut records, mut letters) = (words(&[0, count, 6 + count * 12]), Vec::new());
    for (id, text) in texts {
        let text: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        let (length, at) = (text.len() as i16, letters.len() as i16);
        records.extend(words(&[3, 1, 0x409, id, length, at]));
        letters.extend(text);
    }
    records.extend(letters);
    records
}

/// The tables in one file; `head` gets what makes the sum of the whole file the one that is asked for.
fn bound(tables: &[([u8; 4], Vec<u8>)]) -> Vec<u8> {
    let mut all = words(&[1, 0, tables.len() as i16]);
    all.extend(words(&search(tables.len(), 16)));
    let mut at = 12 + 16 * tables.len();
    let mut adjustment = at;
    for (tag, bytes) in tables {
        if tag == b"head" {
            adjustment = at + 8;
        }
        all.extend(tag);
        for number in [sum(bytes), at as u32, bytes.len() as u32] {
            all.extend(number.to_be_bytes());
        }
        at += bytes.len().next_multiple_of(4);
    }
    for (_, bytes) in tables {
        all.extend(bytes);
        all.resize(all.len().next_multiple_of(4), 0);
    }
    let adjusted = 0xB1B0_AFBAu32.wrapping_sub(sum(&all));
    all[adjustment..adjustment + 4].copy_from_slice(&adjusted.to_be_bytes());
    all
}

/// The sum of the words of four bytes.
fn sum(bytes: &[u8]) -> u32 {
    let word = |four: &[u8]| {
        let mut word = [0; 4];
        word[..four.len()].copy_from_slice(four);
        u32::from_be_bytes(word)
    };
    bytes.chunks(4).map(word).fold(0, u32::wrapping_add)
}

fn words(numbers: &[i16]) -> Vec<u8> {
    numbers.iter().flat_map(|n| n.to_be_bytes()).collect()
}
