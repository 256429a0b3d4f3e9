//! Bytes → commands, as tolerant as the old machines are.
//!
//! Lexical rules (HP 7470A Interfacing and Programming Manual, 07470-90001, pp. 1-6 to 1-8; PCL 5
//! Technical Reference II, pp. 17-7 to 17-11): two letters in either case, blanks and commas
//! allowed before, after and inside; numbers separated by commas, blanks or a sign; an instruction
//! ends at `;`, at the next letter or at any other character. Text runs to its terminator (`LB`:
//! ETX unless `DT` changed it), `PE` to its `;`. Escape sequences may stand anywhere: device
//! control acts at once and does not end an instruction.
//!
//! Nothing is fatal: what is no instruction is told with its offset and passed over.
//!
//! One lexer, two ways in: [`read`] takes all bytes at once, [`Reader`] takes them stretch by stretch
//! and keeps no more than the instruction in hand. A list of points may be as long as the job: after
//! `MOST_NUMBERS` numbers the lexer gives out what it has, and goes on with the same instruction.

use nom::IResult;
use nom::Parser;
use nom::bytes::complete::{tag, take_till, take_while};
use nom::character::complete::{digit0, one_of};
use nom::combinator::{opt, recognize};

use super::command::{Command, Located, Mnemonic};
use super::encode::{Decoder, Next};
use crate::finding::{Finding, Place};

/// How many faults of one kind are named one by one.
const NAMED: usize = 8;

/// How many numbers of an instruction are given out at once: whole points of a line and whole curves.
/// A list goes on after them; what takes no list takes fewer.
const MOST_NUMBERS: usize = 1020;
/// Elements of a `PE` that are given out at once.
const MOST_ELEMENTS: usize = 512;
/// Instructions that may run for any number of points.
const LISTS: &[&[u8; 2]] = &[b"PA", b"PR", b"PU", b"PD", b"BZ", b"BR"];
/// Bytes that have to follow an instruction before it is certain where it ends: a number may go on
/// after a sign, device control with its parameters.
const LOOK_AHEAD: usize = 64;
/// Bytes of one instruction that are waited for: no label or number is longer.
const LONGEST: usize = 1 << 16;
/// How a line of HP's printer job language begins; it ends at its LF. From memory, not verified.
const PRINTER_LINE: &[u8] = b"@PJL";
/// What may stand between instructions.
const BETWEEN: &[u8] = b" \t\r\n\0,;";

/// The commands in `bytes`, and what could not be read.
pub fn read(bytes: &[u8]) -> (Vec<Located>, Vec<Finding>) {
    let mut lexer = Lexer::default();
    lexer.all(bytes, Until::End);
    let findings = lexer.findings();
    (lexer.commands, findings)
}

/// Reads bytes as they come, stretch by stretch.
#[derive(Default)]
pub struct Reader {
    lexer: Lexer,
    /// Bytes whose instruction may not be whole.
    kept: Vec<u8>,
}

impl Reader {
    /// The commands that are whole with `bytes`.
    pub fn take(&mut self, bytes: &[u8]) -> Vec<Located> {
        for stretch in bytes.chunks(LONGEST) {
            self.kept.extend_from_slice(stretch);
            self.lex(Until::Known);
            while self.kept.len() > LONGEST {
                self.lex(Until::Forced);
            }
        }
        std::mem::take(&mut self.lexer.commands)
    }

    /// The last commands, and what could not be read in all.
    pub fn end(mut self) -> (Vec<Located>, Vec<Finding>) {
        self.lex(Until::End);
        let findings = self.lexer.findings();
        (self.lexer.commands, findings)
    }

    fn lex(&mut self, until: Until) {
        let taken = self.lexer.all(&self.kept, until);
        self.kept.drain(..taken);
    }
}

/// How far the bytes at hand are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Until {
    /// Nothing follows them.
    End,
    /// As far as it is certain what they mean, whatever follows.
    Known,
    /// The same, but the first instruction is not waited for: it is too long.
    Forced,
}

