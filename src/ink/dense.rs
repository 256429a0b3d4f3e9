//! What is refused, or taken simpler than drawn, before it takes minutes and gigabytes: lines that
//! cross millions of times, outlines of millions of vertices, hundreds of thousands of dashes.

use std::borrow::Cow;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::drawing::{Shape, Stroke};
use crate::finding::{Finding, Place};
use crate::merge::Area;
use crate::outline;
use crate::parallel;

use super::paint::{Coat, NAMED};
use super::{InkError, InkSettings};

/// Refuses edges that cross more often than the settings allow; `place` is that of the shape that they
/// belong to, if it is one.
pub(super) fn refuse(
    crossings: u64,
    settings: &InkSettings,
    place: Option<Place>,
) -> Result<(), InkError> {
    let most = settings.most_crossings;
    if crossings <= most {
        return Ok(());
    }
    let what = match place {
        Some(place) => format!("the shape that begins at {place}"),
        None => "this drawing, all shapes together,".to_owned(),
    };
    Err(InkError::TooDense { what, most })
}

/// The most vertices that all outlines together may have: what they and their merging take is then
/// below a gigabyte. A hundred thousand usual strokes have five million.
pub(super) const MOST_VERTICES: usize = 20_000_000;

/// Counts vertices on all threads.
#[derive(Default)]
pub(super) struct Vertices(AtomicUsize);

impl Vertices {
    /// Refuses `area` if there are too many with it.
    pub(super) fn count(&self, area: &Area) -> Result<(), InkError> {
        let more = area.vertices();
        let all = self.0.fetch_add(more, Ordering::Relaxed).saturating_add(more);
        if all > MOST_VERTICES { Err(InkError::TooFine) } else { Ok(()) }
    }
}

/// The shapes to paint: if all dashed lines together fall into more than [`outline::MOST_DASHES`]
/// pieces, those with more than their share are taken as whole lines, which is told.
pub(super) fn bounded<'a>(shapes: &[&'a Shape]) -> (Vec<Cow<'a, Shape>>, Vec<bool>) {
    let dashed = |shape: &Shape| shape.stroke.as_ref().is_some_and(|s| !s.dashes.is_empty());
    let pieces = parallel::map(shapes.len(), |i| {
        let stroke = shapes[i].stroke.as_ref().filter(|_| dashed(shapes[i]));
        stroke.map_or(0.0, |stroke| outline::dashes(&shapes[i].path, stroke))
    });
    let lines = shapes.iter().filter(|shape| dashed(shape)).count();
    let all = outline::MOST_DASHES as f64;
    let share = if pieces.iter().sum::<f64>() > all { all / lines as f64 } else { f64::INFINITY };
    let whole: Vec<bool> = pieces.iter().map(|&pieces| pieces > share).collect();
    let taken = shapes.iter().zip(&whole).map(|(&shape, &whole)| {
        let Some(stroke) = shape.stroke.as_ref().filter(|_| whole) else {
            return Cow::Borrowed(shape);
        };
        let stroke = Stroke { dashes: Vec::new(), ..stroke.clone() };
        Cow::Owned(Shape { stroke: Some(stroke), ..shape.clone() })
    });
    (taken.collect(), whole)
}

/// Dashed lines that are taken as whole.
pub(super) fn dropped_dashes(coats: &[Coat]) -> Vec<Finding> {
    let dropped = coats.iter().filter(|coat| coat.told.dashes_dropped);
    let finding = |coat: &Coat| {
        let text = format!(
            "A dashed line is taken as whole: it would fall into pieces too fine to cut, or the \
             drawing's dashed lines into more than {} pieces.",
            outline::MOST_DASHES
        );
        Finding::warning("too-many-dashes", text)
            .at(coat.place)
            .hint("Make the dashes longer or the line shorter.")
    };
    dropped.map(finding).take(NAMED).collect()
}
