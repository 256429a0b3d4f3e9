//! Bytes → a drawing that can be read: most random bytes are no SVG, and what is worth trying is
//! found sooner where every byte draws something.
//!
//! Coordinates fall on a coarse grid, so that lines meet, touch and lie upon each other more often
//! than in any real drawing.

use std::fmt::Write;

/// The most shapes of one drawing: judging is quadratic in them.
const MOST_SHAPES: usize = 24;

/// Takes bytes one by one; zeros when there are no more.
struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn next(&mut self) -> u8 {
        let Some((&first, rest)) = self.0.split_first() else { return 0 };
        self.0 = rest;
        first
    }
    /// From 0 to 63.5 mm in halves; one byte in eight is followed by one for hundredths.
    fn place(&mut self) -> f64 {
        let byte = self.next();
        let fine = if byte % 8 == 7 { f64::from(self.next()) / 100.0 } else { 0.0 };
        f64::from(byte / 2) / 2.0 + fine
    }
    fn pick<'b>(&mut self, of: &[&'b str]) -> &'b str {
        of[usize::from(self.next()) % of.len()]
    }
}

/// The drawing that `bytes` ask for; 64 mm wide and high.
pub fn drawing(bytes: &[u8]) -> String {
    let mut bytes = Bytes(bytes);
    let mut text = String::from(
        "<svg xmlns='http://www.w3.org/2000/svg' width='64mm' height='64mm' viewBox='0 0 64 64'>",
    );
    for _ in 0..MOST_SHAPES {
        if bytes.0.is_empty() {
            break;
        }
        shape(&mut bytes, &mut text);
    }
    text + "</svg>"
}

fn shape(bytes: &mut Bytes<'_>, text: &mut String) {
    let kind = bytes.next();
    let style = style(bytes);
    let (a, b, c, d) = (bytes.place(), bytes.place(), bytes.place(), bytes.place());
    // Writing into a string cannot fail.
    let _ = match kind % 6 {
        0 => write!(text, "<rect x='{a}' y='{b}' width='{c}' height='{d}'{style}/>"),
        1 => write!(text, "<circle cx='{a}' cy='{b}' r='{}'{style}/>", c / 4.0),
        2 => write!(text, "<ellipse cx='{a}' cy='{b}' rx='{}' ry='{}'{style}/>", c / 4.0, d / 4.0),
        3 => write!(text, "<line x1='{a}' y1='{b}' x2='{c}' y2='{d}'{style}/>"),
        _ => write!(text, "<path d='M{a} {b}{}'{style}/>", steps(bytes)),
    };
}

fn steps(bytes: &mut Bytes<'_>) -> String {
    let mut text = String::new();
    for _ in 0..bytes.next() % 12 {
        let command = bytes.pick(&["L", "L", "H", "V", "Q", "C", "A", "Z", "M", "T", "S"]);
        let numbers = match command {
            "L" | "T" | "M" => 2,
            "H" | "V" => 1,
            "Q" | "S" => 4,
            "C" => 6,
            _ => 0,
        };
        text.push_str(command);
        if command == "A" {
            let (rx, ry, turn) = (bytes.place() / 4.0, bytes.place() / 4.0, bytes.next());
            let (x, y) = (bytes.place(), bytes.place());
            let _ = write!(text, "{rx} {ry} {turn} {} {} {x} {y}", turn & 1, turn >> 1 & 1);
        }
        for _ in 0..numbers {
            let _ = write!(text, "{} ", bytes.place());
        }
    }
    text
}

fn style(bytes: &mut Bytes<'_>) -> String {
    let how = bytes.next();
    let mut text = format!(" fill='{}'", ["#000", "none", "#fff", "#c00"][usize::from(how % 4)]);
    if how & 4 != 0 {
        text += " fill-rule='evenodd'";
    }
    if how & 8 != 0 || how % 4 == 1 {
        let width = f64::from(bytes.next()) / 40.0;
        let cap = bytes.pick(&["butt", "round", "square"]);
        let join = bytes.pick(&["miter", "round", "bevel"]);
        let _ = write!(
            text,
            " stroke='{}' stroke-width='{width}' stroke-linecap='{cap}' stroke-linejoin='{join}'",
            bytes.pick(&["#000", "#000", "#fff", "#00c"])
        );
    }
    if how & 16 != 0 {
        let (on, off) = (bytes.place() / 8.0, bytes.place() / 8.0 + 0.5);
        let _ = write!(text, " stroke-dasharray='{on} {off}'");
    }
    if how & 32 != 0 {
        let (turn, skew, size) = (bytes.next(), bytes.next() % 60, f64::from(bytes.next()) / 100.0);
        let _ = write!(
            text,
            " transform='translate(32 32) rotate({turn}) skewX({skew}) scale({size} {}) \
             translate(-32 -32)'",
            size * 0.7 + 0.1
        );
    }
    text
}