/// An instruction whose beginning was given out.
#[derive(Debug, Clone, Copy)]
enum Open {
    /// A list of numbers.
    List(Mnemonic),
    /// A `PE`.
    Encoded(Decoder),
    /// A text up to its terminator, begun at an offset: it is passed over.
    Text(Mnemonic, u8, usize),
}

#[derive(Default)]
struct Lexer {
    /// Offset of the end of the bytes at hand.
    ends: usize,
    until: Option<Until>,
    open: Option<Open>,
    commands: Vec<Located>,
    /// The first bytes that belong to no instruction, and their offsets.
    strays: Vec<(usize, u8)>,
    /// How many there are beyond those.
    more_strays: usize,
    /// What else could not be read.
    findings: Vec<Finding>,
    /// What ends a label, unless it is [`ETX`].
    label_end: Option<u8>,
    /// Numbers that room is made for before they are read.
    usual: usize,
}

/// Where a lexer stood, to go back to.
struct Mark {
    open: Option<Open>,
    label_end: Option<u8>,
    counts: [usize; 4],
}

impl Lexer {
    /// Reads `bytes`, which follow those read before; returns how many were taken.
    fn all(&mut self, bytes: &[u8], until: Until) -> usize {
        self.ends += bytes.len();
        self.until = Some(until);
        let mut rest = bytes;
        while !rest.is_empty() {
            let mark = self.mark();
            let after = self.one(rest);
            let known = skip(after, BETWEEN).len() >= LOOK_AHEAD;
            if !known && self.until == Some(Until::Known) {
                self.back_to(mark);
                break;
            }
            rest = after;
            if self.until == Some(Until::Forced) {
                self.until = Some(Until::Known);
            }
        }
        self.ends -= rest.len();
        bytes.len() - rest.len()
    }

    fn mark(&self) -> Mark {
        let counts =
            [self.commands.len(), self.strays.len(), self.more_strays, self.findings.len()];
        Mark { open: self.open, label_end: self.label_end, counts }
    }

    fn back_to(&mut self, mark: Mark) {
        let [commands, strays, more_strays, findings] = mark.counts;
        self.commands.truncate(commands);
        self.strays.truncate(strays);
        self.findings.truncate(findings);
        (self.more_strays, self.open, self.label_end) = (more_strays, mark.open, mark.label_end);
    }

    fn offset(&self, rest: &[u8]) -> usize {
        self.ends - rest.len()
    }

    fn is_forced(&self) -> bool {
        self.until == Some(Until::Forced)
    }

    fn push(&mut self, command: Command, from: &[u8], rest: &[u8]) {
        let (byte, end) = (self.offset(from) as u64, self.offset(rest) as u64);
        let bytes = &from[..from.len() - rest.len()];
        let is_eight_bit = matches!(command, Command::Encoded(_)) && !bytes.is_ascii();
        self.commands.push(Located { command, byte, end, continues: false, is_eight_bit });
    }

