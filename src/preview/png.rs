//! An SVG picture → PNG, by a general SVG renderer.

use resvg::{tiny_skia, usvg};

/// Longer side of the picture, pixels.
const LONGER_SIDE_PX: f32 = 1600.0;

/// Why there is no PNG.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the picture cannot be drawn as PNG ({0}); write it as .svg")]
pub struct PictureError(String);

/// `svg` as a PNG file.
///
/// # Errors
/// [`PictureError`] when the picture is too large to hold in memory.
pub fn picture_png(svg: &str) -> Result<Vec<u8>, PictureError> {
    let fail = |why: String| PictureError(why);
    let tree =
        usvg::Tree::from_str(svg, &usvg::Options::default()).map_err(|e| fail(e.to_string()))?;
    let size = tree.size();
    let scale = LONGER_SIDE_PX / size.width().max(size.height());
    let pixels = |length: f32| (length * scale).round().max(1.0) as u32;
    let mut pixmap = tiny_skia::Pixmap::new(pixels(size.width()), pixels(size.height()))
        .ok_or_else(|| fail("it has no size".into()))?;
    let zoom = tiny_skia::Transform::from_scale(scale, scale);
    resvg::render(&tree, zoom, &mut pixmap.as_mut());
    pixmap.encode_png().map_err(|e| fail(e.to_string()))
}
