//! Shapes → coats: areas of paint in painting order, with those under the paper colour erased.

use kurbo::{Affine, BezPath, PathEl};

use crate::clipping;
use crate::drawing::{Drawing, FillRule, Paint, PaintSource, Shape, Stroke, Veil};
use crate::finding::{Finding, Place, counted};
use crate::geometry::{Bounds, Contour, Point};
use crate::merge::{Area, Drawn, FURTHEST_MM, TooFar};
use crate::outline::outline;
use crate::parallel;

use super::{InkError, InkSettings, dense, fade, gradient, hairline};

/// One fill or stroke on the page.
#[derive(Debug, Clone)]
pub(super) struct Coat {
    pub area: Area,
    pub paint: Paint,
    pub layer: usize,
    /// The innermost group with an opacity around its shape.
    pub veil: Option<usize>,
    /// Index of its shape among those that are cut.
    pub shape: usize,
    pub place: Place,
    pub told: Told,
}

/// What there is to tell of a coat.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Told {
    /// Its gradient's edge against the paper was drawn.
    pub fades: bool,
    /// Its gradient has no edge that could be drawn.
    pub gradient_whole: bool,
    pub dashes_dropped: bool,
    /// It is too small for an outline.
    pub speck: bool,
    /// Where a curve turns tightly, mm on the page.
    pub tight_turn: Option<Point>,
}

/// A shape that runs past the page by less than this does so by rounding, mm.
const PAST_PAGE_MM: f64 = 0.02;
/// How many places of one kind are named one by one before the rest is only counted.
pub(super) const NAMED: usize = 8;

/// All coats of ink of `shapes`, bottom first.
pub(super) fn coats(
    drawing: &Drawing,
    shapes: &[&Shape],
    clips: &[Area],
    settings: &InkSettings,
) -> Result<(Vec<Coat>, Vec<Finding>), InkError> {
    let (bounded, whole) = dense::bounded(shapes);
    let vertices = dense::Vertices::default();
    let painted = parallel::map(shapes.len(), |i| {
        let mut coats = shape_coats(&bounded[i], clips, settings)?;
        for coat in &mut coats {
            vertices.count(&coat.area)?;
            coat.told.dashes_dropped |= whole[i];
        }
        let parted = coats.into_iter().flat_map(|coat| fade::parted(coat, drawing, settings));
        Ok(parted.collect::<Vec<_>>())
    });
    let mut coats = Vec::with_capacity(shapes.len());
    for (shape, some) in painted.into_iter().enumerate() {
        coats.extend(some?.into_iter().map(|coat| Coat { shape, ..coat }));
    }
    let specks = hairline::specks(&coats, settings);
    coats.retain(|coat| !coat.area.is_empty() && !coat.told.speck);
    let mut findings = dense::dropped_dashes(&coats);
    findings.extend(specks);
    findings.extend(tight_turns(&coats));
    findings.extend(hairline::finding(shapes, settings));
    findings.extend(fade::findings(&coats));
    findings.extend(nearly_paper(&coats, settings));
    let (mut ink, only_paper) = erase_paper(coats, &drawing.veils, settings);
    let bounds = parallel::map(ink.len(), |i| ink[i].area.bounds());
    let drawn = ink.iter().zip(bounds).filter_map(|(coat, b)| Some((b, *shapes.get(coat.shape)?)));
    findings.extend(past_page(drawing, drawn, settings.crop_to_page));
    if only_paper {
        findings.push(only_paper_finding(settings));
    }
    if settings.crop_to_page {
        crop(drawing, &mut ink)?;
    }
    if let Some(colours) = &settings.colours {
        ink.retain(|coat| colours.contains(&coat.paint.rgb));
    }
    Ok((ink, findings))
}

/// Strokes whose outline viewers do not agree on.
fn tight_turns(coats: &[Coat]) -> Option<Finding> {
    let mut tight =
        coats.iter().filter_map(|coat| Some((coat.place, coat.told.tight_turn?))).peekable();
    let (place, at) = *tight.peek()?;
    let text = counted(tight.count(), "A curve turns", "curves turn");
    let text = format!(
        "{text} sharply within a small part of the line's width (first at {:.1}, {:.1} mm from the \
         page's top left corner). A hook at a curve's end is not followed; elsewhere the outline \
         follows the standard's definition. Some viewers draw it otherwise.",
        at.x, at.y
    );
    let hint = "Look at the picture; a node or a wider bend makes it the same everywhere.";
    Some(Finding::note("stroke-turns-tightly", text).at(place).hint(hint))
}

