//! What the tests of a sheet look like if the offset is as believed: tracks of the tip, and a few
//! places enlarged, so that a person knows what to look for.

use std::fmt::Write;

use super::{Mark, Pattern, Sheet};
use crate::blade::TrailingBlade;
use crate::geometry::{Bounds, Point};

/// Width and height of an enlarged place on the page, mm.
const SIDE_MM: f64 = 44.0;
/// Line width of an enlarged place, as a share of its side: about the width of a cut by eye.
const LINE: f64 = 1.0 / 60.0;
/// Half the side of a closing corner that is shown, mm: the widest gap of a row is a tenth of it.
const CORNER_MM: f64 = 0.6;
/// Half the side of stroke ends that are shown, mm.
const ENDS_MM: f64 = 1.0;

/// A place to look at, and what is to be seen there.
struct Look {
    number: usize,
    window: Bounds,
    words: String,
}

/// The tip's track of every path, for a blade of the offset that is believed.
pub(super) fn tracks(sheet: &Sheet) -> Vec<Vec<Point>> {
    let mut blade = TrailingBlade::new(sheet.offset_mm, Point::ORIGIN, 0.0);
    sheet.axis.iter().map(|path| blade.track(path.points.iter().copied())).collect()
}

/// The enlarged places as HTML; nothing for patterns that are judged by weeding.
pub(super) fn figures(html: &mut String, sheet: &Sheet, tracks: &[Vec<Point>]) {
    let looks = looks(sheet);
    if looks.is_empty() {
        return;
    }
    // Writing into a string cannot fail.
    let _ = writeln!(
        html,
        "<p>If the offset is {:.3} mm, as believed, this is what you see, enlarged and simulated:</p>\n\
         <div class=\"closer\">",
        sheet.offset_mm
    );
    looks.iter().for_each(|look| figure(html, look, tracks));
    html.push_str("</div>\n");
}

fn figure(html: &mut String, look: &Look, tracks: &[Vec<Point>]) {
    let side = look.window.width();
    let _ = writeln!(
        html,
        "<figure><svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{SIDE_MM}mm\" height=\"{SIDE_MM}mm\" \
         viewBox=\"0 0 {side:.3} {side:.3}\" fill=\"none\" stroke=\"#000\" stroke-width=\"{:.4}\" \
         stroke-linecap=\"round\">",
        side * LINE
    );
    for track in tracks.iter().filter(|track| Bounds::of(track).touches(look.window)) {
        let points = track
            .iter()
            .map(|p| format!("{:.4},{:.4}", p.x - look.window.min.x, look.window.max.y - p.y));
        let points: Vec<String> = points.collect();
        let _ = writeln!(html, "<polyline points=\"{}\"/>", points.join(" "));
    }
    let _ = writeln!(
        html,
        "</svg><figcaption>number {}: {}</figcaption></figure>",
        look.number, look.words
    );
}

fn looks(sheet: &Sheet) -> Vec<Look> {
    let marks = &sheet.marks;
    let row = match sheet.pattern {
        Pattern::Circles => return circles(sheet),
        Pattern::Ladder => &marks[..],
        // The first of two rows alike.
        Pattern::Eyelets | Pattern::Vernier => &marks[..marks.len() / 2],
        Pattern::Overcut | Pattern::Force | Pattern::Speed => return Vec::new(),
    };
    let of_three = [0, row.len() / 2, row.len().saturating_sub(1)];
    of_three.into_iter().filter_map(|i| row.get(i)).map(|mark| of_row(sheet, mark)).collect()
}

fn of_row(sheet: &Sheet, mark: &Mark) -> Look {
    let (center, half, right) = match sheet.pattern {
        Pattern::Ladder => (mark.at + Point::new(0.2, 0.2) * CORNER_MM, CORNER_MM, sheet.offset_mm),
        Pattern::Eyelets => {
            let half = (1.5 * sheet.offset_mm).max(CORNER_MM);
            (mark.at - Point::new(0.7 * half, 0.0), half, sheet.offset_mm)
        }
        _ => (mark.at - Point::new(sheet.offset_mm, -0.3), ENDS_MM, 2.0 * sheet.offset_mm),
    };
    let off = mark.value - right;
    let words = match sheet.pattern {
        _ if off.abs() < 1e-6 && sheet.pattern == Pattern::Vernier => "the ends line up".to_owned(),
        _ if off.abs() < 1e-6 => "set right".to_owned(),
        Pattern::Vernier => format!("the ends miss each other by {:.3} mm", off.abs()),
        _ if off < 0.0 => format!("set {:.3} mm too small", -off),
        _ => format!("set {off:.3} mm too large"),
    };
    Look { number: mark.number, window: Bounds::of(&[center]).grown(half), words }
}

/// The largest circle that leaves no disc, the smallest that does, and one that is wide enough to
/// be measured.
fn circles(sheet: &Sheet) -> Vec<Look> {
    let shut = sheet.marks.iter().rposition(|mark| mark.value <= sheet.offset_mm);
    let open = shut.map_or(0, |i| i + 1);
    let chosen = [(shut, "no clean disc"), (Some(open), "the first clean disc")];
    let chosen = chosen.into_iter().chain([(Some(open + 4), "wide enough to be measured")]);
    let look = |(i, words): (Option<usize>, &str)| {
        let mark = sheet.marks.get(i?)?;
        let window = Bounds::of(&[mark.at]).grown(1.2 * mark.value.max(sheet.offset_mm));
        Some(Look { number: mark.number, window, words: words.to_owned() })
    };
    chosen.filter_map(look).collect()
}
