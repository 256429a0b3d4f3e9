//! [`ending`]: the fewest bytes that end the instruction in hand and lift the tool.
//!
//! A list of points (`PU`, `PD`, `PA`, `PR`) may run for thousands of points, and all of them would be
//! cut before the blade is lifted: it is ended after the pair in hand. Every other instruction is
//! ended where the job ends it. Numbers are never cut in two: `PD100,20` is another place than
//! `PD100,200`. Separators: HP 7470A manual, pp. 1-6 and 1-7.

/// What lifts the tool.
pub(super) const LIFT: &[u8] = b"PU;";

/// The bytes that follow the first `sent` of `job` when it is stopped there.
pub(super) fn ending(job: &[u8], sent: usize) -> Vec<u8> {
    let sent = sent.min(job.len());
    let begins = job[..sent].iter().rposition(|&c| c == b';').map_or(0, |i| i + 1);
    let mut last = if begins == sent { Vec::new() } else { to_the_end(job, begins, sent) };
    last.extend_from_slice(LIFT);
    last
}

/// From `sent` to the first place where the instruction can end, and its terminator.
fn to_the_end(job: &[u8], begins: usize, sent: usize) -> Vec<u8> {
    let (mut at, mut list, mut numbers) = (begins, false, 0usize);
    while let Some(&byte) = job.get(at) {
        let ended = at >= sent && list && numbers.is_multiple_of(2);
        if byte == b';' && at >= sent {
            return job[sent..=at].to_vec();
        }
        if ended && (numbers > 0 || byte.is_ascii_alphabetic()) {
            break;
        }
        if byte.is_ascii_alphabetic() {
            list = is_list(&job[at..]);
            numbers = 0;
            at += 2;
            if !list {
                at += job.iter().skip(at).take_while(|&&c| c != b';').count();
            }
        } else if is_number(byte) {
            // A sign begins the next number as a comma does.
            at += 1;
            at += job.iter().skip(at).take_while(|&&c| c.is_ascii_digit() || c == b'.').count();
            numbers += 1;
        } else {
            at += 1;
            // The separator was sent: the pair behind it has begun.
            if at == sent && list && numbers.is_multiple_of(2) {
                numbers = 0;
            }
        }
    }
    let at = at.clamp(sent, job.len());
    [&job[sent..at], b";"].concat()
}

fn is_list(text: &[u8]) -> bool {
    text.get(..2).is_some_and(|name| {
        [b"PU", b"PD", b"PA", b"PR"].iter().any(|list| name.eq_ignore_ascii_case(*list))
    })
}

fn is_number(byte: u8) -> bool {
    byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'.')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stopped(job: &str, sent: usize) -> String {
        let bytes = [&job.as_bytes()[..sent], &ending(job.as_bytes(), sent)].concat();
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
