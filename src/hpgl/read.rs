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

use nom::IResult;
use nom::Parser;
use nom::bytes::complete::{tag, take_till, take_while};
use nom::character::complete::{digit0, one_of};
use nom::combinator::{opt, recognize};

use super::command::{Command, Located, Mnemonic};
use super::encode;
use crate::finding::{Finding, Place};

/// How many faults of one kind are named one by one.
const NAMED: usize = 8;

/// The commands in `bytes`, and what could not be read.
pub fn read(bytes: &[u8]) -> (Vec<Located>, Vec<Finding>) {
    let mut reader = Reader {
        bytes,
        commands: Vec::new(),
        strays: Vec::new(),
        more_strays: 0,
        findings: Vec::new(),
        label_end: ETX,
    };
    let mut rest = bytes;
    while !rest.is_empty() {
        rest = reader.one(rest);
    }
    let findings = reader.findings();
    (reader.commands, findings)
}

struct Reader<'a> {
    bytes: &'a [u8],
    commands: Vec<Located>,
    /// Offsets of the first bytes that belong to no instruction.
    strays: Vec<usize>,
    /// How many there are beyond those.
    more_strays: usize,
    /// What else could not be read.
    findings: Vec<Finding>,
    /// What ends a label.
    label_end: u8,
}

impl<'a> Reader<'a> {
    fn offset(&self, rest: &[u8]) -> usize {
        self.bytes.len() - rest.len()
    }

    fn push(&mut self, command: Command, from: &[u8], rest: &[u8]) {
        let (byte, end) = (self.offset(from) as u64, self.offset(rest) as u64);
        self.commands.push(Located { command, byte, end });
    }

    /// Reads one instruction or passes over one stray byte.
    fn one(&mut self, input: &'a [u8]) -> &'a [u8] {
        let input = skip(input, b" \t\r\n\0,;");
        let Some(&first) = input.first() else { return input };
        if first == ESC {
            return self.escape(input);
        }
        let Some((mnemonic, rest)) = mnemonic(input) else {
            self.stray(input);
            return &input[1..];
        };
        match &mnemonic.0 {
            b"LB" => self.text(mnemonic, input, rest, self.label_end),
            b"CO" | b"MG" | b"WD" | b"BL" => self.quoted(mnemonic, input, rest),
            b"DT" | b"SM" => self.one_character(mnemonic, input, rest),
            b"PE" => self.encoded(input, rest),
            _ => self.plain(mnemonic, input, rest),
        }
    }

    fn plain(&mut self, mnemonic: Mnemonic, from: &'a [u8], mut rest: &'a [u8]) -> &'a [u8] {
        let mut numbers = Vec::new();
        loop {
            rest = skip(rest, b" \t\r\n\0,");
            if rest.first() == Some(&ESC) && rest.get(1) == Some(&b'.') {
                rest = self.escape(rest);
                continue;
            }
            let Some((number, after)) = number(rest) else { break };
            numbers.push(number);
            rest = after;
        }
        if rest.first() == Some(&b';') {
            rest = &rest[1..];
        }
        self.push(Command::Plain(mnemonic, numbers), from, rest);
        rest
    }

    fn stray(&mut self, input: &[u8]) {
        if self.strays.len() < NAMED {
            self.strays.push(self.offset(input));
        } else {
            self.more_strays += 1;
        }
    }

    fn tell(&mut self, code: &'static str, text: String, byte: usize) {
        if self.findings.len() < NAMED {
            self.findings.push(Finding::warning(code, text).at(Place::byte(byte as u64)));
        }
    }

    /// `PE` up to its `;`, which it must have.
    fn encoded(&mut self, from: &'a [u8], behind: &'a [u8]) -> &'a [u8] {
        let (rest, body) = until(behind, b';');
        let (elements, unread) = encode::take(body);
        if let Some(at) = unread {
            let text = "The encoded line (PE) breaks off here; what follows up to the next ; is \
                        no coordinate.";
            self.tell("encoded-broken", text.to_owned(), self.offset(behind) + at);
        }
        self.push(Command::Encoded(elements), from, rest);
        rest
    }

    fn text(&mut self, mnemonic: Mnemonic, from: &'a [u8], rest: &'a [u8], end: u8) -> &'a [u8] {
        let ended = rest.contains(&end);
        let (rest, text) = until(rest, end);
        if !ended {
            let text = format!(
                "The text of {mnemonic} never ends (its terminator is {}); all that follows is \
                 taken for text.",
                printable(end)
            );
            self.tell("text-without-end", text, self.offset(from));
        }
        self.push(Command::Text(mnemonic, text.to_vec()), from, rest);
        rest
    }

    /// Text in quotation marks, if there are any.
    fn quoted(&mut self, mnemonic: Mnemonic, from: &'a [u8], rest: &'a [u8]) -> &'a [u8] {
        let inner = skip(rest, b" ");
        if inner.first() == Some(&b'"') {
            self.text(mnemonic, from, &inner[1..], b'"')
        } else {
            self.text(mnemonic, from, rest, b';')
        }
    }

    /// `DT` and `SM` take one raw character; a terminator directly behind means none.
    fn one_character(&mut self, mnemonic: Mnemonic, from: &'a [u8], rest: &'a [u8]) -> &'a [u8] {
        let character = rest.first().copied().filter(|&c| c != b';');
        if mnemonic.0 == *b"DT" {
            self.label_end = character.unwrap_or(ETX);
        }
        let rest = if rest.is_empty() { rest } else { &rest[1..] };
        self.push(Command::Text(mnemonic, character.into_iter().collect()), from, rest);
        rest
    }

    fn escape(&mut self, input: &'a [u8]) -> &'a [u8] {
        let (rest, sequence) = escape_sequence(input).unwrap_or((&[], input));
        self.push(Command::Escape(sequence[1..].to_vec()), input, rest);
        rest
    }

    /// What could not be read, in the order of the bytes.
    fn findings(&mut self) -> Vec<Finding> {
        let named = self.strays.iter().take(NAMED).map(|&at| {
            let text = format!(
                "The byte {} belongs to no instruction and is passed over.",
                printable(self.bytes[at])
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