    /// Reads one instruction or passes over one stray byte.
    fn one<'a>(&mut self, input: &'a [u8]) -> &'a [u8] {
        if let Some(open) = self.open.take() {
            return self.go_on(open, input);
        }
        let input = skip(input, BETWEEN);
        let Some(&first) = input.first() else { return input };
        if first == ESC {
            return self.escape(input);
        }
        if input.starts_with(PRINTER_LINE) {
            return self.printer_line(input);
        }
        if self.offset(input) == 0 && input.starts_with(BYTE_ORDER_MARK) {
            return self.byte_order_mark(input);
        }
        // Old systems end a text with it.
        if first == SUBSTITUTE && input.iter().all(|&c| c == SUBSTITUTE || BETWEEN.contains(&c)) {
            return &[];
        }
        let Some((mnemonic, rest)) = mnemonic(input) else {
            self.stray(input);
            return &input[1..];
        };
        match &mnemonic.0 {
            b"LB" => self.text(mnemonic, input, rest, self.label_end.unwrap_or(ETX)),
            b"CO" | b"MG" | b"WD" | b"BL" => self.quoted(mnemonic, input, rest),
            b"DT" | b"SM" => self.one_character(mnemonic, input, rest),
            b"PE" => self.encoded(Decoder::default(), input, rest),
            _ => self.plain(mnemonic, input, rest),
        }
    }

    /// Goes on with an instruction whose beginning was given out.
    fn go_on<'a>(&mut self, open: Open, input: &'a [u8]) -> &'a [u8] {
        let before = self.commands.len();
        let rest = match open {
            Open::List(mnemonic) => self.plain(mnemonic, input, input),
            Open::Encoded(decoder) => self.encoded(decoder, input, input),
            Open::Text(mnemonic, end, from) => return self.text_on((mnemonic, end, from), input),
        };
        if self.commands.len() > before {
            self.goes_on();
        }
        rest
    }

    /// The last one goes on with the instruction before it; what adds nothing to it is left out.
    fn goes_on(&mut self) {
        let nothing =
            |located: &Located| matches!(&located.command, Command::Plain(_, n) if n.is_empty());
        if self.commands.last().is_some_and(nothing) {
            self.commands.pop();
        } else if let Some(last) = self.commands.last_mut() {
            last.continues = true;
        }
    }

    fn plain<'a>(&mut self, mnemonic: Mnemonic, from: &'a [u8], mut rest: &'a [u8]) -> &'a [u8] {
        let is_list = LISTS.contains(&&mnemonic.0);
        // Many lists are about as long as one of the last.
        let mut numbers = Vec::with_capacity(if is_list { self.usual } else { 0 });
        loop {
            rest = skip(rest, b" \t\r\n\0,");
            if rest.first() == Some(&ESC) && rest.get(1) == Some(&b'.') {
                rest = self.escape(rest);
                continue;
            }
            let Some((number, after)) = number(rest) else { break };
            if numbers.len() < MOST_NUMBERS {
                numbers.push(number);
            } else if is_list {
                self.open = Some(Open::List(mnemonic));
                self.push(Command::Plain(mnemonic, numbers), from, rest);
                return rest;
            }
            rest = after;
        }
        if rest.is_empty() && self.is_forced() && is_list {
            self.open = Some(Open::List(mnemonic));
        }
        if rest.first() == Some(&b';') {
            rest = &rest[1..];
        }
        self.usual = numbers.len().max(self.usual / 2);
        self.push(Command::Plain(mnemonic, numbers), from, rest);
        rest
    }

    fn stray(&mut self, input: &[u8]) {
        if self.strays.len() < NAMED {
            self.strays.push((self.offset(input), input.first().copied().unwrap_or_default()));
        } else {
            self.more_strays += 1;
        }
    }

    fn tell(&mut self, code: &'static str, text: String, byte: usize) {
        if self.findings.len() < NAMED {
            self.findings.push(Finding::warning(code, text).at(Place::byte(byte as u64)));
        }
    }

    /// A line for a printer that takes several languages: no instruction, though a cutter may find some in
    /// it.
    fn printer_line<'a>(&mut self, input: &'a [u8]) -> &'a [u8] {
        if !self.findings.iter().any(|finding| finding.code == "printer-lines") {
            let text = "Lines for a printer (@PJL) are no HPGL and are passed over here; a cutter takes \
                        their letters for instructions.";
            let finding = Finding::warning("printer-lines", text.to_owned());
            let place = Place::byte(self.offset(input) as u64);
            let hint = "Take them out before you send the job, or export it for a plotter.";
            self.findings.push(finding.at(place).hint(hint));
        }
        until(input, b'\n').0
    }

    /// What some editors put before a text.
    fn byte_order_mark<'a>(&mut self, input: &'a [u8]) -> &'a [u8] {
        let text = "The file begins with a byte order mark (EF BB BF), which is passed over here; a cutter \
                    gets it as three characters that are no instruction.";
        let finding = Finding::warning("byte-order-mark", text.to_owned()).at(Place::byte(0));
        let hint = "Save it as plain text (ASCII), or export it anew, before you send it.";
        self.findings.push(finding.hint(hint));
        &input[BYTE_ORDER_MARK.len()..]
    }

    /// `PE` up to its `;`, which it must have.
    fn encoded<'a>(&mut self, mut decoder: Decoder, from: &'a [u8], behind: &'a [u8]) -> &'a [u8] {
        let (mut elements, mut at) = (Vec::new(), 0);
        loop {
            match decoder.next(behind, &mut at) {
                Next::Element(element) => elements.push(element),
                Next::End => break,
                Next::Short if !behind[at..].iter().any(|&c| c > b' ') => {
                    self.open = self.is_forced().then_some(Open::Encoded(decoder));
                    break;
                }
                Next::Short | Next::Broken => {
                    self.encoded_breaks_off(self.offset(behind) + at, &behind[at..]);
                    break;
                }
            }
            if elements.len() >= MOST_ELEMENTS {
                self.open = Some(Open::Encoded(decoder));
                self.push(Command::Encoded(elements), from, &behind[at..]);
                return &behind[at..];
            }
        }
        let (rest, _) = until(&behind[at..], b';');
        self.push(Command::Encoded(elements), from, rest);
        rest
    }

    fn encoded_breaks_off(&mut self, at: usize, rest: &[u8]) {
        let text = "The encoded line (PE) breaks off here; what follows up to the next ; is no \
                    coordinate.";
        self.tell("encoded-broken", text.to_owned(), at);
        if self.is_forced() && !rest.contains(&b';') {
            self.open = Some(Open::Text(Mnemonic(*b"PE"), b';', at));
        }
    }

    /// The rest of a text that was too long to be waited for.
    fn text_on<'a>(
        &mut self,
        (mnemonic, end, from): (Mnemonic, u8, usize),
        input: &'a [u8],
    ) -> &'a [u8] {
        if input.contains(&end) {
            return until(input, end).0;
        }
        if self.until == Some(Until::End) {
            self.tell_endless(mnemonic, end, from);
        } else {
            self.open = Some(Open::Text(mnemonic, end, from));
            // What is left is passed over without waiting for more.
            self.until = Some(Until::Forced);
        }
        &[]
    }

    fn tell_endless(&mut self, mnemonic: Mnemonic, end: u8, from: usize) {
        let text = format!(
            "The text of {mnemonic} never ends (its terminator is {}); all that follows is taken \
             for text.",
            printable(end)
        );
        self.tell("text-without-end", text, from);
    }

    fn text<'a>(
        &mut self,
        mnemonic: Mnemonic,
        from: &'a [u8],
        rest: &'a [u8],
        end: u8,
    ) -> &'a [u8] {
        if !rest.contains(&end) {
            if self.is_forced() {
                self.open = Some(Open::Text(mnemonic, end, self.offset(from)));
            } else {
                self.tell_endless(mnemonic, end, self.offset(from));
            }
        }
        let (rest, text) = until(rest, end);
        self.push(Command::Text(mnemonic, text.to_vec()), from, rest);
        rest
    }

    /// Text in quotation marks, if there are any.
    fn quoted<'a>(&mut self, mnemonic: Mnemonic, from: &'a [u8], rest: &'a [u8]) -> &'a [u8] {
        let inner = skip(rest, b" ");
        if inner.first() == Some(&b'"') {
            self.text(mnemonic, from, &inner[1..], b'"')
        } else {
            self.text(mnemonic, from, rest, b';')
        }
    }

    /// `DT` and `SM` take one raw character; a terminator directly behind means none.
    fn one_character<'a>(
        &mut self,
        mnemonic: Mnemonic,
        from: &'a [u8],
        rest: &'a [u8],
    ) -> &'a [u8] {
        let character = rest.first().copied().filter(|&c| c != b';');
        if mnemonic.0 == *b"DT" {
            self.label_end = character;
        }
        let rest = if rest.is_empty() { rest } else { &rest[1..] };
        self.push(Command::Text(mnemonic, character.into_iter().collect()), from, rest);
        rest
    }

    fn escape<'a>(&mut self, input: &'a [u8]) -> &'a [u8] {
        let (rest, sequence) = escape_sequence(input).unwrap_or((&[], input));
        self.push(Command::Escape(sequence[1..].to_vec()), input, rest);
        rest
    }

    /// What could not be read, in the order of the bytes.
    fn findings(&mut self) -> Vec<Finding> {
        let named = self.strays.iter().take(NAMED).map(|&(at, byte)| {
            let text = format!(
                "The byte {} belongs to no instruction and is passed over.",
                printable(byte)
            );
            Finding::warning("stray-byte", text).at(Place::byte(at as u64))
        });
        let mut all: Vec<Finding> = named.collect();
        all.append(&mut self.findings);
        all.sort_by_key(|finding| finding.place.byte);
        if self.more_strays > 0 {
            let text = format!("{} more bytes belong to no instruction.", self.more_strays);
            all.push(Finding::warning("stray-byte", text).hint("Is this file HPGL at all?"));
        }
        all
    }
}

