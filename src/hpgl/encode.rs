//! `PE`, the compact encoding of polylines in HP-GL/2: both ways.
//!
//! Source: HP, PCL 5 Printer Language Technical Reference Manual II (5961-0509), pp. 20-34 to
//! 20-42. A number is doubled, its sign put into the lowest bit, and written in base 64 (8-bit
//! lines) or base 32 (7-bit lines), lowest digit first; the highest digit lies in a range of its
//! own and so ends the number. The printed fraction example of the manual (82.83·2⁷ = 10525.42) is
//! a slip; only its integer is used here.

use super::command::Encoded;

/// Number base of a `PE` instruction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Base {
    /// Six bits a digit; needs an 8-bit line.
    B64,
    /// Five bits a digit; passes 7-bit lines.
    B32,
}

impl Base {
    fn bits(self) -> u32 {
        match self {
            Self::B64 => 6,
            Self::B32 => 5,
        }
    }

    /// The character of the highest digit 0.
    fn last(self) -> u8 {
        match self {
            Self::B64 => 191,
            Self::B32 => 95,
        }
    }
}

/// Writes `number` in `base`.
pub fn put(number: i64, base: Base, out: &mut Vec<u8>) {
    let mut u = number.unsigned_abs() << 1 | u64::from(number < 0);
    let (bits, mask) = (base.bits(), (1u64 << base.bits()) - 1);
    while u > mask {
        out.push(63 + (u & mask) as u8);
        u >>= bits;
    }
    out.push(base.last() + u as u8);
}

/// Reads the body of a `PE` instruction (without `PE` and `;`): its elements, and where in `body`
/// stands what is none, if anything does.
pub fn take(body: &[u8]) -> (Vec<Encoded>, Option<usize>) {
    let mut reader = Reader { body, at: 0, base: Base::B64, fraction: 0 };
    let mut all = Vec::new();
    let (mut up, mut absolute) = (false, false);
    while let Some(c) = reader.next_significant() {
        match c & 0x7f {
            b'7' => reader.base = Base::B32,
            b':' => all.extend(reader.number().map(Encoded::Tool)),
            b'>' => reader.fraction = reader.number().unwrap_or(0).clamp(-26, 26) as i32,
            b'<' => up = true,
            b'=' => absolute = true,
            _ => {
                reader.at -= 1;
                let (Some(x), Some(y)) = (reader.number(), reader.number()) else {
                    return (all, Some(reader.at));
                };
                let scale = (-f64::from(reader.fraction)).exp2();
                let (x, y) = (x as f64 * scale, y as f64 * scale);
                all.push(Encoded::Pair { x, y, up, absolute });
                (up, absolute) = (false, false);
            }
        }
    }
    (all, None)
}

struct Reader<'a> {
    body: &'a [u8],
    at: usize,
    base: Base,
    fraction: i32,
}

impl Reader<'_> {
    /// The next byte that counts: control characters and blanks are skipped.
    fn next_significant(&mut self) -> Option<u8> {
        loop {
            let c = *self.body.get(self.at)?;
            self.at += 1;
            if !matches!(c, 0..=32 | 127..=160 | 255) {
                return Some(c);
            }
        }
    }

    fn number(&mut self) -> Option<i64> {
        let (mut u, mut shift) = (0u64, 0);
        loop {
            let c = self.next_significant()?;
            let (digit, last) = match (self.base, c) {
                (Base::B64, 191..=254) => (c - 191, true),
                (Base::B64, 63..=126) => (c - 63, false),
                (Base::B32, _) if (95..=126).contains(&(c & 0x7f)) => ((c & 0x7f) - 95, true),
                (Base::B32, _) if (63..=94).contains(&(c & 0x7f)) => ((c & 0x7f) - 63, false),
                _ => {
                    self.at -= 1;
                    return None;
                }
            };
            if shift < 60 {
                u |= u64::from(digit) << shift;
            }
            shift += self.base.bits();
            if last {
                let magnitude = (u >> 1) as i64;
                return Some(if u & 1 == 1 { -magnitude } else { magnitude });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 10525 is printed in the manual (p. 20-38); the others follow from its procedure.
    #[test]
    fn numbers_have_their_known_bytes() {
        for (x, b64, b32) in [
            (0, &[191][..], &b"_"[..]),
            (-1, &[194], b"b"),
            (32, &[63, 192], b"?a"),
            (-400, &[96, 203], b"@x"),
            (10525, &[121, 71, 196], b"YPs"),
            (-32768, &[64, 63, 207], b"@??a"),
            (8_388_607, &[125, 126, 126, 254], b"]^^^n"),
        ] {
            for (base, bytes) in [(Base::B64, b64), (Base::B32, b32)] {
                let mut out = Vec::new();
                put(x, base, &mut out);
                assert_eq!(out, bytes, "{x} {base:?}");
            }
        }
    }

    #[test]
    fn hostile_bytes_end_the_reading() {
        for body in [&b"<"[..], b"=\xff", b">", b":", b"????????????????????????", b"7<=_"] {
            let _ = take(body);
        }
        assert_eq!(take(b""), (vec![], None));
        assert_eq!(take(b"7__#__").1, Some(3));
    }
}
