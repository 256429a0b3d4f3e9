//! Letters and digits as single strokes: pictures and test sheets need no font.
//!
//! Our own design on a grid four wide and six high, capitals only (small letters become capitals).
//! A glyph is a few open polylines, so a knife or a pen can follow it as it is.

use crate::geometry::Point;

/// Distance from one character to the next, as a share of the height.
const ADVANCE: f64 = 5.6 / 6.0;

/// The strokes of `text`, lower left corner at `at`, letters `height` mm high, y up.
pub fn strokes(text: &str, at: Point, height: f64) -> Vec<Vec<Point>> {
    let scale = height / 6.0;
    let place = |(i, c): (usize, char)| {
        let left = at.x + i as f64 * ADVANCE * height;
        lines(c).split(' ').filter(|line| !line.is_empty()).map(move |line| {
            let numbers: Vec<f64> = line.bytes().map(|b| f64::from(b.wrapping_sub(b'0'))).collect();
            let pairs = numbers.chunks_exact(2);
            pairs.map(|p| Point::new(left + p[0] * scale, at.y + p[1] * scale)).collect()
        })
    };
    text.chars().enumerate().flat_map(place).collect()
}

/// Width of `text` with letters `height` high.
pub fn width(text: &str, height: f64) -> f64 {
    let count = text.chars().count() as f64;
    (count * ADVANCE - (ADVANCE - 4.0 / 6.0)).max(0.0) * height
}

/// The polylines of a character: pairs of digits x, y; polylines separated by blanks.
fn lines(c: char) -> &'static str {
    match c.to_ascii_uppercase() {
        '0' => "1030414536160501 0110",
        '1' => "1526 2620 1030",
        '2' => "0516364544420040",
        '3' => "0516364544332333 334241301001",
        '4' => "3036 360242",
        '5' => "460603334241301001",
        '6' => "4536160501103041423303",
        '7' => "064610",
        '8' => "133344453616050413 1302011030414233",
        '9' => "0110304145361605041333 3344",
        'A' => "002640 1232",
        'B' => "00063645443303 334241300000",
        'C' => "4536160501103041",
        'D' => "0006264542412000",
        'E' => "46060040 0333",
        'F' => "460600 0333",
        'G' => "453616050110304142 4222",
        'H' => "0006 4640 0343",
        'I' => "1030 1636 2026",
        'J' => "4641301001",
        'K' => "0006 460240",
        'L' => "060040",
        'M' => "0006234640",
        'N' => "00064046",
        'O' => "103041453616050110",
        'P' => "00063645443303",
        'Q' => "103041453616050110 2240",
        'R' => "00063645443303 2340",
        'S' => "453616050413334241301001",
        'T' => "0646 2620",
        'U' => "060110304146",
        'V' => "062046",
        'W' => "0610233046",
        'X' => "0046 0640",
        'Y' => "062346 2320",
        'Z' => "06460040",
        '.' => "2021",
        ',' => "1021",
        ':' => "2122 2425",
        '-' => "1333",
        '+' => "1333 2224",
        '/' => "0046",
        '(' => "36242230",
        ')' => "16242210",
        '=' => "0242 0444",
        '%' => "0046 0605 4041",
        '\'' => "2624",
        _ => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_letter_and_digit_stays_in_its_box() {
        for c in ('A'..='Z').chain('0'..='9').chain(".,:-+/()=%".chars()) {
            let all = strokes(&c.to_string(), Point::ORIGIN, 6.0);
            assert!(!all.is_empty(), "{c}");
            for line in &all {
                assert!(line.len() >= 2, "{c}: {line:?}");
                assert!(
                    line.iter().all(|p| (0.0..=4.0).contains(&p.x) && (0.0..=6.0).contains(&p.y)),
                    "{c}"
                );
            }
        }
        assert!(strokes(" ", Point::ORIGIN, 6.0).is_empty());
    }
}