const ESC: u8 = 27;
/// Before some texts in UTF-8.
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";
/// Ctrl-Z.
const SUBSTITUTE: u8 = 26;
/// Ends a label unless `DT` changed it.
const ETX: u8 = 3;

fn printable(byte: u8) -> String {
    if byte.is_ascii_graphic() { format!("\"{}\"", byte as char) } else { byte.to_string() }
}

fn skip<'a>(input: &'a [u8], blanks: &[u8]) -> &'a [u8] {
    let count = input.iter().take_while(|c| blanks.contains(c)).count();
    &input[count..]
}

/// What stands before the first `end`, and what follows it.
fn until(input: &[u8], end: u8) -> (&[u8], &[u8]) {
    let parsed: IResult<&[u8], &[u8]> = take_till(|c| c == end).parse(input);
    let (rest, text) = parsed.unwrap_or((&[], input));
    (rest.get(1..).unwrap_or(&[]), text)
}

fn mnemonic(input: &[u8]) -> Option<(Mnemonic, &[u8])> {
    let first = *input.first().filter(|c| c.is_ascii_alphabetic())?;
    let rest = skip(&input[1..], b" ,");
    let second = *rest.first().filter(|c| c.is_ascii_alphabetic())?;
    let letters = [first.to_ascii_uppercase(), second.to_ascii_uppercase()];
    Some((Mnemonic(letters), &rest[1..]))
}

