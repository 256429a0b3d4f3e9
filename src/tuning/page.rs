//! The printable page beside a sheet: its picture in true size, places to look at enlarged, the values,
//! what to look for.
//!
//! One HTML file with the picture as SVG inside; no script, nothing from elsewhere.

use std::fmt::Write;

use super::closer;
use super::{Pattern, Sheet};
use crate::geometry::{Bounds, Point};

/// Room around the picture, mm.
const MARGIN_MM: f64 = 5.0;

/// The page as HTML; `how_to_read` is the command that takes what was seen.
pub fn page(sheet: &Sheet, how_to_read: &str) -> String {
    let name = sheet.pattern.name();
    let mut html = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n\
         <title>Tuning sheet: {name}</title>\n\
         <style>body{{font:11pt/1.4 sans-serif;max-width:190mm;margin:10mm auto;color:#000}}\
         table{{border-collapse:collapse}}td,th{{border:0.3mm solid #888;padding:0.5mm 3mm;text-align:right}}\
         .closer{{display:flex;gap:4mm;flex-wrap:wrap}}figure{{margin:0 0 4mm;width:46mm}}\
         figure svg{{border:0.2mm solid #888}}\
         .care{{border-left:1.5mm solid #D55E00;padding-left:3mm}}</style>\n\
         <h1>Tuning sheet: {name}</h1>\n"
    );
    for paragraph in what_to_look_for(sheet.pattern) {
        let _ = writeln!(html, "<p>{paragraph}</p>");
    }
    let command = how_to_read.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    // Writing into a string cannot fail.
    let _ = writeln!(html, "<p>Then type <code>{command}</code></p>");
    html.push_str(
        "<p class=\"care\">The machine's manual comes first. Cut on scrap. Switch the power off before \
         you change or touch the blade. Keep fingers, sleeves and hair away from the carriage: it \
         starts without warning.</p>\n",
    );
    let tracks = closer::tracks(sheet);
    picture(&mut html, sheet, &tracks);
    closer::figures(&mut html, sheet, &tracks);
    values(&mut html, sheet);
    html.push_str("</html>\n");
    html
}

fn what_to_look_for(pattern: Pattern) -> &'static [&'static str] {
    match pattern {
        Pattern::Circles => &[
            "These circles are cut without compensation, so each hole is smaller than its circle; a \
             circle no wider than the blade's offset leaves no clean disc at all.",
            "By eye: note the number of the smallest circle from which a clean disc falls out. With a \
             measuring loupe: lift the discs out, measure width and height of the eight smallest clean \
             holes, and note the mean of both beside the number.",
        ],
        Pattern::Vernier => &[
            "In each pair two strokes come from opposite sides. Find the pair whose ends lie exactly \
             opposite one another, once in the lower block (along x) and once in the upper one \
             (along y), and note its number.",
            "The pair tells twice the offset plus the play of that axis. Together with the circles \
             this tells play and offset apart.",
        ],
        Pattern::Eyelets => &[
            "Each stroke runs out, turns half round and comes back on itself. With the right offset \
             there is a single line; otherwise the two lines open into an eye near the end.",
            "Note the number without an eye in the lower rows (turned to the left) and in the upper \
             ones (turned to the right).",
        ],
        Pattern::Ladder => &[
            "Each square begins and ends at its lower left corner, to which the stroke beside it points. \
             Look at that corner only, with a glass if there is one. Offset too small: the left side \
             ends above the lower one. Too large: the lower side begins right of the left one. Either \
             leaves an uncut bridge, as wide as the offset is off.",
            "Note the number of the square whose bridge is smallest, where the bridge passes from the \
             left side to the lower one. The other corners do not count: the machine's play changes \
             them, but not this one.",
        ],
        Pattern::Overcut => &[
            "Weed each square. Note the first number that lifts out without tearing where the cut \
             begins and ends, in the middle of the lower side.",
        ],
        Pattern::Force => &[
            "Weed each square. Note the lowest number that lifts out clean and leaves no more than a \
             faint mark on the liner.",
        ],
        Pattern::Speed => {
            &["Note the highest number whose corners are still sharp and whose sides are straight."]
        }
    }
}

/// The sheet in true size, as the tip cuts it.
fn picture(html: &mut String, sheet: &Sheet, tracks: &[Vec<Point>]) {
    let box_mm = sheet.bounds().grown(MARGIN_MM);
    let (width, height) = (box_mm.width(), box_mm.height());
    let _ = writeln!(
        html,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.1}mm\" height=\"{height:.1}mm\" \
         viewBox=\"0 0 {width:.3} {height:.3}\" fill=\"none\" stroke=\"#0072B2\" stroke-width=\"0.15\">"
    );
    for track in tracks {
        let points: Vec<String> = track.iter().map(|&p| on_page(p, box_mm)).collect();
        let _ = writeln!(html, "<polyline points=\"{}\"/>", points.join(" "));
    }
    html.push_str("</svg>\n");
}

fn on_page(p: Point, box_mm: Bounds) -> String {
    format!("{:.3},{:.3}", p.x - box_mm.min.x, box_mm.max.y - p.y)
}

fn values(html: &mut String, sheet: &Sheet) {
    let _ = writeln!(html, "<table><tr><th>number</th><th>{}</th></tr>", sheet.pattern.quantity());
    for mark in &sheet.marks {
        let _ = writeln!(html, "<tr><td>{}</td><td>{:.3}</td></tr>", mark.number, mark.value);
    }
    html.push_str("</table>\n");
}
