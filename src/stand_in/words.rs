//! Bytes one by one → the smallest pieces that an old machine obeys.
//!
//! A machine with 60 bytes of buffer obeys a list of a thousand points as they come in: each
//! complete pair is a piece of its own (`PD1,2,3,4;` gives `PD1,2;` and `PD3,4;`, which means the
//! same). Everything else is a piece when it ends: at `;`, at the next letter, at any other
//! character that is neither number nor separator (HP 7470A manual, pp. 1-6 and 1-7); a line feed
//! does not end it. A number ends, and is believed, at whatever follows it: half a number that is
//! cut off is obeyed as it stands.

/// One piece, as text that ends in `;`, or what was wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Piece {
    /// An instruction, or one pair of a list.
    Obey(Vec<u8>),
    /// Two letters that no machine of this language knows (error 1).
    Unknown([u8; 2]),
    /// A list with a number that lacks its partner (error 2).
    Odd,
    /// A letter without its partner (error 1).
    Stray,
}

/// What has been read of an instruction.
#[derive(Debug, Default)]
pub(super) struct Words {
    letters: Vec<u8>,
    /// Numbers, text or encoded line behind the letters.
    body: Vec<u8>,
    /// Whole numbers in `body`.
    numbers: usize,
    /// Pairs of this list that were obeyed.
    pairs: usize,
    in_number: bool,
    label_end: Option<u8>,
}

/// Ends a label unless `DT` changed it (7470A manual, p. 1-7).
const ETX: u8 = 3;
/// Instructions that are read and answered without a terminator (7470A manual, p. 7-3).
const ASKING: &[&[u8; 2]] = &[b"OA", b"OC", b"OE", b"OF", b"OH", b"OI", b"OO", b"OP", b"OS", b"OW"];
/// The language: HP 7470A manual, p. 1-8, and the groups of the later machines.
const KNOWN: &[&[u8; 2]] = &[
    b"AA", b"AF", b"AH", b"AP", b"AR", b"AS", b"AT", b"BR", b"BZ", b"CA", b"CI", b"CO", b"CP",
    b"CS", b"CT", b"DF", b"DI", b"DP", b"DR", b"DT", b"DC", b"EA", b"EC", b"EP", b"ER", b"EW",
    b"FP", b"FS", b"FT", b"IM", b"IN", b"IP", b"IR", b"IV", b"IW", b"LB", b"LT", b"NP", b"OA",
    b"OC", b"OD", b"OE", b"OF", b"OH", b"OI", b"OO", b"OP", b"OS", b"OW", b"PA", b"PD", b"PE",
    b"PG", b"PM", b"PR", b"PS", b"PT", b"PU", b"PW", b"RA", b"RO", b"RR", b"RT", b"SA", b"SC",
    b"SI", b"SL", b"SM", b"SP", b"SR", b"SS", b"TL", b"UC", b"UL", b"VA", b"VN", b"VS", b"WG",
    b"WU", b"XT", b"YT",
];

impl Words {
    /// Takes one byte; returns what became complete by it.
    pub fn take(&mut self, byte: u8) -> Vec<Piece> {
        match self.letters.len() {
            0 => self.first(byte),
            1 => self.second(byte),
            _ => self.behind(byte),
        }
    }

    /// Forgets what has been read of an instruction.
    pub fn forget(&mut self) {
        *self = Self { label_end: self.label_end, ..Self::default() };
    }

    fn first(&mut self, byte: u8) -> Vec<Piece> {
        if byte.is_ascii_alphabetic() {
            self.letters.push(byte.to_ascii_uppercase());
        }
        Vec::new()
    }

    fn second(&mut self, byte: u8) -> Vec<Piece> {
        if matches!(byte, b' ' | b',' | b'\r' | b'\n' | 0) {
            return Vec::new();
        }
        if !byte.is_ascii_alphabetic() {
            self.forget();
            return vec![Piece::Stray];
        }
        self.letters.push(byte.to_ascii_uppercase());
        let name = self.name();
        if ASKING.contains(&&name) {
            self.forget();
            return vec![Piece::Obey(vec![name[0], name[1], b';'])];
        }
        if KNOWN.contains(&&name) {
            return Vec::new();
        }
        self.forget();
        vec![Piece::Unknown(name)]
    }

