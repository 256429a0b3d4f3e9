//! A large plain drawing is read in parts on all cores; what comes of it is what comes of the whole.
//!
//! Referee: the same drawing read as a whole, which a character section at its very end enforces and
//! changes nothing else.

mod random;

use bladewright::drawing::{ReadSettings, read};
use random::Dice;

/// What a reading gives, as text.
fn taken(svg: &str) -> String {
    let settings = ReadSettings { system_fonts: false, ..ReadSettings::default() };
    let (drawing, findings) = read(svg.as_bytes(), &settings).unwrap();
    assert!(drawing.shapes.len() > 1000);
    format!("{drawing:?}\n{findings:?}")
}

/// The page of `content`, and the same page such that it is read as a whole.
fn both(attributes: &str, content: &str) -> [String; 2] {
    let page = |end: &str| {
        format!(
            "<?xml version='1.0'?>\n<svg xmlns='http://www.w3.org/2000/svg' width='400mm' \
             height='300mm' viewBox='0 0 400 300' {attributes}>{content}{end}</svg>"
        )
    };
    [page("<desc>the end</desc>"), page("<desc><![CDATA[the end]]></desc>")]
}

/// One shape of any kind, some of them hidden, broken, without area, or with an id that others have.
fn shape(dice: &mut Dice, out: &mut String) {
    let at = |dice: &mut Dice| format!("{:.3}", dice.next(400_000) as f64 / 1000.0);
    let [a, b, c, d] = [at(dice), at(dice), at(dice), at(dice)];
    let kind = match dice.next(12) {
        0 => format!("<rect x='{a}' y='{b}' width='9' height='4' rx='1'/>"),
        1 => format!("<circle cx='{a}' cy='{b}' r='3' fill='red'/>"),
        2 => format!("<ellipse cx='{a}' cy='{b}' rx='3' ry='2' opacity='0.5'/>"),
        3 => format!("<line x1='{a}' y1='{b}' x2='{c}' y2='{d}' stroke-dasharray='3 1'/>"),
        4 => format!("<polyline points='{a} {b} {c} {d} 7 7' id='twin'/>"),
        5 => format!("<polygon points='{a},{b} {c},{d} 7,7' style='fill:#123;stroke:none'/>"),
        6 => format!("<path d='M{a} {b}a3 2 30 1 0 4 4z' stroke-width='0.5'/>"),
        7 => format!("<path d='M{a} {b}q3 4 {c} {d}' display='none'/>"),
        8 => format!("<path d='M{a} {b}L{c} x'/>"),
        9 => format!("<svg x='{a}' y='{b}' width='9' height='9'><path d='M0 0H20V9z'/></svg>"),
        10 => format!("<path d='M{a} {b}h0' visibility='hidden'/><!-- {c} -->"),
        _ => format!("<path d='M{a} {b}C1 2 3 4 {c} {d}' vector-effect='non-scaling-stroke'/>"),
    };
    out.push_str(&kind);
    out.push_str(["\n", " ", ""][dice.next(3) as usize]);
}

/// Groups within groups, with transforms and paints, some of them see-through.
fn group(dice: &mut Dice, depth: u64, out: &mut String) {
    for _ in 0..3 + dice.next(6) {
        if depth == 0 || dice.next(3) == 0 {
            shape(dice, out);
            continue;
        }
        let attributes = match dice.next(6) {
            0 => "opacity='0.5'".into(),
            1 => "style='opacity:0.4;stroke:blue'".into(),
            2 => format!("transform='rotate({}) scale(1.5, 0.5)'", dice.next(90)),
            3 => format!("id='layer{}' stroke='#000' stroke-linecap='round'", dice.next(4)),
            4 => "fill='none' stroke='green' stroke-width='2'".into(),
            _ => "display='inline' style='isolation:isolate'".into(),
        };
        out.push_str(&format!("<g {attributes}>"));
        group(dice, depth - 1, out);
        out.push_str("</g >");
    }
}

#[test]
fn random_groups_read_in_parts_are_those_of_the_whole() {
    for seed in 1..=12 {
        let mut dice = Dice(seed);
        let mut content = String::new();
        while content.len() < 450_000 {
            group(&mut dice, 5, &mut content);
        }
        // As deep as is read in parts.
        let around = (seed % 5) as usize;
        content = ["<g>".repeat(around), content, "</g>".repeat(around)].concat();
        let [parted, whole] = both("fill='#333'", &content);
        assert!(taken(&parted) == taken(&whole), "seed {seed}");
    }
}

/// One layer that holds all, and many layers with a shape each.
#[test]
fn one_layer_or_thousands() {
    let line = |i: usize| format!("<path d='M{} 1v9' stroke='#000'/>", i % 390);
    let lines: String = (0..15_000).map(line).collect();
    let layer = |i: usize| format!("<g id='of {i}' transform='scale(0.5)'>{}</g>\n", line(i));
    let layers: String = (0..9_000).map(layer).collect();
    for content in [format!("<g id='all'>{lines}</g>"), layers, lines] {
        let [parted, whole] = both("", &content);
        assert!(taken(&parted) == taken(&whole));
    }
}