fn only_paper_finding(settings: &InkSettings) -> Finding {
    let [r, g, b] = settings.paper.unwrap_or([255; 3]);
    let text = format!(
        "The whole drawing has the colour of the paper (#{r:02x}{g:02x}{b:02x}); it is cut as ink."
    );
    Finding::note("only-paper-colour", text)
        .hint("Give --paper another colour, or none, to say so yourself.")
}

/// The coats of one shape, clipped, bottom first.
pub(super) fn shape_coats(
    shape: &Shape,
    clips: &[Area],
    settings: &InkSettings,
) -> Result<Vec<Coat>, InkError> {
    let tolerance = settings.tolerance_mm;
    let too_far = |far| InkError::TooFar { far, place: shape.place };
    within_reach(shape).map_err(too_far)?;
    let mut coats = Vec::with_capacity(2);
    if let Some(fill) = &shape.fill {
        let contours = flatten(&shape.path, shape.to_page, tolerance);
        let drawn = Drawn::of(&contours).map_err(too_far)?;
        dense::refuse(drawn.crossings(settings.most_crossings), settings, Some(shape.place))?;
        let area = fill_area(&contours, drawn, fill.rule).map_err(too_far)?;
        let speck = shape.stroke.is_none() && hairline::is_speck(shape, &area);
        let told = Told { speck, ..Told::default() };
        coats.push(Coat { told, ..coat(shape, area, fill.paint) });
    }
    if let Some(stroke) = shape.stroke.as_ref().filter(|s| !hairline::is_hairline(shape, s)) {
        let (area, told) = stroke_area(shape, stroke, tolerance).map_err(too_far)?;
        dense::refuse(area.crossings(settings.most_crossings), settings, Some(shape.place))?;
        coats.push(Coat { told, ..coat(shape, area, stroke.paint) });
        if shape.stroke_first {
            coats.reverse();
        }
    }
    for clip in shape.clips.iter().filter_map(|&i| clips.get(i)) {
        for coat in &mut coats {
            coat.area = coat.area.within(clip);
        }
    }
    Ok(coats)
}

fn coat(shape: &Shape, area: Area, paint: Paint) -> Coat {
    let (layer, veil, place) = (shape.layer, shape.veil, shape.place);
    Coat { area, paint, layer, veil, shape: 0, place, told: Told::default() }
}

/// Refuses coordinates that no machine reaches before anything is sampled from them.
pub(super) fn within_reach(shape: &Shape) -> Result<(), TooFar> {
    let coefficients = shape.to_page.as_coeffs();
    let width = shape.stroke.as_ref().map_or(0.0, |s| s.width * s.miter_limit.max(1.0));
    let margin = width * stretch(shape.to_page);
    let reaches = |p: kurbo::Point| {
        let on_page = shape.to_page * p;
        on_page.x.abs() + margin <= FURTHEST_MM && on_page.y.abs() + margin <= FURTHEST_MM
    };
    let far = points(&shape.path).find(|p| !reaches(*p));
    match far {
        Some(p) => {
            let on_page = shape.to_page * p;
            Err(TooFar { x_mm: on_page.x, y_mm: on_page.y })
        }
        None if coefficients.iter().all(|c| c.is_finite()) => Ok(()),
        None => Err(TooFar { x_mm: f64::INFINITY, y_mm: f64::INFINITY }),
    }
}

pub(super) fn points(path: &BezPath) -> impl Iterator<Item = kurbo::Point> + '_ {
    path.elements().iter().flat_map(|element| {
        let (a, b, c) = match *element {
            PathEl::MoveTo(p) | PathEl::LineTo(p) => (Some(p), None, None),
            PathEl::QuadTo(a, p) => (Some(a), Some(p), None),
            PathEl::CurveTo(a, b, p) => (Some(a), Some(b), Some(p)),
            PathEl::ClosePath => (None, None, None),
        };
        a.into_iter().chain(b).chain(c)
    })
}

/// The most that `map` stretches any direction: its larger singular value.
pub(super) fn stretch(map: Affine) -> f64 {
    let [a, b, c, d, _, _] = map.as_coeffs();
    let (sum, difference) = ((a + d).hypot(b - c), (a - d).hypot(b + c));
    (sum + difference) / 2.0
}

fn fill_area(contours: &[Vec<Point>], drawn: Drawn, rule: FillRule) -> Result<Area, TooFar> {
    if let [only] = contours
        && let Some(convex) = as_convex(only)
    {
        return Area::swept(&[convex]);
    }
    Ok(drawn.filled(rule))
}

/// The subpaths of `path` on the page as chains of vertices within `tolerance` mm.
pub(super) fn flatten(path: &BezPath, to_page: Affine, tolerance: f64) -> Vec<Vec<Point>> {
    let mut contours: Vec<Vec<Point>> = Vec::new();
    // kurbo's flattening may deviate up to twice what it is asked for.
    kurbo::flatten(to_page * path, tolerance / 2.0, |element| match element {
        PathEl::MoveTo(p) => contours.push(vec![Point::new(p.x, p.y)]),
        PathEl::LineTo(p) => {
            if let Some(contour) = contours.last_mut() {
                contour.push(Point::new(p.x, p.y));
            }
        }
        _ => {}
    });
    contours.retain(|contour| contour.len() > 1);
    contours
}