    fn name(&self) -> [u8; 2] {
        match self.letters[..] {
            [a, b, ..] => [a, b],
            _ => [0, 0],
        }
    }

    fn behind(&mut self, byte: u8) -> Vec<Piece> {
        match &self.name() {
            b"LB" => self.until(byte, self.label_end.unwrap_or(ETX)),
            b"PE" | b"CO" => self.until(byte, b';'),
            b"DT" | b"SM" => {
                if self.name() == *b"DT" {
                    self.label_end = (byte != b';').then_some(byte);
                }
                self.body.push(byte);
                vec![self.whole()]
            }
            _ => self.number(byte),
        }
    }

    fn until(&mut self, byte: u8, end: u8) -> Vec<Piece> {
        self.body.push(byte);
        if byte == end { vec![self.whole()] } else { Vec::new() }
    }

    fn number(&mut self, byte: u8) -> Vec<Piece> {
        let mut pieces = Vec::new();
        let sign = matches!(byte, b'+' | b'-');
        if byte.is_ascii_digit() || byte == b'.' {
            self.in_number = true;
            self.body.push(byte);
            return pieces;
        }
        if std::mem::take(&mut self.in_number) {
            self.numbers += 1;
            pieces.extend(self.pair());
        }
        if sign {
            self.body.push(byte);
        } else if matches!(byte, b' ' | b',' | b'\r' | b'\n' | b'\t' | 0) {
            self.body.push(b',');
        } else {
            pieces.extend(self.end());
            pieces.extend(self.take_letter(byte));
        }
        pieces
    }

    fn take_letter(&mut self, byte: u8) -> Vec<Piece> {
        if byte.is_ascii_alphabetic() { self.first(byte) } else { Vec::new() }
    }

    fn is_list(&self) -> bool {
        [b"PU", b"PD", b"PA", b"PR"].contains(&&self.name())
    }

    /// A pair of a list that has just become complete.
    fn pair(&mut self) -> Option<Piece> {
        if !self.is_list() || self.numbers < 2 {
            return None;
        }
        self.numbers = 0;
        self.pairs += 1;
        let body = std::mem::take(&mut self.body);
        let text: Vec<u8> = [&self.name()[..], &body, b";"].concat();
        Some(Piece::Obey(text))
    }

    fn end(&mut self) -> Vec<Piece> {
        let (list, numbers, pairs) = (self.is_list(), self.numbers, self.pairs);
        if list && (numbers > 0 || pairs > 0) {
            self.forget();
            return if numbers > 0 { vec![Piece::Odd] } else { Vec::new() };
        }
        vec![self.whole()]
    }

    /// The instruction with all that stands behind its letters.
    fn whole(&mut self) -> Piece {
        let mut text = std::mem::take(&mut self.letters);
        text.append(&mut self.body);
        if text.last() != Some(&b';') {
            text.push(b';');
        }
        self.forget();
        Piece::Obey(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pieces(text: &str) -> Vec<String> {
        let mut words = Words::default();
        let all = text.bytes().flat_map(|byte| words.take(byte));
        let told = all.map(|piece| match piece {
            Piece::Obey(text) => String::from_utf8(text).unwrap(),
            other => format!("{other:?}"),
        });
        told.collect()
    }

    #[test]
    fn lists_are_obeyed_pair_by_pair() {
        assert_eq!(pieces("IN;PD1,2,3,4;PU;"), ["IN;", "PD1,2;", "PD,3,4;", "PU;"]);
        assert_eq!(pieces("pd 100-50+30 -20 PU"), ["PD,100-50;", "PD+30,-20;"]);
        assert_eq!(pieces("PD1,2,3"), ["PD1,2;"], "a number is not complete before it is ended");
        assert_eq!(pieces("PD1,2,3;"), ["PD1,2;", "Odd"]);
    }

    #[test]
    fn everything_else_is_obeyed_when_it_ends() {
        assert_eq!(pieces("VS10;OE"), ["VS10;", "OE;"]);
        assert_eq!(pieces("LBPU1,2\u{3}PU;"), ["LBPU1,2\u{3};", "PU;"]);
        assert_eq!(pieces("PE<=AbPUC;PD;"), ["PE<=AbPUC;", "PD;"]);
        assert_eq!(pieces("QQPU;P;"), ["Unknown([81, 81])", "PU;", "Stray"]);
        assert_eq!(pieces("PU\n;"), ["PU,;"]);
    }
}
