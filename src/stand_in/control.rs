//! Device control: `ESC.` instructions, read byte by byte beside the buffer.
//!
//! HP 7470A manual, chapter 10: they act at once and are not buffered (p. 10-23); parameters are
//! separated by `;` and ended by `:`, an empty place is the default (pp. 10-23, 10-24); an error
//! number is kept for `ESC.E` (p. 10-27).

/// What an instruction asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Control {
    /// `ESC.A`, `.B`, `.E`, `.L`, `.O`: something is to be answered.
    Ask(u8),
    /// `ESC.J`: forget half-read device control and answers that are not out.
    DropAnswers,
    /// `ESC.K`: forget the buffer and half-read instructions.
    DropBuffer,
    /// The handshake was changed.
    Set,
    /// Nothing that this machine minds (`ESC.(`, `ESC.)`, ...).
    Nothing,
    /// An error number for `ESC.E`.
    Wrong(u8),
}

/// Handshake and output as `ESC.@`, `.H`, `.I`, `.M`, `.N`, `.P`, `.R` set them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Handshake {
    /// Block size, or empty bytes at which Xoff is sent.
    pub level: usize,
    /// Asks for room; `None`: nobody asks.
    pub enquiry: Option<u8>,
    /// Sent when a block has room (with `enquiry`), or Xon.
    pub go: Vec<u8>,
    /// Xoff.
    pub hold: Vec<u8>,
    /// The wire drops when less than a block is free.
    pub wire: bool,
    /// Ends an answer.
    pub end: Vec<u8>,
}

impl Default for Handshake {
    /// After `ESC.R` (p. 10-40): block 80, no characters, CR, the wire on.
    fn default() -> Self {
        let (go, hold) = (Vec::new(), Vec::new());
        Self { level: 80, enquiry: None, go, hold, wire: true, end: vec![b'\r'] }
    }
}

/// The reader.
#[derive(Debug, Default)]
pub(super) struct Controls {
    /// From ESC on; empty when none is being read.
    text: Vec<u8>,
    pub handshake: Handshake,
}

impl Controls {
    /// Whether `byte` belongs to device control.
    pub fn wants(&self, byte: u8) -> bool {
        byte == 27 || !self.text.is_empty()
    }

    /// Takes a byte that [`Controls::wants`]; returns what is complete.
    pub fn take(&mut self, byte: u8) -> Option<Control> {
        if byte == 27 {
            // `ESC.J` gets through in the middle of another instruction (p. 10-31), so an ESC
            // begins anew.
            self.text.clear();
        }
        self.text.push(byte);
        match self.text[..] {
            [27] | [27, b'.'] => None,
            [27, b'.', letter] => self.letter(letter),
            [27, b'.', letter, ..] => self.parameters(letter, byte),
            // ESC with another letter: a switch of language, none of ours.
            _ => self.done(Control::Nothing),
        }
    }

    fn done(&mut self, control: Control) -> Option<Control> {
        self.text.clear();
        Some(control)
    }

    fn letter(&mut self, letter: u8) -> Option<Control> {
        let control = match letter {
            b'A' | b'B' | b'E' | b'L' | b'O' => Control::Ask(letter),
            b'J' => Control::DropAnswers,
            b'K' => Control::DropBuffer,
            b'R' => {
                self.handshake = Handshake::default();
                Control::Set
            }
            b'(' | b')' | b'Y' | b'Z' => Control::Nothing,
            b'@' | b'H' | b'I' | b'M' | b'N' | b'P' => return None,
            _ => Control::Wrong(11),
        };
        self.done(control)
    }