/// `contour` turned counter-clockwise, if it is convex and goes round once: such a contour needs
/// no resolving.
fn as_convex(contour: &[Point]) -> Option<Vec<Point>> {
    let mut ring: Vec<Point> = contour.to_vec();
    if ring.first() == ring.last() {
        ring.pop();
    }
    let n = ring.len();
    if n < 3 {
        return None;
    }
    let (mut total, mut left, mut right) = (0.0, false, false);
    for i in 0..n {
        let (a, b, c) = (ring[i], ring[(i + 1) % n], ring[(i + 2) % n]);
        let (u, v) = (b - a, c - b);
        let turn = u.cross(v).atan2(u.dot(v));
        total += turn;
        left |= turn > 0.0;
        right |= turn < 0.0;
    }
    if left == right || total.abs() > 7.0 {
        return None;
    }
    if right {
        ring.reverse();
    }
    Some(ring)
}

fn stroke_area(shape: &Shape, stroke: &Stroke, tolerance: f64) -> Result<(Area, Told), TooFar> {
    let map = shape.to_page;
    let stretch = stretch(map);
    if stretch == 0.0 || !stretch.is_finite() {
        return Ok((Area::default(), Told::default()));
    }
    let outlined = outline(&shape.path, stroke, tolerance / stretch);
    let mut contours = outlined.contours;
    let mirrored = map.determinant() < 0.0;
    let on_page = |p: Point| {
        let q = map * kurbo::Point::new(p.x, p.y);
        Point::new(q.x, q.y)
    };
    for contour in &mut contours {
        for p in contour.iter_mut() {
            *p = on_page(*p);
        }
        if mirrored {
            contour.reverse();
        }
    }
    let told = Told {
        dashes_dropped: outlined.dashes_dropped,
        tight_turn: outlined.tight_turn.map(on_page),
        ..Told::default()
    };
    Ok((Area::swept(&contours)?, told))
}

/// How a coat counts against the paper.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Effect {
    Ink,
    Eraser,
    /// Paint that nobody can tell from what lies under it: changes nothing.
    Nothing,
}

/// By the rule for gradients: what differs from the paper by less than nine levels of 255 is paper.
pub(super) fn effect(paint: &Paint, paper: Option<[u8; 3]>) -> Effect {
    let (rgb, alpha) = (paint.rgb.map(f64::from), f64::from(paint.alpha));
    if paint.source != PaintSource::Colour || gradient::is_ink(paper)(rgb, alpha) {
        Effect::Ink
    } else if paper.is_some_and(|paper| gradient::is_paper(paper)(rgb, alpha)) {
        Effect::Eraser
    } else {
        Effect::Nothing
    }
}

/// Paint that is not the paper's colour and yet counts as it, which some might not expect.
fn nearly_paper(coats: &[Coat], settings: &InkSettings) -> Option<Finding> {
    let own = |paint: &Paint| settings.paper.is_some_and(|paper| paint.is(paper));
    let near = |coat: &&Coat| {
        effect(&coat.paint, settings.paper) != Effect::Ink && !own(&coat.paint) && !coat.told.fades
    };
    let mut near = coats.iter().filter(near);
    let first = near.next()?;
    let from = if settings.paper.is_some() { "the paper" } else { "nothing" };
    let (one, many) = ("One paint differs from", "paints differ from");
    let text = format!(
        "{} {from} by less than nine levels of 255, too little to be seen; nothing is cut for it.",
        counted(1 + near.count(), one, many)
    );
    let hint = "Give it a colour or an opacity that can be seen, if it is to be cut.";
    Some(Finding::note("nearly-paper", text).at(first.place).hint(hint))
}

