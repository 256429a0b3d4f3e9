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

/// What stands next in the body of a `PE` instruction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Next {
    /// An element.
    Element(Encoded),
    /// The `;` that ends the instruction.
    End,
    /// The bytes end within an element, or before the `;`.
    Short,
    /// What is no element.
    Broken,
}

/// Reads the body of a `PE` instruction, element by element; its state outlasts the bytes at hand.
#[derive(Debug, Clone, Copy)]
pub struct Decoder {
    base: Base,
    fraction: i32,
    up: bool,
    absolute: bool,
}

impl Default for Decoder {
    /// At the beginning of an instruction.
    fn default() -> Self {
        Self { base: Base::B64, fraction: 0, up: false, absolute: false }
    }
}

impl Decoder {
    /// What stands in `body` from `at` on. `at` is moved behind it; onto the `;`, or onto what is no
    /// element, where there is none; and stays before an element that is not whole.
    pub fn next(&mut self, body: &[u8], at: &mut usize) -> Next {
        loop {
            let mut digits = Digits { body, at: *at, base: self.base };
            let Some(c) = digits.significant() else {
                let ended = body.get(digits.at) == Some(&b';');
                *at = if ended { digits.at } else { *at };
                return if ended { Next::End } else { Next::Short };
            };
            match self.element(c, &mut digits) {
                Err(Next::Short) => return Next::Short,
                Err(next) => {
                    *at = digits.at;
                    return next;
                }
                Ok(()) => *at = digits.at,
            }
        }
    }

    /// What `c` begins: a flag, or (as an error, since it ends the search) anything else.
    fn element(&mut self, c: u8, digits: &mut Digits) -> Result<(), Next> {
        match c & 0x7f {
            b'7' => self.base = Base::B32,
            b'<' => self.up = true,
            b'=' => self.absolute = true,
            b':' => {
                return Err(digits
                    .number()
                    .map_or_else(|e| e, |n| Next::Element(Encoded::Tool(n))));
            }
            b'>' => self.fraction = digits.number()?.clamp(-26, 26) as i32,
            _ => {
                digits.at -= 1;
                let (x, y) = (digits.number()?, digits.number()?);
                let scale = (-f64::from(self.fraction)).exp2();
                let (x, y) = (x as f64 * scale, y as f64 * scale);
                let (up, absolute) = (self.up, self.absolute);
                (self.up, self.absolute) = (false, false);
                return Err(Next::Element(Encoded::Pair { x, y, up, absolute }));
            }
        }
        Ok(())
    }
}

struct Digits<'a> {
    body: &'a [u8],
    at: usize,
    base: Base,
}

impl Digits<'_> {
    /// The next byte that counts: control characters and blanks are skipped. None at the end.
    fn significant(&mut self) -> Option<u8> {
        loop {
            let c = *self.body.get(self.at).filter(|&&c| c != b';')?;
            self.at += 1;
            if !matches!(c, 0..=32 | 127..=160 | 255) {
                return Some(c);
            }
        }
    }

    fn number(&mut self) -> Result<i64, Next> {
        let (mut u, mut shift) = (0u64, 0);
        loop {
            let Some(c) = self.significant() else {
                return Err(if self.at < self.body.len() { Next::Broken } else { Next::Short });
            };
            let (digit, last) = match (self.base, c) {
                (Base::B64, 191..=254) => (c - 191, true),
                (Base::B64, 63..=126) => (c - 63, false),
                (Base::B32, _) if (95..=126).contains(&(c & 0x7f)) => ((c & 0x7f) - 95, true),
                (Base::B32, _) if (63..=94).contains(&(c & 0x7f)) => ((c & 0x7f) - 63, false),
                _ => {
                    self.at -= 1;
                    return Err(Next::Broken);
                }
            };
            if shift < 60 {
                u |= u64::from(digit) << shift;
            }
            shift += self.base.bits();
            if last {
                let magnitude = (u >> 1) as i64;
                return Ok(if u & 1 == 1 { -magnitude } else { magnitude });
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
        let first = |body: &[u8]| {
            let mut at = 0;
            (Decoder::default().next(body, &mut at), at)
        };
        for body in [&b"<"[..], b"=\xff", b">", b":", b"????????????????????????", b"7<=_"] {
            assert_eq!(first(body).0, Next::Short);
        }
        assert_eq!(first(b" ;"), (Next::End, 1));
        assert_eq!(first(b"7_#__;"), (Next::Broken, 2));
        assert_eq!(first(b"7_;"), (Next::Broken, 2));
    }
}