    fn parameters(&mut self, letter: u8, byte: u8) -> Option<Control> {
        if byte.is_ascii_digit() || byte == b';' {
            return None;
        }
        if byte != b':' {
            return self.done(Control::Wrong(12));
        }
        let body = self.text[3..self.text.len() - 1].to_vec();
        let text = String::from_utf8_lossy(&body).into_owned();
        let numbers: Vec<Option<u32>> = text.split(';').map(|n| n.parse().ok()).collect();
        let most = if letter == b'@' || letter == b'P' { 2 } else { 12 };
        if numbers.len() > most {
            return self.done(Control::Wrong(14));
        }
        self.set(letter, &numbers);
        self.done(Control::Set)
    }

    fn set(&mut self, letter: u8, numbers: &[Option<u32>]) {
        let number = |i: usize| numbers.get(i).copied().flatten();
        let characters = |from: usize| -> Vec<u8> {
            numbers.iter().skip(from).flatten().map(|&n| n as u8).filter(|&c| c != 0).collect()
        };
        let set = &mut self.handshake;
        match letter {
            b'@' => set.wire = number(1).is_none_or(|bits| bits & 1 == 1),
            b'H' | b'I' => {
                set.level = number(0).map_or(80, |n| n as usize);
                set.enquiry = number(1).filter(|&n| n != 0).map(|n| n as u8);
                set.go = characters(2);
            }
            b'M' => {
                let ends: Vec<u8> =
                    [number(3), number(4)].into_iter().flatten().map(|n| n as u8).collect();
                set.end = if ends.is_empty() { vec![b'\r'] } else { ends };
            }
            b'N' => set.hold = characters(1),
            // `ESC.P`: the handshakes by number, as owner's manuals of later plotters list them.
            b'P' => *set = by_number(number(0).unwrap_or(0)),
            _ => {}
        }
    }
}

fn by_number(number: u32) -> Handshake {
    let usual = Handshake { wire: false, ..Handshake::default() };
    match number {
        1 => Handshake { go: vec![17], hold: vec![19], ..usual },
        2 => Handshake { enquiry: Some(5), go: vec![6], ..usual },
        3 => Handshake::default(),
        _ => usual,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn after(text: &[u8]) -> Handshake {
        let mut controls = Controls::default();
        for &byte in text {
            controls.take(byte);
        }
        controls.handshake
    }

    /// HP 7470A manual, pp. 10-26, 10-31, 10-36.
    #[test]
    fn the_manuals_sequences_set_what_the_manual_says() {
        let xon = after(b"\x1b.@;0:\x1b.I81;;17:\x1b.N;19:");
        assert_eq!((xon.level, xon.enquiry, xon.wire), (81, None, false));
        assert_eq!((xon.go, xon.hold), (vec![17], vec![19]));
        let enq = after(b"\x1b.I;5;6:");
        assert_eq!((enq.level, enq.enquiry, enq.go), (80, Some(5), vec![6]));
        let block = after(b"\x1b.H132;19;20;7:");
        assert_eq!((block.level, block.enquiry, block.go), (132, Some(19), vec![20, 7]));
        let output = after(b"\x1b.M250;17;10;13:");
        assert_eq!(output.end, [13]);
        assert!(after(b"\x1b.@;13:").wire);
        assert_eq!(after(b"\x1b.@;0:\x1b.I81;;17:\x1b.R"), Handshake::default());
        assert_eq!(after(b"\x1b.P2:"), Handshake { wire: false, ..enq_block() });
    }

    fn enq_block() -> Handshake {
        Handshake { enquiry: Some(5), go: vec![6], ..Handshake::default() }
    }

    #[test]
    fn wrong_sequences_are_errors_11_12_and_14() {
        let told = |text: &[u8]| {
            let mut controls = Controls::default();
            text.iter().fold(None, |last, &byte| controls.take(byte).or(last))
        };
        assert_eq!(told(b"\x1b.?"), Some(Control::Wrong(11)));
        assert_eq!(told(b"\x1b.I8x"), Some(Control::Wrong(12)));
        assert_eq!(told(b"\x1b.@1;2;3:"), Some(Control::Wrong(14)));
        assert_eq!(told(b"\x1b.B"), Some(Control::Ask(b'B')));
    }
}
