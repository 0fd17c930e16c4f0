//! A drawing as dots: the SVG that was drawn is rasterised, so that both kinds of picture are one and edges are smooth.

use std::fmt;
use std::sync::{Arc, OnceLock};

use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

/// The font that comes with the program, and no other: every machine draws the same letters.
fn fonts() -> Arc<fontdb::Database> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    FONTS
        .get_or_init(|| {
            let mut fonts = fontdb::Database::new();
            fonts.load_font_data(dejavu::sans::regular().to_vec());
            fonts.set_sans_serif_family("DejaVu Sans");
            Arc::new(fonts)
        })
        .clone()
}

/// Why a drawing gives no picture.
#[derive(Debug)]
pub(super) enum DotsError {
    /// The SVG cannot be read.
    Drawing(resvg::usvg::Error),
    NoSize,
    TooLarge,
    Encoding(png::EncodingError),
}

impl fmt::Display for DotsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Drawing(error) => error.fmt(f),
            Self::NoSize => write!(f, "the picture has no size"),
            Self::TooLarge => write!(f, "the picture is too large"),
            Self::Encoding(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for DotsError {}

/// A drawing as lines, areas and outlines of letters.
///
/// # Errors
/// Where it cannot be read.
pub(super) fn tree_of(svg: &str) -> Result<Tree, DotsError> {
    let options = Options {
        fontdb: fonts(),
        ..Options::default()
    };
    Tree::from_str(svg, &options).map_err(DotsError::Drawing)
}

/// A PNG of an SVG, `grain` dots for each of its own.
///
/// # Errors
/// Where the drawing cannot be read or the picture is too large to be held.
pub(super) fn png_of(svg: &str, grain: f32) -> Result<Vec<u8>, DotsError> {
    let tree = tree_of(svg)?;
    let size = tree
        .size()
        .to_int_size()
        .scale_by(grain)
        .ok_or(DotsError::NoSize)?;
    let mut dots = Pixmap::new(size.width(), size.height()).ok_or(DotsError::TooLarge)?;
    dots.fill(Color::WHITE);
    resvg::render(&tree, Transform::from_scale(grain, grain), &mut dots.as_mut());
    // Nothing shines through a white ground, so that the colours are those of the dots.
    let plain: Vec<u8> = dots
        .pixels()
        .iter()
        .flat_map(|dot| [dot.red(), dot.green(), dot.blue()])
        .collect();
    encoded(&plain, size.width(), size.height(), grain).map_err(DotsError::Encoding)
}

fn encoded(dots: &[u8], width: u32, height: u32, grain: f32) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    // Ten dots of the drawing are a millimetre on paper.
    let per_metre = (10_000.0 * grain).round() as u32;
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: per_metre,
        yppu: per_metre,
        unit: png::Unit::Meter,
    }));
    let mut writer = encoder.write_header()?;
    writer.write_image_data(dots)?;
    writer.finish()?;
    Ok(bytes)
}
