//! A font of our own, made here: two letters that are plain rectangles, so that heights are known.

/// Units of an em.
pub const EM: i16 = 1000;
/// Height of the H.
pub const CAPITAL: i16 = 700;
/// Height of the x.
pub const SMALL: i16 = 500;

/// How far superscript is raised, and subscript lowered.
pub const RAISED: i16 = 350;
pub const LOWERED: i16 = 75;

/// A TrueType font of the family `name` (OpenType 1.9: head, hhea, maxp, OS/2, hmtx, cmap, loca, glyf,
/// name, post); with `told` it tells the heights of its letters in OS/2.
pub fn font(name: &str, told: bool) -> Vec<u8> {
    let box_of = |height: i16| {
        let (low, high) = ([100i16, 0], [500i16, height]);
        let mut glyph = words(&[1, low[0], low[1], high[0], high[1], 3, 0]);
        glyph.extend([1, 1, 1, 1]);
        glyph.extend(words(&[100, 0, 400, 0]));
        glyph.extend(words(&[0, height, 0, -height]));
        glyph
    };
    let glyphs = [box_of(CAPITAL), box_of(CAPITAL), box_of(SMALL)];
    let mut ends = vec![0u32];
    glyphs.iter().for_each(|glyph| ends.push(ends[ends.len() - 1] + glyph.len() as u32));
    let loca: Vec<u8> = ends.iter().flat_map(|end| end.to_be_bytes()).collect();
    let mut head = words(&[1, 0, 1, 0, 0, 0, 0x5F0F, 0x3CF5, 0, EM]);
    head.extend([0; 16]);
    head.extend(words(&[100, 0, 500, CAPITAL, 0, 8, 2, 1, 0]));
    let hhea = words(&[1, 0, 800, -200, 0, 600, 100, 100, 500, 1, 0, 0, 0, 0, 0, 0, 0, 3]);
    let maxp = words(&[1, 0, 3, 4, 1, 0, 0, 2, 0, 0, 0, 0, 0, 0, 0, 0]);
    let mut os2 = words(&[2, 600, 400, 5, 0]);
    os2.extend(words(&[650, 600, 0, LOWERED, 650, 600, 0, RAISED, 50, 250, 0]));
    os2.extend([0; 10 + 16]);
    os2.extend(b"TERN");
    os2.extend(words(&[0x40, 0x48, 0x78, 800, -200, 0, 800, 200]));
    os2.extend([0; 8]);
    let heights = if told { [SMALL, CAPITAL] } else { [0, 0] };
    os2.extend(words(&[heights[0], heights[1], 0, 32, 1]));
    let files = vec![
        (b"OS/2", os2),
        (b"cmap", cmap()),
        (b"glyf", glyphs.concat()),
        (b"head", head),
        (b"hhea", hhea),
        (b"hmtx", words(&[600, 100, 600, 100, 600, 100])),
        (b"loca", loca),
        (b"maxp", maxp),
        (b"name", names(name)),
        (b"post", [words(&[3]), vec![0; 30]].concat()),
    ];
    bound(&files)
}

/// Characters H and x, format 4.
fn cmap() -> Vec<u8> {
    let delta = |glyph: i16, c: char| glyph.wrapping_sub(c as i16);
    let mut table = words(&[0, 1, 3, 1, 0, 12]);
    table.extend(words(&[4, 40, 0, 6, 4, 1, 2, 'H' as i16, 'x' as i16, -1, 0]));
    table.extend(words(&['H' as i16, 'x' as i16, -1, delta(1, 'H'), delta(2, 'x'), 1, 0, 0, 0]));
    table
}

fn names(family: &str) -> Vec<u8> {
    let texts = [(1i16, family), (2, "Regular"), (4, family), (6, "TernTest")];
    let (mut records, mut letters) = (words(&[0, 4, 6 + 12 * 4]), Vec::new());
    for (id, text) in texts {
        let text: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        let (length, at) = (text.len() as i16, letters.len() as i16);
        records.extend(words(&[3, 1, 0x409, id, length, at]));
        letters.extend(text);
    }
    records.extend(letters);
    records
}

fn bound(files: &[(&[u8; 4], Vec<u8>)]) -> Vec<u8> {
    let mut all = words(&[1, 0, files.len() as i16, 128, 3, 32]);
    let mut body: Vec<u8> = Vec::new();
    for (tag, bytes) in files {
        let at = 12 + 16 * files.len() + body.len();
        all.extend(*tag);
        all.extend([0; 4]);
        all.extend((at as u32).to_be_bytes());
        all.extend((bytes.len() as u32).to_be_bytes());
        body.extend(bytes);
        body.resize(body.len().next_multiple_of(4), 0);
    }
    all.extend(body);
    all
}

fn words(numbers: &[i16]) -> Vec<u8> {
    numbers.iter().flat_map(|n| n.to_be_bytes()).collect()
}
