//! [`Sentence`]: where a job may be stopped, byte by byte.
//!
//! A list of points (`PU`, `PD`, `PA`, `PR`) may run for thousands of points, and all of them would be
//! cut before the blade is lifted: it is ended after the pair in hand. Every other instruction is
//! ended where the job ends it, a label at its own terminator. Numbers are never cut in two: `PD100,20`
//! is another place than `PD100,200`. Separators: HP 7470A manual, pp. 1-6 and 1-7.

/// What lifts the tool.
pub(super) const LIFT: &[u8] = b"PU;";

/// Ends a label unless `DT` changed it.
const ETX: u8 = 3;

/// Where in an instruction the last byte was that went out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum At {
    /// Behind an instruction, or before the first.
    Between,
    /// In a name, of which this letter was sent.
    Name(u8),
    /// In a list: how many numbers of it have begun since its last whole point, and whether the
    /// last one may go on.
    List(Numbers),
    /// In the numbers of another instruction: it ends at `;` or at the next name.
    Plain,
    /// In an instruction that ends at this byte.
    Other(u8),
    /// Behind `DT`, or behind `SM`, which also takes one character, whatever it is.
    Terminator,
    /// See `Terminator`.
    Symbol,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Numbers {
    count: usize,
    open: bool,
}

/// The instruction in hand, as far as it was sent.
#[derive(Debug, Clone)]
pub(super) struct Sentence {
    at: At,
    label_end: u8,
}

impl Default for Sentence {
    /// Nothing was sent.
    fn default() -> Self {
        Self { at: At::Between, label_end: ETX }
    }
}

impl Sentence {
    /// These bytes went out.
    pub fn sent(&mut self, bytes: &[u8]) {
        bytes.iter().for_each(|&byte| self.one(byte));
    }

    fn one(&mut self, byte: u8) {
        self.at = match self.at {
            At::Other(end) if byte == end => At::Between,
            At::Other(end) => At::Other(end),
            At::Terminator => {
                self.label_end = if byte == b';' { ETX } else { byte };
                At::Between
            }
            At::Symbol => At::Between,
            _ if byte == b';' => At::Between,
            At::Name(first) if byte.is_ascii_alphabetic() => self.named([first, byte]),
            At::Between | At::List(_) | At::Plain if byte.is_ascii_alphabetic() => At::Name(byte),
            At::List(numbers) => At::List(numbers.with(byte)),
            at => at,
        };
    }

    fn named(&self, name: [u8; 2]) -> At {
        match &name.map(|letter| letter.to_ascii_uppercase()) {
            b"PU" | b"PD" | b"PA" | b"PR" => At::List(Numbers::default()),
            b"LB" => At::Other(self.label_end),
            b"DT" => At::Terminator,
            b"SM" => At::Symbol,
            // Their letters are no names.
            b"PE" | b"CO" | b"MG" | b"WD" | b"BL" => At::Other(b';'),
            _ => At::Plain,
        }
    }

    /// Whether the instruction can be ended before the byte `next`; nothing follows where it is `None`.
    fn may_end(&self, next: Option<u8>) -> bool {
        match (self.at, next) {
            (At::Between, _) | (_, None) => true,
            (At::List(numbers), Some(next)) => numbers.may_end(next),
            (At::Plain, Some(next)) => next.is_ascii_alphabetic(),
            _ => false,
        }
    }

    /// How many of the bytes that come `next` have to go out before the instruction can be ended; all
    /// of them and more where it is `None`, unless they are the job's last.
    pub fn until_end(&self, next: &[u8], are_last: bool) -> Option<usize> {
        let mut ahead = self.clone();
        for (i, &byte) in next.iter().enumerate() {
            if ahead.may_end(Some(byte)) {
                return Some(i);
            }
            ahead.one(byte);
        }
        let ended = ahead.at == At::Between || are_last;
        ended.then_some(next.len())
    }

    /// What ends the instruction in hand and lifts the tool.
    pub fn ending(&self) -> Vec<u8> {
        let end: &[u8] = match &self.at {
            At::Between => b"",
            At::Other(end) => std::slice::from_ref(end),
            _ => b";",
        };
        [end, LIFT].concat()
    }
}

impl Numbers {
    fn with(self, byte: u8) -> Self {
        match byte {
            // A sign begins the next number as a comma does.
            b'+' | b'-' => Self { count: self.count + 1, open: true },
            b'0'..=b'9' | b'.' if self.open => self,
            b'0'..=b'9' | b'.' => Self { count: self.count + 1, open: true },
            // The separator was sent: the pair behind it has begun.
            _ if self.count.is_multiple_of(2) => Self::default(),
            _ => Self { open: false, ..self },
        }
    }