/// The coats of ink without what paper colour covers; true if there was nothing but paper colour,
/// which then counts as ink.
fn erase_paper(coats: Vec<Coat>, veils: &[Veil], settings: &InkSettings) -> (Vec<Coat>, bool) {
    let effects: Vec<Effect> =
        coats.iter().map(|coat| effect(&coat.paint, settings.paper)).collect();
    if !effects.contains(&Effect::Ink) {
        let any = !coats.is_empty() && settings.paper.is_some();
        return (if any { coats } else { Vec::new() }, any);
    }
    let veiled = |i: usize| effects[i] == Effect::Nothing && coats[i].veil.is_some();
    let erasers: Vec<(usize, Bounds)> = (0..coats.len())
        .filter(|&i| effects[i] == Effect::Eraser || veiled(i))
        .map(|i| (i, coats[i].area.bounds()))
        .collect();
    let erases = |over: usize, under: usize| {
        effects[over] == Effect::Eraser
            || erases_within(veils, [&coats[over], &coats[under]], settings.paper)
    };
    if erasers.is_empty() {
        let ink = coats.into_iter().zip(effects).filter(|(_, e)| *e == Effect::Ink);
        return (ink.map(|(coat, _)| coat).collect(), false);
    }
    let left = parallel::map(coats.len(), |i| {
        (effects[i] == Effect::Ink).then(|| {
            let later = erasers.iter().filter(|(j, _)| *j > i && erases(*j, i));
            let later = later.map(|(j, b)| (&coats[*j].area, *b));
            uncovered(&coats[i].area, later)
        })
    });
    let kept = coats.into_iter().zip(left).filter_map(|(mut coat, area)| {
        coat.area = area?;
        (!coat.area.is_empty()).then_some(coat)
    });
    (kept.collect(), false)
}

/// Whether the first of two coats covers the second whole in the colour of the paper, inside a group that has
/// both and lets through.
fn erases_within(veils: &[Veil], [over, under]: [&Coat; 2], paper: Option<[u8; 3]>) -> bool {
    let around = |veil: Option<usize>| veil.and_then(|veil| veils.get(veil)?.around);
    let (mut a, mut b) = (over.veil, under.veil);
    while a != b {
        if a > b { a = around(a) } else { b = around(b) }
    }
    let group = a.and_then(|veil| veils.get(veil));
    group.filter(|group| group.opacity > 0.0).is_some_and(|group| {
        let alpha = (over.paint.alpha / group.opacity).min(1.0);
        effect(&Paint { alpha, ..over.paint }, paper) == Effect::Eraser
    })
}

/// `area` without all of `covers`, which come with their boxes.
pub(super) fn uncovered<'a>(area: &Area, covers: impl Iterator<Item = (&'a Area, Bounds)>) -> Area {
    let bounds = area.bounds();
    let near = covers.filter(|(_, b)| b.touches(bounds));
    let cover = near.fold(Area::default(), |all, (cover, _)| all.plus(cover.clone()));
    if cover.is_empty() { area.clone() } else { area.minus(&cover) }
}

fn page(drawing: &Drawing) -> Bounds {
    Bounds { min: Point::ORIGIN, max: Point::new(drawing.page_mm.0, drawing.page_mm.1) }
}

fn crop(drawing: &Drawing, coats: &mut Vec<Coat>) -> Result<(), InkError> {
    let page = Area::rectangle(page(drawing))
        .map_err(|far| InkError::TooFar { far, place: Place::default() })?;
    for coat in coats.iter_mut() {
        coat.area = coat.area.within(&page);
    }
    coats.retain(|coat| !coat.area.is_empty());
    Ok(())
}

/// The stretches of a drawn line on the page.
pub(super) fn on_page(drawing: &Drawing, line: &Contour) -> impl Iterator<Item = Contour> {
    let Bounds { min, max } = page(drawing);
    let across = clipping::clipped(line, [min.x, max.x], |p| p.x).into_iter();
    across.flat_map(move |part| clipping::clipped(&part, [min.y, max.y], |p| p.y))
}

/// Names the shapes that run past the page, from where they are drawn.
pub(super) fn past_page<'a>(
    drawing: &Drawing,
    drawn: impl Iterator<Item = (Bounds, &'a Shape)>,
    cropped: bool,
) -> Option<Finding> {
    let page = page(drawing).grown(PAST_PAGE_MM);
    let outside: Vec<&Shape> =
        drawn.filter(|(b, _)| !b.is_empty() && !page.holds(*b)).map(|(_, shape)| shape).collect();
    let first = outside.first()?;
    let mut names: Vec<String> = outside.iter().map(|shape| name(shape)).collect();
    names.dedup();
    let more = names.len().saturating_sub(NAMED);
    names.truncate(NAMED);
    let and_more = if more > 0 { format!(" and {more} more") } else { String::new() };
    let verb = if cropped { "trimmed at its edge" } else { "cut whole" };
    let text = format!("Shapes run past the page and are {verb}: {}{and_more}.", names.join(", "));
    let hint = if cropped { "" } else { "Use --crop page to trim them." };
    Some(Finding::note("past-page", text).at(first.place).hint(hint))
}

fn name(shape: &Shape) -> String {
    match (&shape.id, shape.place.row, shape.place.column) {
        (Some(id), _, _) => format!("\"{id}\""),
        (None, Some(row), Some(column)) => format!("the one at {row}:{column}"),
        _ => "one without name".to_owned(),
    }
}
