//! Gradients: paints whose colour changes along a line or over nested circles.
//!
//! Kept as SVG 2, chapter Paint Servers, defines them, in coordinates of their own with a map to
//! the page, each for one fill or stroke, the opacities around it included.

use kurbo::{Affine, Point};

use super::convert::affine;

/// How a colour changes over the page.
#[derive(Debug, Clone, PartialEq)]
pub struct Gradient {
    /// From the gradient's own coordinates to page millimetres.
    pub to_page: Affine,
    /// Where its parameter runs from 0 to 1.
    pub form: GradientForm,
    /// What lies beyond 0 and 1.
    pub spread: Spread,
    /// At least two, offsets ascending.
    pub stops: Vec<GradientStop>,
}

/// Where a gradient's parameter runs from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GradientForm {
    /// Along a line; the same on each line across it.
    Linear {
        /// Where it is 0.
        from: Point,
        /// Where it is 1.
        to: Point,
    },
    /// Over circles that grow from the focal one.
    Radial {
        /// Centre of the circle where it is 1.
        center: Point,
        /// Its radius.
        radius: f64,
        /// Centre of the circle where it is 0.
        focus: Point,
        /// Its radius.
        focal_radius: f64,
    },
}

/// What lies beyond a gradient's ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spread {
    /// The colour at the end.
    Pad,
    /// The gradient forth and back.
    Reflect,
    /// The gradient again and again.
    Repeat,
}

/// A colour at a place of a gradient.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GradientStop {
    /// From 0 to 1.
    pub offset: f64,
    /// Its colour.
    pub rgb: [u8; 3],
    /// Its opacity, with all that lies around the painted shape.
    pub alpha: f32,
}

/// The gradient behind a paint, in a shape whose coordinates `to_page` maps.
pub(super) fn gradient(paint: &usvg::Paint, opacity: f32, to_page: Affine) -> Option<Gradient> {
    let point = |x: f32, y: f32| Point::new(f64::from(x), f64::from(y));
    let (base, form): (&usvg::BaseGradient, _) = match paint {
        usvg::Paint::LinearGradient(g) => {
            (g, GradientForm::Linear { from: point(g.x1(), g.y1()), to: point(g.x2(), g.y2()) })
        }
        usvg::Paint::RadialGradient(g) => {
            let form = GradientForm::Radial {
                center: point(g.cx(), g.cy()),
                radius: f64::from(g.r().get()),
                focus: point(g.fx(), g.fy()),
                focal_radius: f64::from(g.fr().get()),
            };
            (g, form)
        }
        _ => return None,
    };
    let stop = |s: &usvg::Stop| GradientStop {
        offset: f64::from(s.offset().get()),
        rgb: [s.color().red, s.color().green, s.color().blue],
        alpha: s.opacity().get() * opacity,
    };
    let stops: Vec<GradientStop> = base.stops().iter().map(stop).collect();
    if let GradientForm::Linear { from, to } = form
        && from == to
        && let Some(last) = stops.last().copied()
    {
        // SVG 2, 14.2.2: a line of no length paints the last colour everywhere.
        return Some(Gradient {
            to_page,
            form: GradientForm::Linear { from: Point::ZERO, to: Point::new(1.0, 0.0) },
            spread: Spread::Pad,
            stops: vec![GradientStop { offset: 0.0, ..last }, GradientStop { offset: 1.0, ..last }],
        });
    }
    Some(Gradient {
        to_page: to_page * affine(base.transform()),
        form,
        spread: match base.spread_method() {
            usvg::SpreadMethod::Pad => Spread::Pad,
            usvg::SpreadMethod::Reflect => Spread::Reflect,
            usvg::SpreadMethod::Repeat => Spread::Repeat,
        },
        stops,
    })
}
