//! Prints the regions that shapes on stdin merge into, for tools in other languages.
//!
//! ```text
//! echo "fill nonzero 0,0 4,0 4,4 0,4" | cargo run --example regions
//! ```
//!
//! A line is a shape: `fill RULE RING...` with rings parted by `/`, or `stroke WIDTH CAP JOIN MITER`
//! and path data after it. Each printed line is a region: its outer ring, then its holes, parted by
//! `/`. Lengths in mm.

use std::io::{BufRead, Write};

use bladewright::drawing::{Cap, FillRule, Join, Paint, Stroke};
use bladewright::geometry::{Contour, Point};
use bladewright::merge::{self, Area};
use bladewright::outline;

/// Deviation allowed from drawn curves, mm.
const TOLERANCE_MM: f64 = 0.002;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut areas = Vec::new();
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let (kind, rest) = line.split_once(' ').ok_or("a line has no shape")?;
        areas.push(if kind == "stroke" { stroked(rest)? } else { filled(rest)? });
    }
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for merged in merge::merge(&areas) {
        let rings: Vec<String> = merged.region.contours().map(written).collect();
        writeln!(out, "{}", rings.join("/"))?;
    }
    Ok(out.flush()?)
}

fn filled(text: &str) -> Result<Area, Box<dyn std::error::Error>> {
    let (rule, rings) = text.split_once(' ').ok_or("a fill has no rings")?;
    let rule = if rule == "evenodd" { FillRule::EvenOdd } else { FillRule::NonZero };
    let rings: Result<Vec<_>, _> = rings.split('/').map(ring).collect();
    Ok(Area::filled(&rings?, rule)?)
}

fn ring(text: &str) -> Result<Vec<Point>, Box<dyn std::error::Error>> {
    let point = |pair: &str| {
        let (x, y) = pair.split_once(',').ok_or("a point is x,y")?;
        Ok(Point::new(x.parse()?, y.parse()?))
    };
    text.split_whitespace().map(point).collect()
}

fn stroked(text: &str) -> Result<Area, Box<dyn std::error::Error>> {
    let mut words = text.splitn(5, ' ');
    let mut next = || words.next().ok_or("a stroke is WIDTH CAP JOIN MITER PATH");
    let width = next()?.parse()?;
    let cap = match next()? {
        "round" => Cap::Round,
        "square" => Cap::Square,
        _ => Cap::Butt,
    };
    let join = match next()? {
        "round" => Join::Round,
        "bevel" => Join::Bevel,
        _ => Join::Miter,
    };
    let miter_limit = next()?.parse()?;
    let path = kurbo::BezPath::from_svg(next()?)?;
    let paint = Paint::BLACK;
    let stroke = Stroke { width, cap, join, miter_limit, dashes: vec![], dash_offset: 0.0, paint };
    Ok(Area::swept(&outline::outline(&path, &stroke, TOLERANCE_MM).contours)?)
}

fn written(contour: &Contour) -> String {
    let points: Vec<String> = contour.points.iter().map(|p| format!("{},{}", p.x, p.y)).collect();
    points.join(" ")
}