    fn may_end(self, next: u8) -> bool {
        let goes_on = self.open && (next.is_ascii_digit() || next == b'.');
        match self.count {
            // A list without numbers ends at the next name.
            0 => next.is_ascii_alphabetic(),
            count => count.is_multiple_of(2) && !goes_on && next != b';',
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stopped(job: &str, sent: usize) -> String {
        let (before, next) = job.as_bytes().split_at(sent);
        let mut sentence = Sentence::default();
        sentence.sent(before);
        let more = sentence.until_end(next, true).unwrap();
        sentence.sent(&next[..more]);
        let bytes = [&job.as_bytes()[..sent + more], &sentence.ending()].concat();
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn a_list_ends_after_the_pair_in_hand() {
        let job = "IN;PD100,200,300,400;SP0;";
        assert_eq!(stopped(job, 3), "IN;PU;");
        assert_eq!(stopped(job, 4), "IN;PD100,200;PU;");
        assert_eq!(stopped(job, 8), "IN;PD100,200;PU;");
        assert_eq!(stopped(job, 12), "IN;PD100,200;PU;");
        assert_eq!(stopped(job, 13), "IN;PD100,200,300,400;PU;");
        assert_eq!(stopped(job, 20), "IN;PD100,200,300,400;PU;");
        assert_eq!(stopped("PR;PD100-50+30-20;", 8), "PR;PD100-50;PU;");
        assert_eq!(stopped("PAPD4500,1500,2500,3500", 7), "PAPD4500,1500;PU;");
    }

    #[test]
    fn other_instructions_end_where_the_job_ends_them() {
        assert_eq!(stopped("PE<=AbC;PU;", 4), "PE<=AbC;PU;");
        assert_eq!(stopped("VS10;PU;", 1), "VS10;PU;");
        assert_eq!(stopped("SP1", 2), "SP1;PU;");
        assert_eq!(stopped("", 0), "PU;");
        assert_eq!(stopped("PD;PU5,5;", 2), "PD;PU;");
        assert_eq!(stopped("P", 1), "P;PU;");
    }

    /// Nothing but the next name may end an instruction.
    #[test]
    fn a_list_ends_after_the_pair_in_hand_where_nothing_parts_instructions() {
        assert_eq!(stopped("INSP1PU0,0PD1,1,2,2,3,3PU9,9", 15), "INSP1PU0,0PD1,1;PU;");
        assert_eq!(stopped("SP1 PD100,200,300,400 PU1,1", 8), "SP1 PD100,200;PU;");
        assert_eq!(stopped("VS10PU0,0PD1,1;PU9,9", 3), "VS10;PU;");
        assert_eq!(stopped("SP1LBa;b\u{3}PD1,1;", 6), "SP1LBa;b\u{3}PU;");
        assert_eq!(stopped("SMPPD1,1,2,2;", 7), "SMPPD1,1;PU;");
    }

    /// What lifts the tool must not become a part of the text.
    #[test]
    fn a_label_ends_at_its_own_terminator() {
        assert_eq!(stopped("LBa;b\u{3}PD1,1;", 4), "LBa;b\u{3}PU;");
        assert_eq!(stopped("DT#LBa;b#PD1,1;", 6), "DT#LBa;b#PU;");
        assert_eq!(stopped("LBa;b", 4), "LBa;b\u{3}PU;");
    }

    /// What comes next is seen in parts: the answer is the same, or that more has to be seen.
    #[test]
    fn a_part_of_what_comes_is_enough_or_asks_for_more() {
        let job = b"IN;PD100,200,300,400;SP0;VS10;";
        for sent in 0..job.len() {
            let mut sentence = Sentence::default();
            sentence.sent(&job[..sent]);
            let all = sentence.until_end(&job[sent..], true).unwrap();
            for seen in sent..job.len() {
                let part = sentence.until_end(&job[sent..seen], false);
                assert!(part.is_none_or(|part| part == all), "{sent} {seen}: {part:?} {all}");
                assert!(part.is_some() || seen - sent <= all, "{sent} {seen}");
            }
        }
    }

    /// Wherever a long list is cut off, what arrives is a whole number of its pairs, unchanged.
    #[test]
    fn no_point_is_ever_changed() {
        let points: Vec<String> = (0..300).map(|i| format!("{},{}", i * 37, 9000 - i)).collect();
        let wanted: Vec<&str> = points.iter().flat_map(|p| p.split(',')).collect();
        let job = format!("PU5,5;PD{};PU;", points.join(","));
        for sent in 0..job.len() {
            let text = stopped(&job, sent);
            assert!(text.ends_with("PU;") && text.len() <= sent + 24, "{sent}: {text}");
            let Some((_, rest)) = text.split_once("PD") else { continue };
            let list = rest.split_once(';').map_or(rest, |(list, _)| list);
            let kept: Vec<&str> = list.split(',').collect();
            assert!(kept.len().is_multiple_of(2) && wanted.starts_with(&kept), "{sent}: {list}");
        }
    }
}