/// A number: sign, digits, fraction; the language has no exponents.
fn number(input: &[u8]) -> Option<(f64, &[u8])> {
    // Whole numbers of up to 15 digits are the rule and worth a short way.
    let negative = input.first() == Some(&b'-');
    let signed = usize::from(negative || input.first() == Some(&b'+'));
    let digits = input[signed..].iter().take_while(|c| c.is_ascii_digit()).count();
    let end = signed + digits;
    if (1..=15).contains(&digits) && input.get(end) != Some(&b'.') {
        let whole = input[signed..end].iter().fold(0i64, |n, c| n * 10 + i64::from(c - b'0'));
        return Some((if negative { -whole } else { whole } as f64, &input[end..]));
    }
    let parsed: IResult<&[u8], &[u8]> =
        recognize((opt(one_of("+-")), digit0, opt((tag("."), digit0)))).parse(input);
    let (rest, text) = parsed.ok()?;
    let number = std::str::from_utf8(text).ok()?.parse::<f64>().ok()?;
    number.is_finite().then_some((number, rest))
}

/// One escape sequence with its ESC: `ESC . letter [parameters :]`, `ESC % number letter`, or
/// ESC and a letter.
fn escape_sequence(input: &[u8]) -> Option<(&[u8], &[u8])> {
    let second = *input.get(1)?;
    let parameters = |c: u8| c.is_ascii_digit() || matches!(c, b';' | b'-' | b'+');
    let length = match second {
        b'.' => {
            let letter = *input.get(2)?;
            let body = input.get(3..)?;
            let count = body.iter().take_while(|&&c| parameters(c)).count();
            let takes_parameters = b"@HIMNPQST".contains(&letter.to_ascii_uppercase());
            let colon = usize::from(body.get(count) == Some(&b':'));
            if takes_parameters || colon == 1 { 3 + count + colon } else { 3 }
        }
        b'%' => {
            let parsed: IResult<&[u8], &[u8]> = take_while(parameters).parse(&input[2..]);
            2 + parsed.map_or(0, |(_, digits)| digits.len()) + 1
        }
        _ => 2,
    };
    let length = length.min(input.len());
    Some((&input[length..], &input[..length]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lehmer::Lehmer;

    /// Bytes that a language has: whole instructions, halves of them, and none.
    fn soup(next: &mut impl FnMut(usize) -> usize) -> Vec<u8> {
        const BITS: [&[u8]; 30] = [
            b"PU",
            b"PD",
            b"P",
            b"U",
            b"PA;",
            b"PR",
            b"VS10",
            b"SP1;",
            b"1",
            b"-23",
            b"+4.5",
            b".",
            b"-",
            b",",
            b";",
            b" ",
            b"\n",
            b"LBPD1,2\x03",
            b"LB",
            b"DT#",
            b"\x1b.I80;;17:",
            b"\x1b.B",
            b"\x1b",
            b"\x1b%1B",
            b"PE",
            b"<=_",
            b"7__aaaa;",
            b"CO\"a;b\"",
            b"BZ1,2,3,4,5,6",
            b"#",
        ];
        let count = 1 + next(60);
        (0..count).flat_map(|_| BITS[next(BITS.len())].iter().copied()).collect()
    }

    fn in_stretches(
        bytes: &[u8],
        next: &mut impl FnMut(usize) -> usize,
    ) -> (Vec<Located>, Vec<Finding>) {
        let (mut reader, mut all, mut rest) = (Reader::default(), Vec::new(), bytes);
        while !rest.is_empty() {
            let (stretch, after) = rest.split_at((1 + next(90)).min(rest.len()));
            all.extend(reader.take(stretch));
            rest = after;
        }
        let (last, findings) = reader.end();
        all.extend(last);
        (all, findings)
    }

    fn dice() -> impl FnMut(usize) -> usize {
        let mut dice = Lehmer::new();
        move |below| dice.below(below as i32) as usize
    }

    #[test]
    fn stretches_read_as_the_whole() {
        let mut next = dice();
        for _ in 0..4000 {
            let bytes = soup(&mut next);
            let text = String::from_utf8_lossy(&bytes).into_owned();
            assert_eq!(in_stretches(&bytes, &mut next), read(&bytes), "{text:?}");
        }
    }

    /// Lists far longer than what is kept, for both ways of writing one.
    #[test]
    fn a_list_of_any_length_is_read_in_pieces() {
        let mut encoded = b"PE".to_vec();
        let mut plain = b"PD".to_vec();
        for i in 0..50_000i64 {
            super::super::encode::put(i % 90 - 45, super::super::encode::Base::B64, &mut encoded);
            super::super::encode::put(i % 70 - 35, super::super::encode::Base::B64, &mut encoded);
            plain.extend_from_slice(
                format!("{}{},{}", if i > 0 { "," } else { "" }, i, -i).as_bytes(),
            );
        }
        for mut bytes in [encoded, plain] {
            bytes.extend_from_slice(b";PU;");
            let mut next = dice();
            let (pieces, findings) = in_stretches(&bytes, &mut next);
            assert_eq!((pieces.clone(), findings), read(&bytes));
            assert!(
                pieces.len() > 50 && pieces[1].continues && !pieces[pieces.len() - 1].continues
            );
            let joined = pieces.windows(2).all(|w| !w[1].continues || w[0].end == w[1].byte);
            assert!(joined);
            let points: usize = pieces
                .iter()
                .map(|piece| match &piece.command {
                    Command::Plain(_, numbers) => numbers.len() / 2,
                    Command::Encoded(elements) => elements.len(),
                    _ => 0,
                })
                .sum();
            assert_eq!(points, 50_000);
        }
    }

    /// A label or garbage without an end takes no memory, and is told.
    #[test]
    fn nothing_endless_is_kept() {
        for (begin, filler) in [("LB", "x"), ("PE", "?"), ("PD", " "), ("PD", "0"), ("P", " ")] {
            let mut reader = Reader::default();
            reader.take(begin.as_bytes());
            for _ in 0..100 {
                reader.take(filler.repeat(10_000).as_bytes());
                assert!(reader.kept.len() <= 2 * LONGEST);
            }
            let (_, findings) = reader.end();
            assert!(findings.len() <= NAMED + 1, "{findings:?}");
        }
    }
}
